"""The printable sheet: one self-contained HTML page a rung, from a ladder's JSON. Computes no physics."""

from collections.abc import Mapping, Sequence
from html import escape
from importlib.resources import files
from itertools import groupby
from typing import Any

from firstglow.sheets.layout import LAW, Line, foot_text, share_out, stands_lines, watch_text
from firstglow.sheets.rows import Row, probes, rows
from firstglow.sheets.socket import BASES, base_of, socket_svg

CONTACT = {
    "none": "unplugged",
    "bench box": "at the bench box, hands off the chassis",
    "clip": "clip, put on with power off",
    "one hand": "sheathed probe, one hand",
}
LONG = 6  # letters of a figure from which they stand closer


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
        part = f'<span class="go">page {number + 1} of {len(groups)}</span>' if len(groups) > 1 else ""
        body = [
            head(ladder, drawing),
            f"<h1>{part}{escape(rung['title'])}</h1>",
            stands(rung, first),
        ]
        if first:
            body += opening(rung)
        body += [
            half_table(list(run)) if short else table(list(run)) for short, run in groupby(group, lambda w: w.halves)
        ]
        body.append('<div class="grow"></div>')
        if last:
            body.append(hold(rung))
        body.append(foot(rung))
        pages.append(f'<section class="page" data-rung="{escape(rung["id"])}">{"".join(body)}</section>')
    return pages


def head(ladder: Mapping[str, Any], drawing: str) -> str:
    """Amplifier, drawing revision, mains and meter: the same on every page."""
    revision = f"drawing {escape(drawing)}" if drawing else "drawing not stated"
    return (
        f'<header><span class="name">{escape(ladder["amplifier"])}</span><span>{revision}</span>'
        f"<span>mains {ladder['mains']:g} V</span><span>meter: {escape(str(ladder['meter']))}</span>"
        f"<span>{escape(ladder['digest'][:8])}</span></header>"
    )


def stands(rung: Mapping[str, Any], full: bool) -> str:
    """The box."""
    inner = "".join(
        f'<div class="live">{escape(t)}</div>' if t.startswith("LIVE") else f"<div>{escape(t)}</div>"
        for t in stands_lines(rung, full=full)
    )
    return f'<div class="stands">{inner}</div>'


def opening(rung: Mapping[str, Any]) -> list[str]:
    """What to do before, the cautions of this moment, what to watch for."""
    made = []
    if rung["before"]:
        made.append('<ol class="before">' + "".join(f"<li>{escape(t)}</li>" for t in rung["before"]) + "</ol>")
    made += [f'<p class="caution">{escape(t)}</p>' for t in rung["cautions"]]
    if watch_text(rung):
        made.append(f'<p class="watch">{escape(watch_text(rung))}</p>')
    return made


def table(group: Sequence[Line]) -> str:
    """Readings across the page."""
    head_cells = (
        '<colgroup><col style="width:22mm"><col style="width:51mm"><col style="width:56mm"><col style="width:28mm">'
        '<col style="width:12mm"><col style="width:12mm"><col style="width:9mm"></colgroup>'
        "<thead><tr><th>socket from below</th><th>black on, red on</th><th>EXPECT</th><th>STOP IF</th>"
        "<th>left</th><th>right</th><th>mains</th></tr></thead>"
    )
    return f"<table>{head_cells}<tbody>{''.join(table_row(r) for line in group for r in line.rows)}</tbody></table>"


def half_table(group: Sequence[Line]) -> str:
    """Readings two to a line."""
    columns = '<col style="width:33mm"><col style="width:46mm"><col style="width:16mm">'
    names = "<th>black on, red on</th><th>EXPECT</th><th>read</th>"
    body = "".join(f"<tr>{''.join(half_row(r) for r in line.rows)}</tr>" for line in group)
    return (
        f'<table class="halves"><colgroup>{columns * 2}</colgroup><thead><tr>{names * 2}</tr></thead>'
        f"<tbody>{body}</tbody></table>"
    )


def half_row(row: Row) -> str:
    """Half a line: where, the large figure with its band, one blank for each channel under the other."""
    figure, band = figure_cells(row)
    sides = [channel if len(row.channels) > 1 else "" for channel in row.channels]
    written = "".join(f"<div>{escape(side)}</div>" for side in sides)
    return (
        f'<td class="where" data-ids="{escape(" ".join(row.ids))}"><div class="what">{escape(row.what)}</div>'
        f"<div>black: {escape(row.black)}</div><div>red: {escape(row.red)}</div>"
        f'<div class="range">{escape(row.range)}</div></td>'
        f'<td class="figure">{figure}{band}</td><td class="blank">{written}</td>'
    )


def figure_cells(row: Row) -> tuple[str, str]:
    """(the large figure, its band) as page text."""
    number, _, unit = row.expect.rpartition(" ")
    figure = f'{escape(number)}<span class="unit">{escape(unit)}</span>' if number else escape(row.expect)
    long = " long" if len(number) >= LONG else ""
    band = f'<div class="band">{escape(row.band)}</div>' if row.band else ""
    return f'<div class="expect{long}">{figure}</div>', band


def table_row(row: Row) -> str:
    """One row: socket, where, the large figure with its band, the stop, three blanks."""
    drawing = ""
    if row.pin is not None:
        base = base_of(row.pin[0])
        if base in BASES:
            drawing = socket_svg(base, row.pin[1], row.red)
    where = (
        f'<div class="what">{escape(row.what)}</div>'
        + "".join(f"<div>{escape(text)}</div>" for text in probes(row))
        + f'<div class="range">{escape(" · ".join(t for t in (row.range, row.contact) if t))}</div>'
        + (f'<div class="range">{escape(row.differs)}</div>' if row.differs else "")
    )
    figure, band = figure_cells(row)
    note = f'<div class="note">{escape(row.note)}</div>' if row.note else ""
    stop = f'<span class="label">switch off if</span>{escape(row.stop)}' if row.stop else ""
    left, right = blanks(row)
    return (
        f'<tr data-ids="{escape(" ".join(row.ids))}">'
        + (f'<td>{drawing}</td><td class="where">' if drawing else '<td class="where" colspan="2">')
        + f"{where}</td>"
        f'<td class="figure">{figure}{band}{note}</td>'
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


def foot(rung: Mapping[str, Any]) -> str:
    """Make safe, on every page."""
    return f'<footer>{escape(foot_text(rung))}<div class="law"><span>{LAW}</span></div></footer>'
