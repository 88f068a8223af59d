"""Windings, what hangs on them, and the fuses: counted once, guessed alike, judged alike on every page."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from parts_at_hand import A, B, C, audited, made, of, without_restart

from at_hand import firstglow
from drawn import HEAD, stage
from firstglow.amplifier import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.amplifier.supplies import supplies
from firstglow.amplifier.transformers import DC_TO_AC
from firstglow.audit.ripple_rating import ripple_hertz
from firstglow.audit.ways import stood
from firstglow.solver.circuit import compile_circuit


def supplied(heater: str = "T1 heat") -> str:
    """The stage with its reservoir."""
    return stage(heater).replace("R9 = ", 'C1 = ["47u 450V", "HT1", "chassis"]\nR9 = ')


ONE = """T1 = ["mains transformer", { primary = "230V", ht = "200V 90m", "ht 2" = "chassis", heat = "6.3V 2A", "heat 2" = "chassis" }]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
""" + supplied()


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    without_restart(monkeypatch)


def dc(found: dict[str, Any]) -> float:
    """Dc of the HT winding's row, running."""
    rows = of(found, "T1")["stresses"]
    return float(
        next(s["value"] for s in rows if s["stress"] == "ht: dc after its rectifier" and s["survives"] is None)
    )


def test_diodes_in_series_pass_one_current(tmp_path: Path) -> None:
    """Kirchhoff: two in series give what one gives."""
    two = ONE.replace(
        'D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]',
        'D1 = ["silicon 1A 1000V", "T1 ht 1", "da"]\nD2 = ["silicon 1A 1000V", "da", "HT1"]',
    )
    assert dc(made(HEAD + two, tmp_path)) == pytest.approx(dc(made(HEAD + ONE, tmp_path)), rel=0.02)


@pytest.mark.parametrize(
    "between", ['R20 = ["390R 2W", "T1 ht 1", "far"]', 'F9 = ["fuse 160m slow", "T1 ht 1", "far"]']
)
def test_a_winding_behind_a_resistor_is_guessed_as_one_on_its_rectifier(between: str) -> None:
    """What is not said of it is typical of a winding that feeds a rectifier, whatever stands in series."""
    plain = ONE.replace("200V 90m", "200V")
    series = plain.replace('"T1 ht 1", "HT1"', '"far", "HT1"') + between + "\n"
    first, second = (load(HEAD + text).parts["T1"].windings for text in (plain, series))
    assert [(w.ohms.value, w.turns.value) for w in first] == [(w.ohms.value, w.turns.value) for w in second]


TURNS = (
    'T1 = ["mains transformer", { volt_amps = "60", primary = "230V", ht = "200-0-200V 90m 20+20R", '
    'heat = "6.3V 2A", "heat 2" = "chassis" CT}]\n'
)
BRIDGE = """D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
D2 = ["silicon 1A 1000V", "T1 ht 2", "HT1"]
D3 = ["silicon 1A 1000V", "chassis", "T1 ht 1"]
D4 = ["silicon 1A 1000V", "chassis", "T1 ht 2"]
"""


def test_the_halves_of_a_bridge_carry_all_of_the_time() -> None:
    """Marked volts are loaded ones: a half that always conducts loses all of its resistance's drop, one by turns half of it
    (docs/file.md). By hand: 200 + I R over 1 - what the primary loses, and 200 + I R / 2."""
    both = load(
        HEAD
        + TURNS.replace("CT", ', "ht ct" = "half"')
        + BRIDGE
        + 'C8 = ["47u 350V", "half", "chassis"]\n'
        + supplied()
    )
    turn = load(HEAD + TURNS.replace("CT", ', "ht ct" = "chassis"') + "".join(BRIDGE.splitlines(True)[:2]) + supplied())
    whole, half = (next(w for w in a.parts["T1"].windings if w.name == "ht a") for a in (both, turn))
    amps, primary = DC_TO_AC * 0.09, both.parts["T1"].windings[0].ohms.value
    loses = 60.0 / 230.0 * primary / 230.0
    assert whole.turns.value - half.turns.value == pytest.approx(0.5 * amps * 20.0 / (1.0 - loses), rel=0.01)


def test_a_bridge_whose_middle_is_the_tap_ripples_at_twice_the_mains() -> None:
    """Each capacitor is charged by the halves in turn (a doubler's once a cycle)."""
    text = (
        HEAD
        + TURNS.replace("CT", ', "ht ct" = "half"')
        + BRIDGE
        + supplied().replace('"HT1", "chassis"]\nR9', '"HT1", "half"]\nC2 = ["47u 450V", "half", "chassis"]\nR9')
    )
    found = stood(load(text))
    (ht,) = (s for s in supplies(found.amplifier) if s.use == "ht")
    assert ht.split and ripple_hertz(found, found.amplifier.parts["C1"]) == 100.0


def test_a_second_transformer_bears_its_own_harmonics_alone() -> None:
    """Its heater draws a sine: rms by hand from the heater's watts, its copper and its core; the other one's pulses are not in it."""
    text = (
        HEAD
        + """F1 = ["fuse 1A slow", "line", "fused"]
S1 = ["mains switch", "fused", "on"]
T1 = ["mains transformer", { primary = "230V", "primary 1" = "on", "primary 2" = "neutral", ht = "200V 90m", "ht 2" = "chassis" }]
T3 = ["mains transformer", { primary = "230V", "primary 1" = "on", "primary 2" = "neutral", heat = "6.3V 2A", "heat 2" = "chassis" }]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
"""
        + supplied("T3 heat")
    )
    standing = compile_circuit(load(text)).solve(compile_circuit(load(text)).vector(Situation(230.0)))
    amps, first = (float(standing.part(f"{t} primary")["amps_rms"][0]) for t in ("T3", "T1"))
    heater, core = float(standing.part("V2 heater")["watts"][0]), load(text).parts["T3"]
    copper = float(standing.part("T3")["watts"][0])
    real = (heater + copper + core.value("core_loss_watts")) / 230.0
    assert amps == pytest.approx((real**2 + core.value("magnetising_amps") ** 2) ** 0.5, rel=0.02)
    assert amps < first


def test_an_open_return_leaves_the_winding_a_crest_away() -> None:
    """A standby switch in the centre tap: the plates pull the winding to HT, which is 0 V, less the crest (closed form: E sqrt 2)."""
    text = (
        HEAD
        + TURNS.replace("CT", ', "ht ct" = "ct"')
        + 'S2 = ["standby switch", "ct", "chassis"]\n'
        + "".join(BRIDGE.splitlines(True)[:2])
        + supplied()
    )
    amplifier = load(text)
    found = audited(amplifier)
    row = next(s for s in found.of("S2").stresses if s.stress == "volts it parts")
    turns = next(w for w in amplifier.parts["T1"].windings if w.name == "ht a").turns.value
    assert "standby" in row.situation and row.value == pytest.approx(2**0.5 * 1.1 * turns, rel=0.02)


def test_a_shorted_output_valve_is_felt_by_its_transformer() -> None:
    """Ohm's law: what HT drives through the half's copper and the arc, watts I^2 R, beside its audio watts (common practice)."""
    found = audited(load(A))
    amplifier = found.stood.amplifier
    rows = [s for s in found.of("T2").stresses if s.stress == "watts in its copper"]
    fault = next(s for s in rows if s.fault and s.situation.startswith("V3"))
    circuit = found.stood.circuit
    on = Situation(found.stood.mains["high"], pots=found.stood.pots)
    amps = float(circuit.solve(circuit.vector(on, (Fault("V3", "plate to cathode"),))).part("T2 plate a")["amps"][0])
    half = next(w for w in amplifier.parts["T2"].windings if w.name == "plate a").ohms.value
    assert (
        fault.value == pytest.approx(amps**2 * half, rel=0.05) and fault.survives is False and rows[0].verdict == "fit"
    )


@pytest.mark.parametrize("kind", ["6X4", "6X5GT"])
def test_a_rectifier_held_to_the_highest_mains_is_no_crash(kind: str, tmp_path: Path) -> None:
    """Design-maximum ratings are asked on the highest mains, and the page of the mains has one level alone (EZ80: design centre)."""
    file = tmp_path / "other.toml"
    file.write_text(B.read_text(encoding="utf-8").replace('"EZ80"', f'"{kind}"'), encoding="utf-8")
    said = firstglow("mains", file)
    assert said.returncode == 0 and "FUSE" in said.stdout


def test_the_line_fuse_that_is_ordered_holds_a_start() -> None:
    """Example (c) with a fuse far too small: ``parts`` orders none that ``mains`` says may blow at a start."""
    text = C.read_text(encoding="utf-8")
    small = re.sub(r'F1 = \["fuse \S+ slow"', 'F1 = ["fuse 160m slow"', text)
    assert small != text
    found = audited(load(small))
    what = found.of("F1").proposal
    assert what is not None
    ordered = what.items[0].made.values["amps"]
    from firstglow.audit.fuse import line_fuses
    from firstglow.audit.ground import ground_of

    assert ordered >= min(j.fuse.amps for j in line_fuses(ground_of(found.stood)))


def test_capacitors_in_series_stand_at_their_own_share_on_the_page_of_the_mains(tmp_path: Path) -> None:
    """Two alike and alike shared: half the rail each (Kirchhoff), and both are listed."""
    pair = 'C1 = ["100u 350V", "HT1", "mid"]\nC2 = ["100u 350V", "mid", "chassis"]\n'
    pair += 'R30 = ["220k 2W", "HT1", "mid"]\nR31 = ["220k 2W", "mid", "chassis"]'
    file = tmp_path / "row.toml"
    file.write_text(HEAD + ONE.replace('C1 = ["47u 450V", "HT1", "chassis"]', pair), encoding="utf-8")
    held = {h["part"]: h["volts"] for h in json.loads(firstglow("mains", file, "--json").stdout)["switch_on"]}
    found = audited(load(file)).stood
    rail = float(found.dc("HT1")[found.where(level="high", cold=True)][0])
    assert held["C1"] == pytest.approx(held["C2"], rel=0.02)
    assert held["C1"] + held["C2"] == pytest.approx(rail, rel=1e-3)


def test_milliamperes_without_their_m_are_asked_back() -> None:
    assert "try 24m" in firstglow("incoming", A, "--measured", "V3=24", code=2).stderr


def test_a_mains_switch_is_held_to_the_mark_of_its_mains() -> None:
    """250 V~ is what switches for 230 V mains bear; that these wander to 253 V is in the mark (IEC 61058-1, from memory)."""
    text = B.read_text(encoding="utf-8").replace('S1 = ["mains switch"', 'S1 = ["mains switch 3A 250V"')
    (row,) = (s for s in audited(load(text)).of("S1").stresses if s.stress == "volts it parts")
    assert (row.value, row.rating, row.verdict) == (230.0, 250.0, "fit")
