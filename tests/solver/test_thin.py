"""The whole chain once: hand-built amplifiers compile, settle and stand where such amplifiers stand."""

from collections.abc import Callable

import numpy as np
import pytest

import builders
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit


@pytest.mark.parametrize("make", [builders.single_ended_cathode, builders.push_pull_fixed])
def test_settles_from_cold_at_any_mains(make: Callable[[], Amplifier]) -> None:
    circuit = compile_circuit(make())
    for volts in (0.0, 70.0, 150.0, 230.0, 299.0):
        standing = circuit.solve(circuit.vector(Situation(volts)))
        assert standing.settled.all()


def test_single_ended_stands_where_such_amplifiers_stand() -> None:
    """Ranges, not figures: a 250-0-250 V winding gives 1.0 to 1.35 times 250 V behind a valve; EL84 with 150 ohm
    in its cathode runs at 6 to 10 V (common practice)."""
    circuit = compile_circuit(builders.single_ended_cathode())
    standing = circuit.solve(circuit.vector(Situation(230.0)))
    assert 250.0 < standing.dc("HT1")[0] < 340.0
    assert 5.0 < standing.dc("V2 cathode")[0] < 11.0
    assert 3.0 < standing.ac("T1 heat 1")[0] < 3.4
    assert np.isclose(standing.ac("T1 ht 1")[0], -standing.ac("T1 ht 2")[0], rtol=1e-9)
