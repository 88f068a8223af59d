"""What a change does to what was proved before: which readings must be taken again, and which rungs still stand.

A repair invalidates proof: whatever was read at a joint that was worked on, or hangs on the part, counts no longer,
and with a changed drawing whatever is expected otherwise now.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from shlex import quote

import numpy as np

from firstglow.amplifier.faults import cases_of
from firstglow.amplifier.mistakes import nearest_part
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.options import find_parts
from firstglow.ladder.ladder import Ladder
from firstglow.readings.asked import Cast
from firstglow.readings.expected import ExpectedLadder, ExpectedReading, Stop
from firstglow.readings.meters import ReadingsError
from firstglow.readings.spreads import SEED
from firstglow.readings.trial import GO_ON, has_law, judge, show

# One standard deviation of a part that moves a reading by more than this part of half its band, and by more than half a
# step of the meter: another part of the kind may read visibly otherwise.
SEEN = 0.03
# What is read of the signal. No meter of the trade sees a loop that sings above hearing there: a moved idle shows it.
LOOP = {"gain ratio", "hum volts"}
# A figure that moved by less than this part of its band's width is the same figure.
SAME = 0.05


@dataclass(frozen=True, slots=True)
class Changed:
    """repeat: reading id -> why it counts no longer, in the order of the ladder. stands: rungs that still stand."""

    repeat: Mapping[str, str]
    stands: tuple[str, ...]

    def by_rung(self) -> Mapping[str, Mapping[str, str]]:
        """Rung id -> its readings that count no longer, with why."""
        out: dict[str, dict[str, str]] = {}
        for name, why in self.repeat.items():
            out.setdefault(name.split("/", 1)[0], {})[name] = why
        return out


def _known(amplifier: Amplifier) -> dict[str, str]:
    """Every part, envelope and can of several sections by its name in small letters."""
    known = {p.lower(): p for p in amplifier.parts}
    return known | {name.lower(): name for p in amplifier.parts.values() for name in _wholes(p)}


def _wholes(part: Part) -> tuple[str, ...]:
    """What a part is one of: its glass, its can; a channel's can also with its channel before it."""
    can = str(part.words.get("can") or "")
    return tuple(n for n in (part.envelope or "", can, f"{part.channel} {can}" if part.channel and can else "") if n)


def parts_said(amplifier: Amplifier, text: str) -> list[str]:
    """The names in what was typed, spaces or commas between: the longest runs of words that name something (``left R8``,
    ``earth bond``), single words where none does."""
    known, words, out = _known(amplifier), text.replace(",", " ").split(), []
    while words:
        runs = (" ".join(words[:n]) for n in range(len(words), 0, -1))
        name = next((run for run in runs if run.lower() in known), words[0])
        out.append(name)
        words = words[len(name.split()) :]
    return out


def parts_named(amplifier: Amplifier, name: str) -> tuple[str, ...]:
    """A part, an envelope or a can as the amplifier calls it, or the part of that name in each channel; ReadingsError with the nearest
    for one that it has not."""
    known = _known(amplifier)
    if name.lower() in known:
        return (known[name.lower()],)
    if each := find_parts(amplifier, name.upper()):
        return each
    near = nearest_part(name, known.values()) or next(iter(known.values()), "")
    raise ReadingsError(f"PART: {name!r} is no part here; a part of the file by its name; try {quote(near)}")


def changed(ladder: Ladder, names: Sequence[str], before: ExpectedLadder | None = None) -> Changed:
    """What counts no longer once these parts were changed; ReadingsError for a part that is not there.

    names: parts, envelopes or cans (all their sections), replaced by others of the same kind. before: the ladder as the drawing
    was, where the drawing changed too.
    """
    named = [part for n in names for part in parts_named(ladder.frame.amplifier, n)]
    rows = [_Worked(ladder, name) for name in named]
    gone = set(moved(before, ladder.expected, ladder.expected.by_id)) if before is not None else set()
    repeat = {}
    for r in ladder.expected.readings():
        why = next((text for text in (w.why(r) for w in rows) if text), "")
        if not why and r.id in gone:
            why = "the drawing now expects another figure, band or stop there"
        if why:
            repeat[r.id] = why
    loops = {name.split("/", 1)[0] for name in repeat if _closed(ladder.expected.by_id[name])}
    # a bypass or a stopper too weak to move the gain out of its band still is one of the loop's corners
    loops |= {r.rung for r in ladder.expected.readings() if _closed(r) and any(w.at_a_stage for w in rows)}
    for r in ladder.expected.readings():
        if r.rung in loops and r.id not in repeat and r.kind != "lamp":
            repeat[r.id] = "the loop hangs on what was changed: singing above hearing shows there"
    # a lamp sees whatever its rung's meter readings see
    rungs = {name.split("/", 1)[0] for name in repeat}
    for r in ladder.expected.readings():
        if r.kind == "lamp" and r.rung in rungs and r.id not in repeat:
            repeat[r.id] = "the lamp sees what the readings of this rung see"
    order = {r.id: n for n, r in enumerate(ladder.expected.readings())}
    repeat = dict(sorted(repeat.items(), key=lambda item: order[item[0]]))
    left = tuple(r.id for r in ladder.expected.rungs if not any(name.startswith(f"{r.id}/") for name in repeat))
    return Changed(repeat, left)


class _Worked:
    """One part that was changed, and what that reaches."""

    def __init__(self, ladder: Ladder, name: str) -> None:
        amplifier, found = ladder.frame.amplifier, ladder.sheet.found
        self.name = name
        self.parts = [p for p in amplifier.parts.values() if name == p.name or name in _wholes(p)]
        self.valve = any(p.kind in {"valve", "rectifier"} for p in self.parts)
        self.joints = _joints(self.parts)
        stages = amplifier.of_kind("valve") if self.parts and self.parts[0].kind in _STAGE else ()
        self.at_a_stage = bool(self.joints & _joints(stages))
        # what stands beside a joint that saw the iron: a bridge of solder reaches so far
        beside = [p for p in amplifier.parts.values() if _joints([p]) & self.joints and p.kind not in _BIG]
        self.near = self.joints if self.valve else self.joints | _joints(beside)
        own = np.array([part in {p.name for p in self.parts} | {name} for part in found.parts])
        size = np.sqrt((found.sigmas[own] ** 2).sum(axis=0)) if own.any() else np.zeros(len(ladder.sheet.readings))
        self.shown_by = _shows(ladder, self.parts)
        self.moves = {r.id: float(size[i]) for i, r in enumerate(ladder.sheet.readings)}

    def why(self, r: ExpectedReading) -> str:
        """Why a reading counts no longer, "" where it still does."""
        p = r.planned
        if r.kind == "look":
            word = rf"\b{re.escape(self.name.split()[-1])}\b"
            side = (
                not p.channel or p.channel in ("shared", "") or self.name.startswith(p.channel) or " " not in self.name
            )
            return f"{self.name} is what is looked at" if re.search(word, p.what) and side else ""
        ends = {p.probe.red, p.probe.black} - {"chassis"}
        if self.valve and any(n in p.situation.out for n in (self.name, *(v.name for v in self.parts))):
            return ""
        if ends & self.joints:
            return f"read at a joint of {self.name}"
        if p.situation.mains_volts == 0.0 and ends & self.near and not self.valve:
            return f"beside a joint of {self.name}: a bridge of solder would show there"
        if r.on is not None and self.moves.get(r.id, 0.0) > max(_seen(r), r.on.step / 2):
            return f"{self.name} moves it"
        if r.id in self.shown_by:
            return f"a bad {self.name}, or a bad joint at it, shows there"
        return ""


def _shows(ladder: Ladder, parts: Sequence[Part]) -> frozenset[str]:
    """Readings that some fault of these parts, in the amplifier as drawn, brings to another verdict than go on."""
    amplifier, sheet = ladder.frame.amplifier, ladder.sheet
    faults = [c.at(0.5) for p in parts for c in cases_of(p, amplifier.mains_volts) if has_law(c.mode)]
    if not faults:
        return frozenset()
    values = np.repeat(sheet.observer.nominal, len(faults), axis=1)
    none = {v: np.zeros(len(faults)) for v in sheet.setting}
    cast = Cast(values, none, tuple((f,) for f in faults), level=np.full(len(faults), 0.5))
    seen = sheet.observer.see(sheet.wanted, cast, ohms_for=lambda r: True)
    judged = judge(ladder.expected, show(ladder.expected, sheet, seen, cast, SEED))
    return frozenset(name for name, told in zip(judged.ids, judged.codes, strict=True) if (told > GO_ON).any())


# What may hang on a valve's electrode and shape what it amplifies; supplies and heaters are none.
_STAGE = {"resistor", "capacitor", "pot", "valve", "output transformer"}

# Parts with so many or so long leads that "beside" says nothing of them.
_BIG = {"transformer", "output transformer", "valve", "rectifier"}


def _joints(parts: Iterable[Part]) -> set[str]:
    return {j for p in parts for j in p.leads.values()} - {"chassis"}


def _closed(r: ExpectedReading) -> bool:
    """A reading of the signal with the loop closed: what moves it moves the loop, and whether it sings."""
    return r.planned.situation.feedback == "closed" and r.planned.probe.quantity in LOOP


def _seen(r: ExpectedReading) -> float:
    """The least that would show in a reading [SI]."""
    if r.low is None or r.high is None:
        return 0.0
    return SEEN * (r.high - r.low) / 2


def moved(before: ExpectedLadder, now: ExpectedLadder, read: Iterable[str]) -> tuple[str, ...]:
    """Ids of the readings taken whose expected value, band, stop limit or situation moved, or that are there no more."""
    out = []
    for name in read:
        old, new = before.by_id.get(name), now.by_id.get(name)
        if old is None or new is None or _moved(old, new):
            out.append(name)
    return tuple(out)


def _moved(old: ExpectedReading, new: ExpectedReading) -> bool:
    one, other = old.planned, new.planned
    if (one.probe, one.situation, one.expect_word) != (other.probe, other.situation, other.expect_word):
        return True
    if old.words != new.words or (old.expected is None) != (new.expected is None):
        return True
    width = max(_width(old), _width(new))
    figures = ((old.expected, new.expected), (old.low, new.low), (old.high, new.high))
    stops = ((_limit(old.stop_below), _limit(new.stop_below)), (_limit(old.stop_above), _limit(new.stop_above)))
    return any(_apart(a, b, width) for a, b in (*figures, *stops))


def _width(reading: ExpectedReading) -> float:
    step = 0.0 if reading.on is None else reading.on.step
    if reading.low is None or reading.high is None:
        return step
    return max(step, SAME * (reading.high - reading.low))


def _limit(stop: Stop | None) -> float | None:
    return None if stop is None else stop.limit


def _apart(a: float | str | None, b: float | str | None, width: float) -> bool:
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) > width
    return a != b
