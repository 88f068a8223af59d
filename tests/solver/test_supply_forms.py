"""Whole amplifiers with every form of supply: they stand, their proof holds, and a cascade doubler agrees with a waveform."""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import fsolve
from variants import SUPPLIES, variant

from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit


@pytest.mark.parametrize("name", list(SUPPLIES))
def test_stands_at_any_mains_and_with_a_lamp(name: str, tmp_path: Path) -> None:
    circuit = compile_circuit(variant(name, tmp_path))
    states = [Situation(v) for v in (0.0, 23.0, 80.0, 150.0, 230.0, 299.0)]
    states += [Situation(230.0, lamp_watts=w) for w in (25.0, 60.0, 200.0)]
    standing = circuit.solve(np.stack([circuit.vector(s) for s in states], axis=1))
    assert standing.settled.all()
    assert (standing.power_balance < 1e-8).all()
    assert np.all(np.diff(standing.dc("HT1")[:6]) > 0.0)


def test_cascade_doubler_against_a_waveform(tmp_path: Path) -> None:
    """Winding and mains side as one Thevenin source (its volts and ohms from the solution), pump and reservoir integrated in
    time by scipy with Shockley diodes; the load takes a steady current."""
    circuit = compile_circuit(variant("cascade doubler", tmp_path))
    standing = circuit.solve(circuit.vector(Situation(230.0)))
    x = {name: float(standing.x[k, 0]) for k, name in enumerate(circuit.unknowns)}
    amps = float(standing.part("D1")["amps"][0])
    volts, emf = float(standing.dc("HT1")[0]), x["emf HT1 1"]
    # half winding as one: 40 ohm; primary, fuse and contacts seen from it; heaters in parallel
    turns = emf / 230.0
    ohms = 40.0 + 0.05 + turns**2 * 28.5 / (1.0 + 28.5 / 4900.0)
    pump, reservoir, slope, start = 100e-6, 50e-6, 0.0478, 1.24e-8

    def diode(drive: float) -> float:
        """Current at a drive through ohms and diode: Newton on the drop's logarithm."""
        if drive <= 0.0:
            return 0.0
        i = max((drive - 0.8) / ohms, 1e-9)
        for _ in range(40):
            step = (ohms * i + slope * np.log1p(i / start) - drive) / (ohms + slope / (i + start))
            i = max(i - step, 0.1 * i)
        return float(i)

    def rate(t: float, y: np.ndarray) -> list[float]:
        e = np.sqrt(2.0) * emf * np.sin(100.0 * np.pi * t)
        charge, lift = diode(-e - y[0]), diode(e + y[0] - y[1])
        return [(charge - lift) / pump, (lift - amps) / reservoir]

    def cycle(y: np.ndarray, times: np.ndarray | None = None) -> np.ndarray:
        return solve_ivp(rate, (0.0, 0.02), y, "LSODA", times, rtol=1e-8, atol=1e-7, max_step=2e-4).y

    found = fsolve(lambda y: cycle(y)[:, -1] - y, [volts / 2.0, volts], xtol=1e-8)
    times = np.linspace(0.0, 0.02, 2001)
    mean = np.trapezoid(cycle(found, times)[1], times) / 0.02
    # half wave is held to 0.5 %; here two in series, and each takes what the other stands on for steady: the pump's ripple
    # and the reservoir's come on top
    assert volts == pytest.approx(mean, rel=0.01)
