"""The printable sheet: one self-contained HTML page a rung, from a ladder's JSON. Computes no physics."""

from collections.abc import Mapping, Sequence
from html import escape
from importlib.resources import files
from textwrap import wrap
from typing import Any

from firstglow.sheets.rows import Row, rows
from firstglow.sheets.socket import BASES, base_of, socket_svg

CONTACT = {
    "none": "unplugged",
    "bench box": "at the bench box, hands off the chassis",
    "clip": "clip, put on with power off",
    "one hand": "sheathed probe, one hand",
}
PAGE = 280.0  # mm of an A4 page between the paddings
LONG = 6  # letters of a figure from which they stand closer
ROW = 24.4  # mm, the least height of a row (sheet.css)
LAW = (
    "High voltage kills. This sheet never says that a chassis may be touched: follow local codes, and have mains work "
    "done or checked by someone licensed for it."
)


def ladder_sheet(ladder: Mapping[str, Any], drawing: str = "") -> str:
    """The whole sheet as one HTML document, nothing fetched from anywhere.

    ladder: the document that ``firstglow ladder --json`` prints. drawing: drawing revision for the top line.
    """
    css = files("firstglow.sheets").joinpath("sheet.css").read_text(encoding="utf-8")
    pages = [page for rung in ladder["rungs"] for page in rung_pages(ladder, rung, drawing)]
    title = escape(f"{ladder['amplifier']}: first power-up")
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>\n'
        f"<style>\n{css}</style></head>\n<body>\n" + "\n".join(pages) + "\n</body></html>\n"
    )


def rung_pages(ladder: Mapping[str, Any], rung: Mapping[str, Any], drawing: str) -> list[str]:
    """One rung as one page or more, each with the same head and foot."""
    made = rows(rung, CONTACT)
    groups = share_out(rung, made)
    pages = []
    for number, group in enumerate(groups):
        first, last = number == 0, number == len(groups) - 1
        part = f" — page {number + 1} of {len(groups)}" if len(groups) > 1 else ""
        body = [
            head(ladder, drawing),
            f"<h1>{escape(rung['title'])}{part}</h1>",
            stands(rung, first),
        ]
        if first:
            body += opening(rung)
        if group:
            body.append(table(group))
        body.append('<div class="grow"></div>')
        if last:
            body.append(hold(rung))
        body.append(foot(rung))
        pages.append(f'<section class="page" data-rung="{escape(rung["id"])}">{"".join(body)}</section>')
    return pages


def lines_of(text: str, letters: float) -> int:
    """How many lines a text takes, broken at words, at about so many letters a line."""
    return max(1, len(wrap(text, int(letters))))


def share_out(rung: Mapping[str, Any], made: Sequence[Row]) -> list[list[Row]]:
    """Rows to pages by estimated heights [mm], generous so that nothing is ever clipped (a browser test holds it)."""
    frame = 9 + 10 + 7 + 4 + foot_height(rung)  # head, title, table head, spare, foot
    box = 5 + 5.4 * sum(lines_of(t, 76) for t in stands_lines(rung, full=True))
    short_box = 5 + 5.4 * sum(lines_of(t, 76) for t in stands_lines(rung, full=False))
    texts = [*rung["before"], *rung["cautions"]]
    opening_height = sum(5.2 * lines_of(t, 78) + 1.2 for t in texts) + (
        5.2 * lines_of(watch_text(rung), 80) + 1.5 if watch_text(rung) else 0
    )
    hold_height = 10 + 5.8 * lines_of(rung["hold"]["text"], 72) + (12 if rung["hold"]["signed"] else 0)
    groups: list[list[Row]] = [[]]
    room = PAGE - frame - box - opening_height
    for row in made:
        height = row_height(row)
        if height > room and groups[-1]:
            groups.append([])
            room = PAGE - frame - short_box
        groups[-1].append(row)
        room -= height
    if room < hold_height:
        groups.append([])
    return groups


def row_height(row: Row) -> float:
    """Height a row needs [mm]."""
    where = 5.2 * lines_of(row.what, 22 if row.pin else 30)
    where += 4.6 * (
        lines_of("red: " + row.red, 25 if row.pin else 34) + lines_of("black: " + row.black, 25 if row.pin else 34)
    )
    where += 4.4 * lines_of(f"{row.range} · {row.contact}", 27 if row.pin else 36)
    where += 4.4 * (lines_of(row.differs, 25) if row.differs else 0)
    middle = 12 + 5.4 + 4.2 * (lines_of(row.note, 34) if row.note else 0)
    return max(ROW, where + 3, middle + 3, 4 + 5.4 * lines_of(row.stop, 9) + 3)


def head(ladder: Mapping[str, Any], drawing: str) -> str:
    """Amplifier, drawing revision, mains and meter: the same on every page."""
    revision = f"drawing {escape(drawing)}" if drawing else "drawing not stated"
    return (
        f'<header><span class="name">{escape(ladder["amplifier"])}</span><span>{revision}</span>'
        f"<span>mains {ladder['mains']:g} V</span><span>meter: {escape(str(ladder['meter']))}</span>"
        f"<span>{escape(ladder['digest'][:8])}</span></header>"
    )


def stands_lines(rung: Mapping[str, Any], *, full: bool) -> list[str]:
    """What the box says: how it stands, and what is live."""
    live = [f"{item['joint']}: {item['volts']:.0f} V" for item in rung["live"][: 6 if full else 3]]
    more = len(rung["live"]) - len(live)
    lines = [str(rung["situation"]["text"])]
    if live:
        lines.append("LIVE: " + ", ".join(live) + (f" and {more} more" if more > 0 else ""))
    elif not rung["make_safe"]["needed"]:
        lines.append("Unplugged. Every capacitor is taken as charged until read.")
    if rung["wait_seconds"] and full:
        wait = rung["wait_seconds"]
        text = f"{wait / 60:.0f} min" if wait >= 120 else f"{wait:.0f} s"
        lines.append(f"Wait {text}: {rung['wait_why']}")
    return lines


def stands(rung: Mapping[str, Any], full: bool) -> str:
    """The box."""
    inner = "".join(
        f'<div class="live">{escape(t)}</div>' if t.startswith("LIVE") else f"<div>{escape(t)}</div>"
        for t in stands_lines(rung, full=full)
    )
    return f'<div class="stands">{inner}</div>'


def watch_text(rung: Mapping[str, Any]) -> str:
    """Look, listen, smell."""
    return "Watch for: " + "; ".join(rung["watch_for"]) if rung["watch_for"] else ""


def opening(rung: Mapping[str, Any]) -> list[str]:
    """What to do before, the cautions of this moment, what to watch for."""
    made = []
    if rung["before"]:
        made.append('<ol class="before">' + "".join(f"<li>{escape(t)}</li>" for t in rung["before"]) + "</ol>")
    made += [f'<p class="caution">{escape(t)}</p>' for t in rung["cautions"]]
    if watch_text(rung):
        made.append(f'<p class="watch">{escape(watch_text(rung))}</p>')
    return made


def table(group: Sequence[Row]) -> str:
    """The readings of one page."""
    head_cells = (
        '<colgroup><col style="width:22mm"><col style="width:51mm"><col style="width:56mm"><col style="width:28mm">'
        '<col style="width:12mm"><col style="width:12mm"><col style="width:9mm"></colgroup>'
        "<thead><tr><th>socket from below</th><th>black on, red on</th><th>EXPECT</th><th>STOP IF</th>"
        "<th>left</th><th>right</th><th>mains</th></tr></thead>"
    )
    return f"<table>{head_cells}<tbody>{''.join(table_row(r) for r in group)}</tbody></table>"


def table_row(row: Row) -> str:
    """One row: socket, where, the large figure with its band, the stop, three blanks."""
    drawing = ""
    if row.pin is not None:
        base = base_of(row.pin[0])
        if base in BASES:
            drawing = socket_svg(base, row.pin[1], row.red)
    where = (
        f'<div class="what">{escape(row.what)}</div>'
        f"<div>red: {escape(row.red)}</div><div>black: {escape(row.black)}</div>"
        f'<div class="range">{escape(" · ".join(t for t in (row.range, row.contact) if t))}</div>'
        + (f'<div class="range">{escape(row.differs)}</div>' if row.differs else "")
    )
    number, _, unit = row.expect.rpartition(" ")
    figure = f'{escape(number)}<span class="unit">{escape(unit)}</span>' if number else escape(row.expect)
    long = " long" if len(number) >= LONG else ""
    band = f'<div class="band">{escape(row.band)}</div>' if row.band else ""
    note = f'<div class="note">{escape(row.note)}</div>' if row.note else ""
    stop = f'<span class="label">switch off if</span>{escape(row.stop)}' if row.stop else ""
    left, right = blanks(row)
    return (
        f'<tr data-ids="{escape(" ".join(row.ids))}">'
        + (f'<td>{drawing}</td><td class="where">' if drawing else '<td class="where" colspan="2">')
        + f"{where}</td>"
        f'<td class="figure"><div class="expect{long}">{figure}</div>{band}{note}</td>'
        f'<td class="stop">{stop}</td>{left}{right}<td class="blank"></td></tr>'
    )


def blanks(row: Row) -> tuple[str, str]:
    """The blanks for left and right; a row of one channel hatches the other, a row of neither uses the left one."""
    open_cell, shut = '<td class="blank"></td>', '<td class="blank none"></td>'
    if len(row.channels) > 1:
        return open_cell, open_cell
    return (shut, open_cell) if row.channels == ("right",) else (open_cell, shut)


def hold(rung: Mapping[str, Any]) -> str:
    """The end of the rung: a signed hold point, or the gate its readings decide."""
    gate = rung["hold"]
    if not gate["signed"]:
        return f'<div class="hold">{escape(gate["text"])}</div>'
    return (
        f'<div class="hold"><b>HOLD POINT.</b> {escape(gate["text"])}'
        '<div class="sign"><span>yes, name</span><span>date, time</span></div></div>'
    )


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


def foot_height(rung: Mapping[str, Any]) -> float:
    """Height of the foot [mm]."""
    return 6.0 + 5.8 * lines_of(foot_text(rung), 72) + 5


def foot(rung: Mapping[str, Any]) -> str:
    """Make safe, on every page."""
    return f'<footer>{escape(foot_text(rung))}<div class="law"><span>{LAW}</span></div></footer>'
