"""What a person typed that may mean two things is asked, not guessed; an overload is told as one."""

from math import inf
from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.readings.meters import ReadingsError
from firstglow.readings.slips import pen, slip
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
    ladder = built(load(EXAMPLE), mode="fast")
    assert ladder.expected.by_id["4/HT1 after 10 min/shared"].text(inf) == "OL"
    assert ladder.expected.by_id["4/HT1 after 10 min/shared"].text(-inf) == "-OL"
    cut = next(r for r in ladder.expected.readings() if r.stop_above is not None and r.stop_above.cut)
    assert isinstance(cut.expected, float)
    taken = parse_taken(f'[readings]\n"{cut.id}" = "{cut.expected:.4g}"\n')
    (judged,) = verdict(ladder.expected, taken).verdicts
    assert judged.verdict == "go on"
    assert "where the stop stands" in judged.why


def test_both_meanings_of_a_comma_can_be_pasted() -> None:
    with pytest.raises(ReadingsError) as told:
        typed_number("1,359", "V")
    offered = str(told.value).rpartition("try ")[2].split(" or ")
    assert [typed_number(text, "V") for text in offered] == [1.359, 1359.0]


def test_a_dead_cathode_is_no_slip_of_the_pen() -> None:
    # 10 mV where 10 V are expected is no current at all; "V typed as mV" would explain it away
    ladder = built(load(EXAMPLE), mode="fast")
    reading = ladder.expected.by_id["6/V2 cathode lamp out/shared"]
    assert isinstance(reading.expected, float) and 9.0 < reading.expected < 11.0
    assert slip(reading, 0.01) == ""
    taken = parse_taken(f'[readings]\n"{reading.id}" = "0.01"\n')
    assert "mV" not in verdict(ladder.expected, taken).verdicts[0].why
    # next to nothing on HT may be a slip, but is never called innocent
    ht = ladder.expected.by_id["4/HT1 after 10 min/shared"]
    assert isinstance(ht.expected, float)
    found = pen(ht, ht.expected / 1e3)
    assert found is not None and not found.innocent and "next to nothing" in found.text


def test_millivolts_that_the_range_cannot_show_ask_for_the_unit() -> None:
    """60 V in 6000 counts are steps of 10 mV: 9.78 mV was on no such range, and is asked; what a dead one reads comes first."""
    ladder = built(load(EXAMPLE), mode="fast")
    reading = ladder.expected.by_id["6/V2 cathode lamp out/shared"]
    assert reading.on is not None and reading.on.step == pytest.approx(0.01)
    for typed in ("9.78mV", "0.00978", "9.78 mV"):
        found = verdict(ladder.expected, parse_taken(f'[readings]\n"{reading.id}" = "{typed}"\n')).verdicts[0]
        assert found.verdict == "switch off now"
        assert (
            0
            < found.why.index("below the stop limit")
            < found.why.index("Or a slip: is it V typed as mV? 9.78 V would be right")
        )
    found = pen(reading, 9.78e-3)
    assert found is not None and not found.innocent
    assert pen(reading, 0.978e-3) is None  # 0.978 V would not be right either


def test_a_supply_of_the_other_sign_is_no_supply_that_is_gone() -> None:
    """-359 V where 360 stand is all of it: leads, or a rectifier the wrong way round, and nothing that leaves too little."""
    ladder = built(load(EXAMPLE), mode="fast")
    name = "4/HT1 after 10 min/shared"
    turned, low = (
        verdict(ladder.expected, parse_taken(f'[readings]\n"{name}" = "{typed}"\n')).verdicts[0]
        for typed in ("-359", "150")
    )
    assert (turned.verdict, low.verdict) == ("switch off now", "switch off now")
    assert "its sign is the wrong one" in turned.why and "leaky" not in turned.why
    assert "which lead was on which joint" in turned.check_first[0] and "reversed" in turned.check_first[1]
    assert (
        low.why.startswith("150.0 V is below the stop limit")
        and "less than half of it there: a leaky capacitor" in low.why
    )


@pytest.mark.parametrize("meter", ["digital", "20k"])
def test_every_band_stands_on_the_meters_step(meter: str) -> None:
    ladder = built(load(EXAMPLE), meter=meter, mode="fast")
    for r in ladder.expected.readings():
        for value in (r.low, r.high):
            if r.on is not None and value is not None:
                assert value == r.on.rounded(value), r.id
