"""The printable sheet: one self-contained HTML page a rung, from a ladder's JSON. Computes no physics."""

from collections.abc import Mapping, Sequence
from html import escape
from importlib.resources import files
from itertools import groupby
from typing import Any

from firstglow.sheets.layout import (
    LAW,
    UNPLUGGED,
    Line,
    findings_height,
    foot_text,
    how_text,
    share_out,
    small_band,
    stands_lines,
    stop_texts,
    under_texts,
    watch_text,
    where_texts,
)
from firstglow.sheets.rows import Row, findings_text, ids_text, rows
from firstglow.sheets.socket import BASES, base_of, socket_svg

CONTACT = {
    "none": UNPLUGGED,
    "bench box": "at the bench box, hands off the chassis",
    "clip": "clip, put on with power off",
    "one hand": "black clipped first, power off; then a sheathed probe, one hand",
}
WORDS = (
    (
        "EXPECT",
        "what this meter shows on a healthy amplifier as it stands; the range under it is where healthy ones read",
    ),
    ("STOP IF", "switch off at once, plug out, whatever the band says"),
    (
        "clip",
        "lead clipped on with the plug out and the joint below 10 V; power only then; nobody touches the meter lead",
    ),
    (
        "sheathed probe, one hand",
        "black clipped on with the power off; tip bare by 4 mm at most, the other hand in a pocket; only at 60 V dc and below",
    ),
    ("at the bench box", "read on the box that feeds the amplifier; the chassis is not touched"),
    (
        "1 MΩ in clip",
        "a 1 MΩ resistor soldered into the clip's end of the lead, so that the lead does not disturb a grid",
    ),
    (
        "3 times off, safe, clips, on",
        "how often this rung is switched off, made safe, clipped on and switched on; rows of one round are read in one go",
    ),
    ("lamp", "the limiter lamp in series with the mains: dark, dim, half or full"),
    ("moved most by", "the parts whose spread widens the range most: measure them and the range narrows"),
    ("an EL84's own data", "what its makers publish, from which all valves of a type may differ alike"),
    ("when time allows", "the gate does not need this one"),
    (
        "name",
        'in small print under each row: what a readings file calls it, "5/V1 cathode/left" = "1.41"; shared: of no channel',
    ),
    ("GATE, HOLD", "a gate is passed by its readings; a hold point by a yes with a name"),
)
PICTURE = (
    ("ring round a large dot", "red goes on this pin; its number stands inside it (an octal has its key there)"),
    ("open square", "black goes on this pin, where black is on the same socket"),
    ("small dots", "the other pins: neither lead, and within a slip of the tip"),
    (
        "seen from below",
        "as the chassis lies open: pins count clockwise from the gap (noval, B7G) or from the key (octal)",
    ),
)
AGAIN = ' class="again"'  # a rung's second page and those after it
FOUND_ROOM, KEY_HEIGHT = 240.0, 178.0  # mm on a first page for findings, and what the words and the key take of it
LONG = 6  # letters of a figure from which they stand closer


def ladder_sheet(ladder: Mapping[str, Any], drawing: str = "") -> str:
    """The whole sheet as one HTML document, nothing fetched from anywhere.

    ladder: the document that ``firstglow ladder --json`` prints. drawing: drawing revision for the top line.
    """
    css = files("firstglow.sheets").joinpath("sheet.css").read_text(encoding="utf-8")
    pages = first_pages(ladder, drawing)
    pages += [page for rung in ladder["rungs"] for page in rung_pages(ladder, rung, drawing)]
    title = escape(f"{ladder['amplifier']}: first power-up")
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>\n'
        f"<style>\n{css}</style></head>\n<body>\n" + "\n".join(pages) + "\n</body></html>\n"
    )


def rung_pages(ladder: Mapping[str, Any], rung: Mapping[str, Any], drawing: str) -> list[str]:
    """One rung as one page or more, each with the same head and foot."""
    made = rows(rung, CONTACT)
    sides = ("left", "right") if two_channels(ladder) else ("read",)
    groups, tight = share_out(rung, made)
    pages = []
    for number, group in enumerate(groups):
        first, last = number == 0, number == len(groups) - 1
        part = f'<span class="go">page {number + 1} of {len(groups)}</span>' if len(groups) > 1 else ""
        body = [
            head(ladder, drawing, rung),
            f"<h1{'' if first else AGAIN}>{part}{escape(rung['title'])}</h1>",
            stands(rung, first),
        ]
        if first:
            body += opening(rung)
        body += [
            half_table(list(run)) if short else table(list(run), sides, tight)
            for short, run in groupby(group, lambda w: w.halves)
        ]
        body.append('<div class="grow"></div>')
        if last:
            body.append(hold(rung))
        body.append(foot(rung))
        pages.append(
            f'<section class="page{" tight" if tight else ""}" data-rung="{escape(rung["id"])}">{"".join(body)}</section>'
        )
    return pages


def two_channels(ladder: Mapping[str, Any]) -> bool:
    """Has the amplifier a left and a right?"""
    return any(r.get("channel") in {"left", "right"} for rung in ladder["rungs"] for r in rung["readings"])


def first_pages(ladder: Mapping[str, Any], drawing: str) -> list[str]:
    """What was found before anything is switched on, and what the words on the sheet mean; as many pages as it takes."""
    found = findings_text(ladder.get("findings") or []) or ["Nothing that stops the first rung."]
    words = "".join(f"<dt>{escape(word)}</dt><dd>{escape(text)}</dd>" for word, text in WORDS)
    key = f"<h2>Words on these pages</h2><dl>{words}</dl>{legend()}"
    pages: list[list[str]] = [[]]
    for text in found:
        if findings_height([*pages[-1], text]) > FOUND_ROOM:
            pages.append([])
        pages[-1].append(text)
    lists = ["".join(f"<li>{escape(text)}</li>" for text in page) for page in pages]
    bodies = [f"<h2>Found in the file</h2><ul>{items}</ul>" for items in lists]
    if findings_height(pages[-1]) > FOUND_ROOM - KEY_HEIGHT:
        bodies.append("")
    bodies[-1] += key
    return [
        f'<section class="page first" data-rung="first">{head(ladder, drawing)}<h1>Before the first rung</h1>'
        f'{body}<div class="grow"></div><footer><div class="law"><span>{LAW}</span></div></footer></section>'
        for body in bodies
    ]


def legend() -> str:
    """What the marks of the socket picture mean, beside two of them."""
    words = "".join(f"<dt>{escape(mark)}</dt><dd>{escape(text)}</dd>" for mark, text in PICTURE)
    drawings = socket_svg("noval", 7, black=3) + socket_svg("octal", 3, black=8)
    return f'<h2>The picture of a socket</h2><div class="legend"><div>{drawings}</div><dl>{words}</dl></div>'


def head(ladder: Mapping[str, Any], drawing: str, rung: Mapping[str, Any] | None = None) -> str:
    """Amplifier, drawing revision, mains and meter: the same on every page of a rung. Where the rung stands at less than
    the socket's mains, that too."""
    mains = f"mains {ladder['mains']:g} V"
    here = ladder["mains"] if rung is None else rung["situation"]["mains_volts"]
    if here < ladder["mains"]:
        mains += f", here {here:g} V" if here > 0 else ", here unplugged"
    revision = f"drawing {escape(drawing)}" if drawing else "drawing not stated"
    return (
        f'<header><span class="name">{escape(ladder["amplifier"])}</span><span>{revision}</span>'
        f"<span>{mains}</span><span>meter: {escape(str(ladder['meter']))}</span>"
        f"<span>{escape(ladder['digest'][:8])}</span></header>"
    )


def stands(rung: Mapping[str, Any], full: bool) -> str:
    """The box."""
    inner = "".join(
        f'<div class="live">{escape(t)}</div>' if t.startswith("LIVE") else f"<div>{escape(t)}</div>"
        for t in stands_lines(rung, full=full)
    )
    return f'<div class="stands{"" if full else " again"}">{inner}</div>'


def opening(rung: Mapping[str, Any]) -> list[str]:
    """What to do before, the cautions of this moment, what to watch for."""
    made = []
    if rung["before"]:
        made.append('<ol class="before">' + "".join(f"<li>{escape(t)}</li>" for t in rung["before"]) + "</ol>")
    made += [f'<p class="caution">{escape(t)}</p>' for t in rung["cautions"]]
    if watch_text(rung):
        made.append(f'<p class="watch">{escape(watch_text(rung))}</p>')
    return made


def table(group: Sequence[Line], sides: Sequence[str], tight: bool) -> str:
    """Readings across the page, with a blank for each of the sides and one for the mains."""
    blank = 24 / len(sides)
    head_cells = (
        '<colgroup><col style="width:22mm"><col style="width:47mm"><col style="width:51mm"><col style="width:35mm">'
        + f'<col style="width:{blank:g}mm">' * len(sides)
        + '<col style="width:11mm"></colgroup><thead><tr><th>socket from below</th><th>black on, red on</th>'
        "<th>EXPECT</th><th>STOP IF</th>"
        + "".join(f"<th>{side}</th>" for side in sides)
        + "<th>mains</th></tr></thead>"
    )
    body = "".join(table_row(r, sides, tight) for line in group for r in line.rows)
    return f"<table>{head_cells}<tbody>{body}</tbody></table>"


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
        f'<td class="where" data-ids="{escape(" ".join(row.ids))}">{what_cell(row)}'
        f"<div>black: {escape(row.black)}</div><div>red: {escape(row.red)}</div>"
        f'<div class="range">{escape(row.range)}</div></td>'
        f'<td class="figure">{figure}{band}{ids_cell(row)}</td><td class="blank">{written}</td>'
    )


def figure_cells(row: Row, *, small: bool = False) -> tuple[str, str]:
    """(the large figure, its band) as page text."""
    number, _, unit = row.expect.rpartition(" ")
    figure = f'{escape(number)}<span class="unit">{escape(unit)}</span>' if number else escape(row.expect)
    long = " long" if len(number) >= LONG else ""
    band = f'<div class="band{" small" if small else ""}">{escape(row.band)}</div>' if row.band else ""
    return f'<div class="expect{long}">{figure}</div>', band


def what_cell(row: Row) -> str:
    """The row's number and what it reads."""
    return f'<div class="what">{row.number} · {escape(row.what)}</div>'


def ids_cell(row: Row) -> str:
    """The names that a readings file calls it by."""
    return f'<div class="ids">{escape(ids_text(row))}</div>'


def table_row(row: Row, sides: Sequence[str], tight: bool) -> str:
    """One row: socket, where, the large figure with its band, the stop, the blanks; a line under it."""
    drawing = ""
    if row.pin is not None:
        base = base_of(row.pin[0])
        if base in BASES:
            drawing = socket_svg(base, row.pin[1], black=row.black_pin)
    how = how_text(row)
    where = (
        what_cell(row)
        + (f'<div class="instead">{escape(row.instead)}</div>' if row.instead else "")
        + "".join(f'<div class="probe">{escape(text)}</div>' for text in where_texts(row, tight))
        + (f'<div class="range">{escape(row.range)}</div>' if row.range and not how else "")
    )
    figure, band = figure_cells(row, small=small_band(row, tight))
    column, also = stop_texts(row, tight)
    stop = f'<span class="label">switch off if</span>{escape(column)}' if column else ""
    return (
        f'<tr class="top" data-ids="{escape(" ".join(row.ids))}">'
        + (f'<td rowspan="2">{drawing}</td><td class="where">' if drawing else '<td class="where" colspan="2">')
        + f'{where}</td><td class="figure">{figure}{band}</td><td class="stop">{stop}</td>'
        + f'{blanks(row, sides)}<td class="blank" rowspan="2"></td></tr>'
        + f'<tr class="under"><td colspan="{3 if drawing else 4}">'
        + (f'<div class="how">{escape(how)}</div>' if how else "")
        + (f'<div class="also">{escape(also)}</div>' if also else "")
        + f"{under(row)}</td></tr>"
    )


def under(row: Row) -> str:
    """The line under a row: how it stands, remarks, what moves it, its names."""
    *texts, names = (escape(text) for text in under_texts(row))
    return f'<div>{" · ".join([*texts, ""])}<span class="ids">{names}</span></div>'


def blanks(row: Row, sides: Sequence[str]) -> str:
    """The blanks to write in; a row of one channel hatches the other's, a row of neither uses the first."""
    own = row.channels if any(c in sides for c in row.channels) else (sides[0],)
    return "".join(
        '<td class="blank" rowspan="2"></td>' if side in own else '<td class="blank none" rowspan="2"></td>'
        for side in sides
    )


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
