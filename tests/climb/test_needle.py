"""A climb with a moving coil meter: a needle at rest is asked for its range, in a reading and while making safe."""

from pathlib import Path

import pytest
from player import Clock, answer_safe, once

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.climb import Climb
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.meters import ReadingsError
from firstglow.records.store import MemoryStore

EXAMPLE = Path(__file__).parents[2] / "examples" / "b-hazel-four.toml"


def shows(reading: ExpectedReading) -> str:
    if reading.words:
        return reading.words[0]
    return "OL" if reading.expected is None else (reading.shown or "").replace("Ω", "").replace(" ", "")


def test_a_charge_is_passed_only_on_the_range_that_shows_it() -> None:
    clock = Clock()
    climb = Climb(built(load(EXAMPLE), meter="20k", mode="fast"), MemoryStore(), clock=clock)
    climb.begin()
    for _ in range(60):
        if climb.step.kind == "reading" and climb.step.reading == "1/C1a charge/shared":
            break
        if climb.step.kind == "make safe":
            answer_safe(climb, clock)
        else:
            once(climb, clock, shows)
    assert climb.step.reading == "1/C1a charge/shared"
    for typed in ("0", "0 on 500"):
        found = climb.read(typed).verdict
        assert found is not None and found.verdict == "look first" and "step down" in found.why
    found = climb.read("0 on 10 V").verdict
    assert found is not None and found.verdict == "go on"
    assert climb.here.taken["1/C1a charge/shared"].value == "0 on 10 V"
    assert climb.here.taken["1/C1a charge/shared"].data["si"] == 0.0


def test_making_safe_with_a_needle() -> None:
    clock = Clock()
    climb = Climb(built(load(EXAMPLE), meter="20k", mode="fast"), MemoryStore(), clock=clock)
    climb.begin()
    climb.switch_off()
    while climb.step.safe is not None and climb.step.safe.phase != "discharge":
        answer_safe(climb, clock)
    assert climb.step.safe is not None
    count = len(climb.step.safe.places)
    with pytest.raises(ReadingsError, match="step down"):
        climb.answer(" ".join("0" for _ in range(count)))
    climb.answer(" ".join("0" for _ in range(count)) + " on 10")
    assert climb.step.safe is None or climb.step.safe.phase != "discharge"
