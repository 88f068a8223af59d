"""Stop limits of the built ladder that follow from physics, worked out again here; rows as the ladder reference numbers
them (common practice unless a source is named)."""

from functools import cache
from math import sqrt
from pathlib import Path

import numpy as np
import pytest
from test_plan import EXAMPLES

from at_hand import built
from firstglow.amplifier import load
from firstglow.devices.catalogue import valve_type
from firstglow.devices.pentode import pentode_currents
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.overloads import as_it_stands
from firstglow.readings.expected import ExpectedReading

A, B, C = EXAMPLES


@cache
def ladder(path: Path) -> Ladder:
    return built(load(path), mode="fast")


def row(path: Path, name: str) -> ExpectedReading:
    return ladder(path).expected.by_id[name]


def above(path: Path, name: str) -> float:
    stop = row(path, name).stop_above
    assert stop is not None
    return stop.limit


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.name[0])
def test_row_26_twice_as_slow_is_the_geometric_mean(path: Path) -> None:
    """V = V0 exp(-t/T); with twice the T it is V0 exp(-t/2T) = sqrt(V0 V) (closed form)."""
    start = row(path, "4/HT1 after 10 min/shared").expected
    end = row(path, "4/HT1 fall/shared").expected
    assert isinstance(start, float)
    assert isinstance(end, float)
    assert above(path, "4/HT1 fall/shared") == pytest.approx(sqrt(start * end), rel=0.005)


@pytest.mark.parametrize(
    ("path", "plate", "supply", "cathode"),
    [
        (A, "5/V2a plate/left", "5/HT3/shared", "5/V2a cathode/left"),
        (A, "5/V1 screen/left", "5/HT4/shared", "5/V1 cathode/left"),
        (B, "5/V1 plate/shared", "5/HT3/shared", "5/V1 cathode/shared"),
        (C, "5/V1a plate/shared", "5/HT3/shared", "5/V1a cathode/shared"),
        (C, "5/V1b plate/shared", "5/HT3/shared", "5/V1b cathode/shared"),
    ],
)
def test_rows_29_and_30_a_valve_that_draws_nothing_is_stopped(
    path: Path, plate: str, supply: str, cathode: str
) -> None:
    """Plate or screen at its supply, cathode at 0."""
    at = row(path, supply).expected
    own = row(path, plate)
    assert isinstance(at, float)
    assert own.high is not None
    assert own.high < above(path, plate) < at
    below = row(path, cathode).stop_below
    assert below is not None
    assert below.limit > 0.0


def test_row_29_a_plate_past_what_the_pair_behind_it_stands() -> None:
    """6CG7: 200 V between heater and cathode (RCA RC-30); its cathodes stand some volts above the plate they follow (a
    medium-mu triode at 2 to 4 mA is biased by 5 to 12 V: RCA RC-30 curves)."""
    limit = above(A, "5/V1 plate/left")
    assert 188.0 < limit < 195.0


def test_row_41_hum_stops_at_three_times_the_computed_and_over_50_mv() -> None:
    for path, name in ((A, "8/LS hum/left"), (B, "8/LS hum/shared"), (C, "8/LS hum/shared")):
        hum = row(path, name)
        assert isinstance(hum.expected, float)
        assert above(path, name) == pytest.approx(max(0.05, 3 * hum.expected, hum.high or 0.0), rel=0.02)


def test_hum_has_room_for_what_the_heaters_add() -> None:
    """0.3 mV at the first grid (common practice), amplified as the generator's signal is: rung 7's own rows say by what."""
    for path, hum, gain in (
        (A, "6a/LS hum/left", "7/LS gain/left"),
        (B, "6/LS hum/shared", "7/LS gain/shared"),
        (C, "6/LS hum/shared", "7/LS gain/shared"),
    ):
        driven = row(path, gain)
        assert isinstance(driven.expected, float)
        lifted = driven.expected / driven.planned.situation.stimulus_volts
        high = row(path, hum).high
        assert high is not None
        assert high >= 0.95 * 0.3e-3 * lifted


def test_the_drop_over_a_hot_grid_leak_stops_before_the_valve_drives_itself() -> None:
    """Gas current follows plate current: with k amps of it an amp, k R gm < 1 or it climbs by itself, so the drop at
    which that happens is amps / gm; or where the plate takes its 14 W (RCA RC-30), whichever is less."""
    made = ladder(A)
    standing = made.frame.physics.standing(as_it_stands(made.frame.amplifier))
    own = {k: float(np.ravel(v)[0]) for k, v in standing.part("V3").items()}
    law = valve_type("6V6GT").sections[0].law

    def amps(grid: float) -> float:
        volts = (np.array([own["plate_volts"]]), np.array([own["screen_volts"]]), np.array([grid]))
        return float(pentode_currents(law, *volts, 1.0, 1.0, 0.0)[0][0])

    grid = own["grid_volts"]
    slope = (amps(grid + 0.01) - amps(grid - 0.01)) / 0.02
    runs = amps(grid) / slope
    limit = above(A, "9/V3 grid drift/left")
    assert limit <= 1.05 * runs
    # at unmoved volts; in the amplifier HT gives way a little and its own sense resistor holds back 0.3 V
    assert 13.5 < own["plate_volts"] * amps(grid + limit) < 16.5


def test_interference_capacitors_start_at_the_peak_of_the_mains() -> None:
    """Switched off at the worst moment a Y capacitor keeps sqrt 2 of the mains; 60 V after 2 s is what IEC 62368-1 asks at
    the pins of a plug (from memory). Their charge says nothing about how long HT takes to fall."""
    rungs = {r["id"]: r for r in ladder(C).document["rungs"]}
    (plug,) = rungs["2b"]["make_safe"]["plug"]
    assert plug == {"part": "C1", "volts": pytest.approx(sqrt(2.0) * 132.0, abs=0.1)}  # EN 50160: +10 %
    assert "C1" not in rungs["9"]["make_safe"]["order"]
    assert rungs["9"]["make_safe"]["wait_seconds"] is not None
    assert sum("187 V" in line and "plug" in line for rung in rungs.values() for line in rung["cautions"]) == 1
    assert ladder(B).document["rungs"][3]["make_safe"]["plug"] == []


@pytest.mark.parametrize("file", [A, B, C])
def test_a_wait_holds_for_who_switches_off_while_it_warms(file: Path) -> None:
    """Until the cathodes are warm nothing draws, on any rung: the wait is never shorter than with nothing drawing."""
    rungs = {r["id"]: r["make_safe"] for r in ladder(file).document["rungs"]}
    for later in ("5", "7", "9", "10"):
        assert rungs[later]["wait_seconds"] >= rungs["4"]["wait_seconds"]


def test_a_capacitor_that_a_pulled_valve_leaves_on_ht_stops_the_node_at_its_own_volts(tmp_path: Path) -> None:
    """With V1 out its plate stands at HT3 and the coupling capacitor takes all of it: 350 V is then the stop of every HT node,
    though no node has it on; with V1 in, its plate is far below and the node's own capacitor is the limit again."""
    file = tmp_path / "b.toml"
    file.write_text(
        B.read_text().replace('"0.1u 630V film", "V1 plate", "drive"', '"0.1u 350V film", "V1 plate", "drive"')
    )
    stops = {r.id: r.stop_above for r in built(load(file), mode="fast").expected.readings()}
    for name in ("4/HT1 after 1 min/shared", "4/HT2/shared", "4/HT3/shared"):
        stop = stops[name]
        assert stop is not None and "C5" in stop.why, name
        assert stop.limit == pytest.approx(350.0, rel=0.01)
    assert stops["5/HT3/shared"] is not None and "C5" not in stops["5/HT3/shared"].why


def test_a_bypass_capacitor_on_the_feedback_foot_stops_its_cathode_at_its_own_volts() -> None:
    """C4 of 25 V hangs over R8 (2200) alone; under it R9 (100) and, tied to chassis at its far end, R14 (3300) are 97.06 ohm. It has
    25 V where the cathode reads 25 (2200 + 97.06)/2200 = 26.10 V, not 100 V, where its heater would have enough."""
    stop = row(B, "5/V1 cathode/shared").stop_above
    assert stop is not None and "C4 is a 25 V part" in stop.why
    foot = 100.0 * 3300.0 / 3400.0
    assert stop.limit == pytest.approx(25.0 * (2200.0 + foot) / 2200.0, rel=0.001)


def test_a_foot_of_half_the_cathode_s_ohms_is_reckoned_with_by_its_share(tmp_path: Path) -> None:
    """R9 of 1k beside 3300: 767.4 ohm under 2200, a share of 0.2586: 25 V/(1 - 0.2586) = 33.72 V."""
    file = tmp_path / "b.toml"
    file.write_text(B.read_text().replace('R9 = ["100R', 'R9 = ["1k'))
    stop = built(load(file), mode="fast").expected.by_id["5/V1 cathode/shared"].stop_above
    foot = 1000.0 * 3300.0 / 4300.0
    assert stop is not None and stop.limit == pytest.approx(25.0 / (1.0 - foot / (2200.0 + foot)), rel=0.001)


def test_live_names_what_stands_there_at_switch_on_too() -> None:
    """Until the valves are warm HT1 stands where nothing draws (rung 4's own figure), not where it settles on rung 9."""
    rungs = {r["id"]: {j["joint"]: j["volts"] for j in r["live"]} for r in ladder(B).document["rungs"]}
    cold, warm = row(B, "4/HT1 after 10 min/shared").expected, row(B, "9/HT1/shared").expected
    assert isinstance(cold, float) and isinstance(warm, float) and warm < 0.9 * cold
    for rung in ("5", "6", "9"):
        assert rungs[rung]["HT1"] == pytest.approx(cold, rel=0.005)


def test_the_volts_on_the_secondary_are_read_before_what_goes_with_them() -> None:
    ids = [r.id for r in ladder(A).expected.readings()]
    for transformer, valves in (("T2", ("V3", "V4")), ("T3", ("V7", "V8"))):
        drive = next(k for k, name in enumerate(ids) if name.startswith(f"1/{transformer} turns drive"))
        turns = [k for k, name in enumerate(ids) if any(name.startswith(f"1/{v} turns to") for v in valves)]
        assert len(turns) == 4 and drive < min(turns)
        assert ladder(A).expected.by_id[ids[drive]].planned.needs


def test_no_healthy_amplifier_reads_past_the_rating_that_a_pulled_valve_brings_to_ht(tmp_path: Path) -> None:
    """A coupling capacitor that stands all of HT while its valve is out: the dial is held so low that not even the upper end
    of the sampled band passes its rating, and what the ladder says of its own end is so."""
    file = tmp_path / "b.toml"
    file.write_text(
        B.read_text().replace('"0.1u 630V film", "V1 plate", "drive"', '"0.1u 345V film", "V1 plate", "drive"')
    )
    made = built(load(file), mode="sampled")
    rows = [
        r for r in made.expected.readings() if r.stop_above is not None and "C5 is a 345 V part" in r.stop_above.why
    ]
    assert {r.id for r in rows} >= {"4/HT1 after 1 min/shared", "4/HT2/shared", "4/HT3/shared"}
    for r in rows:
        assert r.high is not None
        assert r.high <= 345.0, r.id
        assert r.stop_above is not None
        assert not r.stop_above.cut, r.id
    (said,) = [line for line in made.document["findings"] if "C5" in line]
    assert f"the ladder ends at rung {made.document['rungs'][-1]['id']}:" in said
