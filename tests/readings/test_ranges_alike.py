"""Ranges: alike places on one range, and what an overload means where the stop limit lies past it."""

from math import inf
from pathlib import Path

from at_hand import built
from firstglow.amplifier import load
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import verdict

HERE = Path(__file__).parent.parent
ROWAN = (HERE / "data" / "rowan-nine.toml").read_text()


def test_the_two_valves_of_a_pair_are_read_on_one_range() -> None:
    """Screen drops whose bands end a little past 600 mV and a little short of it: both go one range up."""
    text = ROWAN.replace("400V film", "630V film").replace("450V", "500V")
    rows = built(load(text), samples=1000).expected.by_id
    on = {rows[f"6/{valve} screen drop/shared"].on for valve in ("V3", "V4")}
    edges = [rows[f"6/{valve} screen drop/shared"].high or 0.0 for valve in ("V3", "V4")]
    assert max(edges) > 0.6  # else this tries nothing
    assert len(on) == 1, on


def test_the_row_says_what_the_verdict_makes_of_an_overload() -> None:
    ladder = built(load(ROWAN), mode="fast").expected
    found = {"stop": 0, "up": 0}
    for r in ladder.readings():
        if r.on is None or r.on.unit not in ("V", "A") or r.stop_above is None or r.stop_above.limit <= r.on.full:
            assert r.over == ""
            continue
        if r.planned.note_only:
            continue
        (judged,) = verdict(ladder, parse_taken(f'[readings]\n"{r.id}" = "OL"\n')).verdicts
        stops = judged.verdict == "switch off now"
        found["stop" if stops else "up"] += 1
        assert r.over == (
            "OL on this range counts as past the stop: it may be."
            if stops
            else "OL on this range: one range up, and read it again."
        )
        assert r.over in r.json()["remark"]
        assert r.text(inf) == "OL"
    assert all(found.values()), found
