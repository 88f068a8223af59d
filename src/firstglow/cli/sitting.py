"""One sitting of a climb: shows what is asked, takes the answer, says what it means. Judges nothing itself."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from difflib import get_close_matches
from typing import Any

from firstglow.cli.clips_now import ammeter_limit, meters, pins
from firstglow.cli.safe_now import safe_now
from firstglow.cli.talk import Talk
from firstglow.ladder.carries import carries
from firstglow.ladder.changed import parts_said
from firstglow.ladder.climb import Answered, Climb, Step
from firstglow.ladder.judging import typed_mains
from firstglow.ladder.ladder import own_situation
from firstglow.ladder.stands import powered_up, stands, turned
from firstglow.ladder.states import StateError
from firstglow.ladder.waits import powered_for, still_advised
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.meters import ReadingsError
from firstglow.readings.slips import alone
from firstglow.records.store import MEMORY
from firstglow.sheets import climb_screen as screens
from firstglow.sheets.glossary import TERMS
from firstglow.sheets.safe_screen import safe_screen

WORD_LINES = 8  # what a reading at its smallest leaves of a terminal of 24 lines
WORDS = ("back", "why", "safe", "mains", "meter", "skip", "changed", "quit", "help", "words")
HELP = (
    "38.2, -38,2, 312mV, 1k2, OL: the reading as the meter shows it; yes, no; dark, dim, half, full or bright for a lamp",
    "mains 230: mains as read at the plug now        meter NAME: which meter reads from here on",
    "why: what moves this reading, and its limits    back: the last reading does not count",
    "safe, Esc, or space on an empty line: make safe  skip: leave out what no gate needs",
    "changed R7 C5: parts that were changed          quit: leave; the records stay",
    "words: what RCD, class X, stopper, known source and the like are",
)


class Sitting:
    """A climb and the person's end of it. charts: where a chart and the drawing disagree."""

    def __init__(self, climb: Climb, talk: Talk, charts: Sequence[str] = ()) -> None:
        self.climb, self.talk = climb, talk
        self._found = (*climb.ladder.frame.findings, *charts)
        self._last = ""
        self._tried: list[str] = []
        self._said: list[str] = []
        self._heard = 0
        self._rungs: Mapping[str, Mapping[str, Any]] = {r["id"]: r for r in climb.ladder.document["rungs"]}

    def run(self) -> None:
        """Until the top, the end of the input, or quit."""
        self._tell()
        while True:
            step = self.climb.step
            if step.kind == "done":
                last = self.climb.ladder.expected.rungs[-1].planned
                ends = "" if last.hold.signed else last.hold.text
                self.talk.say(screens.done_screen(self._name, self.climb.here.signed, self.climb.store.name, ends))
                return
            said, text = self.talk.ask(lambda: self.screen(self.climb.step), self._asked(step), self._seconds(step))
            if said == "end" or (said == "line" and text.strip().lower() in ("quit", "exit")):
                self.talk.say(self.leaving())
                return
            if said == "safe":
                self._do(self.climb.switch_off, "by the one key")
            elif said == "line":
                self._line(step, text.strip())
            self._tell()

    # ------------------------------------------------------------------------------------------ answers
    def _line(self, step: Step, text: str) -> None:
        """One line: a word of ours, or the answer to what is asked."""
        self._said = []
        word, _, rest = text.partition(" ")
        word = word.lower()
        commands: dict[str, Callable[[], object]] = {
            "safe": lambda: self.climb.switch_off("by hand"),
            "back": lambda: self._back(),
            "why": lambda: self._why(step),
            "help": lambda: self._said.extend(t for line in HELP for t in screens.wrapped(line)),
            "?": lambda: self._said.extend(t for line in HELP for t in screens.wrapped(line)),
            "words": lambda: self._words(rest),
            "skip": lambda: self._skip(),
            "mains": lambda: self._said.append(self.climb.mains(typed_mains(rest))),
            "meter": lambda: self._said.append(self.climb.use_meter(rest.strip())),
            "changed": lambda: self._changed(rest),
        }
        if word in commands:
            self._do(commands[word])
        elif step.kind == "hold":
            self._do(lambda: self._sign(text))
        elif step.kind == "reading":
            self._do(lambda: self._read(step, text))
        else:
            self._do(lambda: self._answer(text))

    def _words(self, which: str) -> None:
        """Words of the trade, so many as fit under a reading: a page by its number, or one by its name."""
        told = [screens.folded("", f"{term}: {text}") for term, text in TERMS]
        named = [text for (term, _), text in zip(TERMS, told, strict=True) if which and which.lower() in term.lower()]
        if named:
            self._said.extend(line for lines in named[:3] for line in lines)
            return
        pages: list[list[str]] = [[]]
        for lines in told:
            if len(pages[-1]) + len(lines) > WORD_LINES:
                pages.append([])
            pages[-1] += lines
        if which and which not in map(str, range(1, len(pages) + 1)):
            raise ReadingsError(f"words {which}: no such word or page; 1 to {len(pages)}, or a word; try words 1")
        page = int(which or 1)
        following = f"words {page + 1}: more; " if page < len(pages) else ""
        self._said.extend([*pages[page - 1], f"{'':9}page {page} of {len(pages)}; {following}words OL: that one"])

    def _do(self, what: Callable[..., object], *args: object) -> None:
        """Do it; what cannot be is said and asked again, nothing is lost."""
        try:
            what(*args)
        except (ReadingsError, StateError) as error:
            self._said = [f"! {line}" for line in screens.wrapped(_plain(str(error)))]

    def _read(self, step: Step, text: str) -> None:
        if not text:
            raise ReadingsError("nothing typed; what the meter shows; try 38.2, or why")
        near, warming = get_close_matches(text.lower(), WORDS, 1, 0.7), self._still_warming(step)
        reading = self.climb.reading(step.reading or "")
        try:
            found = self.climb.read(text)
        except ReadingsError as error:
            if near:
                raise ReadingsError(
                    f'"{text}": no reading and no word of ours; {", ".join(WORDS)}; try {near[0]}'
                ) from error
            raise
        self._verdict(found, reading, text, warming)

    def _verdict(self, found: Answered, reading: ExpectedReading, text: str, warming: str) -> None:
        verdict = found.verdict
        if verdict is None:
            return
        if verdict.verdict in ("go on", "note only"):
            beside = carries(self.climb.ladder, self.climb.here, reading.id)
            shown = f"{text} = {beside}" if beside else text
            self._last, self._tried = screens.last_line(verdict.verdict, reading.planned.what, shown), []
            return
        innocent = bool(found.slips) and all(s.innocent for s in found.slips) and verdict.verdict == "look first"
        lines = screens.verdict_lines(
            verdict.verdict, alone(verdict.why, found.slips), verdict.check_first, [s.text for s in found.slips], innocent,
            on=self.climb.here.powered and reading.planned.under_power,
        )  # fmt: skip
        if warming and verdict.verdict == "look first":
            lines[1:1] = screens.folded("", f"Typed before its time: {warming}. Let it stand, and read it again.")
        self._last = ""
        if self.climb.state == "switched off":
            self._said = lines
        else:
            self._tried = lines

    def _answer(self, text: str) -> None:
        before, step = self.climb.state, self.climb.step
        said = self.climb.answer(text).text
        if step.kind == "before" and self.climb.stage(step.stage).powered:
            self._last = f"✓ {step.clips} clip(s) counted: as many as this set-up has"
        if before == "switched off" and self.climb.state != "switched off":
            self._last = screens.MADE_SAFE
        self._said = [f"! {line}" for line in screens.wrapped(said)] if said else []
        self._tried = []

    def _sign(self, text: str) -> None:
        word, _, name = text.partition(" ")
        if word.lower() == "yes" and not name.strip():
            raise ReadingsError("yes alone; a yes and the name of who answers for it; try yes and your own name")
        if word.lower() != "yes":
            raise ReadingsError(f'hold point: "{text}"; yes and a name, or back, or safe; try yes and your own name')
        self.climb.sign(name)

    def _titled(self, name: str) -> str:
        reading = self.climb.ladder.expected.by_id[name]
        return f"rung {reading.rung}, {reading.planned.what}"

    def _skip(self) -> None:
        self._said = screens.wrapped(f"left out: {self._titled(self.climb.skip())}")
        self._tried, self._last = [], ""

    def _back(self) -> None:
        self._said = screens.wrapped(f"asked again: {self._titled(self.climb.back())}")
        self._tried, self._last = [], ""

    def _changed(self, said: str) -> None:
        parts = parts_said(self.climb.ladder.frame.amplifier, said)
        if not parts:
            raise ReadingsError("changed: no part named; one or more of this amplifier's parts; try changed R7")
        self.climb.may_change()
        self.talk.busy("Working out what that moves: a few seconds.")
        gone = self.climb.change(parts)
        self._said = [f"{len(gone)} reading(s) that this moves count no longer and are asked again"]
        self._tried, self._last = [], ""

    def _why(self, step: Step) -> None:
        if step.reading is None:
            raise StateError("no reading is asked now")
        reading = self.climb.reading(step.reading)
        live = [f"{item['joint']} {item['volts']:.0f} V" for item in self._rungs[reading.rung]["live"]]
        moved = ", ".join(f"{part} ({100 * share:.0f} %)" for part, share in reading.moved_by)
        lines = [f"Moved most by: {moved}." if moved else "No single part moves it."]
        lines += [
            f"Switch off past {reading.text(s.limit)}: {s.why}." for s in (reading.stop_below, reading.stop_above) if s
        ]
        lines += [
            f"Band and limit overlap: {s.separate}."
            for s in (reading.stop_below, reading.stop_above)
            if s and s.separate
        ]
        lines += (
            [f"If it is off, check first: {'; '.join(reading.planned.check_first)}."]
            if reading.planned.check_first
            else []
        )
        if live and reading.planned.situation.mains_volts > 0.0:
            lines.append(f"Live on this rung: {', '.join(live)}.")
        if reading.planned.note_only or reading.note_only:
            lines.append(reading.note_only or reading.planned.note_only)
        self._said = [t for line in lines for t in screens.wrapped(line)]

    # ------------------------------------------------------------------------------------------ screens
    @property
    def _name(self) -> str:
        return self.climb.ladder.expected.amplifier

    def screen(self, step: Step) -> list[str]:
        """What is shown while this is asked."""
        lines = self._screen(step)
        if self._said and step.kind != "make safe":
            lines = [*lines[:-1], *self._said, screens.RULE, lines[-1]]
        return lines

    def _screen(self, step: Step) -> list[str]:
        rung = self._rungs[step.rung]
        if step.kind == "hold":
            return screens.hold_screen(rung, self._name, self._last, powered=self.climb.here.counted is not None)
        if step.kind == "make safe":
            return safe_screen(safe_now(self.climb, step, self._next(step)), self._name, self._said)
        if step.kind == "before":
            stage = self.climb.stage(step.stage)
            texts = rung["before"] if stage.first else []
            notes = [*self._repeats(step.rung), *self.climb.here.findings[-1:]]
            gate = self.climb.gate
            if self._found and stage.first and step.rung == self.climb.ladder.expected.rungs[0].id:
                found = [f"FOUND in the drawing, to be looked at before any power: {text}" for text in self._found]
                rung = {**rung, "cautions": [*found, *rung["cautions"]]}
            own = stage.situation != self.climb.rung(step.rung).planned.situation
            text = stands(self.climb.ladder.frame, stage.situation) if own or not stage.first else ""
            return screens.before_screen(
                rung, self._name, texts, stage.black, stage.red, stage.powered, notes, self._last, text, gate is not None,
                self._turned(stage.readings[0] if stage.readings else "", unplugged=True),
                self.climb.ladder.frame.gear.variable_transformer, meters(self.climb, stage), pins(self.climb, stage),
            )  # fmt: skip
        return self._reading_screen(step, rung)

    def _reading_screen(self, step: Step, rung: Mapping[str, Any]) -> list[str]:
        known = self.climb.learned(step.reading or "")
        reading = known.reading
        planned = self.climb.rung(step.rung).planned
        own = own_situation(self.climb.ladder.frame, planned, reading.planned)
        ids = [r["id"] for r in rung["readings"]]
        powered = reading.planned.situation.mains_volts > 0.0
        around = screens.Around(
            self._name, rung["title"], ids.index(reading.id) + 1, len(ids),
            rung["live"] if powered else (), self._wait(step), self._last, self._tried,
            known.grounds, self._twin(reading.planned.twin, reading.planned.channel),
            self._now(reading, own=bool(own)),
        )  # fmt: skip
        charts = next((r.get("charts") for r in rung["readings"] if r["id"] == reading.id), None)
        room = screens.ROOM - (len(self._said) + 1 if self._said else 0)
        return screens.reading_screen({**reading.json(own), "charts": charts or []}, around, room=room)

    def _now(self, reading: ExpectedReading, *, own: bool) -> str:
        """What is done at the bench for a reading: the plug goes in and the dial up for the first of a set-up under power."""
        climb, at, probe = self.climb, reading.planned.situation, reading.planned.probe
        mine = climb.rung(reading.rung).planned.readings
        limit = ammeter_limit(climb, reading)
        begun = any(r.at >= climb.here.since for r in climb.here.taken.values()) or climb.here.tried is not None
        if climb.here.powered and not begun:
            warm_up = reading.id.split("/")[1].endswith("warm-up")
            cold = warm_up or probe.quantity == "peak volts"
            up = powered_up(climb.ladder.frame, at, cold=cold, after_five=warm_up, limit=limit)
            return up if probe.quantity != "volts after" else f"{up} Warm for a minute; then {_fall(probe.seconds)}"
        if probe.quantity == "volts after":
            return _fall(probe.seconds)
        if climb.here.powered and climb.stage(climb.here.stage).readings[0] == reading.id:
            return ""  # what changed before it was done on its card, with the plug out
        number = [r.id for r in mine].index(reading.id)
        raised = number and mine[number - 1].situation.mains_volts < at.mains_volts
        text = "" if own and not raised else self._turned(reading.id)
        return f"{text} {climb.ladder.frame.words.text('stands.dial_limit', limit=limit)}" if raised and limit else text

    def _turned(self, name: str, *, unplugged: bool = False) -> str:
        """What is done at the bench since the reading before it on its rung: the lamp taken out is an instruction of its own."""
        ids = self.climb.ladder.expected.by_id
        rung = [r.id for r in self.climb.rung(ids[name].rung).readings] if name in ids else [name]
        at = rung.index(name)
        if not at:
            return ""
        before, now = ids[rung[at - 1]].planned.situation, ids[name].planned.situation
        return turned(self.climb.ladder.frame, before, now, unplugged=unplugged)

    def _twin(self, name: str | None, channel: str | None) -> str:
        """What the same point read in the other channel, or at the other valve of the pair."""
        record = self.climb.here.taken.get(name or "")
        if record is None or name is None:
            return ""
        other = self.climb.ladder.expected.by_id[name].planned
        return f"{other.channel if other.channel != channel else other.what} read {record.value}"

    def _wait(self, step: Step) -> str:
        """What is still waited for before this reading, and when it is to be switched off for one."""
        known = self.climb.ladder.expected.by_id[step.reading or ""]
        planned = known.planned
        if known.hidden and self.climb.here.meter is None:
            return "type: meter digital (then this is read with it); meter and its old name afterwards"
        own = self.climb.to_settle(step.reading or "")
        if own > 0.0:
            at_once = "no is taken at once" if planned.probe.kind == "look" else "past its stop it is told at once"
            return f"{own // 60:.0f} min {own % 60:02.0f} s yet before this one counts; {at_once}"
        return self._still_warming(step)

    def _still_warming(self, step: Step) -> str:
        """What is still advised to be waited for, "" where nothing is."""
        planned = self.climb.ladder.expected.by_id[step.reading or ""].planned
        if not self.climb.here.powered or not self.climb.here.since:
            return ""
        now, rung = self.climb.clock(), self.climb.rung(step.rung).planned
        gone = (now - datetime.fromisoformat(self.climb.here.since)).total_seconds()
        in_all = powered_for(self.climb.events, step.rung, now)
        left, why = still_advised(self.climb.ladder.frame, rung, planned, gone, in_all)
        return f"{left // 60:.0f} min {left % 60:02.0f} s yet: {why}" if left > 0.0 else ""

    def _repeats(self, rung: str) -> list[str]:
        why = dict.fromkeys(text for name, text in self.climb.here.repeat.items() if name.startswith(f"{rung}/"))
        return [f"repeated: {text}" for text in why]

    def _next(self, step: Step) -> str:
        if step.reading is None:
            return ""
        return self._titled(step.reading)

    def _seconds(self, step: Step) -> float | None:
        """How long until what is asked changes by itself."""
        if step.kind == "make safe" and step.safe is not None and step.safe.phase in ("wait", "minute"):
            return step.safe.seconds
        return None

    # ------------------------------------------------------------------------------------------ events
    def _asked(self, step: Step) -> dict[str, Any]:
        """What is asked, as an event that is not kept."""
        data: dict[str, Any] = {"kind": step.kind, "stage": step.stage}
        if step.kind == "reading" and step.reading is not None:
            reading = self.climb.reading(step.reading)
            data |= {"unit": reading.unit, "expected": reading.expected, "low": reading.low, "high": reading.high,
                     "what": reading.planned.what, "red_at": reading.planned.red_at, "black_at": reading.planned.black_at,
                     "stop_below": reading.stop_below.limit if reading.stop_below else None,
                     "stop_above": reading.stop_above.limit if reading.stop_above else None}  # fmt: skip
        elif step.kind == "before":
            stage = self.climb.stage(step.stage)
            data |= {"powered": stage.powered, "black": list(stage.black), "red": list(stage.red)}
        elif step.safe is not None:
            data |= {"phase": step.safe.phase, "seconds": round(step.safe.seconds, 1),
                     "parts": [p.part for p in step.safe.places]}  # fmt: skip
        at = self.climb.clock().isoformat(timespec="milliseconds")
        return {"at": at, "event": "ask", "rung": step.rung, "reading": step.reading, "value": None, "verdict": None,
                "why": " ".join(self._said), "who": "", "data": data}  # fmt: skip

    def _tell(self) -> None:
        records = self.climb.events
        self.talk.kept(records[self._heard :])
        self._heard = len(records)

    def leaving(self) -> list[str]:
        climb = self.climb
        lines = []
        if climb.here.powered or climb.here.state == "switched off":
            power = "it was under power and was not made safe since" if climb.here.powered else "it is not made safe"
            lines = [
                f"! The records say that {power}.",
                "! Switch off, plug out and in sight; every capacitor is taken as charged until a meter has read it.",
            ]
        if climb.store.name != MEMORY:
            lines.append(f"{len(climb.events)} records in {climb.store.name}; go on with --resume.")
        return [t for line in lines for t in screens.wrapped(line)]


def _fall(seconds: float) -> str:
    """The one reading that begins with the plug."""
    return f"SWITCH OFF AND PULL THE PLUG, in sight; this is read {seconds:.0f} s later, hands off."


def _plain(text: str) -> str:
    """A message without the place it would have in a file."""
    return text.removeprefix("here: ")
