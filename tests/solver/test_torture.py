"""Random states no bench would want: all must settle, and every answer must be borne out by its own currents."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.circuit import compile_circuit
from torture import columns, random_state

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
STATES = 400


@cache
def solved(name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(settled and proved, residual amps, unknowns) of the same random states every time."""
    amplifier = load(next(EXAMPLES.glob(f"{name}-*.toml")))
    circuit = compile_circuit(amplifier)
    rng = np.random.default_rng(2026)
    laid = columns(circuit, [random_state(amplifier, rng) for _ in range(STATES)])
    standing = circuit.solve(laid, strict=False)
    return standing.settled, np.asarray(standing.residual_amps), standing.x


@pytest.mark.parametrize("name", ["a", "b", "c"])
def test_random_states_settle_and_are_proved(name: str) -> None:
    # the goal is 1 in 10,000 (python -m benchmarks.torture runs 20,000 each): none of so few
    good, _, _ = solved(name)
    assert good.all()


@pytest.mark.parametrize("name", ["a", "b", "c"])
def test_what_is_called_settled_balances(name: str) -> None:
    good, residual, x = solved(name)
    gross = max(
        1.0, float(np.abs(x[:, good]).max())
    )  # no joint carries more amps than this circuit's volts over an ohm
    assert float(residual[good].max()) < 1e-9 + 1e-9 * gross


def test_a_neighbour_in_the_batch_moves_nothing() -> None:
    """One shorted bridge rectifier opens a way round that its neighbours in the batch do not have: a nanoamp of it in their
    books, and the proof takes a right answer for a wrong one."""
    amplifier = load(next(EXAMPLES.glob("c-*.toml")))
    circuit = compile_circuit(amplifier)
    diode = amplifier.of_kind("diode")[0].name
    dim = Situation(96.4, lamp_watts=40.0)
    laid = np.stack([circuit.vector(dim), circuit.vector(dim, [Fault(diode, "shorted")])], axis=1)
    together, alone = circuit.solve(laid), circuit.solve(laid[:, 0])
    assert together.residual_amps[0] < 1e-11
    np.testing.assert_allclose(together.x[:, 0], alone.x[:, 0], rtol=1e-9, atol=1e-9)


def test_two_bad_rectifiers_across_a_bridge_share_one_short_circuit() -> None:
    """D2 shorted and D3 reversed: two ways round the same winding in the same half cycle. Together they pass what its ohms
    let through, E/(sqrt2 R) rms (half a sine wave), not that much each."""
    amplifier = load(next(EXAMPLES.glob("c-*.toml")))
    circuit = compile_circuit(amplifier)
    faults = [Fault("D3", "reversed"), Fault("D2", "shorted")]
    standing = circuit.solve(circuit.vector(Situation(104.8), faults))
    # 285 V loaded with 0.2 A is 300 V unloaded; winding 45 ohms, primary, fuse and contacts seen from it; the heaters in
    # parallel take 2 % off both
    turns = 300.0 / 120.0
    ohms = 45.0 + turns**2 * (1.8 + amplifier.parts["F1"].value("ohms") + 0.03)
    unloaded = 104.8 * turns
    assert standing.part("T1 ht")["amps_rms"][0] == pytest.approx(unloaded / 2.0**0.5 / ohms, rel=0.03)
    assert abs(standing.power_balance[0]) < 1e-8
    # both of one leg reversed: what passes in at one end of the reservoir passes out at the other, and a cell of the cycle
    # puts the reservoir's own 4 ohms of that time into the way (2 % here)
    both = circuit.solve(circuit.vector(Situation(104.8), [Fault("D1", "reversed"), Fault("D4", "reversed")]))
    assert both.part("T1 ht")["amps_rms"][0] == pytest.approx(unloaded / 2.0**0.5 / ohms, rel=0.05)
