"""Where a rectifier with a cathode of its own is heated decides what stands at HT, and what is said of it.

Common practice (data sheets of the type): on the common 6.3 V line the heater insulation carries the whole HT; on a
winding of its own tied to its cathode the insulation carries nothing and the lugs of that winding stand at full HT.
"""

import pytest
from paper import PaperPhysics

from firstglow.amplifier import load
from firstglow.ladder.gear import Gear
from firstglow.ladder.kinds import kind_lines, kinds, rectifier_lugs
from firstglow.ladder.plan import frame_of

TEXT = """format = 1
amplifier = {{ name = "x", mains = "240V 50Hz"{floating} }}
[parts]
T1 = ["mains transformer", {{ primary = "240V", ht = "250-0-250V 100m", heat = "6.3V 4A ct", rect = "6.3V 1A" }}]
V4 = ["EZ81", {{ plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "B+", heater = "T1 {winding}" }}]
C1 = ["47u 500V", "B+", "chassis"]
R1 = ["47k 2W", "B+", "chassis"]
J1 = ["input", "in", "chassis"]
V2 = ["EL84", {{ plate = "T2 plate a", screen = "B+", cathode = "270R 2W chassis", grid = ["in", "470k chassis"], heater = "T1 heat" }}]
T2 = ["output transformer 5k2 single-ended", {{ centre = "B+", taps = "8R" }}]
LS = ["speaker 8R", "T2 8", "chassis"]
{more}
"""
TIED = 'W1 = ["wire", "T1 rect 2", "B+"]'
MOVES = "a move is off"


@pytest.mark.parametrize(
    ("winding", "more", "floating", "kind"),
    [
        ("rect", TIED, "", "own_winding_at_ht"),
        ("rect", "", ', floating = ["T1 rect"]', "own_winding"),
        ("heat", "", "", "separate_rectifier"),
    ],
)
def test_the_heater_line_decides(winding: str, more: str, floating: str, kind: str) -> None:
    amplifier = load(TEXT.format(winding=winding, more=more, floating=floating))
    frame = frame_of(amplifier, Gear(amplifier.mains_volts), PaperPhysics(amplifier))
    found = {"own_winding_at_ht", "own_winding", "separate_rectifier"} & set(kinds(frame))
    assert found == {kind}
    said = " ".join(kind_lines(frame, "early") + kind_lines(frame, "ht"))
    assert (MOVES in said) == (kind == "separate_rectifier")
    assert ("common line" in said) == (kind == "separate_rectifier")
    lugs = ("T1 rect 1", "T1 rect 2") if winding == "rect" else ()
    assert rectifier_lugs(frame) == lugs
    assert all(lug in said for lug in lugs)
