"""A cold start by slow time beside scipy's Radau on the same equations (benchmarks/slow.py has the whole minute), and the weights of
the collocation against their published closed forms."""

import math
import sys
from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.collocation import AMONG, FROM_START, PLACES

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from benchmarks.slow import compared  # noqa: E402


def test_the_weights_are_radau_s() -> None:
    """E. Hairer and G. Wanner, Solving ODEs II, table IV.5.6 (Radau IIA, order 5): last row and a corner of A, from memory; and
    any cubic's derivative is met exactly."""
    root = math.sqrt(6.0)
    a = np.linalg.inv(AMONG)
    assert a[2] == pytest.approx([(16.0 - root) / 36.0, (16.0 + root) / 36.0, 1.0 / 9.0], rel=1e-12)
    assert a[0, 0] == pytest.approx((88.0 - 7.0 * root) / 360.0, rel=1e-12)
    assert a.sum(axis=1) == pytest.approx(PLACES, rel=1e-12)
    cubic = 2.0 + 3.0 * PLACES - PLACES**2 + 4.0 * PLACES**3
    assert AMONG @ cubic + FROM_START * 2.0 == pytest.approx(3.0 - 2.0 * PLACES + 12.0 * PLACES**2, rel=1e-12)


def test_the_first_seconds_of_a_cold_start_as_scipy_runs_them() -> None:
    """scipy's Radau, rtol 1e-4, every capacitor's volts and every wire's and cathode's warmth; half a percent of the curve's
    highest is what the notes on accuracy ask for. Cost: scipy's columns each settle the same circuit that one of ours does."""
    a = load(ROOT / "examples" / "b-hazel-four.toml")
    circuit = compile_circuit(a)
    found = compared(circuit, circuit.vector(Situation(1.1 * a.mains_volts)), 11.5, "Radau", 1e-4)
    worst = {name: far for name, far in zip(found["names"], found["apart"], strict=True) if not far < 0.005}
    assert not worst
    assert found["evaluations"] > 3 * found["solutions"]
    # the difference is of the curves, not of nothing: HT has come and the wires are warm
    assert np.abs(found["course"].across("C1a")).max() > 50.0
    assert found["course"].temperatures[-1, 0, :-1].min() > 0.9  # the last is the lamp, not in
