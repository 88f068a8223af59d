"""What hands do at the bench from one reading to the next is an instruction of its own: lamp, dial, pots, generator."""

from functools import cache
from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.stands import turned
from firstglow.sheets.climb_screen import Around, before_screen, reading_screen

EXAMPLES = Path(__file__).parents[2] / "examples"
A, B, C = "a-linden-twin", "b-hazel-four", "c-sorrel-twenty"


@cache
def ladder(name: str) -> Ladder:
    return built(load(EXAMPLES / f"{name}.toml"), mode="fast")


def between(on: Ladder, first: str, second: str) -> str:
    one, two = (on.expected.by_id[f].planned.situation for f in (first, second))
    return said(on, one, two)


def said(on: Ladder, one: Situation, two: Situation) -> str:
    """The lamp is changed with the plug out, on a card of its own: never under power."""
    return turned(on.frame, one, two, unplugged=one.lamp_watts != two.lamp_watts)


@pytest.mark.parametrize("name", [A, B, C])
def test_no_two_readings_of_a_rung_stand_otherwise_without_a_word(name: str) -> None:
    """A rehearser: "lamp out is never its own instruction"; pots were expected back at their ends without a word."""
    on, told = ladder(name), 0
    for rung in on.expected.rungs:
        rows = [r.planned.situation for r in rung.readings]
        for before, now in zip(rows, rows[1:], strict=False):
            if before.mains_volts and now.mains_volts:
                words = said(on, before, now)
                assert bool(words) == (before != now), (rung.id, words)
                told += bool(words)
    assert told >= 4


def test_lamp_pots_and_generator_by_their_own_names() -> None:
    assert between(ladder(B), "2b/lamp at 100 %/shared", "2b/mains amps at 100 %/shared") == (
        "Lamp OUT of the line, the plug out."
    )
    assert between(ladder(B), "2b/mains amps at 100 %/shared", "2b/lamp at 100 %/shared") == (
        "40 W lamp INTO the line, the plug out."
    )
    one, two = (ladder(B).expected.by_id[f"2b/{n} at 100 %/shared"].planned.situation for n in ("lamp", "mains amps"))
    assert turned(ladder(B).frame, one, two) == ""  # nothing of it on a screen under power
    assert "Dial to 230 V." in between(ladder(B), "2b/lamp at 65 %/shared", "2b/lamp at 100 %/shared")
    assert between(ladder(B), "8/LS gain/shared", "8/V2 cathode/shared") == "Generator off, input shorted."
    half, leak = "6a/V3 cathode at half idle/left", "6a/V4 grid through 1 Mohm/left"
    assert between(ladder(A), half, leak) == "Controls back at their most negative end."
    assert "turn left P1 until V3 draws 12 mA; turn left P2 until V4 draws 12 mA." in between(ladder(A), leak, half)


@pytest.mark.parametrize("name", [A, B, C])
def test_on_paper_each_row_whose_lamp_is_not_that_of_the_row_before_says_so(name: str) -> None:
    """Rows 3 to 9 of rung 2a said only "69 V at the plug." under a head that had the lamp in line."""
    changes = 0
    for rung in ladder(name).document["rungs"]:
        rows = [(r, ladder(name).expected.by_id[r["id"]].planned.situation) for r in rung["readings"]]
        head = rung["situation"]["lamp_watts"]
        for number, (row, at) in enumerate(rows):
            if not at.mains_volts:
                continue
            before = rows[number - 1][1] if number else at
            if at.lamp_watts != head or (before.mains_volts and before.lamp_watts != at.lamp_watts):
                changes += 1
                said = f"{at.lamp_watts:.0f} W lamp in line" if at.lamp_watts else "amp out of the line"
                assert said in row["situation"]["text"], row["id"]
    assert changes > 4
    steps = " ".join(t for r in ladder(name).document["rungs"] if r["id"] in ("2a", "2b") for t in r["before"])
    assert "plug out, lamp OUT of the line" in steps
    running = ladder(name).frame.running_lamp
    assert f"Plug out: {running:.0f} W lamp INTO the line." in steps
    assert "Lamp still in" not in steps


def test_a_rectifier_s_warm_up_is_seen_from_cold() -> None:
    """The lamp's row before it has warmed the cathode: HT would be there at once and a sound rectifier called a wrong type."""
    rows = ladder(B).expected.rungs
    rung = next(r for r in rows if r.id == "4")
    ids = [r.id for r in rung.readings]
    warm = ids.index("4/V3 warm-up/shared")
    assert rung.readings[warm - 1].planned.situation.lamp_watts
    assert "five minutes off, then on" in rung.readings[warm].planned.what


def test_it_stands_on_both_screens() -> None:
    rung = next(r for r in ladder(B).document["rungs"] if r["id"] == "6")
    reading = rung["readings"][3]
    around = Around("Hazel Four", rung["title"], 4, 13, now="Lamp OUT of the line.")
    assert "NOW      Lamp OUT of the line." in reading_screen(reading, around)
    lines = before_screen(rung, "Hazel Four", (), ["chassis"], ["HT1"], True, now="Lamp OUT of the line.")
    assert lines.index("NOW      Lamp OUT of the line.") < next(n for n, t in enumerate(lines) if "CLIPS ON" in t)
