"""A rectifier whose way to the reservoir is open: crest of the wave on its joint, half of it on a bridge's winding."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from firstglow.amplifier import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.standing import Standing

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
OUT = frozenset({"V1", "V2", "V3"})


def standing(situation: Situation, *faults: Fault) -> Standing:
    circuit = compile_circuit(load(EXAMPLES / "c-sorrel-twenty.toml"))
    return circuit.solve(circuit.vector(situation, faults))


def strays(emf: float, farads: float = 100e-12, leak: float = 1e10) -> tuple[float, float]:
    """Bridge joint and one winding end to chassis, dc, over the last of some cycles: four diodes as stiff switches between
    stray capacities, integrated by scipy."""
    w = 2.0 * math.pi * 60.0

    def diode(v: float) -> float:
        return max(v - 0.5, 0.0) / 1e4 + v / leak

    def rate(t: float, y: np.ndarray) -> list[float]:
        joint, low = y  # the bridge joint, and the winding's second end; its first end is emf above that
        e = math.sqrt(2.0) * emf * math.sin(w * t)
        up1, up2 = diode(low + e - joint), diode(low - joint)
        down1, down2 = diode(-(low + e)), diode(-low)
        swing = math.sqrt(2.0) * emf * w * math.cos(w * t)
        return [
            (up1 + up2 - joint / leak) / farads,
            (down1 + down2 - up1 - up2 - 2 * low / leak) / (2 * farads) - swing / 2,
        ]

    found = solve_ivp(rate, (0.0, 0.1), [0.0, 0.0], method="LSODA", rtol=1e-6, atol=1e-6, max_step=1e-4)
    late = found.t > 0.1 - 1.0 / 60.0
    grid = np.linspace(0.1 - 1.0 / 60.0, 0.1, 2000)
    joint, low = (np.interp(grid, found.t[late], y[late]) for y in found.y)
    return float(joint.mean()), float(low.mean())


def test_a_lifted_link_leaves_the_crest_on_the_bridge() -> None:
    """By strays of 100 pF and no meter."""
    found = standing(Situation(120.0, out=OUT, lifted=frozenset({"HT link"})))
    emf = float(found.ac("T1 ht 1")[0] - found.ac("T1 ht 2")[0])
    joint, end = strays(emf)
    assert found.dc("bridge")[0] == pytest.approx(joint, rel=0.01)
    for winding in ("T1 ht 1", "T1 ht 2"):
        assert found.dc(winding)[0] == pytest.approx(end, rel=0.02)
    assert found.dc("HT1")[0] == pytest.approx(0.0, abs=1e-3)


def test_nothing_stands_there_where_nothing_can_charge_it() -> None:
    whole = standing(Situation(120.0, out=OUT))
    assert whole.dc("bridge")[0] == pytest.approx(whole.solved_dc("bridge")[0])
    dead = standing(Situation(120.0, out=OUT, lifted=frozenset({"HT link"})), Fault("T1", "ht open"))
    assert abs(dead.dc("bridge")[0]) < 1.0
