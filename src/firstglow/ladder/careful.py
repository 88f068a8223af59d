"""A careful person on a virtual amplifier: waits where it is asked, types what the meter shows, stops where it stops."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from firstglow.ladder.climb import Answered, Climb, Step
from firstglow.ladder.safing import resolving
from firstglow.ladder.virtual import LEFT_OVER, SOURCE_VOLTS, Virtual
from firstglow.ladder.waits import begins_with_the_plug, powered_for, still_advised
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.meters import digital
from firstglow.readings.verdict import Verdict

NAME = "the rehearsal"
# From one answer to the next, with a clip to move and a range to turn [s].
AN_ANSWER = 5.0
START = datetime.fromisoformat("2026-01-01T09:00:00+00:00")


class Clock:
    """A clock that runs when it is told to: the time of a rehearsal."""

    def __init__(self, at: datetime = START) -> None:
        self.at = at

    def __call__(self) -> datetime:
        """Now."""
        return self.at

    def run(self, seconds: float) -> None:
        """Let it run on."""
        self.at += timedelta(seconds=seconds)


@dataclass(frozen=True, slots=True)
class Taken:
    """One reading taken."""

    reading: ExpectedReading
    text: str
    verdict: Verdict
    answered: Answered


@dataclass(frozen=True, slots=True)
class Outcome:
    """taken: every reading, in order. stopped_at: the one that was not go on, None where the top was reached."""

    taken: tuple[Taken, ...]
    stopped_at: Taken | None


class Careful:
    """Climbs. Every reading that it needs to know of the virtual amplifier it has from ``meter``.

    A needle that cannot judge a reading is laid aside for a digital meter.
    """

    spare = digital()

    def __init__(self, climb: Climb, virtual: Virtual, clock: Clock) -> None:
        self.climb, self.virtual, self.clock = climb, virtual, clock

    def run(self, told: Callable[[Taken], None] | None = None) -> Outcome:
        """To the top, or to the first reading that is not go on and then to made safe."""
        taken: list[Taken] = []
        stopped: Taken | None = None
        while self.climb.step.kind != "done":
            found = self.once()
            if found is None:
                if stopped is not None and not self.climb.here.powered and self.climb.state != "switched off":
                    break
                continue
            taken.append(found)
            if told is not None:
                told(found)
            if found.verdict.verdict not in ("go on", "note only"):
                stopped = found
                self.climb.switch_off(f"{found.verdict.verdict}: {found.reading.id}")
                if not self.climb.here.powered and self.climb.state != "switched off":
                    break
        return Outcome(tuple(taken), stopped)

    def once(self) -> Taken | None:
        """One answer to whatever is asked; the reading where it was one."""
        step = self.climb.step
        self.clock.run(AN_ANSWER)
        if step.kind == "reading":
            return self._read(step)
        if step.kind == "before":
            self.climb.answer(str(step.clips) if self.climb.stage(step.stage).powered else "")
        elif step.kind == "hold":
            self.climb.sign(NAME)
        else:
            self.safe(step)
        return None

    def _read(self, step: Step) -> Taken:
        name = step.reading or ""
        warm = self.climb.to_pull(name)
        if warm is not None:
            self.clock.run(warm)
            self.climb.pull()
        self.clock.run(self.to_wait(step))
        reading = self.climb.reading(name)
        own = self.climb.ladder.expected.meter
        if reading.hidden:
            self.climb.use_meter(self.spare.name)
        text = self.meter(step)
        answered = self.climb.read(text)
        if reading.hidden:
            self.climb.use_meter(own.name)
        assert answered.verdict is not None
        return Taken(reading, text, answered.verdict, answered)

    def to_wait(self, step: Step) -> float:
        """How long a careful person still waits before this reading [s]."""
        stage = self.climb.stage(self.climb.here.stage or step.stage)
        if not stage.powered or step.reading is None:
            return 0.0
        planned = self.climb.ladder.expected.by_id[step.reading].planned
        if begins_with_the_plug(planned):
            return self.climb.to_pull(step.reading) or self.climb.to_fall(step.reading) or 0.0
        rung = self.climb.rung(step.rung).planned
        wanted = self.virtual.warm_seconds(planned.situation)
        on_for = self._on_for()
        in_all = powered_for(self.climb.events, step.rung, self.clock())
        still = still_advised(self.climb.ladder.frame, rung, planned, on_for, in_all)[0]
        return max(self.climb.to_settle(step.reading), wanted - on_for, still)

    def _on_for(self) -> float:
        since = self.climb.here.since
        return (self.clock() - datetime.fromisoformat(since)).total_seconds() if since else 0.0

    def meter(self, step: Step) -> str:
        """What the meter shows for what is asked now, "" where nothing is read."""
        if step.kind == "reading" and step.reading is not None:
            if self.climb.to_pull(step.reading) is not None:
                return ""  # the figure is that of seconds after the plug came out
            hidden = bool(self.climb.reading(step.reading).hidden)
            return self.virtual.shows(step.reading, self._on_for(), self.spare if hidden else None)
        if step.kind != "make safe" or step.safe is None:
            return ""
        ask = step.safe
        if ask.phase in ("prove", "prove again"):
            return f"{SOURCE_VOLTS}"
        if ask.phase == "fall":
            stage = self.climb.stage(self.climb.here.stage)
            off = datetime.fromisoformat(self.climb.here.safing.off)
            seconds = (self.clock() - off).total_seconds()
            return f"{self.virtual.left(self.climb.fall, stage.situation, ask.places[0].part, seconds):.1f}"
        if ask.phase not in ("discharge", "again"):
            return ""
        meter = self.climb.meter
        figures = " ".join(f"{LEFT_OVER}" for _ in ask.places)
        return f"{figures} on {resolving(meter)[-1].full:g}" if meter.needle and resolving(meter) else figures

    def safe(self, step: Step) -> None:
        """One step of making safe."""
        assert step.safe is not None
        if step.safe.phase in ("wait", "minute"):
            self.clock.run(step.safe.seconds + 0.1)
        else:
            self.climb.answer(self.meter(step))
