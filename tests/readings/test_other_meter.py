"""A figure of another meter than the sheet's: one answer, the sheet's of that meter, or the tighter."""

import pytest
from test_verdict import FULL, reading

from firstglow.readings.expected import ExpectedLadder, ExpectedRung, Stop
from firstglow.readings.meters import digital
from firstglow.readings.probe import Hold, PlannedRung
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import Verdict, verdict

GRID = "3/V3 grid at most negative/x"


def one(typed: str, meter: str) -> Verdict:
    row = reading(
        GRID, expected=-57.0, low=-64.0, high=-50.0, stop_above=Stop(-45.0, "holds no valve"), source_ohms=220e3
    )
    rung = ExpectedRung(PlannedRung("3", "3", FULL, "", (), (row.planned,), Hold(False, "")), (row,))
    ladder = ExpectedLadder("Test", "0", 230.0, digital(), (rung,), by_id={GRID: row})
    return verdict(ladder, parse_taken(f'meter = "{meter}"\n[readings]\n"{GRID}" = "{typed}"\n')).verdicts[0]


def test_a_figure_whose_range_is_not_said_is_held_to_the_tighter_stop() -> None:
    """-42 V behind 220 k. On 50 V of 20 k a volt, 1 M: -42 x 1.22 = -51.2 there, -50.1 on 10 M: in the band. On 250 V, where the
    needle is put for 57 V, 5 M: -42 x 1.044 = -43.8 there, -42.9 on 10 M: past -45."""
    found = one("-42", "20k")
    assert found.verdict == "switch off now"
    assert "-42.9 V" in found.why and "250 V" in found.why
    assert found.check_first[0].startswith("the range it was read on")


@pytest.mark.parametrize(("typed", "answer"), [("-42 on 50 V", "go on"), ("-42 on 250 V", "switch off now")])
def test_a_range_that_is_said_is_the_one(typed: str, answer: str) -> None:
    assert one(typed, "20k").verdict == answer


def test_the_sheets_own_meter_is_held_to_its_own_range() -> None:
    assert one("-46", "digital").verdict == "look first"
    assert one("-44", "digital").verdict == "switch off now"


@pytest.mark.parametrize(
    ("top", "rows", "meter"),
    [
        ('meter = "20k"', '"a" = "1"\n"b" = "yes"', "20k"),
        ("", '"a" = "1"\n"b" = "yes"', None),
        ("", '"a" = { value = "1", meter = "20k" }\n"b" = "yes"\n"c" = "dark"', "20k"),  # a word is read with no meter
        ('meter = "1k"', '"a" = { value = "1", meter = "20k" }\n"b" = { value = "OL", meter = "20k" }', "20k"),
        ('meter = "1k"', '"a" = { value = "1", meter = "20k" }\n"b" = "2"', "1k"),
        ("", '"a" = { value = "1", meter = "20k" }\n"b" = "2"', None),
    ],
)
def test_the_one_meter_of_a_file(top: str, rows: str, meter: str | None) -> None:
    assert parse_taken(f"{top}\n[readings]\n{rows}\n").one_meter == meter
