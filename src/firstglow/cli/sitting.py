"""One sitting of a climb: shows what is asked, takes the answer, says what it means. Judges nothing itself."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from typing import Any

from firstglow.amplifier.bases import find
from firstglow.cli import reading_now
from firstglow.cli.clips_now import meters, pins
from firstglow.cli.safe_now import safe_now
from firstglow.cli.talk import Talk
from firstglow.ladder.carries import carries
from firstglow.ladder.changed import parts_said
from firstglow.ladder.climb import Answered, Climb, Step
from firstglow.ladder.judging import typed_mains
from firstglow.ladder.ladder import own_situation
from firstglow.ladder.stands import stands
from firstglow.ladder.states import StateError
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.meters import ReadingsError
from firstglow.readings.slips import alone
from firstglow.records.store import MEMORY
from firstglow.sheets import climb_screen as screens
from firstglow.sheets.figures import socket as drawing
from firstglow.sheets.glossary import TERMS
from firstglow.sheets.safe_screen import safe_screen

WORD_LINES = 8  # what a reading at its smallest leaves of a terminal of 24 lines
WORDS = ("back", "why", "safe", "mains", "meter", "skip", "socket", "changed", "quit", "help", "words")
HELP = (
    "38.2, -38,2, 312mV, 1k2, OL: as the meter shows it; yes, no",
    "dark, dim, half, full or bright: how a lamp glows",
    "mains 230: mains at the plug now     meter NAME: what reads from here on",
    "why: what moves it, its limits       back: the last reading does not count",
    "safe, Esc, space first: make safe    skip, skip all: what no gate needs",
    "changed R7 C5: parts changed         quit: leave; the records stay",
    "words: RCD, class X, OL, ...         socket V2 7: that socket from below",
    "out: the plug comes out now, for what falls after it",
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
        self._slip: tuple[str, list[str]] = ("", [])
        self._rungs: Mapping[str, Mapping[str, Any]] = {r["id"]: r for r in climb.ladder.document["rungs"]}

    def run(self) -> None:
        """Until the top, the end of the input, or quit."""
        self._tell()
        left = reading_now.left_doubted(self.climb)
        if self.climb.step.kind == "reading":
            self._tried = left
        else:
            self._said = left
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
                self._said = []
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
            "out": lambda: self._out(),
            "help": lambda: self._said.extend(t for line in HELP for t in screens.wrapped(line)),
            "?": lambda: self._said.extend(t for line in HELP for t in screens.wrapped(line)),
            "words": lambda: self._words(rest),
            "skip": lambda: self._skip(rest),
            "socket": lambda: self._socket(rest),
            "mains": lambda: self._said.extend(screens.wrapped(self.climb.mains(typed_mains(rest)))),
            "meter": lambda: self._said.extend(screens.wrapped(self.climb.use_meter(rest.strip()))),
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

    def _socket(self, which: str) -> None:
        """A socket seen from below: ``socket V2 7``, that pin ringed."""
        name, _, pin = which.strip().partition(" ")
        parts = self.climb.ladder.frame.amplifier.parts.values()
        base = next((b.socket for p in parts if p.envelope == name and p.type and (b := find(p.type))), "")
        glass = sorted(self.climb.ladder.frame.envelopes)
        if not base:
            raise ReadingsError(
                f'socket "{which.strip()}"; a valve of this amplifier and a pin, {", ".join(glass)}; try socket {glass[0]} 1'
            )
        drawn = drawing(base, int(pin) if pin.strip().isdigit() else 0)
        self._said = [f"{name} seen from below" + (f", pin {pin.strip()} ringed" if pin.strip() else ""), *drawn]

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
            self._nothing_typed(step)
        near, warming = (
            get_close_matches(text.lower(), WORDS, 1, 0.7),
            reading_now.still_warming(self.climb, step),
        )
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

    def _nothing_typed(self, step: Step) -> None:
        if self.climb.to_pull(step.reading or "") is not None:
            raise ReadingsError("nothing typed; the word out, the moment the plug comes out; try out")
        raise ReadingsError("nothing typed; what the meter shows; try 38.2, or why")

    def _out(self) -> None:
        self.climb.pull()
        self._tried, self._last = [], "✓ the plug is out: its seconds run"

    def _why(self, step: Step) -> None:
        live = [f"{item['joint']} {item['volts']:.0f} V" for item in self._rungs[step.rung]["live"]]
        self._said = [t for line in reading_now.why(self.climb, step, live) for t in screens.wrapped(line)]

    def _verdict(self, found: Answered, reading: ExpectedReading, text: str, warming: str) -> None:
        verdict = found.verdict
        if verdict is None:
            return
        if verdict.verdict in ("go on", "note only"):
            beside = carries(self.climb.ladder, self.climb.here, reading.id)
            early = ", typed before its time" if warming and reading.planned.under_power else ""
            shown = f"{text} = {beside}{early}" if beside else f"{text}{early}"
            self._last, self._tried = screens.last_line(verdict.verdict, reading.planned.what, shown), []
            return
        # the same slip told once and typed again is none: what is wrong goes first
        told = self._slip == (reading.id, [s.kind for s in found.slips])
        self._slip = (reading.id, [s.kind for s in found.slips])
        innocent = (
            not told and bool(found.slips) and all(s.innocent for s in found.slips) and verdict.verdict == "look first"
        )
        lines = screens.verdict_lines(
            verdict.verdict, alone(verdict.why, found.slips), verdict.check_first, [s.text for s in found.slips], innocent,
            on=self.climb.here.powered and reading.planned.under_power, again=told,
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

    def _skip(self, rest: str) -> None:
        if rest.strip() not in ("", "all"):
            raise ReadingsError(f"skip {rest}: skip alone, or skip all; what no gate needs is left out; try skip")
        gone = self.climb.skip_all() if rest.strip() else (self.climb.skip(),)
        also = f", and {len(gone) - 1} more that no gate needs" if len(gone) > 1 else ""
        self._said = screens.wrapped(f"left out: {self.climb.called(gone[0])}{also}")
        self._tried, self._last = [], ""

    def _back(self) -> None:
        name = self.climb.back()
        gone, now = self.climb.called(name), self.climb.step.reading
        said = f"asked again: {gone}"
        if now is not None and now != name:  # a change has left something open before it
            said = f"counts no longer: {gone}; asked before it: {self.climb.called(now)}"
        self._said = screens.wrapped(said)
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
                reading_now.done_since(self.climb, stage.readings[0] if stage.readings else "", unplugged=True),
                self.climb.ladder.frame.gear.variable_transformer, meters(self.climb, stage), pins(self.climb, stage),
            )  # fmt: skip
        return self._reading_screen(step, rung)

    def _reading_screen(self, step: Step, rung: Mapping[str, Any]) -> list[str]:
        known = self.climb.learned(step.reading or "")
        known = replace(known, reading=self.climb.at_mains(known.reading))
        reading = known.reading
        planned = self.climb.rung(step.rung).planned
        own = own_situation(self.climb.ladder.frame, planned, reading.planned)
        ids = [r["id"] for r in rung["readings"]]
        powered = reading.planned.situation.mains_volts > 0.0
        around = screens.Around(
            self._name, rung["title"], ids.index(reading.id) + 1, len(ids),
            rung["live"] if powered else (), reading_now.wait(self.climb, step), self._last, self._tried,
            known.grounds, reading_now.beside(self.climb, reading), reading_now.now(self.climb, reading, own=bool(own)),
            *reading_now.mains(self.climb, reading.id),
        )  # fmt: skip
        charts = next((r.get("charts") for r in rung["readings"] if r["id"] == reading.id), None)
        room = screens.ROOM - (len(self._said) + 1 if self._said else 0)
        sheet = self.climb.at_mains(self.climb.ladder.expected.by_id[reading.id])
        shown = {**reading.json(own), "charts": charts or [], "remark": reading_now.remark(known, sheet)}
        return screens.reading_screen(shown, around, room=room)

    def _repeats(self, rung: str) -> list[str]:
        why = dict.fromkeys(text for name, text in self.climb.here.repeat.items() if name.startswith(f"{rung}/"))
        return [f"repeated: {text}" for text in why]

    def _next(self, step: Step) -> str:
        if step.reading is None:
            return ""
        return self.climb.called(step.reading)

    def _seconds(self, step: Step) -> float | None:
        """How long until what is asked changes by itself."""
        if step.kind == "make safe" and step.safe is not None and step.safe.phase in ("wait", "minute"):
            return step.safe.seconds
        return (self.climb.to_fall(step.reading or "") or None) if step.kind == "reading" else None

    # ------------------------------------------------------------------------------------------ events
    def _asked(self, step: Step) -> dict[str, Any]:
        """What is asked, as an event that is not kept."""
        data: dict[str, Any] = {"kind": step.kind, "stage": step.stage}
        if step.kind == "reading" and step.reading is not None:
            reading = self.climb.at_mains(self.climb.reading(step.reading))
            if self.climb.to_pull(reading.id) is not None:
                data |= {"begins": "out"}
            data["left"] = round(reading_now.left(self.climb, step), 1)
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


def _plain(text: str) -> str:
    """A message without the place it would have in a file."""
    return text.removeprefix("here: ")
