"""Which rows go on which page: heights in mm, from the same type sizes as sheet.css (a browser test holds the two together)."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from firstglow.sheets.lettering import lines, width
from firstglow.sheets.live import live_text
from firstglow.sheets.rounds import rounds_text
from firstglow.sheets.rows import Row, ids_text, probes

UNPLUGGED = "unplugged"  # a row that no hand goes near power for
UNIT = re.compile(r"(?<=\d) (?=[mµkMG]?[VAΩW]\b)")  # a figure and its unit stand on one line
PAGE = 279.2  # an A4 page between the paddings, less what a browser rounds up row by row
TEXT = 190.0  # its width
SPARE = 2.0  # kept free: a browser rounds every box to its own dots
WITH_SOCKET = 22.25  # the socket drawing and the cell's padding
PLAIN = 17.25  # the least height of a row without one, the line under it not counted
UNDER = {True: 131.0, False: 153.0}  # width of the line under a row, beside a socket and without one
HALF = 17.25  # the least height of a row two to a line
WHERE = {True: 46.0, False: 68.0}  # width of "black on, red on", beside a socket and without one
HALF_WHERE = 31.0
HALF_MIDDLE = 44.0
STOP = 33.0
MIDDLE = 49.0
WIDE, TIGHT = 4.3, 3.6  # letters of the probes' places and the range, and those of a rung that a page is saved by
UNDER_WIDE, UNDER_TIGHT = 3.15, 2.9  # letters of the line under a row
HOW = 3.8  # letters of the range and how the probe gets there, under power
BAND, BAND_SMALL = 6.0, 5.2  # height of the band's line
HEAD, TABLE_HEAD = 7.3, 8.7


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a page's table: a row across the page, or two short ones side by side."""

    rows: tuple[Row, ...]
    height: float

    @property
    def halves(self) -> bool:
        """Is it a line of short rows?"""
        return short(self.rows[0])


def short(row: Row) -> bool:
    """A row two of which share a line: read unplugged, nothing to switch off, no pin to find."""
    return (
        bool(row.band)
        and row.contact == UNPLUGGED
        and not (row.stop or row.pin or row.note or row.differs or row.chart or row.instead)
    )


def share_out(rung: Mapping[str, Any], made: Sequence[Row]) -> tuple[list[list[Line]], bool]:
    """(rows to pages, are the rows set tight?): tight only where that saves the rung a page."""
    wide, tight = _shared(rung, made, tight=False), _shared(rung, made, tight=True)
    return (tight, True) if len(tight) < len(wide) else (wide, False)


def _shared(rung: Mapping[str, Any], made: Sequence[Row], *, tight: bool) -> list[list[Line]]:
    """Rows to pages. The end of the rung never stands on a page alone: it takes the last line with it."""
    fixed = HEAD + SPARE + foot_height(rung)
    pages: list[list[Line]] = [[]]
    room = PAGE - fixed - _title_height(rung, full=True) - stands_height(rung, full=True) - opening_height(rung, tight)
    for line in _lines(made, tight):
        new_head = not pages[-1] or pages[-1][-1].halves != line.halves
        need = line.height + (TABLE_HEAD if new_head else 0)
        if need > room and pages[-1]:
            pages.append([])
            room = PAGE - fixed - _title_height(rung, full=False) - stands_height(rung, full=False)
            need = line.height + TABLE_HEAD
        pages[-1].append(line)
        room -= need
    if room < hold_height(rung):
        pages.append([pages[-1].pop()] if len(pages[-1]) > 1 else [])
    return pages


def findings_height(found: Sequence[str]) -> float:
    """Height of what was found in the file, as it stands on the first page."""
    return sum(5.4 * lines(text, TEXT - 6, 4.0) + 1.0 for text in found)


def _title_height(rung: Mapping[str, Any], *, full: bool) -> float:
    """Height of the rung's title, the page count standing at its right; smaller from its second page on."""
    size = 6.4 if full else 4.8
    return 3.6 + 1.15 * size * lines(rung["title"], TEXT - 26, size, bold=True)


def _lines(made: Sequence[Row], tight: bool) -> list[Line]:
    """Rows as lines: neighbours that are short stand side by side."""
    found: list[Line] = []
    for row in made:
        if short(row) and found and found[-1].halves and len(found[-1].rows) == 1:
            found[-1] = Line((*found[-1].rows, row), max(found[-1].height, _half_height(row)))
        else:
            found.append(Line((row,), _half_height(row) if short(row) else _row_height(row, tight)))
    return found


def _row_height(row: Row, tight: bool) -> float:
    """Height of a row across the page, tight or not."""
    beside = UNDER[row.pin is not None]
    column, also = stop_texts(row, tight)
    top = max(WITH_SOCKET - 3.0 if row.pin else PLAIN, 1.3 + max(_told_height(row, tight), _stop_height(column)))
    size = UNDER_TIGHT if tight else UNDER_WIDE
    how = 1.25 * HOW * lines(how_text(row), beside, HOW, bold=True) if how_text(row) else 0.0
    under = 0.8 + how + _also_height(also, beside) + 1.2 * size * lines(" · ".join(under_texts(row)), beside, size)
    return max(WITH_SOCKET if row.pin else 0.0, top + under)


def _told_height(row: Row, tight: bool) -> float:
    """Height of where and EXPECT, side by side."""
    room, size = WHERE[row.pin is not None], TIGHT if tight else WIDE
    where = 4.75 * lines(f"{row.number} · {row.what}", room, 3.8, bold=True)
    where += 1.25 * size * sum(lines(text, room, size) for text in where_texts(row, tight))
    where += 1.25 * size * lines(row.range, room, size, bold=True) if row.range and not how_text(row) else 0
    where += 4.56 * lines(row.instead, room, 3.8, bold=True) if row.instead else 0
    return max(where, 12 + 0.7 + (BAND_SMALL if small_band(row, tight) else BAND))


def _stop_height(text: str) -> float:
    """Height of the stop's own column."""
    return 3.7 + 5.28 * lines(text, STOP, 4.4, bold=True) if text else 0.0


def _also_height(text: str, room: float) -> float:
    """Height of a stop's words in the line under the row."""
    return 5.04 * lines(text, room, 4.2, bold=True) if text else 0.0


def where_texts(row: Row, tight: bool) -> list[str]:
    """Where the probes go: a line each, or joined where a page is saved by it."""
    return [" · ".join(probes(row))] if tight else probes(row)


def small_band(row: Row, tight: bool) -> bool:
    """Is the band set in smaller letters, by a tight rung or because it would not fit its column?"""
    return tight or width(row.band, 4.8) > MIDDLE - 1


def stop_texts(row: Row, tight: bool) -> tuple[str, str]:
    """(what stands in the stop's own column, what stands in a line under the row), whichever way takes less height."""
    whole = UNIT.sub("\N{NO-BREAK SPACE}", row.stop)
    limits, _, words = whole.partition("; ")
    if not words:
        return whole, ""
    also, told = f"Switch off also if: {words}", _told_height(row, tight)
    apart = max(told, _stop_height(limits)) + _also_height(also, UNDER[row.pin is not None])
    return (limits, also) if apart < max(told, _stop_height(whole)) else (whole, "")


def how_text(row: Row) -> str:
    """The range and how the probe gets to its place, in a line of their own across the row: what a hand must know before it
    moves is no small print. "" where the power is off, and the range stands with the places."""
    return "" if row.contact == UNPLUGGED else " · ".join(t for t in (row.range, row.contact) if t)


def under_texts(row: Row) -> list[str]:
    """What stands in the line under a row, its names last."""
    contact = row.contact if row.contact == UNPLUGGED and not row.differs.lower().startswith(UNPLUGGED) else ""
    return [t for t in (contact, row.differs, row.note, row.chart, row.moved, ids_text(row)) if t]


def _half_height(row: Row) -> float:
    """Height of a row that takes half a line."""
    where = 4.75 * lines(f"{row.number} · {row.what}", HALF_WHERE, 3.8, bold=True) + 4.125 * (
        lines(f"red: {row.red}", HALF_WHERE, 3.3)
        + lines(f"black: {row.black}", HALF_WHERE, 3.3)
        + lines(row.range, HALF_WHERE, 3.3)
    )
    return max(HALF, 2.3 + where, 2.3 + 17.2 + 3.4 * lines(ids_text(row), HALF_MIDDLE, 2.7))


def stands_lines(rung: Mapping[str, Any], *, full: bool) -> list[str]:
    """What the box says: how it stands, and what is live."""
    live = live_text(rung["live"])
    found = [str(rung["situation"]["text"])]
    if live:
        found.append(live)
    elif not rung["make_safe"]["needed"]:
        found.append("Unplugged. Every capacitor is taken as charged until read.")
    if full and rounds_text(rung):
        found.append(rounds_text(rung))
    if rung["wait_seconds"] and full:
        wait = rung["wait_seconds"]
        text = f"{wait / 60:.0f} min" if wait >= 120 else f"{wait:.0f} s"
        found.append(f"Wait {text}: {rung['wait_why']}")
    return found


def stands_height(rung: Mapping[str, Any], *, full: bool) -> float:
    """Height of the box; in smaller letters from a rung's second page on."""
    if not full:
        return 6.6 + 4.38 * sum(lines(t, 183.0, 3.5, bold=t.startswith("LIVE")) for t in stands_lines(rung, full=False))
    return 6.6 + 5.2 * sum(lines(t, 183.0, 4.0, bold=t.startswith("LIVE")) for t in stands_lines(rung, full=full))


def watch_text(rung: Mapping[str, Any]) -> str:
    """Look, listen, smell."""
    return "Watch for: " + "; ".join(rung["watch_for"]) if rung["watch_for"] else ""


def opening_height(rung: Mapping[str, Any], tight: bool) -> float:
    """Height of what to do before, the cautions and what to watch for."""
    size, caution = (3.5, 3.5) if tight else (3.7, 3.8)
    before = sum(1.3 * size * lines(t, TEXT - 6, size) for t in rung["before"]) + (1.5 if rung["before"] else 0)
    cautions = sum(1.3 * caution * lines(f"⚠ {t}", TEXT - 1, caution) + 1 for t in rung["cautions"])
    watch = watch_text(rung)
    return before + cautions + (4.81 * lines(watch, TEXT - 1, 3.7) + 1.5 if watch else 0)


def hold_height(rung: Mapping[str, Any]) -> float:
    """Height of the end of the rung."""
    gate = rung["hold"]
    text = ("HOLD POINT. " if gate["signed"] else "") + gate["text"]
    return 8.6 + 5.46 * lines(text, 181.0, 4.2) + (9.0 if gate["signed"] else 0)


def foot_text(rung: Mapping[str, Any]) -> str:
    """Make safe, in one or two lines."""
    safe = rung["make_safe"]
    if not safe["needed"]:
        return "Stays unplugged, plug in sight. Below 10 V before the ohms range, clip stays on while hands are in."
    wait = f"wait {safe['wait_seconds']:.0f} s" if safe["wait_seconds"] is not None else "it does not fall by itself"
    return (
        f"OFF · plug out, in sight · {wait} · discharge through {safe['ohms'] / 1e3:g} kΩ ({safe['watts']:g} W, "
        f"1000 V tool) · measure below {safe['below_volts']:g} V · again after a minute · clip stays on · "
        "clips counted OUT before the plug goes in"
    )


LAW = (
    "High voltage kills. This sheet never says that a chassis may be touched: follow local codes, and have mains work "
    "done or checked by someone licensed for it."
)


def foot_height(rung: Mapping[str, Any]) -> float:
    """Height of the foot."""
    return 5.2 + 5.46 * lines(foot_text(rung), TEXT - 1, 4.2, bold=True) + 3.8 * lines(LAW, TEXT - 1, 2.9)
