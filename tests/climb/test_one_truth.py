"""What a verdict holds a reading to is what its screen shows: the band learned from this amplifier, not the sheet's."""

from player import EXAMPLES, Clock, healthy, once

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.climb import Climb
from firstglow.records.store import MemoryStore


def test_the_verdict_expects_what_the_screen_expects() -> None:
    """EXPECT 354.2 V stood over "355.7 V is expected", and "564.0 mV would be right" beside a band that ended at 563.0."""
    made = built(load(EXAMPLES / "b-hazel-four.toml"))
    climb, clock = Climb(made, MemoryStore(), clock=(run := Clock()), ahead=False), run
    climb.begin()
    for _ in range(3000):
        step = climb.step
        if step.kind == "reading" and step.reading is not None and step.rung == "6":
            known, sheet = climb.learned(step.reading), made.expected.by_id[step.reading]
            stop = sheet.stop_below.limit if sheet.stop_below else 0.0
            at_once = not sheet.planned.on_seconds  # a figure told before its minute is up does not count yet
            if (
                at_once
                and known.grounds
                and known.reading.shown != sheet.shown
                and sheet.low
                and 0.98 * sheet.low > stop > 0.0
            ):
                break
        # what this amplifier shows lies a little under the sheet, so that something is learned
        once(climb, clock, lambda r: f"{0.997 * r.expected}" if r.unit == "V" and r.expected and r.low else healthy(r))
    typed = 0.98 * sheet.low
    verdict = climb.read(f"{typed:.1f}").verdict
    assert verdict is not None
    assert verdict.verdict == "look first"
    assert f"{known.reading.shown} is expected" in verdict.why
    assert f"below {known.reading.text(known.reading.low)}" in verdict.why
