"""The highest of a cold start: to a capacitor's working volts it goes on, to its surge volts it is looked at, past them it is
off (LADDER reference, row 45: the surge rating counts here only)."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import Verdict, verdict

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
TWENTY = EXAMPLES / "c-sorrel-twenty.toml"  # 500 V parts on every node


def told(ladder: Ladder, node: str, typed: str, more: str = "") -> Verdict:
    text = f'[readings]\n"10/{node} cold start/shared" = {{ value = "{typed}"{more} }}\n'
    return verdict(ladder.expected, parse_taken(text)).verdicts[0]


@pytest.fixture(scope="module")
def ladder() -> Ladder:
    return built(load(TWENTY), mode="fast")


@pytest.mark.parametrize(
    ("node", "typed", "answer"),
    [
        ("HT1", "460", "go on"), ("HT2", "500", "go on"), ("HT1", "510", "look first"), ("HT2", "530", "look first"),
        ("HT2", "551", "switch off now"),  # 1.1 times 500 V (IEC 60384-4)
    ],
)  # fmt: skip
def test_between_working_and_surge_volts_it_is_looked_at(ladder: Ladder, node: str, typed: str, answer: str) -> None:
    found = told(ladder, node, typed)
    assert found.verdict == answer
    part = {"HT1": "C2", "HT2": "C3"}[node]
    assert (f"{part} is a 500 V part" in found.why) == (answer != "go on")
    assert answer != "look first" or "above the working volts" in " ".join(found.check_first)


def test_a_rating_inside_the_band_is_printed_beside_it(ladder: Ladder) -> None:
    """The band is what healthy ones do; where it ends short of the rating there is nothing to say."""
    row = ladder.expected.by_id["10/HT2 cold start/shared"]
    assert row.high is not None and row.high > 500.0
    assert row.stop_above is not None and row.stop_above.limit == pytest.approx(550.0)
    assert "Above 500.0 V: look first" in row.json()["remark"]
    under = ladder.expected.by_id["10/HT3 cold start/shared"]
    assert under.high is not None and under.high < 500.0
    assert "look first" not in under.json()["remark"]


def test_no_mains_take_it_past_its_working_volts(ladder: Ladder) -> None:
    """510 V on mains 6 % up would be 481 V on the sheet's; the capacitor has 510 V all the same."""
    assert told(ladder, "HT2", "510", f", mains = {1.06 * ladder.expected.mains:.1f}").verdict == "look first"


def test_a_stated_surge_rating_moves_the_stop_and_nothing_else() -> None:
    text = TWENTY.read_text(encoding="utf-8").replace(
        'C3 = ["47u 500V", "HT2", "chassis"]', 'C3 = ["47u 500V", "HT2", "chassis", { surge_volts = "575V" }]'
    )
    surge = built(load(text), mode="fast")
    assert surge.expected.by_id["10/HT2 cold start/shared"].stop_above.limit == pytest.approx(575.0)
    assert [told(surge, "HT2", typed).verdict for typed in ("500", "560", "576")] == [
        "go on",
        "look first",
        "switch off now",
    ]
