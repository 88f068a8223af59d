"""Every layer of an example is an amplifier of its own: as drawn and as found are solved and climbed, not only as changed."""

from pathlib import Path

import numpy as np
import pytest

from at_hand import built
from firstglow.amplifier import Situation, load
from firstglow.devices.semiconductor import junction_diode, selenium_law
from firstglow.solver.circuit import compile_circuit

EXAMPLE = next((Path(__file__).parent.parent.parent / "examples").glob("a-*.toml"))


@pytest.mark.parametrize("layer", ["drawn", "found", "changed"])
def test_every_layer_is_solved_and_climbed(layer: str) -> None:
    amplifier = load(EXAMPLE, as_=layer)
    ladder = built(amplifier, mode="fast")
    rail = next(r for r in ladder.expected.readings() if r.id == "3/bias raw reservoir/shared")
    assert isinstance(rail.expected, float)
    assert rail.low is not None
    assert rail.high is not None
    assert rail.low < rail.expected < rail.high < 0.0


def test_selenium_gives_fewer_volts_than_silicon() -> None:
    # four plates at a volt each (selenium handbook, from memory) where silicon drops 0.7 V
    volts = {}
    for layer in ("drawn", "changed"):
        circuit = compile_circuit(load(EXAMPLE, as_=layer))
        situation = Situation(mains_volts=230.0, out=frozenset({"V3", "V4", "V7", "V8"}))
        volts[layer] = float(circuit.solve(circuit.vector(situation)).dc("bias raw")[0])
    assert 1.0 < volts["drawn"] - volts["changed"] < 6.0


def test_a_batch_of_ages_is_each_age_alone() -> None:
    ages = np.array([0.0, 0.3, 1.0])
    together, _ = junction_diode(selenium_law(0.06, 4.0, ages), 3.0)
    alone = [float(junction_diode(selenium_law(0.06, 4.0, float(a)), 3.0)[0]) for a in ages]
    assert together == pytest.approx(alone, rel=1e-12)
    assert alone[0] > alone[1] > alone[2] > 0.0
