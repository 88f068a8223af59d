"""Both plates of a rectifier valve on one end of a winding: one wave, through the valve as through the winding."""

import pytest

from drawn import HEAD, stage
from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit

HALF_WAVE = """T1 = ["mains transformer", { primary = "230V", ht = "240V 60m 180R", "ht 2" = "chassis" }, HEATS]
V9 = ["6X4", { plate1 = "T1 ht 1", plate2 = "T1 ht 1", cathode = "HT1", heater = "T1 heat" }]
C1 = ["32u 450V", "HT1", "chassis"]
""".replace("HEATS", '{ heat = "6.3V 3A", "heat 2" = "chassis" }')


def test_tied_plates_carry_what_their_winding_does() -> None:
    """Kirchhoff: nothing else hangs on the winding's end, so its rms amps are the valve's (each plate's half adds as amps)."""
    circuit = compile_circuit(load(HEAD + HALF_WAVE + stage()))
    standing = circuit.solve(circuit.vector(Situation(230.0)))
    valve, winding = (float(standing.part(name)["amps_rms"][0]) for name in ("V9", "T1 ht"))
    assert valve == pytest.approx(winding, rel=1e-3)
