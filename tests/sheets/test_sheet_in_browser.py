"""The printed sheet in a real browser: large figures, nothing clipped, the right pin ringed, legible in grey."""

import re
from functools import cache
from math import atan2, degrees
from pathlib import Path
from typing import Any

import pytest
from chromium import BROWSER, measure, measure_each

from at_hand import built
from firstglow.amplifier import load
from firstglow.devices.catalogue import valve_type
from firstglow.ladder.spoken import Spoken
from firstglow.sheets.ladder_sheet import ladder_sheet
from firstglow.sheets.socket import base_of

MM = 96 / 25.4
pytestmark = [pytest.mark.browser, pytest.mark.skipif(BROWSER is None, reason="no chromium here (.ci/run installs it)")]


EXAMPLES = Path(__file__).parent.parent.parent / "examples"


SCRIPTS = {
    "pages": (
        "return [...document.querySelectorAll('.page')].map(p => ({rung: p.dataset.rung, width: p.offsetWidth,"
        "height: p.offsetHeight, over: p.scrollHeight - p.clientHeight, wide: p.scrollWidth - p.clientWidth,"
        "foot: !!p.querySelector('footer'), head: !!p.querySelector('header'),"
        "cells: [...p.querySelectorAll('td, .stands, .hold')].filter(c => c.scrollHeight > c.clientHeight + 2"
        " || c.scrollWidth > c.clientWidth + 2).map(c => c.textContent),"
        "heads: [...p.querySelectorAll('th')].filter(c => c.scrollWidth > c.clientWidth).map(c => c.textContent)}))"
    ),
    "heights": (
        "const c = document.createElement('canvas').getContext('2d');"
        "return [...document.querySelectorAll('.expect')].map(e => { const s = getComputedStyle(e);"
        "c.font = `${s.fontWeight} ${s.fontSize} ${s.fontFamily}`;"
        "const m = c.measureText('8'); return m.actualBoundingBoxAscent + m.actualBoundingBoxDescent; })"
    ),
    "drawn": (
        "const middle = e => { const b = e.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; };"
        "return [...document.querySelectorAll('tr[data-ids]')].filter(r => r.querySelector('svg.socket')).map(r => ({"
        "rim: middle(r.querySelector('.rim')), rings: [...r.querySelectorAll('.ring')].map(middle),"
        "dots: [...r.querySelectorAll('.pin, .hit')].map(middle), base: r.querySelector('svg').dataset.base,"
        "squares: [...r.querySelectorAll('.square')].map(middle),"
        "told: [...r.querySelectorAll('td.where div')].map(d => d.textContent).join(' ')}))"
    ),
    "touched": (
        "return [...document.querySelectorAll('.how')].map(e => [e.textContent, +getComputedStyle(e).fontWeight,"
        " parseFloat(getComputedStyle(e).fontSize), e.parentElement.lastElementChild.textContent])"
    ),
    "colours": ("return [...new Set([...document.querySelectorAll('.page *')].map(e => getComputedStyle(e).color))]"),
}
"""What is measured of a printed ladder, all at one start of the browser."""


@pytest.fixture(scope="module", params=["a", "b", "c"])
def ladder(request: pytest.FixtureRequest) -> Any:
    return built(load(next(EXAMPLES.glob(f"{request.param}-*.toml"))), mode="fast")


@cache
def measured(html: str) -> dict[str, Any]:
    found = measure(html, "return {" + ",".join(f"{k}: (() => {{{v}}})()" for k, v in SCRIPTS.items()) + "}")
    assert isinstance(found, dict)
    return found


def on_the_sheet(ladder: Any) -> dict[str, Any]:
    return measured(ladder_sheet(ladder.document, "own, sheet 1"))


def test_every_page_holds_what_stands_on_it(ladder: Any) -> None:
    pages = on_the_sheet(ladder)["pages"]
    assert isinstance(pages, list)
    assert len(pages) >= len(ladder.document["rungs"])
    for page in pages:
        assert page["width"] == pytest.approx(210 * MM, abs=2)
        assert page["height"] == pytest.approx(297 * MM, abs=2)
        assert page["over"] <= 1, page
        assert page["wide"] <= 1, page
        assert page["cells"] == [], page
        assert page["heads"] == [], page
        assert page["head"]
        assert page["foot"]


def test_a_bench_s_own_words_stand_everywhere_and_fit(ladder: Any) -> None:
    words = {"valve": "tube", "plate": "anode", "ht": "B+", "chassis": "ground"}
    spoken = Spoken(words)
    html = spoken.page(ladder_sheet(spoken.document(ladder.document)))
    found = measure(
        html,
        "return {over: Math.max(...[...document.querySelectorAll('.page')].map(p => p.scrollHeight - p.clientHeight)),"
        "cells: [...document.querySelectorAll('td, .stands, .hold')].filter(c => c.scrollHeight > c.clientHeight + 2"
        " || c.scrollWidth > c.clientWidth + 2).map(c => c.textContent),"
        "said: [...document.querySelectorAll('.what, .probe, .live, .hold, .caution, .before, .watch, dd, dt')]"
        ".map(e => e.textContent).concat([...document.querySelectorAll('svg')].map(s => s.getAttribute('aria-label')))}",
    )
    assert isinstance(found, dict)
    assert found["over"] <= 1
    assert found["cells"] == []
    said = [text for text in found["said"] if not text.startswith("in small print")]  # an example of a name
    assert any("anode" in text for text in said)
    # the metal box stays a chassis; the joint that volts are read to is the bench's ground
    ours = r"(?i:\b(valve|plate)s?\b|(?<!the )(?<!a )(?<!bare )\bchassis\b)|\bHT\b"
    assert [t for t in said if re.search(ours, t)] == []


def test_no_finding_falls_off_the_first_page() -> None:
    text = "C{n}: 450 V working, 5{n:02} V stand there while nothing draws; a capacitor of more volts, or a load on HT"
    counts = (0, 6, 7, 8, 9, 10, 30, 90)
    head = {"amplifier": "Many", "mains": 230.0, "meter": "digital", "digest": "0" * 64, "rungs": []}
    each = measure_each(
        [ladder_sheet(head | {"findings": [text.format(n=n) for n in range(count)]}) for count in counts],
        "return [...document.querySelectorAll('.first')].map(p => ["
        "p.scrollHeight - p.clientHeight, p.querySelectorAll('li').length, !!p.querySelector('.legend')])",
    )
    for count, over in zip(counts, each, strict=True):
        assert isinstance(over, list)
        assert all(o <= 1 for o, _, _ in over), (count, over)
        assert sum(items for _, items, _ in over) == max(count, 1), count
        assert sum(1 for *_, key in over if key) == 1, count


def test_expected_figures_are_eight_millimetres_high(ladder: Any) -> None:
    # the height of a digit is measured from its ink, not from its font size
    heights = on_the_sheet(ladder)["heights"]
    assert isinstance(heights, list)
    assert len(heights) > 20
    assert min(heights) >= 8.0 * MM - 0.5


def test_the_ringed_pin_is_the_electrode_of_the_base_table(ladder: Any) -> None:
    ringed = 0
    for rung in ladder.document["rungs"]:
        for reading in rung["readings"]:
            told = re.fullmatch(r"(\w+) pin (\d+) \(([\w ]+)\)", reading["red_at"])
            if told is None or reading["pin"] is None:
                continue
            parts = ladder.frame.amplifier.parts.values()
            kinds = {p.type for p in parts if told[1] in {p.name, p.envelope} and p.kind in {"valve", "rectifier"}}
            assert len(kinds) == 1, told[1]
            valve = valve_type(kinds.pop() or "")
            assert int(told[2]) == reading["pin"]["number"]
            assert base_of(reading["pin"]["base"]) == base_of(valve.base)
            electrode = valve.pins[int(told[2])]
            assert told[3].split()[0] in electrode, (told[0], electrode)
            ringed += 1
    assert ringed > 15


def test_the_ring_drawn_stands_on_the_electrode_told_beside_it(ladder: Any) -> None:
    # read from the page as it is rendered: which place on the circle the ring's middle has, counted clockwise seen from
    # below from the gap or the key (IEC 60067 outlines, from memory), and not from any number the page carries with it
    drawn = on_the_sheet(ladder)["drawn"]
    assert isinstance(drawn, list)
    types = {
        name: p.type
        for p in ladder.frame.amplifier.parts.values()
        for name in (p.name, p.name.removeprefix(f"{p.channel} "), p.envelope)
        if name and p.kind in {"valve", "rectifier"}
    }
    squares = 0
    for row in drawn:
        places, first = {"noval": (10, 1), "B7G": (8, 1), "octal": (8, 0.5), "UX4": (4, 0.5)}[row["base"]]

        def place(at: list[float], middle: list[float] = row["rim"], places: int = places, first: float = first) -> int:
            turn = degrees(atan2(middle[0] - at[0], at[1] - middle[1])) % 360 / (360 / places) - first
            assert turn == pytest.approx(round(turn), abs=0.1)
            return round(turn) + 1

        assert len(row["rings"]) == 1
        pins = sorted(map(place, row["dots"]))
        assert pins == list(range(1, len(pins) + 1))
        for colour, marks in (("red", row["rings"]), ("black", row["squares"])):
            for mark in marks:
                told = re.search(rf"{colour}: (\S+) pin (\d+)(?:/\d+)? \(([\w ]+)\)", row["told"])
                assert told, row["told"]
                names = [told[1]] if told[1] in types else told[1].split("/")[:1]
                assert place(mark) == int(told[2]), row["told"]
                electrode = valve_type(types[names[0]] or "").pins[place(mark)]
                assert told[3].split()[0] in electrode, (row["told"], electrode)
                squares += colour == "black"
    assert len(drawn) > 15
    assert squares > 2


def test_how_a_probe_gets_to_its_place_is_bold_and_beside_the_range(ladder: Any) -> None:
    """ "Clip, put on with power off" is what a hand must know before it moves: no smaller than where it goes, 3.6 mm at least."""
    rows = on_the_sheet(ladder)["touched"]
    assert sum("clip, put on with power off" in text for text, *_ in rows) > 20
    assert any("one hand" in text for text, *_ in rows)
    for text, weight, size, small in rows:
        assert weight >= 700 and size >= 3.6 * MM, text
        assert "power off" not in small
    assert sum(bool(re.search(r"\d m?V [ad]c · clip", text)) for text, *_ in rows) > 20


def test_it_prints_in_grey_with_enough_contrast(ladder: Any) -> None:
    # WCAG 2.1, 1.4.6: seven to one for text; on white paper that is any grey of 0x59 or darker
    colours = on_the_sheet(ladder)["colours"]
    assert isinstance(colours, list)
    for colour in colours:
        red, green, blue = map(int, re.findall(r"\d+", colour)[:3])
        assert max(red, green, blue) <= 0x59, colour
