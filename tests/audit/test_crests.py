"""Volts that no dc meter and no phasor shows: a pump's capacitor, its two rectifiers, a rectifier behind a resistor.

By hand at an idle winding, 310 V each half at 230 V and next to nothing drawn (the heaters' and the rectifier's watts take some 1 %):
crest 1.1 x 310 x sqrt 2 = 482 V at the highest mains.
"""

from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from at_hand import audited_cold, firstglow
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier, AmplifierError
from firstglow.amplifier.situation import Situation
from firstglow.api import ladder
from firstglow.audit.incoming import incoming
from firstglow.readings.meters import meter_named
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.discharge import capacitor_starts
from firstglow.solver.pumps import pumped_joints

FILE = """format = 1
amplifier = {{ name = "Alder", drawing = "own", mains = "230V 50Hz" }}
[parts]
F1 = ["fuse 1.6A slow", "line", "T1 primary 1"]
W0 = ["wire", "neutral", "T1 primary 2"]
T1 = ["mains transformer", {{ primary = "230V 1R", ht = "310-0-310V 5m 10+10R" }}]
D1 = ["1N4007", "T1 ht 1", "HT1"]
D2 = ["1N4007", "T1 ht 2", "HT1"]
C1 = ["22u 600V electrolytic", "HT1", "chassis"]
R1 = ["1M 2W", "HT1", "chassis"]
W1 = ["wire", "T1 ht ct", "chassis"]
{feed}
D6 = ["1N4007", "bias raw", "pump"]
C6 = ["22u 350V electrolytic", "chassis", "bias raw"]
R3 = ["{load} 2W", "bias raw", "chassis"]
"""
PUMP = 'C5 = ["0.1u 630V film", "T1 ht 1", "pump"]\nD5 = ["1N4007", "pump", "chassis"]'
CREST = 1.1 * 310.0 * sqrt(2.0)


def drawn(feed: str, load_ohms: str = "47k") -> Amplifier:
    return load(FILE.format(feed=feed, load=load_ohms))


def stress(amplifier: Amplifier, part: str, name: str) -> float:
    return next(s.value for s in audited_cold(amplifier, whole=False).of(part).stresses if s.stress == name)


def pumped_volts(ohms: float, crest: float) -> float:
    """f C (Vpp - V - two junctions) flows into ``ohms``: the charge of a cycle (closed form)."""
    siemens = 50.0 * 0.1e-6
    return siemens * (2.0 * crest - 1.3) / (1.0 / ohms + siemens)


def test_a_pumps_capacitor_stands_at_its_windings_crest() -> None:
    """At the crest one way the pump's joint is at chassis: all of the crest. (Its mean, 41 V of it, was judged.)"""
    amplifier = drawn(PUMP)
    raw = pumped_volts(47e3, CREST)
    assert stress(amplifier, "C6", "working volts") == pytest.approx(raw, rel=0.02)
    assert stress(amplifier, "C5", "working volts") == pytest.approx(max(CREST, CREST - raw), rel=0.02)


@pytest.mark.parametrize("rectifier", ["D5", "D6"])
def test_a_pumps_rectifiers_part_what_it_gives(rectifier: str) -> None:
    """Its joint goes from chassis to the raw bias and back: no more is ever across either (twice the crest was told)."""
    raw = pumped_volts(47e3, CREST)
    assert stress(drawn(PUMP), rectifier, "peak inverse volts") == pytest.approx(raw, rel=0.02)


def test_a_rectifier_behind_a_resistor_parts_the_crest_and_its_own_volts() -> None:
    """While it blocks nothing flows in the resistor: the whole crest, and the bias on the other side. While it conducts the
    resistor has the crest less the bias. The bias by hand: what flows while the crest is past it (numpy, 1e5 steps)."""
    amplifier = drawn('R50 = ["100k 2W", "T1 ht 1", "pump"]', "22k")
    wave = CREST * np.sin(np.linspace(0.0, 2.0 * np.pi, 100_001))
    low, high = 0.0, CREST
    for _ in range(60):
        raw = 0.5 * (low + high)
        gives = np.mean(np.maximum(-wave - 0.65 - raw, 0.0)) / 100e3
        low, high = (raw, high) if gives > raw / 22e3 else (low, raw)
    assert stress(amplifier, "C6", "working volts") == pytest.approx(raw, rel=0.02)
    assert stress(amplifier, "D6", "peak inverse volts") == pytest.approx(CREST + raw, rel=0.02)
    assert stress(amplifier, "R50", "volts") == pytest.approx(CREST - raw, rel=0.02)


def test_no_clip_goes_where_a_winding_stands() -> None:
    """A pump's capacitor is tried on a supply of its own at the crest that it meets, never with a meter in its lead."""
    row = next(x for x in incoming(drawn(PUMP), meter_named("digital"), parts=["C5"]).leaks if x.part == "C5")
    assert row.how == "supply of its own"
    assert row.test_volts == pytest.approx(310.0 * sqrt(2.0), rel=0.02)


def test_switched_off_it_keeps_no_more_than_the_raw_bias() -> None:
    """With the winding still, more across it than the bias is let go by one rectifier, the other way by the other."""
    amplifier = drawn(PUMP)
    standing = compile_circuit(amplifier)
    solved = standing.solve(standing.vector(Situation(230.0)))
    assert pumped_joints(amplifier) == {"pump": ("bias raw", "chassis")}
    left = capacitor_starts(amplifier, 230.0, solved.dc)["C5"]
    assert float(left[0]) == pytest.approx(
        -float(solved.dc("bias raw")[0]), rel=1e-3
    )  # the winding's end itself is some millivolts off chassis


def test_standing_tells_how_far_its_joint_swings(tmp_path: Path) -> None:
    file = tmp_path / "alder.toml"
    file.write_text(FILE.format(feed=PUMP, load="47k"), encoding="utf-8")
    line = next(x for x in firstglow("standing", str(file)).stdout.splitlines() if x.startswith("  pump"))
    raw = pumped_volts(47e3, 310.0 * sqrt(2.0))
    low = float(line.split("swings")[1].split()[0])
    assert low == pytest.approx(-raw, rel=0.02)
    assert line.endswith("to 0 V")


def test_the_ladder_finds_it_unfit_too() -> None:
    """A 160 V part at 438 V: no dial, before any power (it counted 166 / 2 V of dc)."""
    found = ladder(load(FILE.format(feed=PUMP.replace("630V", "160V"), load="47k")), mode="fast").document["findings"]
    unfit = next(x for x in found if x.startswith("UNFIT: C5"))
    volts = float(unfit.split("would stand ")[1].split()[0])
    assert volts == pytest.approx(310.0 * sqrt(2.0), rel=0.02)


@pytest.mark.parametrize("size", ["47n", "0.22u", "10u"])
def test_on_a_bridges_end_it_is_refused(size: str) -> None:
    """That end goes from the bridge's minus to its plus and no further, and floats between: not worked out (5 % too much, or
    no answer, as half the winding's emf)."""
    text = FILE.format(feed=PUMP.replace("0.1u", size), load="47k")
    text = text.replace('ht = "310-0-310V 5m 10+10R"', 'ht = "310V 5m 10R"').replace(
        'W1 = ["wire", "T1 ht ct", "chassis"]\n', ""
    )
    text += 'D3 = ["1N4007", "chassis", "T1 ht 1"]\nD4 = ["1N4007", "chassis", "T1 ht 2"]\n'
    with pytest.raises(AmplifierError, match=r"C5: .*that a bridge pulls.*no figure of this amplifier is given"):
        compile_circuit(load(text))
