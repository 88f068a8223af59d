"""``why`` on a reading: its limits by the side they are passed on, and what moves it in bench words."""

import re

import pytest
from player import begun, ladder, up_to

from firstglow.cli.reading_now import why


@pytest.mark.parametrize(
    ("name", "reading", "words"),
    [
        ("b-hazel-four", "4/HT1 after 1 min/shared", ("Switch off below 179.9 V", "Switch off above 450.0 V")),
        ("a-linden-twin", "3/V3 grid at most negative/left", ("nearer 0 than",)),
        ("b-hazel-four", "1/HT1 to minus/shared", ("It stays unplugged below",)),
    ],
)
def test_a_limit_is_told_with_its_side(name: str, reading: str, words: tuple[str, ...]) -> None:
    climb, clock = begun(name)
    up_to(climb, clock, reading)
    told = " ".join(why(climb, climb.step, []))
    assert all(word in told for word in words), told
    assert " past " not in told.partition("If it is off")[0]


@pytest.mark.parametrize("name", ["a-linden-twin", "b-hazel-four", "c-sorrel-twenty"])
def test_what_moves_a_reading_is_told_in_bench_words(name: str) -> None:
    """Nothing of the solver's own names: "type 5V4G perveance" is how strong a 5V4G is."""
    from firstglow.sheets.rows import moved_by_text

    parts = {part for r in ladder(name).expected.readings() for part, _ in r.moved_by}
    said = {part: moved_by_text(part) for part in parts}
    assert not [text for text in said.values() if re.search(r"\btype \S+ \w+$|perveance|\bmu\b|contact", text)]
    assert all(text == part for part, text in said.items() if not part.startswith("type "))
    assert len(set(said.values())) == len(said)
