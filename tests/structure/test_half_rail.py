"""Half of HT on the tap of a bridge's winding: what hangs on it is fed, and where that is not worked out nothing is proposed that
puts all of HT there."""

import pytest

from drawn import HEAD
from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit

HALVES = """T1 = ["mains transformer", { primary = "230V", ht = "150-0-150V 150m 8+8R" }, { heat = "6.3V 2A", "heat 2" = "chassis" }]
D1 = ["1N4007", "T1 ht 1", "HT1"]
D2 = ["1N4007", "T1 ht 2", "HT1"]
D3 = ["1N4007", "chassis", "T1 ht 1"]
D4 = ["1N4007", "chassis", "T1 ht 2"]
C1 = ["100u 500V", "HT1", "chassis"]
R1 = ["220k 2W", "HT1", "chassis"]
C2 = ["100u 350V", "T1 ht ct", "chassis"]
R2 = ["100k 2W", "T1 ht ct", "chassis"]
R6 = ["1M", "in", "chassis"]
V2 = ["EL34", { grid = "in", plate = "T2 plate a", screen = "1k 2W T1 ht ct", cathode = "330R 5W chassis", heater = "T1 heat" }]
J1 = ["input", "in", "chassis"]
T2 = ["output transformer 5k single-ended 10W", { taps = "8R", centre = "HT1", common = "chassis" }]
LS = ["load 8R", "T2 8", "chassis"]
"""
BEHIND = (
    HALVES.replace('C2 = ["100u 350V", "T1 ht ct"', 'C2 = ["100u 350V", "half"')
    .replace('R2 = ["100k 2W", "T1 ht ct"', 'R2 = ["100k 2W", "half"')
    .replace("1k 2W T1 ht ct", "1k 2W half")
)


def test_a_screen_on_the_tap_of_a_bridge_s_winding_is_fed_from_half_of_ht() -> None:
    """Two halves alike (symmetry): the tap's capacitor stands at half of what the bridge gives."""
    circuit = compile_circuit(load(HEAD + HALVES))
    standing = circuit.solve(circuit.vector(Situation(230.0)))
    whole, half = (float(standing.dc(joint)[0]) for joint in ("HT1", "T1 ht ct"))
    assert half == pytest.approx(0.5 * whole, rel=0.02)
    assert 0.9 * half < float(standing.dc("V2 screen")[0]) < half


@pytest.mark.parametrize(
    "between", ['R9 = ["22R 5W", "T1 ht ct", "half"]', 'L9 = ["choke 5H 100m 150R", "T1 ht ct", "half"]']
)
def test_half_of_ht_behind_something_is_refused_without_putting_ht_on_the_screen(between: str) -> None:
    """The tap's own volts are no sine's mean there and no figure is given; and never a feed of the whole of HT for a remedy."""
    with pytest.raises(AmplifierError) as refused:
        load(HEAD + BEHIND + between + "\n")
    said = str(refused.value)
    assert "T1 ht ct" in said and "half of HT" in said
    assert "fed from nowhere" not in said and "470R" not in said


def test_a_bridge_whose_tap_only_has_equalising_resistors_is_no_half_rail() -> None:
    """From the tap 220k to HT and to chassis: nothing hangs on it."""
    text = HALVES.replace('C2 = ["100u 350V", "T1 ht ct", "chassis"]', 'R3 = ["220k 2W", "HT1", "T1 ht ct"]')
    assert load(HEAD + text.replace("1k 2W T1 ht ct", "1k 2W HT1").replace('R2 = ["100k', 'R2 = ["220k'))
