"""A person who climbs: reads what an amplifier shows, answers what is asked, and lets the clock run."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta, timezone
from functools import cache
from pathlib import Path

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.climb import Answered, Climb, Step
from firstglow.ladder.ladder import Ladder
from firstglow.readings.expected import ExpectedReading
from firstglow.records.store import MemoryStore, Store

EXAMPLES = Path(__file__).parents[2] / "examples"
SOURCE = "9.1"


class Clock:
    """A clock that runs when it is told to."""

    def __init__(self) -> None:
        self.at = datetime(2026, 11, 25, 15, 0, tzinfo=timezone(timedelta(hours=1)))

    def __call__(self) -> datetime:
        return self.at

    def run(self, seconds: float) -> None:
        self.at += timedelta(seconds=seconds)


@cache
def ladder(name: str = "b-hazel-four") -> Ladder:
    """One example's ladder, bands by sensitivities: at once."""
    return built(load(EXAMPLES / f"{name}.toml"), mode="fast")


def healthy(reading: ExpectedReading) -> str:
    """What a healthy amplifier shows: the sheet's own expected figure, as typed."""
    if reading.words:
        return reading.words[0]
    if reading.expected is None:
        return "OL"
    assert isinstance(reading.expected, float)
    assert reading.shown is not None
    if reading.unit == "1":
        return f"{reading.expected:.3f}"
    text = reading.shown.replace("Ω", "").replace(" ", "")
    return "OL" if text == "OL" else text


def answer_safe(climb: Climb, clock: Clock, volts: Callable[[str, float], float] | None = None) -> None:
    """Everything that making safe asks, one answer."""
    step = climb.step
    assert step.safe is not None
    ask = step.safe
    if ask.phase in ("wait", "minute"):
        clock.run(ask.seconds + 0.1)
    elif ask.phase == "off":
        climb.answer("")
    elif ask.phase in ("prove", "prove again"):
        climb.answer(SOURCE)
    elif ask.phase == "fall":
        part = ask.places[0].part
        seconds = (clock() - datetime.fromisoformat(climb.here.safing.off)).total_seconds()
        shown = climb.fall.volts(part, seconds) * 0.8 if volts is None else volts(part, seconds)
        climb.answer(f"{shown:.1f}")
    else:
        climb.answer(" ".join("0.3" for _ in ask.places))


def once(climb: Climb, clock: Clock, shows: Callable[[ExpectedReading], str]) -> Answered | None:
    """One answer to whatever is asked."""
    step: Step = climb.step
    clock.run(2.0)
    if step.kind == "reading":
        assert step.reading is not None
        clock.run(climb.to_settle(step.reading))
        warm = climb.to_pull(step.reading)
        if warm is not None:
            clock.run(warm)
            climb.pull()
        clock.run(climb.to_fall(step.reading) or 0.0)
        return climb.read(shows(climb.reading(step.reading)))
    if step.kind == "before":
        climb.answer(str(step.clips) if climb.stage(step.stage).powered else "")
    elif step.kind == "hold":
        climb.sign("Anna Berg")
    elif step.kind == "make safe":
        answer_safe(climb, clock)
    return None


def begun(name: str = "b-hazel-four", store: Store | None = None) -> tuple[Climb, Clock]:
    """A climb at its first step."""
    clock = Clock()
    climb = Climb(ladder(name), store or MemoryStore(), clock=clock, ahead=False)  # works out what it asks for, no more
    climb.begin()
    return climb, clock


def climbed(
    climb: Climb, clock: Clock, shows: Callable[[ExpectedReading], str] = healthy, most: int = 3000
) -> Answered | None:
    """Up to the top (None), or the first answer that is not go on or note only."""
    for _ in range(most):
        if climb.step.kind == "done":
            return None
        found = once(climb, clock, shows)
        if found is not None and found.verdict is not None and found.verdict.verdict not in ("go on", "note only"):
            return found
    raise AssertionError(f"still at {climb.step}")


def up_to(climb: Climb, clock: Clock, reading: str) -> None:
    """Healthy until that reading is asked."""
    for _ in range(3000):
        if climb.step.kind == "reading" and climb.step.reading == reading:
            return
        once(climb, clock, healthy)
    raise AssertionError(f"{reading} is never asked")


def showing(special: Mapping[str, str]) -> Callable[[ExpectedReading], str]:
    """Healthy but for some readings."""
    return lambda reading: special.get(reading.id, healthy(reading))
