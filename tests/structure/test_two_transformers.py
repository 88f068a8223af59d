"""A second mains transformer on a tap of the first one's primary: a core of its own, its secondaries apart from the mains."""

import numpy as np
import pytest

from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit

FILE = """format = 1
amplifier = { name = "Two", drawing = "own", mains = "230V 50Hz" }
[parts]
J0 = ["inlet", "line", "neutral", "earth"]
T1 = ["mains transformer", { primary = "0-115-230V 14R", "primary 0" = "neutral", "primary 230" = "line", heat = "6.3V 2A ct" }]
T3 = ["mains transformer", { primary = "115V 14R", "primary 1" = "ONE", "primary 2" = "TWO", ht = "200-0-200V 60m" }]
V2 = ["EZ80", { plate1 = "T3 ht 1", plate2 = "T3 ht 2", cathode = "HT", heater = "T1 heat" }]
C1 = ["32u 450V", "HT", "chassis"]
R1 = ["470k 1W", "HT", "chassis"]
V1 = ["EF86", { plate = "220k HT", screen = ["1M HT", "0.1u 400V chassis"], cathode = "2k2 chassis", grid = ["in", "1M chassis"] }]
"""


def ht(one: str, two: str) -> float:
    amplifier = load(FILE.replace("ONE", one).replace("TWO", two))
    circuit = compile_circuit(amplifier)
    return float(np.ravel(circuit.solve(circuit.vector(Situation(230.0))).dc("HT"))[0])


def test_which_end_of_its_primary_is_on_the_tap_makes_no_loop_and_no_difference() -> None:
    """Kirchhoff: 115 V of tap stand across a 115 V primary whichever way round, and a full-wave HT has no phase. One way it
    was called "windings shorted together". 200 V rms a leg is some 283 V of crest, little of it lost at 2 mA."""
    one = ht("T1 primary 115", "neutral")
    assert one == pytest.approx(ht("neutral", "T1 primary 115"), rel=1e-6)
    assert 260.0 < one < 320.0


def test_a_primary_across_other_volts_than_its_own_is_told_as_that() -> None:
    with pytest.raises(AmplifierError) as caught:
        ht("T1 primary 230", "neutral")
    (problem,) = [p for p in caught.value.problems if p.part == "T3"]
    assert "stand across each other and are marked for other volts" in problem.found
    assert "shorted" not in problem.found
    assert "marked for" in problem.remedy
