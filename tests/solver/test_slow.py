"""Slow time against closed forms, the standing solution it must end on, and scipy on equations written here by hand."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.slow import Course, Slow, Stretch

EXAMPLES = Path(__file__).parent.parent.parent / "examples"

BENCH = """
format = 1
fragment = true
amplifier = { name = "Bench", drawing = "a bench sketch" }

[parts]
B1 = ["supply 280V 100R", "HT", "chassis"]
"""


def amplifier(tmp_path: Path, text: str) -> Amplifier:
    file = tmp_path / "bench.toml"
    file.write_text(text)
    return load(file)


def cold_start(a: Amplifier, seconds: float) -> Course:
    circuit = compile_circuit(a)
    return Slow(circuit).run([Stretch(seconds, circuit.vector(Situation(a.mains_volts))[:, None])])


class TestClosedForms:
    def test_a_capacitor_charges_through_a_resistor(self, tmp_path: Path) -> None:
        """v = V (1 - exp(-t/RC)) (any textbook); the capacitor's own leakage takes its part of V."""
        course = cold_start(
            amplifier(tmp_path, BENCH + 'R1 = ["100k", "HT", "out"]\nC1 = ["10u 450V film", "out", "chassis"]\n'), 5.0
        )
        v, t = course.dc("out")[:, 0], course.seconds
        end = v[-1] / (1.0 - math.exp(-5.0 / 1.001))
        assert end == pytest.approx(280.0, rel=0.01)
        assert np.abs(v - end * (1.0 - np.exp(-t / 1.001))).max() < 0.0005 * end

    def test_a_choke_and_a_capacitor_ring(self, tmp_path: Path) -> None:
        """Series R, L, C on a step: 1 - exp(-at)(cos wt + a/w sin wt), a = R/2L, w^2 = 1/LC - a^2 (any textbook)."""
        course = cold_start(
            amplifier(
                tmp_path,
                BENCH + 'L1 = ["choke 10H 400R 150mA", "HT", "out"]\nC1 = ["40u 450V film", "out", "chassis"]\n',
            ),
            1.0,
        )
        v, t = course.dc("out")[:, 0], course.seconds
        a = 500.0 / 20.0
        w = math.sqrt(1.0 / (10.0 * 40e-6) - a * a)
        exact = 280.0 * (1.0 - np.exp(-a * t) * (np.cos(w * t) + a / w * np.sin(w * t)))
        assert exact.max() > 300.0
        assert np.abs(v - exact).max() < 0.001 * 280.0


@pytest.mark.parametrize("name", ["b-hazel-four", "c-sorrel-twenty"])
def test_it_ends_where_the_standing_solution_stands(name: str) -> None:
    a = load(EXAMPLES / f"{name}.toml")
    circuit = compile_circuit(a)
    p = circuit.vector(Situation(a.mains_volts))[:, None]
    course, standing = Slow(circuit).run([Stretch(120.0, p)]), circuit.solve(p)
    joints = circuit.equations.joints
    assert np.allclose(course.x[-1, :joints], standing.x[:joints], rtol=2e-4, atol=2e-3)


def test_wires_and_cathodes_as_scipy_warms_them() -> None:
    """Two bodies, written here again: conductance 1/(0.2 .. 1) by v^-0.4 with its cold knee, power out by the standing law."""
    a = load(EXAMPLES / "b-hazel-four.toml")
    course = cold_start(a, 30.0)
    warming = course.warming
    k = warming.envelopes.index("V1")
    knee, cold = (1 / 5.0) ** (1 / 0.4), 300.0 / 1050.0
    radiate, conduct = 0.85 / (1 - cold**4), 0.15 / (1 - cold)

    def ratio(t: float) -> float:
        lost = radiate * (t**4 - cold**4) + conduct * (t - cold)
        return max(lost, 0.0) ** (1 / 1.6)

    def siemens(u: float) -> float:
        return ((u * u + knee * knee) / (1 + knee * knee)) ** -0.2

    volts = np.array(
        [warming.volts(x, course.circuit.vector(Situation(a.mains_volts))[:, None])[k, 0] for x in course.x]
    )
    heat = warming.heat[:, k, 0]

    def rate(t: float, y: np.ndarray) -> list[float]:
        v = float(np.interp(t, course.seconds[1:], volts[1:]))
        wire, cathode = ratio(y[0]), ratio(y[1])
        given = wire * wire * siemens(wire)
        return [(v * v * siemens(wire) - given) / heat[0], (given - cathode * cathode * siemens(cathode)) / heat[1]]

    found = solve_ivp(rate, (0.0, 30.0), [cold, cold], rtol=1e-8, atol=1e-10, method="LSODA", t_eval=course.seconds[1:])
    assert np.abs(found.y - course.temperatures[1:, :, k, 0].T).max() < 3e-3


@pytest.mark.parametrize("degrees", [0, 90])
def test_a_silicon_supply_overshoots_behind_its_choke_as_the_whole_waveform_does(degrees: int) -> None:
    """Bridge, reservoir, choke and capacitor, no valve drawing: every cycle integrated by scipy, switched on at a zero and at
    a crest. Half a percent is what the moment of switching moves it by; the averaged rectifier knows no moment. Its volts are
    means over half a cycle, so the waveform's are taken as such too: the choke's own current ripples the reservoir by 4 V."""
    a = load(EXAMPLES / "c-sorrel-twenty.toml")
    circuit = compile_circuit(a)
    p = circuit.vector(Situation(a.mains_volts, out=frozenset({"V1", "V2", "V3"})))[:, None]
    course = Slow(circuit).run([Stretch(0.5, p)])
    turns = float(p[circuit.column["T1 ht turns"], 0])  # volts open, at 120 V
    ohms = 45.0 + (turns / 120.0) ** 2 * 1.8
    w = 2.0 * math.pi * 60.0

    def rate(t: float, y: np.ndarray) -> list[float]:
        one, two, amps, three = y
        emf = abs(math.sqrt(2.0) * turns * math.sin(w * t + math.radians(degrees))) - 1.6
        charging, dropper = max(0.0, (emf - one) / ohms), (two - three) / 22e3
        return [
            (charging - amps - one / 150e3) / 47e-6, (amps - two / 363e3 - dropper) / 47e-6,
            (one - two - 60.0 * amps) / 5.0, dropper / 22e-6,
        ]  # fmt: skip

    even = np.linspace(0.0, 0.5, 6001)  # a hundred to half a cycle
    found = solve_ivp(rate, (0.0, 0.5), [0.0] * 4, max_step=2e-4, rtol=1e-6, atol=1e-6, t_eval=even)
    for joint, row in (("HT1", 0), ("HT2", 1)):
        means = np.convolve(found.y[row], np.ones(100) / 100, "valid")
        assert means.max() > 1.15 * math.sqrt(2.0) * turns  # it does overshoot
        assert course.dc(joint).max() == pytest.approx(means.max(), rel=0.007)
    assert course.dc("HT2")[-1, 0] == pytest.approx(found.y[1, -1], rel=0.005)


def test_the_row_of_a_cold_start_reaches_as_far_as_the_ring() -> None:
    """What the ladder prints for HT2 of (c): from where it settles with everything cold to the top of the ring."""
    from firstglow.solver.overshoot import overshoot, rings

    a = load(EXAMPLES / "c-sorrel-twenty.toml")
    circuit = compile_circuit(a)
    laid = circuit.vector(Situation(a.mains_volts))
    top = overshoot(circuit, laid, "HT2", "chassis", 415.0) * 415.0
    assert 500.0 < top < 530.0  # 518 to 521 by the waveform above, the same supply without its heaters
    assert overshoot(circuit, laid, "HT3", "chassis", 415.0) < 1.02  # 22k and 22 uF swing past nothing
    assert not rings(load(EXAMPLES / "a-linden-twin.toml"))  # a valve rectifier: HT comes over seconds


def test_the_plug_is_pulled_from_a_bias_on_a_tap_of_the_ht_winding() -> None:
    """From one step to the next its winding's volts are gone while its capacitors stand: what was carried along from the pulses
    led nowhere, and no restart of such an amplifier was worked out. HT falls by its bleeder alone, exp(-t / RC)."""
    text = """format = 1
amplifier = { name = "Pulled", drawing = "test", mains = "230V 50Hz" }
[parts]
J1 = ["inlet", "line", "neutral", "earth"]
W0 = ["wire", "earth", "chassis"]
T1 = ["mains transformer", { primary = "230V 7R", ht = "350-50-0-50-350V 200m 36+6+6+39R", rect = "5V 2A" }]
S1 = ["mains switch"]
F1 = ["fuse 1A slow"]
V5 = ["GZ34", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "HT1", heater = "T1 rect" }]
C1 = ["16u 600V", "HT1", "chassis"]
R1 = ["100k 5W", "HT1", "chassis"]
D1 = ["silicon 1A 1000V", "bias raw", "T1 ht 50a"]
C4 = ["8.2u 160V", "chassis", "bias raw"]
R4 = ["36k 0.5W", "bias raw", "chassis"]
"""
    circuit = compile_circuit(load(text))
    on, off = circuit.vector(Situation(230.0)), circuit.vector(Situation(0.0))
    course = Slow(circuit).run([Stretch(30.0, on[:, None]), Stretch(2.0, off[:, None]), Stretch(1.0, on[:, None])])
    moment = int(np.flatnonzero(course.seconds <= 32.0)[-1])
    begin = float(circuit.solve(on).dc("HT1")[0])
    assert course.dc("HT1")[moment, 0] == pytest.approx(begin * np.exp(-2.0 / (100e3 * 16e-6)), rel=0.02)
