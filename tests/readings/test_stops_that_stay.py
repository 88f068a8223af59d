"""No stop vanishes in silence, none stands where its own fault cannot reach it: output cathodes, capacitors, gas tubes.

Hand sums beside each; common practice where they say so.
"""

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from at_hand import built
from firstglow.amplifier import Bench, load
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.gear import gear_of
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.plan import frame_of
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.hotter import reading_at
from firstglow.readings.limit import Limit
from firstglow.readings.meters import digital
from firstglow.readings.taken import parse_taken
from firstglow.readings.tightest import tightest
from firstglow.readings.verdict import verdict

DATA = Path(__file__).parent.parent / "data"
EXAMPLES = Path(__file__).parent.parent.parent / "examples"


@cache
def text(name: str) -> str:
    return (DATA / f"{name}.toml").read_text(encoding="utf-8")


@cache
def pair() -> Ladder:
    return built(load(text("pair-on-one-pot")), mode="fast")


def no_idle(**how: Any) -> Ladder:
    """The pair with no idle stated of either valve: the watts are the only stop of what a cut-off one may pass."""
    return built(load(text("pair-on-one-pot").replace(', idle = "45m", set_by = "P1"', "")), **how)


# The same volts at the cathode from a reservoir: for what does not hang on the choke input, at half the work.
RESERVOIR = (("450-0-450V", "322-0-322V"), ('L1 = ["', 'C0 = ["10u 630V", "HTr", "chassis"]\nL1 = ["'))


def triode(*changes: tuple[str, str]) -> Ladder:
    written = text("triode-on-a-choke")
    for old, new in changes:
        assert old in written
        written = written.replace(old, new)
    return built(load(written), mode="fast")


def row(ladder: Ladder, name: str) -> ExpectedReading:
    return ladder.expected.by_id[f"{name}/shared"]


def judged(ladder: Ladder, name: str, value: str) -> str:
    (one,) = verdict(ladder.expected, parse_taken(f'[readings]\n"{name}/shared" = "{value}"\n')).verdicts
    return one.verdict


# -- a valve that is cut off --------------------------------------------------------------------------------------
def test_a_valve_that_is_cut_off_has_its_watts_for_a_stop() -> None:
    """-55 V at the grid of a 6L6GC whose file gives no idle. 30 W over the 375 V of HT with nothing drawing are 80 mA, 0.80 V
    on 10 ohm; HT sags by some 60 V under 100 mA, and 5 % are the screen's: 0.8 to 1.0 V. 2 V are 200 mA."""
    ladder = no_idle(mode="fast")
    found = row(ladder, "6/V3 cathode lamp out").stop_above
    assert found is not None and 0.75 < found.limit < 1.05
    assert judged(ladder, "6/V3 cathode lamp out", "2.0 V") == "switch off now"


def test_a_path_that_ends_short_of_the_limit_tells_it_in_proportion() -> None:
    """20 W at 2 V: 30 W at 3 V on the same plate volts; a valve that draws nothing at all tells nothing."""
    shown, watts = np.array([0.5, 2.0, 1.9]), np.array([6.0, 20.0, 19.0])
    assert reading_at(shown, watts, 30.0) == pytest.approx(3.0)
    assert reading_at(shown, watts, 13.0) == pytest.approx(1.25)
    assert reading_at(np.zeros(3), np.zeros(3), 30.0) is None


def test_the_hottest_of_a_cut_off_valve_is_the_same_by_slopes_as_by_samples() -> None:
    """A plate's watts over its own cathode's volts differ by HT and the screen's share alone, some percent, cut off or not; by
    slopes a cut-off valve had volts without watts, and the hottest "twice the watts"."""
    fast, sampled = no_idle(mode="fast"), no_idle(mode="sampled", samples=400)
    one, two = (row(ladder, "6/V3 cathode lamp out").stop_above for ladder in (fast, sampled))
    assert one is not None and two is not None
    assert one.limit == pytest.approx(two.limit, rel=0.03)


# -- what stands in a cathode ---------------------------------------------------------------------------------------
def test_a_triode_with_much_in_its_cathode_is_stopped_at_what_stands_there() -> None:
    """300B on 1 kohm: 100 mA are 100 V; its resistor of 15 W takes them at sqrt(15 x 1000) = 122 V (Ohm's law)."""
    plain = triode()
    for name in ("6/V2 cathode lamp out", "9/V2 cathode after 10 min"):
        found = row(plain, name).stop_above
        assert found is not None and found.limit == pytest.approx(100.0)
    assert judged(plain, "6/V2 cathode lamp out", "150 V") == "switch off now"
    weak = triode(*RESERVOIR, ('R6 = ["1k 15W 5%"', 'R6 = ["1k 8W 5%"'))
    stop = row(weak, "6/V2 cathode lamp out").stop_above
    assert stop is not None and stop.limit == pytest.approx(8e3**0.5, abs=0.11) and "R6" in stop.why


def test_no_reading_across_a_capacitor_goes_on_above_its_volts() -> None:
    """A bypass of 80 V across a healthy 65 V, read up to 75 V by healthy ones: 85 V is past it."""
    ladder = triode(*RESERVOIR, ('C6 = ["100u 100V"', 'C6 = ["100u 80V"'))
    stop = row(ladder, "6/V2 cathode lamp out").stop_above
    assert stop is not None and stop.limit == pytest.approx(80.0) and "C6" in stop.why
    assert judged(ladder, "6/V2 cathode lamp out", "85 V") == "switch off now"


def test_every_dc_reading_across_a_capacitor_has_its_volts_among_its_stops() -> None:
    for ladder in (pair(), triode(), *(built(load(f), mode="fast") for f in sorted(EXAMPLES.glob("*.toml")))):
        rated = ladder.frame.rated
        for r in ladder.expected.readings():
            probe, at = r.planned.probe, r.planned.situation
            if probe.kind != "dc volts" or probe.quantity != "volts" or at.mains_volts == 0.0:
                continue
            for name, volts in rated.items():
                leads = ladder.frame.part(name).leads
                if set(leads.values()) == {probe.red, probe.black}:
                    up = probe.red == leads["+"]
                    stop = r.stop_above if up else r.stop_below
                    assert stop is not None and abs(stop.limit) <= volts, (r.id, name)


# -- the near side of nothing ---------------------------------------------------------------------------------------
ON = digital().range_for("dc volts", 50.0)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_limit_that_gives_way_stays_on_its_own_side_of_nothing(sign: float) -> None:
    """44.9 V expected, healthy ones from 6.1: half of it gives way to them, never to -13.3 V, which no dead cathode reads."""
    side = "below" if sign > 0 else "above"
    limit = Limit(side, sign * 22.45, "bypass shorted", physical=False)  # type: ignore[arg-type]
    low, high = sorted((sign * 6.1, sign * 71.7))
    stops = tightest([limit], low, high, ON, str, sign * 44.9, sign * 44.9)
    stop = stops[0] if sign > 0 else stops[1]
    assert stop is not None and 5 * ON.limits(0.0) < sign * stop.limit < 6.1
    assert not stop.cut


def test_a_limit_that_no_reading_could_reach_is_none() -> None:
    """Healthy ones read nothing too: a stop at nothing or beyond it stops nothing."""
    limit = Limit("below", 1.1, "bypass shorted", physical=False)
    assert tightest([limit], -0.02, 8.98, ON, str, 2.13, 2.13) == (None, None)


def test_no_lower_stop_of_a_size_is_past_nothing() -> None:
    for ladder in (pair(), triode(*RESERVOIR, ('R6 = ["1k 15W 5%"', 'R6 = ["820R 15W 5%"'))):
        for r in ladder.expected.readings():
            if isinstance(r.expected, float) and r.expected > 0.0 and r.stop_below is not None:
                ratio = [rule for rule in r.planned.stops if rule.rule == "ratio" and rule.side == "below"]
                assert not ratio or r.stop_below.limit > 0.0, r.id


# -- gas tubes --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("tube", "running"), [("V7", 150.0), ("V8", 75.0)])
def test_a_gas_tube_is_stopped_just_above_its_running_volts(tube: str, running: float) -> None:
    """150 V and 150 ohm at 30 mA are 154.5 V (79.5 V); tubes differ by 3 % either way, and half of a band is room: within 10 %
    (15 %) of that, never twice the volts."""
    for rung in ("4", "5", "9"):
        stop = row(pair(), f"{rung}/{tube} across").stop_above
        assert stop is not None and running + 4.5 <= stop.limit < 1.15 * (running + 4.5)
    assert judged(pair(), f"9/{tube} across", "280 V") == "switch off now"


def test_a_tube_past_its_most_with_the_output_valves_out_is_a_finding() -> None:
    """HT less what the tubes hold, over R1 (Ohm's law), for 30 mA tubes: with 4.3 kohm past them, with 5.6 kohm not."""
    over = built(load(text("pair-on-one-pot").replace('R1 = ["4k7 10W 5%"', 'R1 = ["4k3 10W 5%"')), mode="fast")
    told = [f for f in over.document["findings"] if f.startswith("OVERRUN")]
    amps = (row(over, "4/HT2").expected - row(over, "4/V2 screen").expected) / 4300.0
    assert amps > 0.0301
    assert len(told) == 2 and all("rungs 4 and 5" in f for f in told)
    assert all(float(f.split("carries ")[1].split(" mA")[0]) == pytest.approx(amps * 1e3, rel=0.01) for f in told)
    more = load(text("pair-on-one-pot").replace('R1 = ["4k7 10W 5%"', 'R1 = ["5k6 10W 5%"'))
    plan = frame_of(more, gear_of(Bench(), digital(), more.mains_volts), SolverPhysics(more))
    assert not [f for f in plan.findings if f.startswith("OVERRUN")]


def test_a_screen_behind_gas_tubes_that_stands_at_ht_is_a_switch_off() -> None:
    """234 V behind the tubes, 375 V where they do not glow."""
    assert judged(pair(), "4/V2 screen", "375 V") == "switch off now"
