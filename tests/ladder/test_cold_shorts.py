"""A short never passes unplugged: loudspeaker winding to HT (LADDER row 10) and diodes in place, on every meter.

What healthy amplifiers may show comes from the drawing by hand: the least way between the two joints, by Ohm's law.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from at_hand import built
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Fault
from firstglow.ladder.ladder import Ladder
from firstglow.readings.asked import Block, Cast
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.meters import meter_named
from firstglow.readings.observe import Observer
from firstglow.readings.taken import Taken, TakenFile
from firstglow.readings.verdict import judge

EXAMPLES = Path(__file__).parents[2] / "examples"
# The bleeder across what else lies from HT to chassis: c 150 k || (330 k + 33 k) = 106.1 k at HT1, and what the smoothing
# electrolytics leak across it (2 to 3 % of that).
LEAST_C = 150e3 * 363e3 / 513e3
LS = [("a-linden-twin", "1/LS hot to HT/left"), ("b-hazel-four", "1/LS hot to HT/shared")]
LS += [("c-sorrel-twenty", "1/LS hot to HT/shared")]
DIODES = [("a-linden-twin", "1/D1 own ends/shared")]
DIODES += [("c-sorrel-twenty", f"1/D{n} own ends/shared") for n in (1, 2, 3, 4)]
METERS = ("digital", "20k", "1k")


@cache
def amplifier(name: str) -> Amplifier:
    return load(EXAMPLES / f"{name}.toml")


@cache
def ladder(name: str, meter: str) -> Ladder:
    return built(amplifier(name), meter=meter, mode="fast")


def found(name: str, row: str, meter: str) -> ExpectedReading:
    return next(r for r in ladder(name, meter).expected.readings() if r.id == row)


def answer(name: str, row: str, meter: str, text: str) -> str:
    taken = Taken(row, text)
    return judge(ladder(name, meter).expected, found(name, row, meter), taken, TakenFile((taken,))).verdict


@pytest.mark.parametrize("text", ["0", "0.2", "0.5", "20", "1000"])
@pytest.mark.parametrize("meter", METERS)
@pytest.mark.parametrize(("name", "row"), [*LS, *DIODES])
def test_a_short_is_a_switch_off(name: str, row: str, meter: str, text: str) -> None:
    assert answer(name, row, meter, text) == "switch off now"


@pytest.mark.parametrize("name", ["b-hazel-four", "c-sorrel-twenty"])
def test_what_stands_unplugged_is_a_go_on(name: str) -> None:
    row = "1/LS hot to HT/shared"
    expected = found(name, row, "digital").expected
    assert isinstance(expected, float)
    assert answer(name, row, "digital", f"{expected:.6g}") == "go on"


def test_the_least_way_by_hand() -> None:
    reading = found("c-sorrel-twenty", "1/LS hot to HT/shared", "digital")
    assert reading.expected == pytest.approx(LEAST_C, rel=0.035)
    assert reading.stop_below is not None and reading.low is not None
    assert reading.stop_below.limit == pytest.approx(LEAST_C / 2, rel=0.04)
    assert reading.stop_below.limit < reading.low


@pytest.mark.parametrize("row", [row for name, row in DIODES if name[0] == "c"])
def test_a_good_diode_passes_whatever_the_meter_opens(row: str) -> None:
    """In reverse the way is the bleeder and another diode of the bridge, from open (50 Mohm) to passing."""
    reading = found("c-sorrel-twenty", row, "digital")
    observer = Observer(amplifier("c-sorrel-twenty"))
    levels = np.linspace(0.001, 0.999, 21)
    cast = Cast(np.repeat(observer.nominal, 21, axis=1), level=levels)
    seen = observer.see([Block("x", reading.planned.situation, (reading.planned,))], cast).values[row]
    assert float(seen.min()) == pytest.approx(LEAST_C, rel=0.05)
    on = meter_named("digital").of_kind("ohms")[-1]
    assert reading.stop_below is not None
    for ohms in seen:
        assert ohms - on.limits(float(ohms)) > reading.stop_below.limit
        assert answer("c-sorrel-twenty", row, "digital", f"{ohms:.0f}") == "go on"


@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_a_shorted_diode_solved_afresh(n: int) -> None:
    name, row = "c-sorrel-twenty", f"1/D{n} own ends/shared"
    reading = found(name, row, "digital")
    observer = Observer(amplifier(name))
    cast = Cast(observer.nominal, each=((Fault(f"D{n}", "shorted"),),))
    shown = observer.see([Block("x", reading.planned.situation, (reading.planned,))], cast).values[row]
    assert reading.stop_below is not None
    assert float(shown[0]) < 100.0 < reading.stop_below.limit
