"""The screens of a climb: 80 columns, one reading at a time, large and calm. Text only; computes no physics."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import Any

from firstglow.sheets.figures import HIGH, block, socket
from firstglow.sheets.layout import stands_lines
from firstglow.sheets.rows import Row, row

WIDTH = 80
SIDE = 26  # columns of the socket drawing
# Lines of a screen: a terminal's 24 less its prompt; making safe keeps two more for what a rehearsal adds.
ROOM = 23
ROWS = 21
RULE = "─" * WIDTH
CONTACT = {
    "none": "unplugged, clip black first",
    "bench box": "at the bench box, hands off the chassis",
    "clip": "clip, put on with power off; nobody holds a probe",
    "one hand": "black clipped first, power off; then a sheathed probe, one hand",
}
SIGNS = {"go on": "✓", "look first": "?", "switch off now": "✗", "note only": "·"}
MADE_SAFE = "✓ made safe, meter proved twice. Discharge clip on till the count; off for ohms"
OVERLOAD = "OL on this range counts as past the stop: it may be."
KEY = "Esc, or space on an empty line: MAKE SAFE"
LAW = "firstglow never says that a chassis may be touched: follow local codes."


@dataclass(frozen=True, slots=True)
class Around:
    """What stands around a reading. amplifier, title: of the top line. number, of: which reading of its rung.

    live: the rung's live joints as the ladder document has them. wait: what is still to be waited for, "" for nothing.
    last: the last verdict in one line. clips: places of the clips that are on. tried: the last verdict on this very
    reading, where it was not go on. grounds: how many readings before it its band is learned from, 0 for the sheet's.
    beside: what its twin, its other leg or the row before it read, "" where that is not read yet. now: what is done at the bench
    since the reading before it. at: which mains its figures are for, "" for the sheet's. mains: what is typed for other ones.
    """

    amplifier: str
    title: str
    number: int
    of: int
    live: Sequence[Mapping[str, Any]] = ()
    wait: str = ""
    last: str = ""
    tried: Sequence[str] = ()
    grounds: int = 0
    beside: str = ""
    now: str = ""
    at: str = ""
    mains: str = "mains 230"


def folded(label: str, text: str, width: int = WIDTH) -> list[str]:
    """A label in the first nine columns, the text folded beside it."""
    lines = wrap(text, width - 9) or [""]
    return [f"{label:<9}{lines[0]}".rstrip(), *(" " * 9 + line for line in lines[1:])]


def wrapped(text: str) -> list[str]:
    """A text in lines of the screen, a little in from its edge."""
    return wrap(text, WIDTH - 2, break_long_words=False) or [""]


def top(amplifier: str, title: str, right: str = "") -> list[str]:
    """The top line of every screen."""
    left = f"{amplifier} · {title}"
    room = WIDTH - len(right) - 2
    left = left if len(left) <= room else f"{left[: room - 1]}…"
    return [f"{left}{right:>{WIDTH - len(left)}}".rstrip(), RULE]


def reading_screen(reading: Mapping[str, Any], around: Around, ink: str = "█", room: int = ROOM) -> list[str]:
    """One reading. reading: as the ladder document has it, its situation's own words included. room: lines there are; what
    is pushed off the top is where the probes go, so where it is too tall the least needed becomes small first: what else is
    live and the gaps, then the figure five lines high, then the drawing of the socket."""
    lines: list[str] = []
    for small in range(4):
        lines = _reading(reading, around, ink, small)
        if len(lines) <= room:
            break
    return lines


def _reading(reading: Mapping[str, Any], around: Around, ink: str, small: int) -> list[str]:
    told = row(around.number, [reading], CONTACT)
    gap = [] if small else [""]
    last = [around.last] if around.last else []
    lines = [*last, *top(around.amplifier, around.title, f"{around.number}/{around.of}")]
    drawing = socket(*told.pin) if told.pin and small < 3 else []
    where = _where(told, reading, WIDTH - (SIDE + 1 if drawing else 0))
    lines += beside(where if small < 3 else [line for line in where if line], drawing)
    lines += folded("NOW", around.now) if around.now else []
    note, overload = told.note, OVERLOAD in told.note
    stop = f"{told.stop}; OL counts as past it" if overload else told.stop
    note = note.replace(OVERLOAD, "").strip()
    lines += [*gap, *folded("STOP IF", stop or "no limit of its own"), *gap]
    lines += _expect(told, reading, ink, large=small < 2)
    count = f"the {around.grounds} readings" if around.grounds > 1 else "the reading"
    yours = f"yours, by {count} before it" if around.grounds else ""
    lines += folded("", ", ".join(t for t in (yours, around.at) if t)) if yours or around.at else []
    for label, text in (("CHART", told.chart), ("BESIDE", around.beside), ("NOTE", note)):
        lines += folded(label, text) if text else []
    if around.live:
        live = folded("LIVE", _live(around.live))
        lines += folded("LIVE", _live(around.live, 2)) if small and len(live) > 1 else live
    lines += folded("WAIT", around.wait) if around.wait else []
    if around.tried:
        lines += [RULE, *around.tried]
    own = around.mains if reading.get("needs", True) else "skip (all)"
    return [*lines, RULE, f"{KEY}   why  back  {own}  quit  help"]


def beside(left: Sequence[str], right: Sequence[str]) -> list[str]:
    """Two columns: text, and a drawing at the right edge."""
    count = max(len(left), len(right))
    out = []
    for n in range(count):
        a = left[n] if n < len(left) else ""
        b = right[n] if n < len(right) else ""
        out.append(f"{a:<{WIDTH - SIDE}}{b}".rstrip() if b else a)
    return out


def _where(told: Row, reading: Mapping[str, Any], width: int) -> list[str]:
    side = reading.get("channel") or ""
    what = f"{told.what} ({side})" if side and side not in told.what else told.what
    lines = [*wrap(what, width), *wrap(told.instead, width), ""]
    if told.red == told.black:
        lines += folded("LOOK" if reading["kind"] == "look" and told.red.startswith("eyes") else "AT", told.red, width)
    else:
        lines += folded("BLACK", told.black, width) + folded("RED", told.red, width)
    if reading["kind"] != "look" or reading["contact"] == "bench box":
        lines += folded("HOW", told.contact, width)
    if told.range:
        lines += folded("RANGE", told.range, width)
    if told.differs:
        lines += folded("STANDS", told.differs, width)
    return lines


def _expect(told: Row, reading: Mapping[str, Any], ink: str, *, large: bool = True) -> list[str]:
    """EXPECT five lines high (large), its band beside it where there is room."""
    words = [str(w).upper() for w in reading.get("words") or ()]
    figure = " or ".join(words) if words else told.expect
    big = block(figure, ink)
    wide = max(len(line) for line in big)
    band = f"band {told.band}" if told.band else ""
    labels = ["EXPECT", "", "", "", ""]
    if large and band and 9 + wide + 3 + len(band) <= WIDTH:
        return [
            f"{a:<9}{b:<{wide}}{('   ' + band) if n == HIGH - 1 else ''}".rstrip()
            for n, (a, b) in enumerate(zip(labels, big, strict=True))
        ]
    if 9 + wide > WIDTH or not large:
        return folded("EXPECT", f"{figure}   {band}")
    return [*(f"{a:<9}{b}".rstrip() for a, b in zip(labels, big, strict=True)), *([f"{'':<9}{band}"] if band else [])]


def _live(live: Sequence[Mapping[str, Any]], named: int = 4) -> str:
    shown = ", ".join(f"{item['joint']} {item['volts']:.0f} V" for item in live[:named])
    more = len(live) - named
    return f"{shown} and {more} more" if more > 0 else shown


def verdict_lines(
    verdict: str, why: str, check_first: Sequence[str], slips: Sequence[str], innocent: bool, *, on: bool = True,
    again: bool = False,
) -> list[str]:  # fmt: skip
    """The answer to a reading: its sign, its word, why, and what to check first. A slip goes before any part, except where
    a stop limit is passed: the fault that would explain it is taken as there until it is read again.

    on: False where it is off already and a stop limit only says that it may not go on. again: these slips were told of this
    very reading before, and it reads so all the same: they go last.
    """
    word = called(verdict, on=on)
    if not on:
        word = f"{word}: it stays unplugged until this reads right"
    elif verdict == "look first":
        word = f"{word}: the power is on, so Esc (make safe) before a hand goes near"
    lines = [f"{SIGNS[verdict]} {word}", *("  " + t for t in wrap(why, WIDTH - 2))]
    checks = [f"check first: {text}" for text in check_first] if verdict != "go on" else []
    parts = [t for text in checks for t in _hanging("  ", text)]
    if not slips:
        return [*lines, *parts]
    stopped = again or verdict == "switch off now"
    head = "Nothing need be wrong with the amplifier" if innocent else "Look at this before any part"
    said = [f"  {'Or only a slip' if stopped else head}:", *(t for text in slips for t in _hanging("  - ", text))]
    return [*lines, *parts, *said] if stopped else [*lines, *said, *parts]


def called(verdict: str, *, on: bool) -> str:
    """A verdict's word. on: False where it is read with the power off, and there is nothing left to switch."""
    return "DO NOT GO ON" if verdict == "switch off now" and not on else verdict.upper()


def _hanging(first: str, text: str) -> list[str]:
    """A text folded to the screen, its lines after the first hanging under it."""
    return [f"    {t}" if n else f"{first}{t}" for n, t in enumerate(wrap(text, WIDTH - 4))]


def last_line(verdict: str, what: str, value: str) -> str:
    """The last verdict in one line, above the next reading."""
    line = f"{SIGNS[verdict]} {verdict}: {what} {value}"
    room = WIDTH - len(f"{SIGNS[verdict]} {verdict}: … {value}")
    return line if len(line) <= WIDTH else f"{SIGNS[verdict]} {verdict}: {what[: max(room, 0)]}… {value}"[:WIDTH]


def before_screen(
    rung: Mapping[str, Any], amplifier: str, texts: Sequence[str], black: Sequence[str], red: Sequence[str],
    powered: bool, notes: Sequence[str] = (), last: str = "", stands: str = "", signed: bool = False, now: str = "", dial: bool = False,
    meters: Sequence[tuple[str, str]] = (), pins: str = "",
) -> list[str]:  # fmt: skip
    """What is done with the plug out: the rung's own work, then this set-up's clips, then the count.

    powered: the plug goes in for what follows. notes: what making safe found, what must be repeated and why. stands:
    how it stands for this set-up, in words, where that is not its rung's own way. now: what changes at the bench since
    the set-up before it. signed: a hold point comes between the count and the plug. dial: is there one, to be at zero before
    the plug goes in? meters: black and red of each, red "" for a probe in one hand. pins: how those of its sockets are counted.
    How many clips that makes is not told: who counts what is printed above counts nothing.
    """
    lines = [*([last] if last else []), *top(amplifier, str(rung["title"]))]
    for line in stands_lines(rung, full=True) if texts else [stands or str(rung["situation"]["text"])]:
        lines += folded("", line)
    for number, text in enumerate(texts, 1):
        lines += folded(f"{number:>6}.", text)
    for text in rung["cautions"] if texts else ():
        lines += folded("     !!", text)
    if rung["watch_for"] and texts:
        lines += folded("WATCH", "; ".join(rung["watch_for"]))
    for text in notes:
        lines += folded("NOTE", text)
    if stands and texts:
        lines += folded("FIRST", stands)
    lines += folded("NOW", now) if now else []
    if powered:
        lines += ["", *folded("CLIPS ON", f"black on {', '.join(black)}" if black else "none for this set-up")]
        lines += folded("", f"red on {', '.join(red)}") if red else []
        after = (
            "Then the hold point is signed, and only after it the plug goes in." if signed else "Then the plug goes in."
        )
        lines += folded(
            "COUNT",
            "everything else OUT of the chassis: tools, loose parts, the discharge clip. Only these clips stay. "
            f"{'Dial at zero. ' if dial else ''}{after}",
        )
        for number, (one, other) in enumerate(meters, 1):
            ends = f"black {one}, {f'red {other}' if other else 'its red stays a sheathed probe'}"
            lines += folded(f"METER {number}", ends)
        lines += folded("PINS", pins) if pins else []
        keys = f"{KEY}   back  changed PART  quit"
        return [*lines, RULE, keys, "How many clips are on in the chassis? Count them there, type the number:"]
    return [*lines, RULE, f"{KEY}   back  changed PART  quit", "Enter when that is done; the plug stays out."]


def hold_screen(rung: Mapping[str, Any], amplifier: str, last: str = "", *, powered: bool = False) -> list[str]:
    """A hold point: a yes and a name. powered: the plug goes in when it is signed."""
    lines = [
        *([last] if last else []),
        *top(amplifier, f"Hold point after {rung['title']}"),
        "",
        *(" " * 9 + t for t in block("HOLD")),
        "",
    ]
    lines += folded("", str(rung["hold"]["text"]))
    lines += ["", *folded("", "The plug goes in only after it.")] if powered else []
    return [*lines, RULE, f"{KEY}   back  quit", "Nobody goes on before this is signed. Type yes and your name:"]


def done_screen(amplifier: str, signed: Mapping[str, str], records: str, ends: str = "") -> list[str]:
    """The top of the ladder. ends: why it ends before the last rung, "" where it does not."""
    lines = [*top(amplifier, "this ladder is climbed, and ends early" if ends else "the ladder is climbed"), ""]
    lines += folded("ENDS", ends) if ends else []
    for rung, who in signed.items():
        lines += folded("SIGNED", f"rung {rung}: {who}")
    lines += folded("RECORDS", records)
    return [*lines, LAW]
