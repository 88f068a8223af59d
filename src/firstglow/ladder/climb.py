"""The climb: one reading at a time, each kept before it is answered, and making safe always one call away.

Its state is what its records say (``here.py``); which state may follow which is a table (``states.py``). It computes no
figure of its own, knows no terminal and no page, and drives either.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from firstglow.ladder.changed import changed, part_named
from firstglow.ladder.fall import Fall, fall
from firstglow.ladder.here import after, here
from firstglow.ladder.judging import as_learned, finite, is_node, judged
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.near import Nearby
from firstglow.ladder.safing import Asked, answers, asked
from firstglow.ladder.states import StateError
from firstglow.ladder.steps import Stage, stages
from firstglow.ladder.waits import powered_for, to_settle
from firstglow.readings.expected import ExpectedReading, ExpectedRung
from firstglow.readings.learn import Learned
from firstglow.readings.meters import Meter, ReadingsError, meter_named
from firstglow.readings.slips import Slip, recognised, words_elsewhere
from firstglow.readings.verdict import MAINS_REACH, Verdict
from firstglow.records.record import Record, now
from firstglow.records.store import Store

# Past this much of other mains the sheet is better made again for them: limits are never moved by a reading.
MAINS_SHEET = 0.03

DONE = ("", "done", "yes", "ok")

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


@dataclass(frozen=True, slots=True)
class Answered:
    """What an answer led to. verdict, slips: of a reading, else None and nothing. text: what to say, "" for nothing."""

    verdict: Verdict | None = None
    slips: tuple[Slip, ...] = ()
    text: str = ""


class Climb:
    """One climb on one ladder and one store.

    meters: the bench's, by name. clock: what time it is. ahead: work out while power goes on what a
    figure may be mistaken for, so that no verdict waits for it.
    """

    def __init__(
        self,
        ladder: Ladder,
        store: Store,
        *,
        meters: Mapping[str, Meter] | None = None,
        clock: Callable[[], datetime] = now,
        ahead: bool = True,
    ) -> None:
        self.ladder, self.store, self.clock = ladder, store, clock
        self.meters = dict(meters or {})
        self.stages = stages(ladder)
        self.nearby, self.ahead = Nearby(ladder.frame), ahead
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
        stage = self._next_stage(rung, name)
        if name is None and (self.here.state == "reading" or not self._to_set_up(rung)):
            return Step("hold", rung.id, self.here.stage)
        if self.here.state in ("reading", "look first") and name is not None:
            return Step("reading", rung.id, self.here.stage, name)
        return Step("before", rung.id, stage.id, name, clips=stage.clips)

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
            self._falls = key, fall(self.ladder.frame, at or [stage.situation], measured)
        return self._falls[1]

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

    # ------------------------------------------------------------------------------------------ what happens
    def begin(self, **data: Any) -> None:
        """The first record of a climb, or the first of another sitting on the same records."""
        if not self.store.records():
            self._keep("begin", data={"digest": self.ladder.expected.digest, **data})
            return
        self._keep("resume", data=data)
        self._settle()
        if self.here.powered and self.here.state != "switched off":
            self._keep("switch off", why="the last sitting ended under power: taken as live until made safe")

    def read(self, text: str) -> Answered:
        """A reading as typed, judged and kept. ReadingsError for what cannot be read: nothing is kept then."""
        step = self.step
        if step.kind != "reading" or step.reading is None:
            raise StateError(f"no reading is asked now: {step.kind}")
        found = judged(self.ladder, self.here, step.reading, text, self.meters)
        verdict = found.verdict
        left = self.to_settle(step.reading)
        if left > 0.0 and verdict.verdict != "switch off now":
            raise ReadingsError(
                f"{text.strip()}: {left:.0f} s to wait yet before this one counts; a stop limit is told at once, nothing "
                f"else; try it again then"
            )
        slips = self._slips(found.reading, found.si, verdict)
        why = "; ".join([verdict.why, *(s.text for s in slips if s.text not in verdict.why.lower())])
        data: dict[str, Any] = {"stage": self.here.stage, "si": finite(found.si)}
        if verdict.compared is not None:
            data["compared"] = finite(verdict.compared)
        if slips:
            data["slips"] = [s.kind for s in slips]
        if self.here.mains_share is not None:
            data["mains_share"] = self.here.mains_share
        stopped = verdict.verdict == "switch off now" and not self.here.powered and found.reading.kind != "dc volts"
        event = "stopped" if stopped else verdict.verdict
        self._keep(event, step.reading, text.strip(), verdict.verdict, why, data)
        self._settle()
        return Answered(verdict, slips)

    def to_settle(self, name: str) -> float:
        """Seconds that a reading still waits under power before it counts."""
        planned = self._expected(name).planned
        if not planned.settle_seconds or not self.here.powered:
            return 0.0
        return to_settle(planned, powered_for(self.store.records(), name.split("/", 1)[0], self.clock()))

    def answer(self, text: str) -> Answered:
        """An answer to anything but a reading or a hold point: what was done, counted, or read while making safe."""
        step = self.step
        if step.kind == "make safe":
            return self._safe(text)
        if step.kind != "before":
            raise StateError(f"no such answer is asked now: {step.kind}")
        stage = self.stage(step.stage)
        if not stage.powered:
            _just_done(text)
            self._keep("ready", rung=stage.rung, data={"stage": stage.id})
        else:
            count = text.strip()
            if count != str(stage.clips):
                raise ReadingsError(
                    f'count: "{count}"; {stage.clips} clip(s) are on for this set-up and nothing else is in the chassis; '
                    f"try counting again: {stage.clips} and no more before the plug goes in"
                )
            self._keep("power", value=count, rung=stage.rung, data={"stage": stage.id})
            if self.ahead:
                self.nearby.prepare(self._expected(n) for n in stage.readings)
        self._settle()
        return Answered()

    def _safe(self, text: str) -> Answered:
        said = ""
        for one in answers(text, self.here.safing, self.fall, self.clock(), self.meter):
            self._keep(one.event, value=one.value, why=one.why, data={"stage": self.here.stage, **(one.data or {})})
            said = one.why or said
        if self.here.state != "switched off":
            self._falls = None
            self._settle()
        return Answered(text=said)

    def sign(self, name: str) -> None:
        """A name for the hold point that waits."""
        step = self.step
        who = name.strip()
        if step.kind != "hold":
            raise StateError("no hold point waits for a name now")
        if len(who) < 2:
            raise ReadingsError(
                f'hold point: "{name}"; a yes and the name of who answers for it; try yes and your own name'
            )
        missing = [n for n in self.rung(step.rung).planned.hold.needs if n not in self.here.taken]
        if missing:
            raise ReadingsError(f"hold point: {missing[0]} is not read; every reading it needs; try reading it first")
        self._keep("sign", rung=step.rung, why=self.rung(step.rung).planned.hold.text, who=who)
        self._settle()

    def mains(self, volts: float) -> str:
        """Mains as read at the plug now [V rms]; what was made of them, in words."""
        if not 20.0 <= volts <= 300.0:
            raise ReadingsError(f"mains {volts:g}: V rms at the amplifier's plug, 20 to 300; try mains 230")
        name = self._next_reading()
        wanted = 0.0 if name is None else self._expected(name).planned.situation.mains_volts
        socket = self.ladder.expected.mains
        share = volts / (wanted or socket)
        if abs(volts / socket - 1.0) < MAINS_REACH < abs(share - 1.0):
            share = volts / socket
        self._keep("mains", value=f"{volts:g}", data={"volts": volts, "share": share})
        said = f"mains {100 * (share - 1):+.1f} %: readings are compared for that from here on"
        if abs(share - 1.0) <= MAINS_SHEET:
            return said
        return f"{said}; limits stay where they are: quit, then --resume --mains-now {share * socket:.0f} makes them for these"

    def use_meter(self, name: str) -> str:
        """Which meter reads from here on; ReadingsError for one that is not on this bench."""
        meter = meter_named(name, self.meters)
        self._keep("meter", value=meter.name)
        return f"meter {meter.name} ({meter.about}): its loading is counted from here on"

    @property
    def meter(self) -> Meter:
        """The meter that reads now."""
        return meter_named(self.here.meter, self.meters) if self.here.meter else self.ladder.expected.meter

    def back(self) -> str:
        """The last reading that counts does not count any longer; its id."""
        order = [r for r in self.store.records() if r.reading and self.here.taken.get(r.reading) == r]
        if not order:
            raise StateError("nothing is read yet: there is nothing to go back to")
        name = order[-1].reading or ""
        self._keep("back", name, why="not counted: to be read again")
        self._settle()
        return name

    def skip(self) -> str:
        """Leave out the reading that is asked; only where no gate needs it."""
        name = self.step.reading
        if self.step.kind != "reading" or name is None:
            raise StateError("no reading is asked now")
        reading = self._expected(name)
        if reading.planned.needs or name in self.rung(reading.rung).planned.hold.needs:
            raise StateError(f"{name} is needed: no gate is passed with it unread")
        if self.here.tried is not None and self.here.tried.verdict in ("look first", "switch off now"):
            raise StateError(f"{name} did not read right: it is not left out, it is found, changed and read again")
        self._keep("skip", name)
        self._settle()
        return name

    def switch_off(self, why: str = "by hand") -> None:
        """Make safe, from anywhere."""
        if self.here.state != "switched off":
            self._keep("switch off", why=why)

    def change(self, parts: Iterable[str]) -> tuple[str, ...]:
        """Parts were changed: readings that they move count no longer; their ids."""
        names = [part_named(self.ladder.frame.amplifier, p) for p in parts]
        gone = [name for name in changed(self.ladder, names).repeat if name in self.here.taken]
        self.repeat(gone, f"{', '.join(names)} changed", "change", parts=names)
        return tuple(gone)

    def repeat(
        self, readings: Iterable[str], why: str, event: Literal["change", "repeat"] = "repeat", **data: Any
    ) -> None:
        """These readings count no longer, and the rungs they stand on are not passed any longer."""
        names = list(readings)
        self._keep(event, why=why, data={"readings": names, **data})
        self._settle()

    # ------------------------------------------------------------------------------------------ inside
    def _slips(self, reading: ExpectedReading, value: float | None, verdict: Verdict) -> tuple[Slip, ...]:
        if verdict.verdict not in ("look first", "switch off now"):
            return ()
        if value is None:
            return words_elsewhere(self.ladder.expected, reading, verdict.value.strip().lower())
        compared = verdict.compared if verdict.compared is not None else value
        return recognised(
            self.ladder.expected,
            reading,
            compared,
            self.nearby.of(reading),
            mains_read=self.here.mains_share is not None,
            meters=self.meters,
        )

    def _settle(self) -> None:
        """Everything that follows by itself: gates that readings decide, the switch-off between two set-ups."""
        while self._settled_one():
            pass

    def _settled_one(self) -> bool:
        place = self.here
        rung = self._next_rung()
        if place.state == "passed" or rung is None:
            if place.powered and place.state != "switched off":
                self._keep(
                    "switch off",
                    why="the rung is passed: made safe before the next" if rung else "the last rung is passed",
                )
                return True
            if place.state == "passed" and rung is not None:
                self._keep("open", rung=rung.id)
                return True
            return False
        if place.state == "repeat needed":
            self._keep("open", rung=rung.id)
            return True
        name = self._next_reading()
        if place.state == "made safe" and name is None and not rung.planned.hold.signed and not self._to_set_up(rung):
            self._keep("pass", rung=rung.id, why=rung.planned.hold.text)
            return True
        if place.state not in ("reading", "look first"):
            return False
        if name is None:
            if rung.planned.hold.signed or place.state != "reading":
                return False
            self._keep("pass", rung=rung.id, why=rung.planned.hold.text)
            return True
        if self._stage_of[name].id == place.stage:
            return False
        if place.powered:
            self._keep("switch off", why="the next readings want other clips, or hands inside")
        else:
            self._keep("open", rung=rung.id)
        return True

    def _keep(
        self, event: str, reading: str | None = None, value: str | None = None, verdict: str | None = None,
        why: str = "", data: Mapping[str, Any] | None = None, *, rung: str | None = None, who: str = "",
    ) -> None:  # fmt: skip
        """A record, kept before anything else follows from it; StateError where it may not follow."""
        rung = rung or (reading.split("/", 1)[0] if reading else None)
        at = self.clock().isoformat(timespec="milliseconds")
        record = Record(at, event, rung, reading, value, verdict, why, who, dict(data or {}))
        following = after(self.here, record)
        self.store.append(record)
        self.here = following


def _just_done(text: str) -> None:
    """Enter, or a word for it: a figure that came too early is no such thing."""
    if text.strip().lower() not in DONE:
        raise ReadingsError(f'"{text}": no reading is asked yet; Enter when what stands above is done; try Enter')
