"""Equal parts drawn in equal places have equal figures: what two samples of them differ by is chance, and a stop that is
looser for one of a pair by chance is a wrong number."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder

HERE = Path(__file__).parent.parent
PAIR = (HERE / "data" / "pair-on-one-pot.toml").read_text()


@pytest.fixture(scope="module")
def pair() -> Ladder:
    """V2 and V3: two 6L6GC on one pot, the idle stated of V2 alone; few samples, so chance is large."""
    return built(load(PAIR), samples=400)


@pytest.mark.parametrize(
    ("rung", "word"),
    [
        ("3", "grid end 2"), ("3", "grid at most negative"), ("4", "cathode"),
        ("6", "cathode lamp in"), ("6", "cathode lamp out"),
    ],
)  # fmt: skip
def test_the_two_valves_of_a_pair_have_one_figure(pair: Ladder, rung: str, word: str) -> None:
    one, two = (pair.expected.by_id[f"{rung}/{valve} {word}/shared"] for valve in ("V2", "V3"))
    assert one.on == two.on
    assert one.expected == pytest.approx(two.expected, rel=1e-6)
    assert (one.low, one.high) == (two.low, two.high)
    limits = [[s and s.limit for s in (r.stop_below, r.stop_above)] for r in (one, two)]
    assert limits[0] == limits[1]


def test_both_stop_at_the_idle_that_the_file_states_of_one(pair: Ladder) -> None:
    """45 mA through 10 ohm are 0.45 V, and its setting a few per cent: at the most negative end neither draws that."""
    row = pair.expected.by_id["6/V3 cathode lamp out/shared"]
    assert row.stop_above is not None
    assert row.stop_above.limit == pytest.approx(0.45, abs=0.002)
    assert "V2" in row.stop_above.why


def test_a_row_says_why_its_stop_is_not_its_neighbour_s(pair: Ladder) -> None:
    """Once V2 is set, V3 comes where its own strength puts it: its stop is what it may stand, and the row says so."""
    rows = pair.expected.by_id
    for rung, word in (("8", "cathode"), ("9", "cathode after 10 min")):
        one, two = (rows[f"{rung}/{valve} {word}/shared"] for valve in ("V2", "V3"))
        assert one.stop_above and two.stop_above and one.stop_above.limit < two.stop_above.limit
        assert "follows what V2 is set to" in two.json()["remark"]
        assert "follows" not in one.json()["remark"]
