"""What a climb asks next: the step that its records lead to, on one ladder. It keeps nothing and changes nothing."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from firstglow.amplifier.situation import Situation
from firstglow.ladder.drift import AGAIN, drifted
from firstglow.ladder.fall import Fall, fall
from firstglow.ladder.here import here
from firstglow.ladder.judging import as_learned, is_node, mains_here
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.make_safe import before_warm
from firstglow.ladder.safing import Asked, asked
from firstglow.ladder.steps import Stage, stages
from firstglow.ladder.waits import WARM, begins_with_the_plug, powered_for, to_cool, to_fall, to_settle, warm_seconds
from firstglow.readings.at_mains import as_read, mains_away, unjudged
from firstglow.readings.expected import ExpectedReading, ExpectedRung
from firstglow.readings.learn import Learned
from firstglow.readings.meters import Meter
from firstglow.records.record import Record, now
from firstglow.records.store import Store

StepKind = Literal["before", "reading", "make safe", "hold", "done"]


@dataclass(frozen=True, slots=True)
class Step:
    """What is asked next.

    before: stage to set up (``clips`` to be counted where it is powered). reading: its id. make safe: ``safe`` says
    what of it. hold: the rung whose hold point waits for a name. done: nothing is left.
    """

    kind: StepKind
    rung: str
    stage: str = ""
    reading: str | None = None
    safe: Asked | None = None
    clips: int = 0


class Asking:
    """Where one climb stands on one ladder, by the records of one store, and what it asks next.

    meters: the bench's, by name. clock: what time it is.
    """

    def __init__(
        self,
        ladder: Ladder,
        store: Store,
        *,
        meters: Mapping[str, Meter] | None = None,
        clock: Callable[[], datetime] = now,
    ) -> None:
        self.ladder, self.store, self.clock = ladder, store, clock
        self.meters = dict(meters or {})
        self.stages = stages(ladder)
        self.here = here(store.records())
        self._falls: tuple[str, Fall] | None = None
        self._stage_of = {name: stage for stage in self.stages for name in stage.readings}
        self._rungs = {rung.id: rung for rung in ladder.expected.rungs}

    # ------------------------------------------------------------------------------------------ where it stands
    @property
    def state(self) -> str:
        """One of ``states.STATES``."""
        return self.here.state

    @property
    def events(self) -> tuple[Record, ...]:
        """Every record, oldest first."""
        return self.store.records()

    def rung(self, name: str) -> ExpectedRung:
        """A rung with its numbers."""
        return self._rungs[name]

    def stage(self, name: str) -> Stage:
        """A stage by its id."""
        return next(s for s in self.stages if s.id == name)

    def reading(self, name: str) -> ExpectedReading:
        """A reading with the band that the readings so far leave it."""
        return self.learned(name).reading

    def learned(self, name: str) -> Learned:
        """The same, with how many readings say so."""
        return as_learned(self.ladder, self.here, name)

    def mains_now(self, name: str) -> float | None:
        """Mains that a reading is judged at, by the last that were told [V]; None where none were, or none are on."""
        return mains_here(self.here, self._expected(name))

    def at_mains(self, reading: ExpectedReading) -> ExpectedReading:
        """A reading, its band learned or the sheet's, as its figures stand at the mains that were told: what it is held to."""
        sheet = self._expected(reading.id)
        away = mains_away(self.ladder.expected, sheet, self.mains_now(reading.id))
        return reading if unjudged(self.ladder.expected, sheet, away) else as_read(reading, sheet, away)

    def unjudged(self, name: str) -> str:
        """Why a figure is not judged at the mains that were told, "" where it is."""
        sheet = self._expected(name)
        return unjudged(self.ladder.expected, sheet, mains_away(self.ladder.expected, sheet, self.mains_now(name)))

    @property
    def step(self) -> Step:
        """What is asked next."""
        if self.here.state == "switched off":
            ask = asked(self.here.safing, self.fall, self.clock())
            return Step("make safe", self._stage_now().rung, self.here.stage, self._next_reading(), ask)
        rung = self._next_rung()
        if rung is None:
            return Step("done", self.stages[-1].rung)
        name = self._next_reading()
        if name is None and (self.here.state == "reading" or not self._to_set_up(rung)):
            return self._gate(rung)
        if self.here.state in ("reading", "look first") and name is not None:
            return Step("reading", rung.id, self.here.stage, name)
        stage = self._next_stage(rung, name)
        return Step("before", rung.id, stage.id, name, clips=stage.clips)

    @property
    def gate(self) -> str | None:
        """The rung whose hold point is signed before the power that is prepared now, where that is so."""
        rung, step = self._next_rung(), self.step
        return rung.id if rung is not None and step.kind in ("before", "hold") and step.rung != rung.id else None

    def _gate(self, rung: ExpectedRung) -> Step:
        """A signed hold point: first what hands do for the power that comes after it, with the count; then the name."""
        after, counted = self._powered_after(rung), self.here.counted
        if after is None or (counted is not None and counted.data.get("stage") == after.id):
            return Step("hold", rung.id, self.here.stage)
        return Step("before", after.rung, after.id, after.readings[0] if after.readings else None, clips=after.clips)

    def _powered_after(self, rung: ExpectedRung) -> Stage | None:
        """The set-up that a hold point lets power into; None where nothing is powered next."""
        left = (r for r in self.ladder.expected.rungs if r.id not in self.here.passed and r.id != rung.id)
        after = next(left, None)
        if after is None:
            return None
        name = next((r.id for r in after.readings if self._open(r.id)), None)
        if name is None and not self._to_set_up(after):
            return None
        stage = self._next_stage(after, name)
        return stage if stage.powered else None

    @property
    def fall(self) -> Fall:
        """How the capacitors fall from the last switch-off, by what was read in that stage."""
        key = f"{self.here.stage} {self.here.powered}"
        if self._falls is None or self._falls[0] != key:
            stage = self._stage_now()
            readings = [self._expected(n) for n in stage.readings]
            at = [r.planned.situation for r in readings] if self.here.powered else []
            measured = {
                r.planned.probe.red: float(self.here.taken[r.id].data["si"])
                for r in readings
                if r.id in self.here.taken and is_node(r)
            }
            safes = {r["id"]: r["make_safe"] for r in self.ladder.document["rungs"]}
            told = safes[stage.rung]["wait_seconds"] if self.here.powered and stage.rung in safes else 0.0
            self._falls = key, fall(self.ladder.frame, at or [stage.situation], measured, told)
        return self._falls[1]

    def to_settle(self, name: str) -> float:
        """Seconds that a reading still waits under power before it counts."""
        planned = self._expected(name).planned
        if planned.off_seconds and self.here.powered:
            return to_cool(self.store.records(), planned, self.clock())
        if planned.on_seconds and self.here.powered and self.here.since:
            return max(0.0, planned.on_seconds - self._on_for())
        if not planned.settle_seconds or not self.here.powered:
            return 0.0
        left = to_settle(planned, powered_for(self.store.records(), name.split("/", 1)[0], self.clock()))
        tried = drifted(self.here, name)
        return left if tried is None else max(left, AGAIN - (self.clock() - tried.moment).total_seconds())

    def to_pull(self, name: str) -> float | None:
        """Seconds that the plug stays in before a reading that begins with it coming out; None for any other, and once it is
        out."""
        if not begins_with_the_plug(self._expected(name).planned) or not self.here.powered or self.here.pulled:
            return None
        return max(0.0, WARM - self._on_for())

    def to_fall(self, name: str) -> float | None:
        """Seconds until a reading that began with the plug is read; None for any other, and while the plug is in."""
        planned = self._expected(name).planned
        if not begins_with_the_plug(planned) or not self.here.pulled:
            return None
        return to_fall(self.here.pulled, planned, self.clock())

    def to_warm(self, name: str) -> float:
        """Seconds until the slowest cathode of a reading's situation is warm."""
        if not self.here.powered or not self.here.since:
            return 0.0
        return max(0.0, warm_seconds(self.ladder.frame, self._expected(name).planned.situation) - self._on_for())

    def _on_for(self) -> float:
        """Seconds since the power of this set-up came on."""
        return (self.clock() - datetime.fromisoformat(self.here.since)).total_seconds()

    def cold_past_its_stop(self, name: str) -> float | None:
        """Dc volts that stand there while the cathodes are still cold [V], where those are past the stop limit of the reading:
        that limit is for warm valves. None for any other."""
        reading = self._expected(name)
        planned, probe = reading.planned, reading.planned.probe
        if probe.kind != "dc volts" or probe.quantity != "volts" or not planned.under_power:
            return None
        cold = before_warm(self.ladder.frame, planned.situation)
        if cold is None:
            return None
        joints = self.ladder.frame.physics.joints(cold)
        volts = joints[probe.red][0] - joints[probe.black][0]
        above, below = reading.stop_above, reading.stop_below
        past = (above is not None and volts > above.limit) or (below is not None and volts < below.limit)
        return volts if past else None

    def called(self, name: str) -> str:
        """A reading in bench words: ``rung 4, V3 plate``; with its channel where its words leave that open."""
        reading = self._expected(name)
        what, side = reading.planned.what, reading.planned.channel
        told = f"{what} ({side})" if side in ("left", "right") and side not in what else what
        return f"rung {reading.rung}, {told}"

    def lamp_changes(self, at: Situation) -> bool:
        """Must hands put a lamp into the line, or take one out, before power in this situation? Before the first power none is
        in; what was done to it between two sittings nobody knows, so it is said again."""
        if at.mains_volts == 0.0:
            return False
        for record in reversed(self.store.records()):
            if record.event == "resume":
                return True
            if record.event == "power":
                return self.stage(str(record.data["stage"])).situation.lamp_watts != at.lamp_watts
        return at.lamp_watts is not None

    def unread(self, rung: str) -> tuple[str, ...]:
        """Readings of a rung that nothing is known of yet."""
        return tuple(r.id for r in self._rungs[rung].readings if self._open(r.id))

    def _open(self, name: str) -> bool:
        return name not in self.here.taken and name not in self.here.skipped

    def _expected(self, name: str) -> ExpectedReading:
        return self.ladder.expected.by_id[name]

    def _next_rung(self) -> ExpectedRung | None:
        return next((r for r in self.ladder.expected.rungs if r.id not in self.here.passed), None)

    def _next_reading(self) -> str | None:
        rung = self._next_rung()
        return None if rung is None else next((r.id for r in rung.readings if self._open(r.id)), None)

    def _next_stage(self, rung: ExpectedRung, name: str | None) -> Stage:
        if name is not None:
            return self._stage_of[name]
        return next(s for s in self.stages if s.rung == rung.id)

    def _to_set_up(self, rung: ExpectedRung) -> bool:
        """A rung without readings of its own: only what is done before it."""
        return not rung.readings and not any(
            r.event in ("ready", "power") and r.rung == rung.id for r in self.store.records()
        )

    def _stage_now(self) -> Stage:
        if self.here.stage:
            return self.stage(self.here.stage)
        rung = self._next_rung() or self.ladder.expected.rungs[-1]
        return self._next_stage(rung, self._next_reading())
