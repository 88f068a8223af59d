"""Amplifiers near a solved one against the full solution of each, and idle slopes against idles solved again."""

import numpy as np
import pytest

from builders import push_pull_fixed
from firstglow.amplifier.situation import Situation
from firstglow.readings.points import points
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.near import Near

SAMPLES = 40


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    return compile_circuit(push_pull_fixed())


def drawn(circuit: Circuit) -> np.ndarray:
    """Amplifiers of the stated spreads, mains 2 %."""
    rng = np.random.default_rng(5)
    sigma = np.array([q.sigma for q in circuit.parameters])
    sigma[circuit.column["mains volts"]] = 0.02 * 230.0
    return circuit.nominal[:, None] + sigma[:, None] * rng.uniform(-1.7, 1.7, (len(sigma), SAMPLES))


def test_near_is_the_full_solution(circuit: Circuit) -> None:
    at = Situation(230.0)
    laid = circuit.apply(drawn(circuit), at)
    nominal = circuit.solve(circuit.vector(at))
    found = Near(nominal).solve(laid, np.repeat(nominal.x, SAMPLES, axis=1))
    full = circuit.solve(laid)
    assert found.settled.all()
    assert np.abs(found.x - full.x).max() < 1e-5 * np.abs(full.x).max()
    assert found.dc("HT1") == pytest.approx(full.dc("HT1"), rel=1e-6)


def test_near_idle_is_the_full_solution(circuit: Circuit) -> None:
    at = Situation(230.0, idle={"V2": 0.03, "V3": 0.03})
    laid = circuit.apply(drawn(circuit), at)
    targets = {v: np.full(SAMPLES, 0.03) for v in at.idle}
    nominal = circuit.solve_idle(circuit.vector(at), {v: np.full(1, 0.03) for v in at.idle}).standing
    (point,) = points([at], [nominal], [k for k, q in enumerate(circuit.parameters) if q.sigma > 0])
    start, turned = point.start(laid, {})
    found = Near(nominal).solve_idle(turned, targets, start)
    full = circuit.solve_idle(laid, targets)
    for pot in ("P1", "P2"):
        assert found.pots[pot] == pytest.approx(full.pots[pot], abs=1e-5)  # of a turn; steps of 1e-6 count as rest
    assert found.standing.dc("HT1") == pytest.approx(full.standing.dc("HT1"), rel=1e-6)
    assert not any(s.any() for s in found.out_of_travel.values())


def test_slopes_at_an_idle_are_what_a_second_solution_moves(circuit: Circuit) -> None:
    """Central differences of the idle solved again, for a valve, a resistor, the mains and the setting itself."""
    at = Situation(230.0, idle={"V2": 0.03, "V3": 0.03})
    names = ["V2 perveance", "R20 ohms", "mains volts", "type 6L6GC mu"]
    rows = [circuit.column[n] for n in names]
    nominal = circuit.solve_idle(circuit.vector(at), {v: np.full(1, 0.03) for v in at.idle}).standing
    (point,) = points([at], [nominal], rows)
    laid = np.repeat(circuit.vector(at)[:, None], 2 * len(rows) + 2, axis=1)
    step = np.array([1e-3 * laid[r, 0] for r in rows])
    for k, row in enumerate(rows):
        laid[row, 2 * k] += step[k]
        laid[row, 2 * k + 1] -= step[k]
    targets = {v: np.full(laid.shape[1], 0.03) for v in at.idle}
    targets["V2"][-2:] *= [1.001, 0.999]
    again = circuit.solve_idle(laid, targets)
    ht = circuit.index["dc HT1"]
    for k in range(len(rows)):
        moved = (again.standing.x[ht, 2 * k] - again.standing.x[ht, 2 * k + 1]) / (2 * step[k])
        turned = (again.pots["P1"][2 * k] - again.pots["P1"][2 * k + 1]) / (2 * step[k])
        assert point.by_row[ht, k] == pytest.approx(moved, rel=5e-3, abs=1e-6 / step[k])
        assert point.pots_by_row[0, k] == pytest.approx(turned, rel=5e-3, abs=1e-8 / step[k])
    moved = (again.standing.x[ht, -2] - again.standing.x[ht, -1]) / 2e-3
    assert point.by_setting[ht, 0] == pytest.approx(moved, rel=1e-3)
