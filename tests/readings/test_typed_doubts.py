"""What a person typed that may mean two things is asked, not guessed; an overload is told as one."""

from math import inf
from pathlib import Path

import pytest

from firstglow.amplifier import load
from firstglow.ladder.ladder import build
from firstglow.readings.meters import ReadingsError
from firstglow.readings.taken import parse_taken
from firstglow.readings.typed import typed_number
from firstglow.readings.verdict import verdict

EXAMPLE = Path(__file__).parent.parent.parent / "examples" / "b-hazel-four.toml"


@pytest.mark.parametrize("text", ["1,359", "-1,359", "12,500", "1,359V", "318,000"])
def test_three_digits_after_one_comma_are_asked(text: str) -> None:
    with pytest.raises(ReadingsError, match=r"may be .* or "):
        typed_number(text, "V")


@pytest.mark.parametrize(("text", "value"), [("-38,2", -38.2), ("0,359", 0.359), ("1,3595", 1.3595), ("1.359", 1.359)])
def test_a_decimal_comma_is_still_one(text: str, value: float) -> None:
    assert typed_number(text, "V") == pytest.approx(value)


def test_an_overload_is_told_as_one_and_a_stop_in_the_band_is_named() -> None:
    ladder = build(load(EXAMPLE), mode="fast")
    assert ladder.expected.by_id["4/HT1 after 10 min/shared"].text(inf) == "OL"
    cut = next(r for r in ladder.expected.readings() if r.stop_above is not None and r.stop_above.cut)
    assert isinstance(cut.expected, float)
    taken = parse_taken(f'[readings]\n"{cut.id}" = "{cut.expected:.4g}"\n')
    (judged,) = verdict(ladder.expected, taken).verdicts
    assert judged.verdict == "go on"
    assert "where the stop stands" in judged.why
