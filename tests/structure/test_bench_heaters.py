"""What heats the valves of a fragment that names no heater supply."""

import pytest

from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit

STAGE = """format = 1
fragment = true
amplifier = {{ name = "Half wave", drawing = "a bench sketch", mains = "230V 50Hz" }}
[parts]
B1 = ["supply", "a", "chassis", {{ volts = "300V", hertz = 50 }}]
V1 = ["{valve}", {{ plate1 = "a", plate2 = "a", cathode = "HT1" }}]
R1 = ["10k 20W", "HT1", "chassis"]
C1 = ["32u 500V", "HT1", "chassis"]
"""


@pytest.mark.parametrize("valve", ["5V4G", "GZ34", "5Y3GT"])
def test_a_cathode_joined_in_the_glass_needs_no_heater_line_in_a_fragment(valve: str) -> None:
    """RCA RC-30, 5V4G: cathode on pin 8 with a heater end (5Y3GT: the filament is the cathode). A bench heater supply with
    one side on chassis would lay the rectifier's output on chassis through the glass."""
    amplifier = load(STAGE.format(valve=valve))
    assert amplifier.joint_of("V1", "cathode") == amplifier.joint_of("V1 heater", "2") == "HT1"
    assert "chassis" not in amplifier.parts["V1 heater"].leads.values()
    assert any("joined to it in the glass" in d.value + d.spread for d in amplifier.defaults)
    standing = compile_circuit(amplifier).solve(compile_circuit(amplifier).vector(Situation(230.0)))
    # A capacitor input holds more than the rms and less than its peak (a short through the glass leaves next to nothing);
    # the RCA manual's 5Y3GT gives 350 V dc from 350 V rms at its rated 125 mA, here it gives a third of that.
    assert 300.0 < standing.dc("HT1")[0] < 300.0 * 2**0.5
