"""One transformer drawn with a whole primary, a tapped one and one in two halves: the same copper, the same readings."""

import pytest

from at_hand import audited_cold
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.primaries import primary_groups, reflected_ohms
from firstglow.amplifier.situation import Situation
from firstglow.audit.inrush import inrush
from firstglow.audit.mains_now import today
from firstglow.solver.circuit import compile_circuit

FILE = """format = 1
amplifier = {{ name = "Rowan", drawing = "own", mains = "{mains}V 50Hz" }}
[parts]
J1 = ["inlet", "line", "neutral", "earth"]
W1 = ["wire", "earth", "chassis"]
T1 = ["mains transformer", {{ {primary}, ht = "350-0-350V 150m 42+45R", rect = "5V 2A 0R08" }}, {{ {leads}, "ht ct" = "chassis" }}]
V1 = ["GZ34", {{ plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "HT1", heater = "T1 rect" }}]
C1 = ["32u 550V", "HT1", "chassis"]
R1 = ["5k 50W", "HT1", "chassis"]
"""
ENDS = '"primary {}" = "fused", "primary {}" = "neutral"'
FUSE = 'F1 = ["fuse 2A slow", "line", "fused"]\n'


def drawn(primary: str, leads: str, mains: int = 240) -> Amplifier:
    return load(FILE.format(primary=primary, leads=leads, mains=mains) + FUSE)


WHOLE = drawn('primary = "240V 7R"', ENDS.format("1", "2"))
TAPPED = drawn('primary = "0-220-240V 6+1R"', ENDS.format("240", "0"))
ON_220 = drawn('primary = "0-220-240V 7+5R"', ENDS.format("220", "0"), 220)
ALONE = drawn('primary = "220V 7R"', ENDS.format("1", "2"), 220)


def stress(amplifier: Amplifier, name: str) -> float:
    return next(s.value for s in audited_cold(amplifier, whole=False).of("V1").stresses if s.stress == name)


@pytest.mark.parametrize(("drawn_as", "same_as"), [(TAPPED, WHOLE), (ON_220, ALONE)], ids=["tapped", "free end"])
def test_volts_are_those_of_the_same_copper_in_one_piece(drawn_as: Amplifier, same_as: Amplifier) -> None:
    """6 and 1 ohm in a chain are 7; what lies beyond the tap in use carries nothing. Behind a lamp too, whose ohms are seen
    through the turns in use (they were taken through the first side's alone: 19 % too many)."""
    mains = drawn_as.mains_volts
    for situation in (Situation(mains), Situation(mains, lamp_watts=100.0)):
        volts = []
        for amplifier in (drawn_as, same_as):
            circuit = compile_circuit(amplifier)
            p = circuit.vector(situation)
            for k, q in enumerate(circuit.parameters):
                if q.name.startswith("T1 ht") and q.name.endswith("turns"):
                    p[k] = 350.0 * 1.03  # turns that follow from typical losses are set alike
                if q.name == "T1 rect turns":
                    p[k] = 5.15
            volts.append(float(circuit.solve(p).dc("HT1")[0]))
        assert volts[0] == pytest.approx(volts[1], rel=1e-6)


@pytest.mark.parametrize(
    ("amplifier", "primary"), [(WHOLE, (7.0, 240.0)), (TAPPED, (7.0, 240.0)), (ON_220, (7.0, 220.0))],
    ids=["whole", "tapped", "free end"],
)  # fmt: skip
def test_supply_ohms_by_hand(amplifier: Amplifier, primary: tuple[float, float]) -> None:
    """Half the HT winding's copper and the primary's by the turns squared: 42 + 7 (357/240)^2 = 57 ohm. Each side of a tapped
    one was taken through its own turns alone: 20 V and 1 ohm gave 318 ohm, and a GZ34 that has too few passed."""
    t1 = amplifier.parts["T1"]
    turns = {w.name: w.turns.value for w in t1.windings}
    halves = ((42.0, turns["ht a"]), (45.0, turns["ht b"]))
    ohms, volts = primary
    by_hand = min(copper + ohms * (n / volts) ** 2 for copper, n in halves)
    fuse = amplifier.parts["F1"].value("ohms") * (min(n for _, n in halves) / volts) ** 2
    assert by_hand - 0.1 <= stress(amplifier, "supply ohms a plate") <= by_hand + fuse + 1.0


TWO = 'primary1 = "120V 4R", primary2 = "120V 4R"'
ROW = '"primary1 1" = "fused", "primary1 2" = "mid", "primary2 1" = "mid", "primary2 2" = "neutral"'
BESIDE = '"primary1 1" = "fused", "primary1 2" = "neutral", "primary2 1" = "fused", "primary2 2" = "neutral"'


def test_halves_in_a_row_and_side_by_side() -> None:
    """Two of 120 V and 4 ohm: 8 ohm for 240 V in a row, 2 ohm for 120 V side by side; a turn squared sees the same 8 / 240^2."""
    row, beside = drawn(TWO, ROW), drawn(TWO, BESIDE, 120)
    assert [len(g) for g in primary_groups(row, row.parts["T1"])] == [2]
    assert [len(g) for g in primary_groups(beside, beside.parts["T1"])] == [1, 1]
    for amplifier in (row, beside):
        assert reflected_ohms(amplifier, amplifier.parts["T1"]) == pytest.approx(8.0 / 240.0**2)


@pytest.mark.parametrize(
    ("leads", "mains", "same_as"),
    [(ROW, 240, drawn('primary = "240V 8R"', ENDS.format("1", "2"))),
     (BESIDE, 120, drawn('primary = "120V 2R"', ENDS.format("1", "2"), 120))],
    ids=["in a row", "side by side"],
)  # fmt: skip
def test_the_line_of_halves_is_that_of_one_piece(leads: str, mains: int, same_as: Amplifier) -> None:
    """What a fuse is chosen by: amps once warm, and what no peak can pass, crest over copper: 339 V / 8 ohm, 170 V / 2 ohm. One
    half alone was counted: side by side half the amps, in a row twice the peak and half the volts of the primary."""
    found = []
    for amplifier in (drawn(TWO, leads, mains), same_as):
        now = today(amplifier)
        found.append((inrush(now.circuit, float(mains), now.at_now.mains_amps, {}), now.at_now.primary_volts))
    (halves, across), (whole, one) = found
    assert halves.copper == pytest.approx(2.0**0.5 * mains / (8.0 if mains == 240 else 2.0), rel=1e-6)
    assert halves.copper == pytest.approx(whole.copper, rel=1e-6)
    assert halves.running == pytest.approx(
        whole.running, rel=0.02
    )  # ht turns that follow from typical losses differ a little
    assert across == pytest.approx(one, rel=0.01)
