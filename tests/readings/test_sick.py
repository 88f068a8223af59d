"""Planted faults that readings must be able to see, because nature lets them."""

from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.readings.observe import Observer
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.cold import cold_ohms

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def linden() -> Amplifier:
    return load(EXAMPLES / "a-linden-twin.toml")


def test_an_open_heater_is_a_cold_valve(linden: Amplifier) -> None:
    """No heat, no emission (common practice): its plate draws nothing and its heater current is missed at the winding."""
    circuit, at = compile_circuit(linden), Situation(230.0)
    well, ill = (circuit.solve(circuit.vector(at, f)[:, None]) for f in ((), (Fault("V2 heater", "open"),)))
    for section in ("V2a", "V2b"):
        assert well.part(section)["plate_amps"][0] > 1e-3
        assert ill.part(section)["plate_amps"][0] < 1e-9
    assert np.abs(ill.part("T1 heat a")["amps_rms"]) < np.abs(well.part("T1 heat a")["amps_rms"]) - 0.25


@pytest.mark.parametrize(
    ("fault", "ohms"),
    [
        (None, 2.2e3 + 1 / (1 / 1e6 + 1 / 500e3)),
        (Fault("left R11", "open"), 2.2e3 + 500e3),
        (Fault("left P3", "shorted"), 2.2e3),
        (Fault("left P3", "drifts", 2.0), 2.2e3 + 500e3),
    ],
)
def test_the_first_grid_leak_and_the_volume_control_are_read_with_nothing_in_the_input(
    linden: Amplifier, fault: Fault | None, ohms: float
) -> None:
    """Ohm's law: 2.2 k, then 1 M beside a volume control of 500 k turned up."""
    at = Situation(0.0, out=frozenset(p.envelope for p in linden.of_kind("valve", "rectifier") if p.envelope))
    pair = (linden.joint_of("V1", "grid"), "chassis")
    found = cold_ohms(linden, at, [pair], Observer(linden).named(Observer(linden).nominal), (fault,) if fault else ())
    assert found[0, 0] == pytest.approx(ohms, rel=0.002)
