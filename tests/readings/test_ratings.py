"""A valve is rated by what is written on it (RCA Receiving Tube Manual RC-30: the 6L6G beside the 6L6GC; from memory)."""

import pytest

from firstglow.amplifier import load
from firstglow.readings.rated import section_of

TEXT = """
format = 1
amplifier = { name = "T", drawing = "n", mains = "230V" }
[parts]
T1 = ["mains transformer", { primary = "230V", ht = "270-0-270V", rect = "5V 2A", heat = "6.3V ct" }]
V3 = ["5V4G", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = ["HT1", "220k chassis"], heater = "T1 rect" }]
C1 = ["22u 450V", "HT1", "chassis"]
J1 = ["input", "V2 grid", "chassis"]
V2 = ["%s", { plate = "T2 plate a", screen = "220R HT1", cathode = "330R chassis", grid = "470k chassis", heater = "T1 heat" }]
T2 = ["output transformer 5k single-ended 5W", { taps = "8R", centre = "HT1", common = "chassis" }]
LS = ["load 8R", "T2 8", "chassis"]
"""


@pytest.mark.parametrize(("written", "watts"), [("6L6G", 19.0), ("6L6GC", 30.0)])
def test_the_older_valve_keeps_its_smaller_rating(written: str, watts: float) -> None:
    part = load(TEXT % written).parts["V2"]
    assert section_of(part).limits.plate_watts == watts
