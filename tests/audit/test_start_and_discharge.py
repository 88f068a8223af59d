"""Cold start and stored charge: closed forms beside them, planted parts, and the commands' JSON against their schemas."""

import json
import math
import re
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from at_hand import firstglow, started
from firstglow import schemas
from firstglow.amplifier import load
from firstglow.amplifier.roles import roles
from firstglow.amplifier.situation import Situation
from firstglow.audit.bias_holds import Hottest
from firstglow.audit.bias_lifts import switched_off
from firstglow.audit.cold_start import ColdStart, cold_start, coming
from firstglow.audit.stored import stored
from firstglow.devices.pentode import pentode_currents
from firstglow.readings.rated import section_of
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.idle import stand
from firstglow.solver.slow import Course, Moment, Slow, Stretch
from firstglow.solver.standing import SolveError

ROOT = Path(__file__).parent.parent.parent
A, B, C = (ROOT / "examples" / f"{n}.toml" for n in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty"))


@pytest.fixture(scope="module")
def hazel() -> ColdStart:
    return started(load(B))


def changed(tmp_path: Path, file: Path, old: str, new: str) -> Path:
    text = file.read_text()
    assert text.count(old) == 1, old
    copy = tmp_path / file.name
    copy.write_text(text.replace(old, new))
    return copy


def command(*words: str | Path, code: int = 0) -> subprocess.CompletedProcess[str]:
    done = firstglow(*words, code=code)
    assert all(len(line) <= 80 for line in done.stdout.splitlines()) or "--json" in words
    assert "safe to touch" not in done.stdout
    return done


def answer(*words: str | Path) -> Any:
    document = json.loads(command(*words, "--json").stdout)
    jsonschema.validate(document, schemas.load(str(words[0])))
    return document


def test_start_answers_in_json_and_draws(tmp_path: Path) -> None:
    svg = tmp_path / "start.svg"
    found = answer("start", B, "--svg", svg)
    drawn = svg.read_text()
    assert "The moments" in drawn
    # each joint's line has its own dashes, on the curve and beside its name: no colour tells them apart
    own = re.findall(r'<path stroke-dasharray="([^"]+)"', drawn)
    assert len(set(own)) == len(own) / 2 >= 2 and all(own.count(d) == 2 for d in own)
    assert found["mains_volts"] == pytest.approx(1.1 * load(B).mains_volts)  # EN 50160: +10 %
    assert {len(v) for v in found["joints"].values()} == {len(found["time_s"])}


def test_a_start_through_a_lamp_takes_longer_and_ends_on_the_standing_solution() -> None:
    """15 W before example (b) (some 35 W running): twice the heaters' time or never, HT what the standing solution gives, which
    knows no seconds; the lamp flashes and goes dim (common practice)."""
    a = load(B)
    found = answer("start", B, "--lamp", "15W")
    lamp, stages = found["lamp"], {s["what"]: s for s in found["lamp"]["stages"]}
    ht = stages["HT1 once warm"]
    standing = compile_circuit(a).solve(
        compile_circuit(a).vector(Situation(found["mains_volts"], pots=found["pots"], lamp_watts=15.0))
    )
    assert ht["with_lamp"] == pytest.approx(float(standing.dc("HT1")[0]), rel=2e-3)
    assert ht["with_lamp"] < 0.7 * ht["without"]
    assert stages["HT1 at half of its own after"]["with_lamp"] > 1.5 * stages["HT1 at half of its own after"]["without"]
    assert stages["heaters draw at first, of their rated"]["without"] == pytest.approx(5.0, rel=0.1)
    assert lamp["brightest_time_s"] < 1.0
    assert max(lamp["load"]) > 1.2 * lamp["load"][-1]
    assert command("start", B, "--lamp", "0", code=2).stdout == ""


@pytest.mark.parametrize("verb", ["start", "discharge", "reform"])
def test_mains_that_the_primary_is_not_made_for_are_refused(verb: str) -> None:
    refused = command(verb, B, "--mains-now", "2000", code=2)  # before anything is solved
    assert "2000" in refused.stderr
    assert "230" in refused.stderr
    assert refused.stdout == ""


def test_discharge_answers_in_json_and_refuses_what_is_no_resistor() -> None:
    found = answer("discharge", B)
    assert {c["part"] for c in found["capacitors"]} >= {"C1a", "C1b", "C2"}
    assert "transformer" in command("discharge", B, "--open", "T1", code=2).stderr
    assert command("discharge", B, "--open", "R99", code=2).stdout == ""


def test_unloaded_silicon_stands_at_the_peak_less_its_drops() -> None:
    """sqrt 2 x rms of the open winding, less two junctions of 0.7 V, less what the source drops while it charges: of a full
    wave with source R and load r that conducts over +-u, sin u - u cos u = pi R / 2r, so u = (3 pi R / 2r)^(1/3) and the
    volts are the peak x cos u (integrated by hand, small u; the conduction angle as O. H. Schade, Proc. IRE 31 (1943) 341, has it
    in curves). Valves out, the bleeders alone draw; the swing is over."""
    a = load(C)
    circuit = compile_circuit(a)
    p = circuit.vector(Situation(a.mains_volts, out=frozenset({"V1", "V2", "V3"})))[:, None]
    course = Slow(circuit).run([Stretch(1.0, p)])
    turns = float(p[circuit.column["T1 ht turns"], 0])
    source, bleeders = 45.0 + (turns / 120.0) ** 2 * 1.8, 1.0 / (1.0 / 150e3 + 1.0 / 363e3)
    u = (1.5 * math.pi * source / bleeders) ** (1.0 / 3.0)
    assert course.dc("HT1")[-1, 0] == pytest.approx((math.sqrt(2.0) * turns - 1.4) * math.cos(u), rel=0.005)


def test_an_unloaded_valve_rectifier_stands_at_the_peak_less_its_drops() -> None:
    """sqrt 2 x rms of the open half winding less the valve's drop less its source's, within 1 %. A plate of k V^1.5 conducts about
    the crest of the wave, which is a parabola there: d above the reservoir at the top it passes 3/8 k d^2 sqrt(2 / peak) on the
    average over both plates' half cycles (integrated by hand: the integral of (1 - x^2)^1.5 over -1 to 1 is 3 pi / 8), so
    d = sqrt(8/3 I / k sqrt(peak / 2)); k from the 5V4G's printed drop, 25 V at 175 mA (RCA RC-30). Highest mains, every other
    valve out, the bleeder alone draws. After a minute of cold start in slow time."""
    a = load(A)
    circuit = compile_circuit(a)
    mains = a.mains_volts * 1.1
    out = frozenset(str(p.envelope) for p in a.of_kind("valve"))
    p = circuit.vector(Situation(mains, out=out))[:, None]
    course = Slow(circuit).run([Stretch(60.0, p)])
    peak = math.sqrt(2.0) * 289.5 * 1.1  # measured open: 290 and 289 V at 230 V
    k, amps = 0.175 / 25.0**1.5, peak / 220e3
    d = math.sqrt(8.0 / 3.0 * amps / k * math.sqrt(peak / 2.0))
    source = 72.0 + (290.0 / 230.0) ** 2 * 15.0
    by_hand = peak - d - source * k * d**1.5
    assert course.dc("HT1")[-1, 0] == pytest.approx(by_hand, rel=0.01)
    assert course.dc("HT1").max() < peak
    assert d + source * k * d**1.5 > 0.01 * peak  # the drops are worth counting


def test_one_capacitor_falls_as_the_exponential() -> None:
    """t = RC ln(V / 60) (any textbook): C1 to C2 of example (b) hang together, so their sum against the bleeder bounds it."""
    a = load(B)
    highest = {c.name: 0.0 for c in a.of_kind("capacitor")} | {"C4": 100.0}
    part = a.parts["C4"]
    row = next(r for r in stored(a, highest, 0.0).rows if r.part == "C4")
    across = next(r for r in a.of_kind("resistor") if set(r.leads.values()) == set(part.leads.values()))
    high = [
        q.value * (1.0 + (3.0 if q.shape == "normal" else 1.0) * q.spread)
        for q in (part.values["farads"], across.values["ohms"])
    ]
    assert row.below_60 == pytest.approx(high[0] * high[1] * math.log(100.0 / 60.0), rel=0.01)
    assert row.joules == pytest.approx(0.5 * high[0] * 100.0**2, rel=1e-6)


def test_cathode_amps_end_where_the_standing_solution_stands(hazel: ColdStart) -> None:
    """The circuit's own standing solution by Newton, another road."""
    standing = hazel.circuit.solve(hazel.circuit.vector(Situation(hazel.mains)))
    row = standing.part("V2")
    wanted = float(row["plate_amps"][0] + row["screen_amps"][0])
    assert hazel.course.cathode_amps("V2")[-1, 0] == pytest.approx(wanted, rel=2e-3)


def test_fast_rectifiers_bring_the_highest_ht(hazel: ColdStart) -> None:
    """HT there before anything draws (common practice); never above sqrt 2 x rms of the open half winding."""
    peak = next(p for p in hazel.peaks if p.joint == "HT1")
    row = next(k for n, k in hazel.circuit.column.items() if n.startswith("T1 ht") and n.endswith("turns"))
    open_volts = float(hazel.circuit.nominal[row]) * hazel.mains / hazel.amplifier.mains_volts
    assert 1.1 * peak.settled < peak.high < math.sqrt(2.0) * open_volts


def test_a_capacitor_behind_the_choke_past_its_surge_volts_is_found(tmp_path: Path) -> None:
    """Planted: 450 V in place of 550 V behind the choke of example (c); 1.10 x 450 = 495 V (IEC 60384-4)."""
    text = next(line for line in C.read_text().splitlines() if line.startswith("C3 = "))
    planted = load(changed(tmp_path, C, text, text.replace("550V", "450V")))
    start = cold_start(planted, planted.mains_volts, 0.3, offs=(0.5,), again_seconds=0.1)
    stress = next(s for s in start.stresses if s.part == "C3")
    assert (stress.working, stress.surge) == (450.0, pytest.approx(495.0))
    assert stress.volts > 495.0
    assert stress.verdict == "past its surge volts"
    assert stress.at < 1.0  # the first swing, long before a cathode is warm


@pytest.mark.parametrize(("farads", "first"), [("100u", True), ("10000u", False)])
def test_a_bias_electrolytic_too_large_comes_after_the_current(tmp_path: Path, farads: str, first: bool) -> None:
    """Planted in example (a): 10 mF behind 2.7k and four presets of 40k, R C = 21 s, to nine tenths 2.3 R C = 49 s; the
    6V6GT conducts after some 10 s (common practice). As drawn its bias is there in 0.6 s. Presets where the valves idle."""
    a = load(changed(tmp_path, A, 'C5 = ["100u', f'C5 = ["{farads}'))
    circuit = compile_circuit(a)
    targets = {v: t.amps.value for v, t in a.idle.items()}
    pots = {k: float(at[0]) for k, at in stand(circuit, Situation(a.mains_volts, idle=targets)).pots.items()}
    course = Slow(circuit).run([Stretch(90.0, circuit.vector(Situation(a.mains_volts, pots=pots))[:, None])])
    output = next(o for o in roles(a).outputs if o.valve == "V3")
    found = coming(circuit, course, course, 0, output, None)
    assert found.conducts is not None
    assert 5.0 < found.conducts < 20.0
    assert (found.late, found.much) == (not first, not first)
    assert found.wanted is not None
    assert found.holds is not None
    if first:
        assert found.holds < 0.6
        return
    # by hand: the grid's part of 1 - exp(-t / 21 s), up to the volts that hold it; the presets' own share moves with their place
    assert found.holds == pytest.approx(-21.0 * math.log(1.0 - found.wanted / found.settled), rel=0.15)
    assert found.holds > found.conducts + 10.0


def test_the_bias_that_holds_is_the_one_at_which_the_hottest_valve_dissipates_its_watts(tmp_path: Path) -> None:
    """The hottest of the seven by its own law, one at a time and by halving here; 14 W is the 6V6GT's plate rating (RCA's
    later sheet, design maximum) and 2.2 W its screen's."""
    a = load(A)
    circuit = compile_circuit(a)
    course = Slow(circuit).run([Stretch(40.0, circuit.vector(Situation(a.mains_volts))[:, None])])
    output = next(o for o in roles(a).outputs if o.valve == "V3")
    hottest = Hottest(circuit, course, output)
    assert (hottest.watts, hottest.screen_watts) == (14.0, 2.2)
    law = section_of(a.parts["V3"]).law
    cathode = course.dc(output.cathode)[-1, 0]
    plate, screen, grid = (course.dc(j)[-1, 0] - cathode for j in (output.plate, output.screen or "", output.grid))
    wanted = hottest.wanted()
    needs = []
    for k in range(7):
        factors = [np.array([hottest.factors[of][k]]) for of in ("perveance", "mu", "contact")]
        low, high = grid * 3.0, 0.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            ia, ig2, _ = pentode_currents(law, np.array([plate]), np.array([screen]), np.array([middle]), *factors)
            low, high = (middle, high) if plate * ia[0] <= 14.0 and screen * ig2[0] <= 2.2 else (low, middle)
        # as much of its own idle bias as the drawn valve's is of its own
        needs.append(low / hottest.scale[k])
    assert wanted == pytest.approx(min(needs), abs=0.01)
    assert min(needs) < needs[0]  # the drawn valve is not the hottest


def test_a_bleeder_lost_is_said_and_one_is_proposed() -> None:
    """RC by hand: 32 + 47 + 22 + 22 uF of example (a) at the high end against the proposal."""
    a = load(A)
    highest = {c.name: (430.0 if c.name in {"C1", "C2", "C3a", "C3b"} else 0.0) for c in a.of_kind("capacitor")}
    kept = stored(a, highest, 253.0, ["R1"])
    assert all(r.below_60 is None or r.below_60 > 60.0 for r in kept.rows if r.part in {"C1", "C2"})
    (one,) = kept.bleeders.values()
    farads = sum(
        0.0 if c.name not in highest or not highest[c.name] else c.value("farads") for c in a.of_kind("capacitor")
    )
    assert one.across == "C1"
    assert one.seconds <= 60.0
    assert one.ohms * farads * math.log(430.0 / 60.0) < 60.0
    assert one.each_watts >= 1.0  # smaller ones stand fewer volts (common practice)
    assert one.each_watts >= 2.0 * one.each_volts**2 / one.each_ohms
    assert np.isfinite(kept.watts)
    assert kept.watts == pytest.approx(430.0**2 / 10e3)


def test_both_tables_hold_eighty_columns_and_end_in_what_to_do(
    hazel: ColdStart, capsys: pytest.CaptureFixture[str]
) -> None:
    from firstglow.cli import discharge, start
    from firstglow.cli.output import say

    kept = stored(hazel.amplifier, hazel.highest, hazel.mains)
    for lines in (start._lines(hazel, kept), discharge._lines(hazel.amplifier, kept)):
        for line in lines:
            say(line)
        said = capsys.readouterr().out
        assert max(len(line) for line in said.splitlines()) <= 80
        assert "below 10 V dc" in said
        assert "The clip stays on" in " ".join(said.split())
        assert "safe to touch" not in said


def test_a_bias_that_lets_go_again_is_told_with_the_current_that_lifts_it() -> None:
    """V4 of example (a), whose half of the pair draws last: its plate runs up with HT and charges C14 through the grid leak. By the slow
    solution's own currents at the plate: what comes through R19 and not into the valve goes into C14, and all of it through R26."""
    start = started(load(A))
    cold = {v.valve: v for v in start.valves if v.off is None}
    lift = cold["V4"].lift
    assert lift is not None and cold["V3"].lift is None
    assert (lift.by, lift.through) == ("left C14", "left R26")
    assert lift.first < 1.0 < lift.begin < lift.end == pytest.approx(cold["V4"].holds)
    course = start.course
    k = int(np.abs(course.seconds - 0.5 * (lift.begin + lift.end)).argmin())
    over = (course.dc("HT3")[k, 0] - course.dc("V2b plate")[k, 0]) / 36e3 - course.cathode_amps("V2b")[k, 0]
    assert lift.amps == pytest.approx(float(over), rel=0.05)
    assert lift.volts == pytest.approx(float(over) * 220e3, rel=0.05)
    said = " ".join(command("start", A).stdout.split())
    assert (
        "V4, V8: the bias held from 0.55 s, and lets go once more" in said
        and "left C14 charges through left R26, 16 µA" in said
    )
    rows = {r["valve"]: r for r in answer("start", A)["valves"] if r["off_s"] is None}
    assert rows["V3"]["lifted"] is None and rows["V4"]["lifted"]["by"] == "left C14"


def test_switched_off_warm_the_bias_outlasts_ht_or_it_is_told(tmp_path: Path) -> None:
    """As drawn 47 and 100 uF behind 12.7k outlast the HT (RC). Planted: 2 uF each, gone in some 20 ms, while HT has 79 uF: the valves
    draw well over their idle."""
    drawn = {r.valve: r for r in started(load(A)).switched_off}["V3"]
    assert drawn.most <= 1.01 * drawn.idle
    assert drawn.bias_half is not None and drawn.ht_half is not None and drawn.bias_half > drawn.ht_half
    small = changed(tmp_path, A, 'C4 = ["47u', 'C4 = ["2u')
    small = changed(tmp_path, small, 'C5 = ["100u', 'C5 = ["2u')
    a = load(small)
    circuit, targets = compile_circuit(a), {v: t.amps.value for v, t in a.idle.items()}
    pots = {k: float(at[0]) for k, at in stand(circuit, Situation(a.mains_volts, idle=targets)).pots.items()}
    on, off = (circuit.vector(Situation(volts, pots=pots))[:, None] for volts in (1.1 * a.mains_volts, 0.0))
    slow = Slow(circuit)
    gone = slow.run([Stretch(0.3, off)], slow.run([Stretch(30.0, on)]).end)
    planted = switched_off([gone], next(o for o in roles(a).outputs if o.valve == "V3"), fixed=True)
    assert planted.bias_half is not None and planted.bias_half < 0.1
    assert planted.most > 1.5 * planted.idle
    assert "none draws more than its idle. HT is at half" in " ".join(command("start", A).stdout.split())


def test_the_highest_of_a_start_is_the_one_that_its_capacitors_meet() -> None:
    rows = command("start", A).stdout
    joint = next(line.split() for line in rows.splitlines() if line.startswith("HT1"))
    part = next(line.split() for line in rows.splitlines() if line.startswith("  C1 "))
    assert joint[1] == part[1] and "Off is off for a minute" in " ".join(rows.split())
    bare = " ".join(command("start", B).stdout.split())
    assert "its preset" not in bare and "bias last" not in bare and "the reservoir first" in bare


def test_a_restart_that_is_not_worked_out_leaves_the_cold_start_standing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where the first moments of an off and on would not settle, all of it was thrown away with "check the parts"."""
    run = Slow.run

    def only_cold(self: Slow, stretches: Sequence[Stretch], begin: Moment | None = None) -> Course:
        if begin is not None and stretches[0].values[self.circuit.column["mains volts"], 0] > 0.0:
            raise SolveError("would not go on 62.000 s after switching; check the parts", "")
        return run(self, stretches, begin)

    monkeypatch.setattr(Slow, "run", only_cold)
    found = cold_start(load(B), seconds=20.0)
    assert found.no_restart and not found.offs and not found.switched_off
    assert [v.off for v in found.valves] == [None]
    assert {s.when for s in found.stresses} == {"cold start"}
