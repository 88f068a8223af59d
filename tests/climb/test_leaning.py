"""All readings in their bands, and together they lean like one part: said once, and never the end of a climb."""

from functools import cache
from pathlib import Path

from player import Clock, answer_safe, climbed, healthy, once

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.climb import Climb
from firstglow.ladder.ladder import Ladder
from firstglow.readings.expected import ExpectedReading
from firstglow.records.store import MemoryStore

EXAMPLE = Path(__file__).parents[2] / "examples" / "b-hazel-four.toml"


@cache
def on() -> Ladder:
    """Bands that learn."""
    return built(load(EXAMPLE), samples=600)


def leant(reading: ExpectedReading) -> str:
    """What an output valve with far more amplification than its type has shows under power, by the slopes."""
    sheet, given = on().sheet, on().expected.given
    if reading.id not in given.ids or not reading.planned.under_power:
        return healthy(on().expected.by_id[reading.id])
    row, number = sheet.found.names.index("V2 mu"), [r.id for r in sheet.readings].index(reading.id)
    value = float(given.middle[given.ids.index(reading.id)] + 7.5 * sheet.found.sigmas[row, number])
    unit = "" if reading.unit == "1" else reading.unit
    return f"{value:.6f}{unit}"


def begun() -> tuple[Climb, Clock]:
    clock = Clock()
    climb = Climb(on(), MemoryStore(), clock=clock, ahead=False)
    climb.begin()
    return climb, clock


def test_it_is_looked_at_at_the_end_of_a_rung_and_goes_on_where_the_part_is_good() -> None:
    climb, clock = begun()
    found = climbed(climb, clock, leant)
    assert found is not None
    verdict = found.verdict
    assert verdict is not None
    assert verdict.verdict == "look first"
    assert verdict.check_first == ("V2: made safe, another of its type in its place",)
    assert "together" in verdict.why
    assert "the same figure again goes on" in verdict.why
    name = climb.step.reading
    assert name == verdict.id
    again = once(climb, clock, leant)
    assert again is not None
    assert again.verdict is not None
    assert again.verdict.verdict == "go on"
    # at the top without another word of that part, also on records that are read again
    assert climbed(climb, clock, leant) is None or "V2" not in str(climb.events[-1].why)
    assert "V2" in Climb(on(), climb.store, clock=clock, ahead=False).here.leaned


def test_a_change_makes_it_worth_saying_again() -> None:
    climb, clock = begun()
    assert climbed(climb, clock, leant) is not None
    assert "V2" in climb.here.leaned
    climb.switch_off()
    while climb.state == "switched off":
        answer_safe(climb, clock)
    climb.change(["V2"])
    assert climb.here.leaned == frozenset()
    found = climbed(climb, clock, leant)
    assert found is not None
    assert found.verdict is not None
    assert "V2" in found.verdict.leans
