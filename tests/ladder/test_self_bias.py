"""Cathode bias: V near 0 is a switch-off on every powered rung with the valve in (LADDER section 6, common practice)."""

from functools import cache
from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Fault
from firstglow.ladder.ladder import Ladder
from firstglow.readings.asked import Block, Cast
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.observe import Observer

EXAMPLES = Path(__file__).parents[2] / "examples"
BYPASS = {"b-hazel-four": ("V2", "C6"), "c-sorrel-twenty": ("V2", "C8")}
ROWS = (
    "6/{} cathode lamp in/shared",
    "6/{} cathode lamp out/shared",
    "8/{} cathode/shared",
    "9/{} cathode after 10 min/shared",
    "9/{} cathode after 60 min/shared",
)
CASES = [(name, row) for name in BYPASS for row in ROWS]


@cache
def amplifier(name: str) -> Amplifier:
    return load(EXAMPLES / f"{name}.toml")


@cache
def ladder(name: str) -> Ladder:
    return built(amplifier(name), meter="digital", mode="fast")


def found(name: str, row: str) -> ExpectedReading:
    valve, _ = BYPASS[name]
    return next(r for r in ladder(name).expected.readings() if r.id == row.format(valve))


@pytest.mark.parametrize(("name", "row"), CASES)
def test_a_shorted_bypass_is_a_switch_off(name: str, row: str) -> None:
    """What stands there with the bypass shorted, solved afresh."""
    bypass = BYPASS[name][1]
    reading = found(name, row)
    observer = Observer(amplifier(name))
    block = Block("x", reading.planned.situation, (reading.planned,))
    sick = observer.see([block], Cast(observer.nominal, each=((Fault(bypass, "shorted"),),)))
    shown = float(sick.values[reading.id][0])
    assert abs(shown) < 0.1
    assert reading.stop_below is not None
    assert shown < reading.stop_below.limit
    assert "bypass shorted" in reading.stop_below.why or row.startswith("8/")
    assert isinstance(reading.expected, float) and reading.low is not None
    assert 0.4 * reading.expected < reading.stop_below.limit < reading.low


@pytest.mark.parametrize(("name", "row"), CASES)
def test_the_first_cause_of_a_low_cathode_is_the_one_that_burns(name: str, row: str) -> None:
    low = found(name, row).planned.checks["low"]
    assert "bypass shorted" in low[0]
    assert not any("bypass shorted" in text for text in low[1:])


def test_a_sensed_cathode_under_fixed_bias_keeps_its_words() -> None:
    """Next to nothing across a sense resistor is a valve held off by its bias: nothing burns, and nothing is stopped."""
    for r in ladder("a-linden-twin").expected.readings():
        if r.id.startswith(("6", "9")) and " cathode " in r.id:
            assert r.stop_below is None
            assert not any("bypass" in text for text in r.planned.check_first)
