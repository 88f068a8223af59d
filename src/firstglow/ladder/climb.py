"""The climb: one reading at a time, each kept before it is answered, and making safe always one call away.

Its state is what its records say (``here.py``); which state may follow which is a table (``states.py``). It computes no
figure of its own, knows no terminal and no page, and drives either.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from firstglow.ladder import again
from firstglow.ladder.asking import Asking, Step
from firstglow.ladder.before_time import refuse_early
from firstglow.ladder.changed import changed, parts_named
from firstglow.ladder.here import after
from firstglow.ladder.judging import finite, judged
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.near import Nearby
from firstglow.ladder.safing import answers
from firstglow.ladder.slipped import slips_of
from firstglow.ladder.states import StateError, follow
from firstglow.ladder.steps import Stage
from firstglow.readings.at_mains import MAINS_REACH
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.meters import Meter, ReadingsError, meter_named
from firstglow.readings.probe import PlannedReading
from firstglow.readings.slips import Slip
from firstglow.readings.verdict import Verdict
from firstglow.records.record import Record, now
from firstglow.records.store import Store

# Past this much of other mains the sheet is better made again for them: limits are never moved by a reading.
MAINS_SHEET = 0.03
# Of what a rung stands at: mains outside these are a slip or another dial, and nothing is compared for them.
LEAST_SHARE, MOST_SHARE = 0.5, 1.3

__all__ = ["Answered", "Climb", "Step"]

DONE = ("", "done", "yes", "ok")


@dataclass(frozen=True, slots=True)
class Answered:
    """What an answer led to. verdict, slips: of a reading, else None and nothing. text: what to say, "" for nothing."""

    verdict: Verdict | None = None
    slips: tuple[Slip, ...] = ()
    text: str = ""


class Climb(Asking):
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
        super().__init__(ladder, store, meters=meters, clock=clock)
        self.nearby, self.ahead = Nearby(ladder.frame), ahead

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
        refuse_early(self, step.reading, text, found)
        slips = self._slips(self.reading(found.reading.id), found.si, verdict)
        why = "; ".join([verdict.why, *(s.text for s in slips if s.text not in verdict.why.lower())])
        data: dict[str, Any] = {"stage": self.here.stage, "si": finite(found.si)}
        if verdict.compared is not None:
            data["compared"] = finite(verdict.compared)
        if self.here.meter is not None:
            data["meter"] = self.here.meter
        if verdict.leans:
            data["leans"] = list(verdict.leans)
        if slips:
            data["slips"] = [s.kind for s in slips]
        if self.here.mains_share is not None:
            data["mains_share"] = self.here.mains_share
        stopped = verdict.verdict == "switch off now" and not self.here.powered and found.reading.kind != "dc volts"
        event = "stopped" if stopped else verdict.verdict
        self._keep(event, step.reading, text.strip(), verdict.verdict, why, data)
        self._settle()
        return Answered(verdict, slips)

    def pull(self) -> None:
        """The plug comes out, now: the seconds of the reading that is asked count from here."""
        name = self.step.reading
        left = self.to_pull(name) if self.step.kind == "reading" and name is not None else None
        if name is None or left is None:
            raise StateError("nothing that is asked now begins with the plug coming out")
        if left > 0.0:
            raise ReadingsError(
                f"out: {left:.0f} s to warm yet, the plug stays in; if it is out already, safe makes it safe; try out again then"
            )
        self._keep("pulled", rung=self.step.rung)

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
            self._count(stage, text.strip())
        self._settle()
        return Answered()

    def _count(self, stage: Stage, count: str) -> None:
        """Clips counted in the chassis; then the plug goes in, or where a hold point is before that, its name is asked."""
        if count != str(stage.clips):
            raise ReadingsError(
                f'count: "{count}"; as many clips as the set-up above names, and nothing else in the chassis; try looking '
                "at each place above and counting again, before the plug goes in"
            )
        rung = self._next_rung()
        event = "power" if rung is None or rung.id == stage.rung else "counted"
        self._keep(event, value=count, rung=stage.rung, data={"stage": stage.id})
        if self.ahead:
            self.nearby.prepare(self._expected(n) for n in stage.readings)

    def _safe(self, text: str) -> Answered:
        said = ""
        for one in answers(text, self.here.safing, self.fall, self.clock(), self.meter):
            self._keep(one.event, value=one.value, why=one.why, data={"stage": self.here.stage, **(one.data or {})})
            said = one.why or said
        if self.here.state != "switched off":
            said = self._drains_again() or said
            self._falls = None
            self._settle()
        return Answered(text=said)

    def _drains_again(self) -> str:
        """A fall twice as slow as predicted, seen twice, is a fault: what drains that capacitor is proved again, cold, before
        any power. What that is, in words; "" where every fall was as it should be."""
        slow = [part for part, r in self.here.safing.fell.items() if r.event == "slow"]
        ends = [set(self.ladder.frame.part(part).leads.values()) for part in slow]
        cold = [
            r.id
            for r in self.ladder.expected.readings()
            if r.kind == "ohms"
            and not r.planned.situation.mains_volts
            and {r.planned.probe.red, r.planned.probe.black} in ends
        ]
        if not cold:
            return ""
        why = f"{', '.join(slow)} fell too slowly: what drains it may be open"
        self.repeat(cold, why)
        return f"{why}. Before any power its ohms are read again, cold: {'; '.join(map(self.called, cold))}"

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
            raise ReadingsError(
                f"hold point: {self.called(missing[0])} is not read; every reading it needs; try reading it first"
            )
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
        if not LEAST_SHARE <= share <= MOST_SHARE:
            raise ReadingsError(
                f"mains {volts:g}: this rung stands at {wanted or socket:.0f} V: nothing on it is read at {volts:g}; set the "
                f"dial, read again; try mains {wanted or socket:.0f}"
            )
        self._keep("mains", value=f"{volts:g}", data={"volts": volts, "share": share})
        said = f"mains {100 * (share - 1):+.1f} %: EXPECT and band are for that from here on"
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

    def skip_all(self) -> tuple[str, ...]:
        """Leave out this reading and every one after it that no gate needs, as far as this set-up goes; their ids."""
        gone = [self.skip()]
        while self.step.kind == "reading" and self._spare(self.step.reading or ""):
            gone.append(self.skip())
        return tuple(gone)

    def _spare(self, name: str) -> bool:
        reading = self._expected(name)
        return not reading.planned.needs and name not in self.rung(reading.rung).planned.hold.needs

    def skip(self) -> str:
        """Leave out the reading that is asked; only where no gate needs it."""
        name = self.step.reading
        if self.step.kind != "reading" or name is None:
            raise StateError("no reading is asked now")
        if not self._spare(name):
            raise StateError(f"{self.called(name)} is needed: no gate is passed with it unread")
        if self.here.tried is not None and self.here.tried.verdict in ("look first", "switch off now"):
            raise StateError(
                f"{self.called(name)} did not read right: it is not left out, it is found, changed and read again"
            )
        self._keep("skip", name)
        self._settle()
        return name

    def switch_off(self, why: str = "by hand") -> None:
        """Make safe, from anywhere."""
        if self.here.state != "switched off":
            self._keep("switch off", why=why)

    def change(self, parts: Iterable[str]) -> tuple[str, ...]:
        """Parts were changed: readings that they move count no longer; their ids."""
        names = [name for p in parts for name in parts_named(self.ladder.frame.amplifier, p)]
        self.may_change()  # refused at once, not after it is worked out
        gone = [name for name in changed(self.ladder, names).repeat if name in self.here.taken]
        gone += [
            name
            for name in (*self.way_up(), *again.looked_at(self.ladder.frame.amplifier, self._taken(), names))
            if name not in gone
        ]
        self.repeat(gone, f"{', '.join(names)} changed", "change", parts=names, rungs=list(self.here.signed))
        return tuple(gone)

    def way_up(self) -> list[str]:
        """What is read again of the way up once hands were inside with solder (``again.way_up``)."""
        return again.way_up(self._taken())

    def _taken(self) -> list[PlannedReading]:
        return [self._expected(name).planned for name in self.here.taken]

    def may_change(self) -> None:
        """StateError where no part may be changed now: under power nobody's hands are inside."""
        follow(self.here.state, "change", self.here.powered)

    def repeat(
        self, readings: Iterable[str], why: str, event: Literal["change", "repeat"] = "repeat", **data: Any
    ) -> None:
        """These readings count no longer, and the rungs they stand on are not passed any longer."""
        names = list(readings)
        mine = [self._expected(n).planned for n in names if n in self.ladder.expected.by_id]
        names += [n for n in again.emptied(self._taken(), mine) if n not in names]
        self._keep(event, why=why, data={"readings": names, **data})
        self._settle()

    # ------------------------------------------------------------------------------------------ inside
    def _slips(self, reading: ExpectedReading, value: float | None, verdict: Verdict) -> tuple[Slip, ...]:
        read = self.here.mains_share is not None
        return slips_of(self.ladder, self.nearby, reading, value, verdict, mains_read=read, meters=self.meters)

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
        if place.state == "open" and place.counted is not None:
            return self._power_signed(place.counted, rung.id, name)
        idle = place.state in ("made safe", "open")
        if idle and name is None and not rung.planned.hold.signed and not self._to_set_up(rung):
            self._keep("pass", rung=rung.id, why=rung.planned.hold.text)
            return True
        if place.state not in ("reading", "look first"):
            return False
        if name is None:
            if place.state != "reading" or (rung.planned.hold.signed and not place.powered):
                return False
            if rung.planned.hold.signed:
                self._keep("switch off", why="all of it is read: what hands do next, then the hold point, then power")
            else:
                self._keep("pass", rung=rung.id, why=rung.planned.hold.text)
            return True
        if self._stage_of[name].id == place.stage:
            return False
        if place.powered:
            self._keep("switch off", why=self._why_off(name))
        else:
            self._keep("open", rung=rung.id)
        return True

    def _why_off(self, name: str) -> str:
        """Why it is made safe between two set-ups of one rung."""
        before, now = self.stage(self.here.stage), self._stage_of[name]
        lamp = before.powered and now.powered and self.lamp_of(before) != self.lamp_of(now)
        return f"the next readings want {'the lamp changed' if lamp else 'other clips, or hands inside'}"

    def lamp_of(self, stage: Stage) -> float | None:
        """The lamp in the line while a stage is read [W], None where there is none."""
        return stage.situation.lamp_watts

    def _power_signed(self, counted: Record, rung: str, name: str | None) -> bool:
        """The plug goes in on a hold point just signed, if what was counted for is what follows."""
        stage = str(counted.data["stage"])
        follows = stage == (self._stage_of[name].id if name is not None else f"{rung}.1")
        if counted.rung != rung or not follows:
            return False
        self._keep("power", value=counted.value, rung=rung, data={"stage": stage})
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
