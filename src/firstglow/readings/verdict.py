"""What a reading means: go on, look first, or switch off now. The stop limit always wins."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from math import inf, isfinite
from typing import Any, Literal

from firstglow.readings.at_mains import mains_away, to_sheet, unjudged
from firstglow.readings.drift import before, drifting
from firstglow.readings.expected import ExpectedLadder, ExpectedReading
from firstglow.readings.learn import second_look
from firstglow.readings.meters import ReadingsError, meter_named
from firstglow.readings.pairs import against_cold, beside_others
from firstglow.readings.read_on import (
    first_range,
    hidden_by_range,
    off_the_scale,
    past_stop_on,
    range_of,
    range_said,
    stopped_on_finer,
    to_this_range,
)
from firstglow.readings.slips import Slip, beside, pen
from firstglow.readings.taken import Taken, TakenFile, told_in_order
from firstglow.readings.typed import split_range, typed_number, typed_word

Answer = Literal["go on", "look first", "switch off now", "note only"]

# Volts that move by less than this over 20 % of mains do not follow them; a wrong tap or a sagging socket is no further off.
_FOLLOWS, _TAP = 0.1, 0.25
_MAINS_ASKED = (
    "the mains: were there really {:.0f} V at the plug when this was read? Read them now, type them beside it"
)


# Good readings named beside a mistake of the file.
NAMED = 6
# What is checked first where a supply reads as much as it should, with the other sign.
TURNED = (
    "which lead was on which joint: the other way round it reads right; made safe first, then clipped and read again",
    "if it reads so with the leads right: the rectifier the wrong way round, and every capacitor there with its volts reversed",
)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one reading means. value: as typed. why, check_first: in bench words.

    compared [SI]: the value brought to the ladder's meter and mains, None for words and where nothing is compared.
    slips: what may explain it before any part is blamed, from whoever knows the circuit. leans: the parts that this reading and
    those before it lean like together, where that alone makes it a doubt.
    """

    id: str
    value: str
    verdict: Answer
    why: str
    check_first: tuple[str, ...] = ()
    compared: float | None = None
    slips: tuple[Slip, ...] = ()
    leans: tuple[str, ...] = ()

    @property
    def innocent(self) -> bool:
        """Would a slip alone explain it, so that it is looked at before any part? Never past a stop."""
        return self.verdict == "look first" and bool(self.slips) and all(one.innocent for one in self.slips)


Explain = Callable[[list[Verdict]], list[Verdict]]


@dataclass(frozen=True, slots=True)
class Verdicts:
    """All verdicts of a readings file.

    unread: readings that a gate still needs, on the rungs up to the one after the last that was read.
    stopped_at: id of the first reading that says switch off, or None. passed_to: id of the last rung whose gate, and
    every gate before it, is passed; None if not even the first. ahead: that something was read on a rung whose
    way was not free: readings of a rung before it are missing; None where nothing was. mains: V rms at the socket that
    bands and stops are for.
    """

    verdicts: tuple[Verdict, ...]
    unread: tuple[str, ...]
    stopped_at: str | None
    passed_to: str | None
    ahead: str | None = None
    mains: float = 0.0
    meter: str = ""

    def json(self) -> dict[str, Any]:
        """CONTRACTS.md's verdict document."""
        return {
            "verdicts": [
                {"id": v.id, "value": v.value, "verdict": v.verdict, "why": v.why,
                 "check_first": list(v.check_first), "slips": [s.text for s in v.slips]} for v in self.verdicts
            ],
            "unread": list(self.unread), "stopped_at": self.stopped_at, "passed_to": self.passed_to, "ahead": self.ahead,
            "mains": self.mains, "meter": self.meter,
        }  # fmt: skip


def verdict(ladder: ExpectedLadder, taken: TakenFile, explain: Explain = list) -> Verdicts:
    """Judge a readings file against a ladder. ReadingsError, a line each, for unknown ids and unreadable values: what the
    other lines mean stands in it too, the dangerous ones first. explain: puts to doubts the slips that would explain them."""
    wrong = list(taken.wrong)
    for row in taken.readings:
        if row.id not in ladder.by_id:
            near = get_close_matches(row.id, list(ladder.by_id), 1, 0.0)
            wrong.append(f"{row.where}: {row.id}: no such reading on this ladder; rung/probe/channel; try {near[0]}")
    by_id = {row.id: row for row in taken.readings}
    judged = []
    for reading in ladder.readings():
        try:
            judged += [judge(ladder, reading, by_id[reading.id], taken)] if reading.id in by_id else []
        except ReadingsError as error:
            wrong.append(str(error))
    judged = [against_cold(ladder, v, judged) for v in judged]
    judged = beside_others(ladder, judged, {row.id: row.meter or taken.meter or "" for row in taken.readings})
    shown = {v.id: v.compared for v in judged if v.verdict == "go on"}
    judged = [drifting(ladder, v, shown.get(before(ladder, v.id) or "")) for v in judged]
    judged = explain([_found_good(v) for v in second_look(ladder, judged)])
    if wrong:
        raise told_beside(ladder, judged, by_id, wrong)
    return gates(ladder, judged)


def _found_good(v: Verdict) -> Verdict:
    """What a person who reads from a file does with a part that all readings lean like, and that is good."""
    if not v.leans:
        return v
    good = "found good: what it measures into the file as its measured value, and judge again; that is then counted in"
    return replace(v, check_first=(*v.check_first, good))


def told_beside(
    ladder: ExpectedLadder, judged: Sequence[Verdict], rows: Mapping[str, Taken], wrong: Sequence[str]
) -> ReadingsError:
    """The mistakes of a readings file, and what its good lines mean: one mistyped name hides no danger."""
    off = [v for v in judged if v.verdict == "switch off now"]
    doubts = [v for v in judged if v.verdict in ("look first", "note only")]
    good = [v.id for v in judged if v.verdict == "go on"]
    lines = [_as_a_line(ladder, v, rows[v.id].where) for v in off]
    unread = {name: Verdict(name, row.text, "note only", "") for name, row in rows.items() if name in ladder.by_id}
    typed = list({**unread, **{v.id: v for v in judged}}.values())
    ahead, _, remedy = (gates(ladder, typed).ahead or "").partition(": ")
    file = next((row.where.rpartition(":")[0] for row in rows.values()), "readings")
    if ahead and judged:
        lines.append(
            f"{file}:1: readings: {ahead}; {remedy.partition('. ')[0]}; try off, plug out, make safe, and those first"
        )
    lines += str(told_in_order(wrong)).splitlines()
    lines += [_as_a_line(ladder, v, rows[v.id].where) for v in doubts]
    if good:
        more = f" and {len(good) - NAMED} more" if len(good) > NAMED else ""
        lines.append(
            f"{file}:1: readings: as expected, each by itself: {', '.join(good[:NAMED])}{more}; no gate is passed before the lines "
            "above are mended; try them mended, and firstglow verdict again"
        )
    return ReadingsError("\n".join(lines))


def _as_a_line(ladder: ExpectedLadder, v: Verdict, where: str) -> str:
    """A verdict in the form of an error: what was found, what is allowed, what to do."""
    reading = ladder.by_id[v.id]
    allowed = _band(reading) if reading.low is not None else " or ".join(reading.words)
    stopped = v.verdict == "switch off now" and reading.planned.under_power
    word = "DO NOT GO ON" if v.verdict == "switch off now" and not stopped else v.verdict.upper()
    do = "off, plug out, make safe" if stopped else (v.check_first or ("reading it again",))[0]
    do = f"this slip first: {v.slips[0].text}" if v.innocent else do
    return f"{where}: {v.id}: {v.value}: {word}: {v.why}; a healthy one: {allowed}; try {do}"


def judge(ladder: ExpectedLadder, reading: ExpectedReading, row: Taken, taken: TakenFile) -> Verdict:
    """One reading by itself."""
    if reading.kind in {"lamp", "look"}:
        return _judge_word(reading, row)
    text, typed_range = split_range(row.text)
    value = typed_number(text, reading.unit, f"{row.where}: {row.id}")
    meter = meter_named(row.meter or taken.meter or ladder.meter.name, taken.meters)
    said = range_said(reading, typed_range, meter, f"{row.where}: {row.id}")
    on = said or (reading.on if meter.name == ladder.meter.name else range_of(reading, value, meter))
    here = to_this_range(reading, value, on)
    past = off_the_scale(reading, value, on, meter)
    if past is not None:
        return Verdict(row.id, row.text, *past, reading.checks(inf), None)
    stop, unsaid = past_stop_on(reading, value, on), ""
    if stop is None and said is None and meter.name != ladder.meter.name:
        # on which of its ranges was not said: held to the stop on the one that is chosen for what is expected, too
        first = first_range(reading, value, meter)
        stop = past_stop_on(reading, value, first)
        if stop is not None and first is not None:
            here, unsaid = to_this_range(reading, value, first), first.text
    if stop is not None:
        least = stop is reading.stop_below and stop.limit >= 0.0
        where = f"{'below' if least else 'past'} the stop limit {reading.text(stop.limit)}"
        turned = _turned_round(reading, here)
        why = f"{reading.text(value)} is {where}: {stop.why}{'; ' + turned if turned else ''}"
        # more than any range of this meter shows was not read on it: then only the slip is left
        most = max((r.full for r in meter.ranges if on is not None and r.kind == on.kind), default=inf)
        possible = not isfinite(here) or abs(here) <= most
        # where healthy ones read past the stop too, what tells them from sick ones comes before the causes, as on the sheet
        checks = (*((stop.separate,) if stop.cut and stop.separate else ()), *reading.checks(here))
        if (
            turned and least
        ):  # as much as there should be, and the other way: what leaves too little is not what is wrong
            why, checks = f"{reading.text(value)} is {where}: {turned}", TURNED
        if unsaid:
            why = f"{why}; read on {unsaid}, where {meter.name} is put for what is expected, it is {reading.text(here)} on this sheet's"
            checks = (f"the range it was read on, typed with the figure ({row.text} on {unsaid})", *checks)
        why = beside(why, reading, pen(reading, here), possible)
        return Verdict(row.id, row.text, "switch off now", why, checks, here)
    away = mains_away(ladder, reading, row.mains, taken.mains)
    if reading.note_only:
        return Verdict(row.id, row.text, "note only", reading.note_only, (), value)
    if why := unjudged(ladder, reading, away):
        return Verdict(row.id, row.text, "look first", why, (), None)
    hidden = hidden_by_range(reading, on, meter, said is not None)
    if hidden:
        # a figure as it should be points at nothing: only another meter says more
        good = _judge_band(reading, row, here, to_sheet(reading, here, away), 0.0).verdict == "go on"
        why = f"{reading.text(value)} is as expected, but this meter cannot tell: {hidden}" if good else hidden
        return Verdict(row.id, row.text, "look first", why, () if good else reading.checks(), None)
    rated = stopped_on_finer(reading, value, on, average=True)
    if rated is not None:
        why = f"{reading.text(value)} is past {reading.text(rated.limit)}: {rated.why}"
        return Verdict(row.id, row.text, "look first", why, reading.checks(value), here)
    spare = 0.0 if on is None or reading.on is None else max(0.0, on.limits(value) - reading.on.limits(here))
    value = here
    compared = to_sheet(reading, value, away)
    judged = _judge_band(reading, row, value, compared, spare)
    if reading.looked is not None and value > reading.looked.limit:
        why = f"{reading.text(value)} is above {reading.text(reading.looked.limit)}: {reading.looked.why}"
        judged = replace(
            judged, verdict="look first", why=f"{why}; {reading.shown} is expected", check_first=reading.checks(value)
        )
    if judged.verdict == "look first" and row.mains is None and _with_the_mains(reading, compared):
        judged = replace(judged, check_first=(_MAINS_ASKED.format(ladder.mains), *judged.check_first))
    if reading.bridged and judged.verdict == "go on":
        return replace(judged, verdict="note only", why=reading.bridged)
    return judged


def _judge_band(reading: ExpectedReading, row: Taken, value: float, compared: float, spare: float) -> Verdict:
    """Inside the band or not; ``spare`` [SI] is what the band gives for a meter that is worse than the ladder's."""
    low = -inf if reading.low is None else reading.low - spare
    high = inf if reading.high is None else reading.high + spare
    said = reading.text(compared)
    if compared != value:
        said = f"{reading.text(value)}, {said} at this sheet's mains and meter,"
    if low <= compared <= high:
        why = f"{said} is inside {_band(reading)}"
        return Verdict(row.id, row.text, "go on", why, (), compared)
    if reading.expected is None:
        why = f"{said} where nothing may connect: at least {reading.text(low)} is expected"
    else:
        side = f"below {reading.text(low)}" if compared < low else f"above {reading.text(high)}"
        why = f"{said} is {side}; {reading.shown} is expected"
    why = beside(why, reading, pen(reading, compared))
    return Verdict(row.id, row.text, "look first", why, reading.checks(compared), compared)


def _with_the_mains(reading: ExpectedReading, value: float) -> bool:
    """Whether other mains are the first thing to think of: volts that follow them, off by what a socket or a tap may be."""
    curve = reading.mains_curve
    if reading.unit != "V" or not curve or not isinstance(reading.expected, float) or not isfinite(value):
        return False
    follows = abs(curve[-1] - curve[0]) > _FOLLOWS * abs(reading.expected)
    return follows and abs(value - reading.expected) < _TAP * abs(reading.expected)


def _band(reading: ExpectedReading) -> str:
    if reading.low is not None and reading.high is not None:
        low, high = reading.passing
        told = (
            ", where the stop stands" if high != reading.high else ", short of the stop" if low != reading.low else ""
        )
        return f"{reading.text(low or 0.0)} to {reading.text(high or 0.0)}{told}"
    return f"over {reading.text(reading.low or 0.0)}"


def _judge_word(reading: ExpectedReading, row: Taken) -> Verdict:
    """A lamp or a look."""
    word = typed_word(row.text, reading.kind, f"{row.where}: {row.id}")
    stop = reading.planned.stop_words
    if word in reading.words or reading.note_only:
        answer: Answer = "note only" if reading.note_only else "go on"
        return Verdict(row.id, row.text, answer, reading.note_only or f"{word}, as expected")
    brighter = reading.kind == "lamp" and reading.words and _glow(word) > max(_glow(w) for w in reading.words)
    expected = " or ".join(reading.words)
    if brighter:
        why = f"the lamp is {word} where {expected} is expected: more current than this amplifier draws"
        checks = reading.lamp_checks(brighter=True)
        return Verdict(row.id, row.text, "switch off now", f"{why}{'; ' + stop if stop else ''}", checks)
    if reading.kind == "lamp":
        why = f"the lamp is {word} where {expected} is expected: less current than this amplifier draws"
        return Verdict(row.id, row.text, "look first", why, reading.lamp_checks(brighter=False))
    if reading.kind == "look" and stop:
        return Verdict(row.id, row.text, "switch off now", stop, reading.checks())
    return Verdict(row.id, row.text, "look first", f"{word}; {expected} is expected", reading.checks())


def _turned_round(reading: ExpectedReading, value: float) -> str:
    """What a volt reading of the other sign says beside its stop, where it is of about its size: + 58 for - 66."""
    expected, stops = reading.expected, (reading.stop_below, reading.stop_above)
    told = any(s is not None and "wrong way round" in s.why for s in stops)
    if reading.unit != "V" or not isinstance(expected, float) or not isfinite(value) or told:
        return ""
    if value * expected >= 0.0 or not abs(expected) / 2.0 < abs(value) < 2.0 * abs(expected):
        return ""
    return "its sign is the wrong one: red and black exchanged, the minus left out, or it really stands the wrong way round"


def _glow(word: str) -> int:
    return ("dark", "dim", "half", "full").index(word)


def gates(ladder: ExpectedLadder, judged: list[Verdict]) -> Verdicts:
    """How far up the ladder these verdicts carry."""
    by_id: Mapping[str, Verdict] = {v.id: v for v in judged}
    stopped = next((v.id for v in judged if v.verdict == "switch off now"), None)
    passed: str | None = None
    unread: list[str] = []
    going = True
    last_read = max((i for i, r in enumerate(ladder.rungs) if any(x.id in by_id for x in r.readings)), default=-1)
    for i, rung in enumerate(ladder.rungs):
        needed = list(dict.fromkeys((*rung.planned.hold.needs, *(r.id for r in rung.readings if r.planned.needs))))
        if i <= last_read + 1:
            unread += [n for n in needed if n not in by_id]
        going = going and all(
            n in by_id and by_id[n].verdict in {"go on", "note only"} for n in needed
        ) and all(by_id[r.id].verdict in {"go on", "note only"} for r in rung.readings if r.id in by_id)  # fmt: skip
        if going:
            passed = rung.id
    ahead = _ahead(ladder, unread, last_read)
    return Verdicts(tuple(judged), tuple(unread), stopped, passed, ahead, ladder.mains, ladder.meter.name)


def _ahead(ladder: ExpectedLadder, unread: Sequence[str], last_read: int) -> str | None:
    """What to say where the last rung that was read stands past one whose gate still lacks readings."""
    order = [r.id for r in ladder.rungs]
    missing = [order.index(ladder.by_id[n].rung) for n in dict.fromkeys(unread)]
    early = [n for n in missing if n < last_read]
    if not early:
        return None
    last, first = order[last_read], order[early[0]]
    lacks = "a reading" if early.count(early[0]) == 1 else f"{early.count(early[0])} of its readings"
    return (
        f"Rung {last} was read while rung {first} lacks {lacks}: it was not yet to be gone to. Off, plug out, make safe, "
        "and read those first"
    )
