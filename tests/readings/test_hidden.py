"""A moving coil across a grid leak hides a leaking coupling capacitor: the arithmetic is the divider's own."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import verdict

EXAMPLE = Path(__file__).parent.parent.parent / "examples" / "b-hazel-four.toml"
GRID = "4/V2 grid/shared"


def test_the_divider_of_a_moving_coil_on_half_a_volt() -> None:
    # 20 kohm/V on 0.5 V is 10 kohm; across 471 kohm a leak that would stand at 0.1 V shows 2 mV, the scale's error is 3 %
    # of 0.5 V or 15 mV (moving-coil class and sensitivity: common practice)
    shown = 0.1 * 10e3 / (10e3 + 471e3)
    assert shown < 0.03 * 0.5
    ladder = built(load(EXAMPLE), meter="20k", mode="fast")
    reading = ladder.expected.by_id[GRID]
    assert reading.on is not None
    assert reading.on.input_ohms == pytest.approx(10e3)
    assert reading.source_ohms == pytest.approx(471e3, rel=0.02)
    assert reading.hidden_from(reading.on)


def test_such_a_meter_never_passes_the_grid_and_the_ladder_says_so() -> None:
    ladder = built(load(EXAMPLE), meter="20k", mode="fast")
    taken = parse_taken(f'[readings]\n"{GRID}" = "0 mV"\n')
    (judged,) = verdict(ladder.expected, taken).verdicts
    assert judged.verdict == "look first"
    assert "digital meter" in judged.why
    assert any("digital meter" in f and f.startswith("V2 grid") for f in ladder.document["findings"])


def test_a_digital_meter_passes_it_and_another_meter_in_the_file_does_not() -> None:
    ladder = built(load(EXAMPLE), mode="fast")
    assert not any("digital meter" in f for f in ladder.document["findings"])
    (good,) = verdict(ladder.expected, parse_taken(f'[readings]\n"{GRID}" = "0 mV"\n')).verdicts
    assert good.verdict == "go on"
    other = parse_taken(f'[readings]\n"{GRID}" = {{ value = "0 mV", meter = "20k" }}\n')
    assert verdict(ladder.expected, other).verdicts[0].verdict == "look first"
