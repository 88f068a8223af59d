"""The ladder for a terminal of 80 columns: plain text, nothing told by colour."""

from collections.abc import Mapping
from textwrap import wrap
from typing import Any

from firstglow.sheets.ladder_sheet import CONTACT
from firstglow.sheets.layout import LAW, foot_text, stands_lines, watch_text
from firstglow.sheets.rows import Row, findings_text, probes, rows

WIDTH = 80


def folded(label: str, text: str, width: int = WIDTH) -> list[str]:
    """A label in the first eight columns, the text folded beside it."""
    lines = wrap(text, width - 8) or [""]
    return [f"{label:<8}{lines[0]}", *(" " * 8 + line for line in lines[1:])]


def ladder_table(ladder: Mapping[str, Any]) -> str:
    """The whole ladder as text.

    ladder: the document that ``firstglow ladder --json`` prints.
    """
    lines = [
        *wrap(f"{ladder['amplifier']}: the first power-up at {ladder['mains']:g} V mains", WIDTH),
        f"meter: {ladder['meter']}    file {ladder['digest'][:8]}",
        "",
        *wrap(LAW.replace("This sheet", "firstglow"), WIDTH),
    ]
    for text in findings_text(ladder.get("findings") or []):
        lines += ["", *folded("  FOUND", text)]
    for rung in ladder["rungs"]:
        lines += ["", *rung_table(rung)]
    return "\n".join(lines)


def rung_table(rung: Mapping[str, Any]) -> list[str]:
    """One rung: how it stands, its readings, its end, and how to make it safe."""
    lines = [f"══ {rung['title']} ".ljust(WIDTH, "═")[:WIDTH]]
    for line in stands_lines(rung, full=True):
        lines += folded("", line)
    for number, text in enumerate(rung["before"], 1):
        lines += folded(f"   {number}.", text)
    for text in rung["cautions"]:
        lines += folded("  !!", text)
    if watch_text(rung):
        lines += folded("", watch_text(rung))
    for row in rows(rung, CONTACT):
        lines += ["", *row_lines(row)]
    hold = rung["hold"]
    lines += ["", *folded("HOLD" if hold["signed"] else "GATE", hold["text"])]
    if hold["signed"]:
        lines += folded("", "yes, name ____________________   date, time ____________")
    lines += folded("SAFE", foot_text(rung))
    return lines


def row_lines(row: Row) -> list[str]:
    """One reading in three or four lines: what, where, EXPECT with band, STOP."""
    side = " + ".join(c for c in row.channels if c)
    title = f"{row.what} ({side})" if side and side not in row.what else row.what
    lines = folded(f"{row.number:>4}", title)
    if row.instead:
        lines += folded("", row.instead)
    where = " → ".join(probes(row))
    how = ", ".join(t for t in (row.range, row.contact) if t)
    lines += folded("", where) + folded("", how)
    if row.differs:
        lines += folded("", row.differs)
    expect = f"EXPECT {row.expect}" + (f"   ({row.band})" if row.band else "")
    lines += folded("", expect)
    if row.stop:
        lines += folded("", f"STOP IF {row.stop}")
    if row.chart:
        lines += folded("", row.chart)
    if row.note:
        lines += folded("", row.note)
    if row.moved:
        lines += folded("", row.moved)
    lines += folded("", "name " + ", ".join(f'"{name}"' for name in row.ids))
    return lines
