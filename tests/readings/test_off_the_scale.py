"""A range shows every healthy amplifier, and its end says nothing about a limit that lies past it."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder
from firstglow.readings.taken import Taken, TakenFile
from firstglow.readings.verdict import Verdict, judge

EXAMPLES = Path(__file__).parent.parent.parent / "examples"


@pytest.fixture(scope="module", params=["digital", "20k"])
def ladder(request: pytest.FixtureRequest) -> Ladder:
    return built(load(EXAMPLES / "c-sorrel-twenty.toml"), meter=request.param, samples=600)


def told(ladder: Ladder, name: str, text: str) -> Verdict:
    expected = ladder.expected
    row = Taken(name, text, None, None, "here")
    return judge(expected, expected.by_id[name], row, TakenFile((row,), None, None, {}))


def test_no_band_ends_past_its_range(ladder: Ladder) -> None:
    """HT1's ripple stood on 6 V with a band to 7.7 V: one healthy amplifier in five read OL."""
    past = [
        (r.id, r.low, r.high, r.on.full)
        for r in ladder.expected.readings()
        if r.on is not None and not r.hidden
        for edge in (r.low, r.high)
        if edge is not None and abs(edge) > r.on.full * (1 + 1e-9)
    ]
    assert past == []


def test_overload_short_of_the_stop_is_off_only_where_the_next_range_holds_the_stop(ladder: Ladder) -> None:
    seen = set()
    for r in ladder.expected.readings():
        if r.on is None or r.unit not in ("V", "A") or r.stop_above is None or r.hidden or r.note_only:
            continue
        verdict = told(ladder, r.id, "OL")
        higher = [x.full for x in ladder.expected.meter.of_kind(r.on.kind) if x.full > r.on.full]
        if higher and r.stop_above.limit > higher[0]:
            seen.add("one range up")
            assert verdict.verdict == "look first", (r.id, verdict)
            assert "one range up" in verdict.why
        else:
            seen.add("perhaps past" if r.stop_above.limit > r.on.full else "past")
            assert verdict.verdict == "switch off now", (r.id, verdict)
            assert "past the stop limit" in verdict.why
            assert ("perhaps" in verdict.why) == (r.stop_above.limit > r.on.full and bool(higher)), (r.id, verdict)
    assert seen >= {"past", "perhaps past"}


def test_a_dial_past_the_end_of_its_rung_is_turned_back_before_anything_is_judged(ladder: Ladder) -> None:
    """A capacitor may set where the dial ends: 240 V read where 218 is the most was "go on", brought down by arithmetic."""
    expected = ladder.expected
    r = next(
        r for r in expected.readings()
        if r.on is not None and not r.note_only and not r.hidden and isinstance(r.expected, float)
        and 0.0 < r.planned.situation.mains_volts < 0.9 * expected.mains and r.unit == "V" and abs(r.expected) > 1.0
    )  # fmt: skip
    wanted = r.planned.situation.mains_volts
    for share, answer in ((1.10, "look first"), (1.0, "go on")):
        row = Taken(r.id, f"{r.expected}", share * wanted, None, "here")
        found = judge(expected, r, row, TakenFile((row,), None, None, {}))
        assert found.verdict == answer, (r.id, found)
        assert ("dial ends at" in found.why) == (answer == "look first")
