"""A pilot lamp works on every kind of joint: across the mains, on a heater winding, on HT."""

from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.proof import SLOPE_ERROR, slope_errors
from firstglow.solver.standing import Standing

B = (Path(__file__).parents[2] / "examples" / "b-hazel-four.toml").read_text(encoding="utf-8")
ACROSS = 'N1 = ["lamp 230V 65mA", "T1 primary 1", "T1 primary 2"]'
LINE = 'N1 = ["lamp 230V 65mA", "line", "neutral"]'


def solved(*lines: str, situation: Situation | None = None, faults: tuple[Fault, ...] = ()) -> tuple[Circuit, Standing]:
    circuit = compile_circuit(load("\n".join([B, *lines, ""])))
    return circuit, circuit.solve(circuit.vector(situation or Situation(230.0), faults))


def of(standing: Standing, part: str, row: str) -> float:
    return float(standing.part(part)[row][0])


@pytest.mark.parametrize("line", [ACROSS, LINE])
def test_across_the_mains_it_draws_its_amps(line: str) -> None:
    """65 mA and 14.95 W at 230 V; the line's fuse, with some tenths of an ohm, is all that lies ahead of the primary."""
    standing = solved(line)[1]
    assert of(standing, "N1", "amps_rms") == pytest.approx(0.065, rel=1e-3)
    assert of(standing, "N1", "watts") == pytest.approx(230.0 * 0.065, rel=2e-3)


def test_the_line_carries_it_beside_the_rest() -> None:
    """In phase with the mains, so rms amps add as sqrt(I^2 + 2 P/230 i + i^2): P/230 is what of I is in phase."""
    plain, lit = solved()[1], solved(ACROSS)[1]
    amps, watts, own = of(plain, "F1", "amps_rms"), float(np.ravel(plain.books.given_watts)[0]), 0.065
    wanted = sqrt(amps**2 + 2.0 * watts / 230.0 * own + own**2)
    assert of(lit, "F1", "amps_rms") == pytest.approx(wanted, rel=1e-3)


def test_its_ohms_follow_its_volts() -> None:
    """At half mains (1/2)^0.6 of its amps, as any heater (the cold resistance under it is below a thousandth here)."""
    standing = solved(LINE, situation=Situation(115.0))[1]
    assert of(standing, "N1", "amps_rms") == pytest.approx(0.065 * 0.5**0.6, rel=0.02)


def test_two_in_series_share_the_mains() -> None:
    lamps = ('N1 = ["lamp 115V 65mA", "line", "mid"]', 'N2 = ["lamp 115V 65mA", "mid", "neutral"]')
    standing = solved(*lamps)[1]
    assert of(standing, "N1", "amps_rms") == pytest.approx(0.065, rel=1e-3)
    assert of(standing, "N2", "volts_ac") == pytest.approx(115.0, rel=1e-3)


def test_a_dead_one_draws_nothing() -> None:
    assert of(solved(ACROSS, faults=(Fault("N1", "open"),))[1], "N1", "amps_rms") == pytest.approx(0.0, abs=1e-9)


def test_its_slopes_are_slopes() -> None:
    circuit, standing = solved(ACROSS)
    p = standing.values
    assert slope_errors(circuit.equations, standing.x * 1.01, circuit.equations.prepare(p)).max() < SLOPE_ERROR


def test_on_a_winding_and_on_ht_as_before() -> None:
    """Rated amps times (volts over rated)^0.6, at rms volts there and at dc here."""
    standing = solved('N1 = ["lamp 6.3V 0.15A", "T1 heat 1", "T1 heat 2"]', 'N2 = ["lamp 300V 5mA", "HT1", "chassis"]')[
        1
    ]
    volts = of(standing, "N1", "volts_ac")
    assert of(standing, "N1", "amps_rms") == pytest.approx(0.15 * (volts / 6.3) ** 0.6, rel=0.01)
    volts = of(standing, "N2", "volts")
    assert of(standing, "N2", "amps") == pytest.approx(0.005 * (volts / 300.0) ** 0.6, rel=0.01)
