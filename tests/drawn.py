"""A single-ended stage of one output valve to hang any supply on: short files in which one thing alone differs."""

HEAD = """format = 1
amplifier = { name = "Drawn", drawing = "own", mains = "230V 50Hz" }
[parts]
"""


def stage(heater: str = "T1 heat") -> str:
    """An EL84 on joint HT1 with a bleeder of 220k, its heater as said; the supply and its reservoir are the caller's."""
    return f"""V2 = ["EL84", {{ grid = "in", plate = "T2 plate a", screen = "HT1", cathode = "150R chassis", heater = "{heater}" }}]
J1 = ["input", "in", "chassis"]
R6 = ["1M", "in", "chassis"]
T2 = ["output transformer 5k single-ended 6W", {{ taps = "8R", centre = "HT1", common = "chassis" }}]
LS = ["load 8R", "T2 8", "chassis"]
R9 = ["220k 2W", "HT1", "chassis"]
"""
