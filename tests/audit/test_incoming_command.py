"""``firstglow incoming`` against Ohm's law by hand, brute force and the trade's figures; its words and its refusals."""

import json
import re
from functools import cache
from math import pi
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner

from at_hand import audited_cold, sorrel_of_500_volts, standing, standing_cold
from firstglow import schemas
from firstglow.amplifier import Fault, Situation, SituationError, load
from firstglow.audit.incoming import document, incoming, typed
from firstglow.audit.order import document as order
from firstglow.cli.incoming import command
from firstglow.readings.meters import ReadingsError, meter_named
from firstglow.solver.circuit import compile_circuit

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
A, B, C = (EXAMPLES / f"{n}.toml" for n in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty"))


@pytest.fixture(autouse=True)
def stands_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A meter, a reading, a name change nothing of how the amplifier stands."""
    monkeypatch.setattr("firstglow.audit.incoming.stood", standing)
    monkeypatch.setattr("firstglow.audit.parts.stood", standing)


@cache
def told(file: Path, measured: str = "", meter: str = "digital") -> dict[str, Any]:
    found = document(incoming(load(file), meter_named(meter), measured=typed([measured])))
    jsonschema.validate(json.loads(json.dumps(found, allow_nan=False)), schemas.load("incoming"))
    return found


def of(rows: list[dict[str, Any]], name: str, key: str = "part") -> dict[str, Any]:
    return next(r for r in rows if r[key] == name)


@pytest.mark.parametrize("file", [A, B, C], ids=lambda f: f.stem)
def test_every_capacitor_and_valve_of_the_file_once(file: Path) -> None:
    amplifier, found = load(file), told(file)
    assert [r["part"] for r in found["capacitors"]] == [p.name for p in amplifier.of_kind("capacitor")]
    assert [r["valve"] for r in found["valves"]] == [p.name for p in amplifier.of_kind("valve", "rectifier")]
    for r in found["capacitors"]:
        assert r["test_volts"] <= (r["rated_volts"] or 1e9) or r["how"] == "insulation tester"
        if r["good_volts"] is not None:
            assert 0 < r["good_volts"] <= r["reject_volts"] < r["test_volts"]
            assert r["source"] and r["doubt"]


def test_a_coupling_capacitor_by_hand() -> None:
    """IEC 60384-2 (from memory): 15 Gohm or 5000 s, at 0.1 uF the 15 Gohm; ten times worse is rejected unless 0.1 V over its
    220 kohm leak comes first (0.45 uA: later). On 10 Mohm: V 10 / (15000 + 10), V 10 / (1500 + 10)."""
    row = of(told(A)["capacitors"], "left C13")
    assert row["how"] == "meter in its lead" and (row["lead"], row["joint"]) == ("-", "left drive a")
    assert row["situation"] == "output valves out"
    volts = row["test_volts"]
    assert row["good_volts"] == pytest.approx(volts * 10 / 15010, rel=1e-6)
    assert row["reject_volts"] == pytest.approx(volts * 10 / 1510, rel=1e-6)


def test_an_electrolytic_on_its_rail_by_hand() -> None:
    """IEC 60384-4 (from memory): 0.01 C U, 0.04 C U rejected: 47 uF at its rail's volts, through 82 kohm beside the meter's
    10 Mohm; the leak is in proportion to what is left for it."""
    row = of(told(A)["capacitors"], "C2")
    assert row["how"] == "resistor in its lead" and row["lead"] == "+" and row["series_ohms"] == 82e3
    volts, across = row["test_volts"], 1 / (1 / 82e3 + 1 / 10e6)
    for share, key in ((0.01, "good_volts"), (0.04, "reject_volts")):
        leak = volts / (share * 47e-6 * volts)
        assert row[key] == pytest.approx(volts * across / (across + leak), rel=1e-6)
    assert volts / row["series_ohms"] < 5e-3


def test_like_parts_have_one_law_whichever_way_they_are_tested() -> None:
    """Sorrel's C2 behind the rectifier and C3 behind the choke, both new 47 uF: 0.01 C U (IEC 60384-4, from memory) good, 0.04 C U the
    widest that makers sell. C2's bleeder and the 22 kohm that C3 feeds on bring them nothing."""
    one, two = (of(told(C)["capacitors"], name) for name in ("C2", "C3"))
    for row in (one, two):
        assert row["good_amps"] == pytest.approx(0.01 * 47e-6 * row["test_volts"])
        assert row["reject_amps"] == pytest.approx(0.04 * 47e-6 * row["test_volts"])
    old = document(incoming(load(C), meter_named("digital"), parts=["C2", "C3"], age="old"))["capacitors"]
    # JAN-C-62 above 350 V: 0.04 mA a microfarad and 0.3 mA more
    assert [row["reject_amps"] for row in old] == pytest.approx([(0.04 * 47 + 0.3) * 1e-3] * 2)


@pytest.mark.parametrize("file", [A, B, C], ids=lambda f: f.stem)
def test_ohms_law_holds_on_the_row(file: Path) -> None:
    """What the bracket has is what passes while the meter shows it: volts over the resistor beside the meter's 10 Mohm."""
    for row in told(file)["capacitors"]:
        if row["how"] not in ("resistor in its lead", "supply of its own", "battery"):
            continue
        across = 1 / (1 / row["series_ohms"] + 1 / 10e6)
        for name in ("good", "reject"):
            assert row[f"{name}_flows_amps"] * across == pytest.approx(row[f"{name}_volts"])
            # and the capacitor has the rest of the volts: its leak in proportion
            left = row["test_volts"] - row[f"{name}_volts"]
            assert row[f"{name}_flows_amps"] == pytest.approx(row[f"{name}_amps"] * left / row["test_volts"], rel=1e-6)


def test_the_printed_bracket_is_what_flows() -> None:
    """Volts over ohms, by what stands on the screen."""
    text = CliRunner().invoke(command, [str(C), "C3"]).output
    volts, amps = (float(x) for x in re.findall(r"never over (\d+) V \((\d+) µA\)", text)[0])
    ohms = of(told(C)["capacitors"], "C3")["series_ohms"]
    assert amps * 1e-6 * ohms == pytest.approx(volts, rel=0.03)  # two figures are printed; 10 Mohm beside it


def test_what_it_must_stand_is_beside_what_it_is_tried_at() -> None:
    """Hazel's coupling capacitor is tried with the output valves out; with nothing drawing none passes its plate's resistor, and
    all of HT stands across it: 395 V at 253 V mains (as at the reservoir, ``test_mains_planted``)."""
    row = of(told(B)["capacitors"], "C5")
    assert row["must_stand_volts"] == pytest.approx(395.0, rel=0.01) and row["test_volts"] < 200.0
    text = " ".join(CliRunner().invoke(command, [str(B), "C5"]).output.split())
    assert f"up to {row['must_stand_volts']:.0f} V there ({row['must_stand_in']})" in text
    assert "which this does not try" in text and row["begin_on"] == "600 V"  # the meter meets them too


def test_only_an_electrolytic_has_a_minus() -> None:
    text = CliRunner().invoke(command, [str(C), "C7", "C3"]).output
    assert "C7 (its lead at V2 grid off)" in text and "C3 (+ off HT2)" in text


def test_where_each_kind_is_tested() -> None:
    hows = {r["part"]: r["how"] for f in (B, C) for r in told(f)["capacitors"]}
    assert hows["C1a"] == "supply of its own"  # first behind the rectifier: no rail without it
    assert hows["C1b"] == "resistor in its lead"
    assert hows["C10"] == "battery"  # 27 V
    assert hows["C1"] == "insulation tester"  # class Y


def test_a_meter_of_20_kohm_a_volt_cannot_see_a_good_film_capacitor() -> None:
    """20 nA through 50 kohm (2.5 V range) is a millivolt: under any pointer's width."""
    rows = told(A, meter="20k")["capacitors"]
    assert of(rows, "left C13")["too_little_for_the_meter"] and not of(rows, "C2")["too_little_for_the_meter"]
    text = CliRunner().invoke(command, [str(A), "left C13", "--meter", "20k"]).output
    assert "1 min: too little for this meter" in text and "1 min: good under" not in text


def test_gas_is_grid_current_times_the_grid_leak() -> None:
    """2 uA through 220 kohm and 2.2 kohm of stopper, a 10 Mohm meter across: by Ohm's law, within 1 % (the valve's own grid
    current bends it a little). A planted gassy valve shows the same in the standing solution."""
    row = of(told(A)["valves"], "V3", "valve")["gas"]
    ohms = 1 / (1 / 222.2e3 + 1 / 10e6)
    assert row["good_volts"] == pytest.approx(0.5e-6 * ohms, rel=0.01)
    assert row["reject_volts"] == pytest.approx(2e-6 * ohms, rel=0.01)
    amplifier = load(A)
    circuit = compile_circuit(amplifier)
    found = incoming(amplifier, meter_named("digital"), parts=["V3"])
    ratio = 2e-6 / 0.0245  # about what its plate then draws
    laid = circuit.vector(Situation(230.0, pots=found.stood.pots), (Fault("V3", "gassy", ratio),))
    sick = circuit.solve(laid)
    drop = float((sick.dc("V3 grid") - sick.dc("left bias a"))[0])
    assert drop * 10e6 / (10e6 + 222.2e3) == pytest.approx(row["reject_volts"], rel=0.05)
    assert row["idle_reject_amps"] > row["idle_amps"]
    # 235 kohm of the 100 that a 6V6GT's sheet allows with fixed bias: never doubled; the 82 kohm ordered by Ohm's law
    assert row["idle_doubled_reject_amps"] is None and row["leak_most_ohms"] == 100e3
    assert row["ordered_leak_ohms"] == 82e3
    assert row["ordered_reject_volts"] == pytest.approx(2e-6 / (1 / 84.2e3 + 1 / 10e6), rel=0.01)
    # an EL34 with cathode bias may have 700 kohm: its 330 may be doubled
    free = of(told(C)["valves"], "V2", "valve")["gas"]
    assert free["idle_doubled_reject_amps"] > free["idle_reject_amps"] and free["ordered_leak_ohms"] is None


def test_a_plug_in_the_input_holds_the_first_grid() -> None:
    """With nothing in it 500 kohm and 1 Mohm side by side and 4.7 kohm: 0.5 uA is 0.169 V, 3 % less on 10 Mohm."""
    row = of(told(B)["valves"], "V1", "valve")["gas"]
    assert row["input_empty"] and row["idle_reject_amps"] is None
    ohms = 1 / (1 / (1e6 / 3 + 4.7e3) + 1 / 10e6)
    assert row["reject_volts"] == pytest.approx(0.5e-6 * ohms, rel=0.01)


def test_heater_to_cathode_by_hand() -> None:
    """Half the heater's volts through 10 and 1 Mohm. Example (a): onto 1 Mohm beside the meter's 10 (sense resistor off); (c):
    the split load's cathode on 47 kohm and 1.5 kohm with the other things at it, 5 % (they take some). Example (b): a bypass
    of 100 uF is 32 ohm at 50 Hz, 0.1 mV of the worst: nothing to read, so in the hand."""
    row = of(told(A)["valves"], "V3", "valve")["heater_to_cathode"]
    volts, across = 6.363 / 2, 10 / 11 * 1e6
    assert row["method"] == "its cathode's lead off" and row["lead_off"] == "left R25"
    assert row["good_volts_ac"] == pytest.approx(volts * across / (across + 10e6), rel=2e-3)
    assert row["reject_volts_ac"] == pytest.approx(volts * across / (across + 1e6), rel=2e-3)
    split = of(told(C)["valves"], "V1b", "valve")["heater_to_cathode"]
    assert split["method"] == "at its cathode"
    assert split["reject_volts_ac"] == pytest.approx(6.35 / 2 * 48.5e3 / 1.0485e6, rel=0.05)
    assert 3.2 / (2 * pi * 50 * 100e-6) / 1e6 * 6.3 / 2 < 5e-3
    assert of(told(B)["valves"], "V2", "valve")["heater_to_cathode"]["method"] == "in the hand, hot"


def test_what_a_healthy_valve_draws() -> None:
    """Spread of perveance 8 % and mu 3 % (one sigma). Cathode bias: 20 % of perveance moves 4 to 8 % (worked examples), so a
    band of two sigma and the parts' own 5 % is 4 to 12 % either way. Fixed bias 17 % and 12 to 21 % for 5 % of mu: wider
    by far, 20 to 50 %."""
    el84 = of(told(B)["valves"], "V2", "valve")
    half = (el84["amps_high"] - el84["amps_low"]) / 2 / el84["amps"]
    assert 0.04 < half < 0.12
    v3 = of(told(A)["valves"], "V3", "valve")
    half = (v3["amps_high"] - v3["amps_low"]) / 2 / v3["amps"]
    assert 0.20 < half < 0.50
    assert v3["volts"] == pytest.approx(0.240, rel=1e-3)  # 24 mA in 10 ohm
    assert v3["limit_amps"] > v3["amps_high"] and v3["reaches"] == 1.0
    assert v3["grid_low"] < -26 < v3["grid_high"]


def test_plate_limit_by_hand() -> None:
    """EL84, 12 W (Philips, from memory) on the volts plate to cathode, and the screen's share on top."""
    found = incoming(load(B), meter_named("digital"), parts=["V2"])
    row = found.draws[0]
    stood = found.stood
    k = next(n for n, w in enumerate(stood.ways) if w.text == "running")
    dc = {j: float(stood.dc(j)[k]) for j in ("V2 plate", "V2 cathode", "V2 screen", "HT2")}
    screen = (dc["HT2"] - dc["V2 screen"]) / 100.0
    plate = dc["V2 cathode"] / 240.0 - screen
    assert row.limit_amps == pytest.approx(12.0 / (dc["V2 plate"] - dc["V2 cathode"]) * (1 + screen / plate), rel=0.01)


PLANTED = "C7=0.221u 0.214u 0.219u,R11=47.3k,R12=46.8k,V2=57m,V3=45V,C9=0.4V,C3=90V,C6=3G,R1=190k,R2=24k,R13=331k"


def test_planted_parts_are_told_good_doubtful_and_never_fit() -> None:
    """R1 27 % high, R2 9 % high of 5 %; V3's cathode at 45 V: 96 mA in an EL34 of 25 W; C3 90 V over 100 kohm: near 0.9 mA where
    0.04 C U is 0.79; C9 0.4 V on 10 Mohm between 15 and 1.5 Gohm; C6 3 Gohm between them too."""
    rows = {r["label"]: r["verdict"] for r in told(C, PLANTED)["measured"]}
    assert rows == {
        "C7 no. 1": "good", "C7 no. 2": "good", "C7 no. 3": "good", "R11": "good", "R12": "good", "V2": "good",
        "V3": "never fit", "C9": "doubtful", "C3": "never fit", "C6": "doubtful", "R1": "never fit", "R2": "doubtful",
        "R13": "good",
    }  # fmt: skip


def test_what_the_order_list_puts_in_is_judged_against_it() -> None:
    """Linden's grid leak may be 100 kohm (6V6GT, fixed bias) and its bias network has 15 of them: 82 k is the E24 value that is left.
    Its rectifier may feed 10 uF: 8.2 uF is E12's next. What was ordered is good, what is 27 % off both is not, the drawn value is told."""
    found = told(A, "left R22=82k 60k 221k,C1=8.3u")
    rows = {(r["part"], r["value"]): (r["verdict"], r["why"]) for r in found["measured"]}
    verdict, why = rows["left R22", 82e3]
    assert verdict == "good" and "of 82 kΩ" in why and "in place of the 220 kΩ drawn" in why
    assert rows["left R22", 60e3][0] == "never fit" and "-26.8 % of 82 kΩ" in rows["left R22", 60e3][1]
    verdict, why = rows["left R22", 221e3]
    assert verdict == "doubtful" and "but firstglow parts orders 82 kΩ here" in why
    assert rows["C1", 8.3e-6][0] == "good" and "in place of the 32 µF drawn" in rows["C1", 8.3e-6][1]
    text = CliRunner().invoke(command, [str(A), "--measured", "C1=8.3u"]).output
    assert text.index("MEASURED") < text.index("IN THE ORDER LIST") and "CAPACITORS" not in text
    assert "firstglow incoming FILE C1" in text


def test_the_leak_of_what_was_ordered_is_held_to_its_own_farads() -> None:
    """A new 8.2 uF at what stands there: 0.01 C U (IEC 60384-4) is 33 uA of 399 V; on 82 kohm 2.6 V. The 32 uF drawn may leak 3.9
    times that."""
    found = told(A, "C1=2.4V 5V")
    (new, *_) = found["ordered_capacitors"]
    assert new["farads"] == 8.2e-6 and new["good_amps"] == pytest.approx(0.01 * 8.2e-6 * new["test_volts"])
    drawn = of(found["capacitors"], "C1")
    assert drawn["good_amps"] / new["good_amps"] == pytest.approx(32 / 8.2, rel=1e-6)
    assert [r["verdict"] for r in found["measured"] if r["part"] == "C1"] == ["good", "doubtful"]
    film = next(r for r in found["ordered_capacitors"] if r["kind"] == "polypropylene")
    # IEC 60384-16 (from memory): 30 Gohm or 10000 s, at 8.2 uF the seconds
    assert film["good_amps"] == pytest.approx(film["test_volts"] * 8.2e-6 / 10000)
    assert film["across_ohms"] == pytest.approx(
        1 / (1 / film["series_ohms"] + 1 / 10e6)
    )  # across the resistor, as its steps say


def test_the_order_is_the_one_that_parts_prints(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every resistor and capacitor of the order list of a Sorrel of 500 V, asked for by name here; both without the hot restart."""
    monkeypatch.setattr("firstglow.audit.incoming.stood", standing_cold)
    amplifier = load(sorrel_of_500_volts())
    lines = {
        (name, line["what"])
        for line in order(audited_cold(amplifier))
        for name in line["for"]
        if amplifier.parts[name].kind in ("resistor", "capacitor") and any(unit in line["what"] for unit in "FΩ")
    }
    assert len(lines) >= 3
    found = document(incoming(amplifier, meter_named("digital"), parts=sorted({name for name, _ in lines})))
    assert lines <= {(o["part"], o["text"]) for o in found["ordered"]}


def test_pairs_are_told_with_what_they_leave_apart() -> None:
    found = told(C, PLANTED)
    coupling = next(r for r in found["match"] if r["what"] == "coupling capacitors")
    assert coupling["values"] == [0.221e-6, 0.219e-6] and coupling["within"]
    assert coupling["apart"] == pytest.approx(221 / 219 - 1)
    loads = next(r for r in found["match"] if r["what"] == "plate loads of the splitter")
    assert set(loads["places"]) == {"R11", "R12"} and not loads["within"]  # 1.1 % where 1 % is wanted
    assert found["left_over"] == ["C7 no. 2"]


def test_best_pairs_are_spread_over_both_channels() -> None:
    """Four places and five capacitors: 97 with 99, 100.5 with 101 leave 103 over (least squares of the ratios, by hand: 2.1 %
    and 0.5 %; 101 with 103 instead would leave 2.0 and 1.5). The splitter's 33k and 36k are matched by their shares."""
    found = told(A, "C13=0.101u 97n 103n 99n 100.5n,left R18=33.3k,left R19=36.4k,V3=21m,V4=27.5m,V7=22m,V8=24m")
    rows = [r for r in found["match"] if r["what"] == "coupling capacitors"]
    assert {r["channel"] for r in rows} == {"left", "right"}
    assert sorted(sorted(r["values"]) for r in rows) == [[97e-9, 99e-9], [100.5e-9, 101e-9]]
    assert found["left_over"] == ["C13 no. 3"]
    loads = next(r for r in found["match"] if r["places"] == ["left R18", "left R19"])
    assert loads["apart"] == pytest.approx(36.4 / 36 / (33.3 / 33) - 1, rel=1e-6) or loads["apart"] == pytest.approx(
        33.3 / 33 / (36.4 / 36) - 1, rel=1e-6
    )
    valves = [r for r in found["match"] if r["what"] == "output valves, by idle"]
    assert sorted(sorted(r["values"]) for r in valves) == [[0.021, 0.022], [0.024, 0.0275]]
    assert sorted(r["within"] for r in valves) == [False, True]


def test_a_readings_file_names_parts(tmp_path: Path) -> None:
    file = tmp_path / "in.toml"
    file.write_text('mains = 236\n[readings]\n"C5" = "0.101u"\n"V2" = "36m"\n')
    done = CliRunner().invoke(command, [str(B), "--readings", str(file), "C5", "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.output)["mains"] == 236
    rows = json.loads(done.output)["measured"]
    assert [(r["part"], r["value"]) for r in rows] == [("C5", 0.101e-6), ("V2", 0.036)]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--measured", "C99=1u"], "'C99' is no part here"),
        (["--measured", "C5"], "try --measured C7=0.101u"),
        (["--measured", "C5=10m"], "1000 times apart"),
        (["--measured", "P1=3"], "'P1' is a pot"),
        (["--measured", "C5=-1u"], "more than nothing"),
        (["--measured", "R1=0.1u"], 'a value in ohms; try "4k7"'),
        (["T1"], "'T1' is a transformer"),
        (["C99"], "'C99' is no part here"),
        (["--meter", "30k"], "not on this bench"),
    ],
)
def test_bad_input_is_told_with_a_remedy(words: list[str], said: str) -> None:
    done = CliRunner().invoke(command, [str(B), *words])
    assert isinstance(done.exception, (ReadingsError, SituationError)), done.exception
    assert said in str(done.exception) and "try " in str(done.exception)


@pytest.mark.parametrize("file", [A, B, C], ids=lambda f: f.stem)
def test_the_sheet_holds_eighty_columns_and_its_cautions(file: Path) -> None:
    done = CliRunner().invoke(command, [str(file), "--age", "old"])
    assert done.exit_code == 0, done.output
    assert max(map(len, done.output.splitlines())) <= 80
    for words in (
        "High voltage kills",
        "below 10 V",
        "one hand",
        "made safe",
        "never fitted",
        "TO BE ALIKE" if file != B else "VALVES",
    ):
        assert words in done.output
    assert "safe to touch" not in done.output
