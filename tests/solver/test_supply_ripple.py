"""Ripple, rms and peaks of the standing rows against a cycle integrated by scipy (``second_solutions.waveform``, which
imports nothing of the package): half wave, full wave, a following R-C section, and a choke input.

5 % of rms ripple: the cycle has 48 cells, and beyond the reservoir only harmonics to the eighth are carried. 5 % of peaks
too: a peak is the mean of a cell of 7.5 degrees."""

from pathlib import Path

import numpy as np
import pytest
from test_supply_waveforms import BOTH, HEAD, STRAY

from firstglow.amplifier import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.rippled import rippled
from second_solutions.laws import Silicon
from second_solutions.waveform import Cycle, Leg, Mains, settle

RIPPLE = 0.05
LOAD = 'R2 = ["2k 50W", "HT2", "feed"]\nR3 = ["2k 50W", "feed", "chassis"]\n'
SECTION = 'C1 = ["16u 500V", "HT1", "chassis"]\nR1 = ["470R 5W", "HT1", "HT2"]\nC2 = ["32u 500V", "HT2", "chassis"]\n'


def solved(folder: Path, text: str) -> tuple[dict[str, float], dict[str, dict[str, float]], dict[str, float]]:
    """Parameters and dc by name; rows of all parts and windings with their ripple; ripple of the joints."""
    file = folder / "supply.toml"
    file.write_text(text, encoding="utf-8")
    amplifier = load(file)
    circuit = compile_circuit(amplifier)
    situation = Situation(230.0)
    standing = circuit.solve(circuit.vector(situation))
    v = {name: float(standing.x[k, 0]) for k, name in enumerate(circuit.unknowns)}
    v |= {q.name: float(standing.values[k, 0]) for k, q in enumerate(circuit.parameters)}
    ripple = rippled(standing, situation)
    windings = [f"T1 {w.name}" for w in amplifier.parts["T1"].windings]
    names = [n for n in amplifier.parts if n[0] in "CRLD"] + windings
    rows = {n: {**standing.part(n), **ripple.parts.get(n, {})} for n in names}
    plain = {n: {key: float(value[0]) for key, value in row.items()} for n, row in rows.items()}
    return v, plain, {j: float(volts[0]) for j, volts in ripple.joints.items()}


def around(v: dict[str, float], windings: list[tuple[str, float]]) -> tuple[Mains, list[Leg]]:
    line = 0.01 + v["lamp ohms"] + v["T1 primary ohms"] + 0.02
    mains = Mains(230.0, 50.0, line, v["T1 core_loss_watts"] / 230.0**2, 0.0)
    legs = []
    for n, (w, sign) in enumerate(windings):
        ohms = v[f"T1 {w} ohms"] + v[f"D{n + 1} series_ohms"]
        legs.append(Leg(sign * v[f"T1 {w} turns"] / 230.0, Silicon(0.0478, 1.24e-8, ohms), 0))
    return mains, legs


def ac(found: Cycle, wave: np.ndarray) -> float:
    return found.rms(wave - found.mean(wave))


@pytest.mark.parametrize("name", ["half wave", "full wave"])
def test_capacitor_input_and_a_section(name: str, tmp_path: Path) -> None:
    one = name == "half wave"
    text = HEAD % ("300V 100m 85R" if one else "300-0-300V 150m 85+85R", ', "ht 2" = "chassis"' if one else "", "HT1")
    text += ("" if one else BOTH % "HT1") + SECTION + LOAD
    v, rows, joints = solved(tmp_path, text)
    windings = [("ht", 1.0)] if one else [("ht a", 1.0), ("ht b", -1.0)]
    mains, legs = around(v, windings)

    def rates(y: np.ndarray, into: list[float]) -> list[float]:
        on = (y[0] - y[1]) / 470.0
        return [(into[0] - on) / v["C1 farads"], (on - y[1] / 4e3) / v["C2 farads"]]

    found = settle(mains, legs, rates, [v["dc HT1"], v["dc HT2"]])
    for k, joint in enumerate(("HT1", "HT2")):
        assert joints[joint] == pytest.approx(ac(found, found.states[k]), rel=RIPPLE)
    on = (found.states[0] - found.states[1]) / 470.0
    through = found.legs.sum(axis=0) - on
    assert rows["C1"]["amps_rms"] == pytest.approx(found.rms(through), rel=RIPPLE)
    assert rows["C1"]["amps_peak"] == pytest.approx(np.abs(through).max(), rel=RIPPLE)
    assert rows["C2"]["amps_rms"] == pytest.approx(found.rms(on - found.states[1] / 4e3), rel=RIPPLE)
    assert rows["R1"]["amps_rms"] == pytest.approx(found.rms(on), rel=0.01)
    for n, (w, _) in enumerate(windings):
        for row in (rows[f"D{n + 1}"], rows[f"T1 {w}"]):
            assert row["amps_rms"] == pytest.approx(found.rms(found.legs[n]), rel=RIPPLE)
            assert row["amps_peak"] == pytest.approx(np.abs(found.legs[n]).max(), rel=RIPPLE)


SURGE = {"R7": 47.0, "R8": 22.0, "R9": 33.0}
"""Resistors that pulses flow through [ohm]: before the first diode on the winding's side, in the return that all legs share,
between diodes and reservoir."""


@pytest.mark.parametrize("name", ["half wave", "full wave"])
def test_a_surge_resistor_is_warmed_by_its_pulses(name: str, tmp_path: Path) -> None:
    """Not by their mean, nor by that and their fundamental: a third of the heat and less."""
    one = name == "half wave"
    back = ', "ht 2" = "foot"' if one else ', "ht ct" = "foot"'
    text = HEAD % ("300V 100m 85R" if one else "300-0-300V 150m 85+85R", back, "lit")
    text = text.replace('["1N4007", "T1 ht 1"', '["1N4007", "surge"') + ("" if one else BOTH % "lit")
    text += (
        'R7 = ["47R 10W", "T1 ht 1", "surge"]\nR8 = ["22R 10W", "foot", "chassis"]\nR9 = ["33R 10W", "lit", "HT1"]\n'
    )
    v, rows, joints = solved(tmp_path, text + SECTION + LOAD)
    mains, legs = around(v, [("ht", 1.0)] if one else [("ht a", 1.0), ("ht b", -1.0)])
    for n, leg in enumerate(legs):
        leg.plate.ohms += 55.0 + (47.0 if n == 0 else 0.0)

    def rates(y: np.ndarray, into: list[float]) -> list[float]:
        on = (y[0] - y[1]) / 470.0
        return [(into[0] - on) / v["C1 farads"], (on - y[1] / 4e3) / v["C2 farads"]]

    found = settle(mains, legs, rates, [v["dc HT1"], v["dc HT2"]])
    for part, wave in (("R7", found.legs[0]), ("R8", found.legs.sum(axis=0)), ("R9", found.legs.sum(axis=0))):
        assert rows[part]["amps_rms"] == pytest.approx(found.rms(wave), rel=RIPPLE)
        assert rows[part]["amps_peak"] == pytest.approx(np.abs(wave).max(), rel=RIPPLE)
        assert rows[part]["watts"] == pytest.approx(SURGE[part] * found.rms(wave) ** 2, rel=2 * RIPPLE)
    lit = found.states[0] + SURGE["R9"] * found.legs.sum(axis=0)
    assert joints["lit"] == pytest.approx(ac(found, lit), rel=RIPPLE)
    assert joints["lit"] > 1.05 * joints["HT1"]
    assert rows["R7"]["watts"] > 2.0 * SURGE["R7"] * rows["R7"]["amps"] ** 2


@pytest.mark.parametrize("load_ohms", [2.5e3, 5e3, 20e3])
def test_choke_input(load_ohms: float, tmp_path: Path) -> None:
    """Current flows all the time down to a load of 3 x 314 rad/s x 8 H = 7.5 kohm (2/3 of the second harmonic's amps; common
    practice: L critical = R / 943 at 50 Hz); at 20 kohm it breaks off in every half cycle."""
    text = HEAD % ("300-0-300V 150m 85+85R", "", "rectified") + BOTH % "rectified"
    text += 'L1 = ["choke 8H 160m 110R", "rectified", "HT1"]\nC1 = ["47u 500V", "HT1", "chassis"]\n'
    v, rows, joints = solved(tmp_path, text + f'R1 = ["{load_ohms:g}R 50W", "HT1", "chassis"]\n')
    mains, legs = around(v, [("ht a", 1.0), ("ht b", -1.0)])

    def rates(y: np.ndarray, into: list[float]) -> list[float]:
        return [
            (into[0] - y[1]) / STRAY,
            (y[0] - 110.0 * y[1] - y[2]) / 8.0,
            (y[1] - y[2] / load_ohms) / v["C1 farads"],
        ]

    found = settle(mains, legs, rates, [v["dc HT1"], v["dc HT1"] / load_ohms, v["dc HT1"]])
    broken = load_ohms > 7.5e3
    assert (found.states[1].min() < 1e-3) == broken
    assert joints["HT1"] == pytest.approx(ac(found, found.states[2]), rel=RIPPLE)
    # While the choke is empty its near side rings with the stray farads about the far side's volts; the product's stands at
    # them. What the steps leave there beyond the eighth harmonic is not carried (7 % of its rms at 20 kohm).
    near = np.where(found.legs.sum(axis=0) > 2e-5, found.states[0], found.states[2])
    even = np.interp(np.arange(4800) / 4800 * (found.times[-1] - found.times[0]) + found.times[0], found.times, near)
    to_eighth = np.abs(np.fft.rfft(even)[1:9]) * 2**0.5 / even.size
    assert joints["rectified"] == pytest.approx(np.sqrt((to_eighth**2).sum()), rel=RIPPLE)
    assert rows["L1"]["amps_rms"] == pytest.approx(found.rms(found.states[1]), rel=0.01)
    assert rows["C1"]["amps_rms"] == pytest.approx(ac(found, found.states[1]), rel=RIPPLE)
    for n in (0, 1):
        assert rows[f"D{n + 1}"]["amps_rms"] == pytest.approx(found.rms(found.legs[n]), rel=RIPPLE)
        assert rows[f"D{n + 1}"]["amps_peak"] == pytest.approx(found.legs[n].max(), rel=RIPPLE)


def test_two_chokes_one_behind_the_other(tmp_path: Path) -> None:
    """At 100 Hz 10 H are 6283 ohm and 47 uF 33.9: a section leaves 33.9 / (6283 - 33.9) = 1 / 185 (by hand; the chokes' 200 and
    330 ohm turn it by 3 degrees and take a thousandth). The reservoir's ripple is near a sawtooth, of whose rms its first harmonic is
    78 to 100 % (sqrt 6 over pi and a sine); behind it next to nothing else is left. What flows in the second
    choke besides dc is its volts over 6283 ohm."""
    text = HEAD % ("300-0-300V 150m 85+85R", "", "HT1") + BOTH % "HT1" + 'C1 = ["47u 500V", "HT1", "chassis"]\n'
    text += 'L1 = ["choke 10H 100m 200R", "HT1", "HT2"]\nC2 = ["47u 500V", "HT2", "chassis"]\n'
    text += 'L2 = ["choke 10H 50m 330R", "HT2", "HT3"]\nC3 = ["47u 500V", "HT3", "chassis"]\n' + LOAD.replace(
        "HT2", "HT3"
    )
    _, rows, joints = solved(tmp_path, text)
    assert 0.78 / 185 < joints["HT2"] / joints["HT1"] < 1.0 / 185
    assert joints["HT3"] / joints["HT2"] == pytest.approx(1 / 185, rel=0.03)
    ac_amps = np.sqrt(rows["L2"]["amps_rms"] ** 2 - rows["L2"]["amps"] ** 2)
    assert ac_amps == pytest.approx(joints["HT2"] / 6283.0, rel=0.03)
    assert rows["L2"]["watts"] == pytest.approx(330.0 * rows["L2"]["amps"] ** 2, rel=1e-3)

    amplifier = load(tmp_path / "supply.toml")
    circuit, shorted = compile_circuit(amplifier), (Fault("L2", "shorted"),)
    standing = circuit.solve(circuit.vector(Situation(230.0), shorted))
    left = rippled(standing, Situation(230.0), shorted).joints
    # both 47 uF side by side behind one choke: 16.9 / (6283 - 16.9)
    assert float(left["HT3"][0]) / float(left["HT1"][0]) == pytest.approx(
        joints["HT2"] / joints["HT1"] * 185 / 371, rel=0.03
    )


def test_two_reservoirs_in_series_are_one_of_half_the_farads() -> None:
    """33 uF and 33 uF with 220k across each, as an order list puts them where no single one stands the volts: 1/C adds up. Each
    was taken to hold HT by itself: half the ripple and 1 % too much HT."""
    text = """format = 1
amplifier = { name = "S", drawing = "own", mains = "230V 50Hz" }
[parts]
F1 = ["fuse 2A slow", "line", "T1 primary 1"]
W0 = ["wire", "neutral", "T1 primary 2"]
T1 = ["mains transformer", { primary = "230V 7R", ht = "350-0-350V 200m 42+45R" }]
D1 = ["1N4007", "T1 ht 1", "HT1"]
D2 = ["1N4007", "T1 ht 2", "HT1"]
W1 = ["wire", "T1 ht ct", "chassis"]
R9 = ["4k 60W", "HT1", "chassis"]
"""
    one = 'C1 = ["16.5u 600V", "HT1", "chassis"]\nR8 = ["440k 2W", "HT1", "chassis"]\n'
    two = 'C1 = ["33u 400V", "HT1", "m"]\nC2 = ["33u 400V", "m", "chassis"]\nR8 = ["220k 2W", "HT1", "m"]\n'
    two += 'R7 = ["220k 2W", "m", "chassis"]\n'
    found = []
    for parts in (one, two):
        circuit = compile_circuit(load(text + parts))
        standing = circuit.solve(circuit.vector(Situation(230.0)))
        ripple = rippled(standing, Situation(230.0))
        volts = float(standing.dc("HT1")[0]), float(ripple.joints["HT1"][0])
        found.append((*volts, float(standing.part("C1")["amps_rms"][0])))
    np.testing.assert_allclose(found[1], found[0], rtol=1e-3)  # two esr of half each: a few mV
    assert float(standing.part("C2")["amps_rms"][0]) == pytest.approx(found[1][2])
