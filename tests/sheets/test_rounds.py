"""How often a rung is switched off for its clips, counted by hand for small rungs; and what is printed of it."""

from pathlib import Path
from typing import Any

import pytest

from at_hand import built
from firstglow.amplifier import Bench, load
from firstglow.ladder.steps import stages
from firstglow.sheets.ladder_sheet import CONTACT, ladder_sheet
from firstglow.sheets.rounds import TOUCHED, rounds, rounds_text
from firstglow.sheets.rows import rows
from firstglow.sheets.table import ladder_table

EXAMPLES = Path(__file__).parent.parent.parent / "examples"


def rung(*readings: tuple[str, int | None, dict[str, Any]]) -> dict[str, Any]:
    made = [{"id": str(n), "contact": c, "clip_group": g, "situation": s} for n, (c, g, s) in enumerate(readings)]
    return {"readings": made, "situation": {"mains_volts": 230.0}, "make_safe": {"needed": True}}


@pytest.mark.parametrize(
    ("readings", "wanted"),
    [
        # two clips, moved once; the lamp is read from outside and asks for nothing
        ([("bench box", None, {}), ("clip", 1, {}), ("clip", 1, {}), ("clip", 2, {})], [0, 1, 1, 2]),
        # a probe in one hand: its black clip went on with the power off, with the others of that time
        ([("one hand", None, {}), ("clip", 1, {}), ("one hand", None, {}), ("clip", 2, {})], [1, 1, 1, 2]),
        # a lead soldered back between two readings is hands inside, clips or not
        ([("one hand", None, {"feedback": "test"}), ("one hand", None, {})], [1, 2]),
        # the dial stands outside the chassis
        ([("one hand", None, {"mains_volts": 115.0}), ("one hand", None, {})], [1, 1]),
        # the plug was out for the second: the third begins anew
        ([("clip", 1, {}), ("none", None, {"mains_volts": 0.0}), ("clip", 2, {})], [1, 0, 2]),
    ],
)
def test_a_round_is_each_time_hands_go_in(readings: list[Any], wanted: list[int]) -> None:
    assert rounds(rung(*readings)) == wanted
    told = rounds_text(rung(*readings))
    assert told.startswith("Once off" if max(wanted) == 1 else f"{max(wanted)} times off, safe, clips, on")


def test_nothing_is_said_where_nobody_goes_in() -> None:
    assert rounds_text(rung(("bench box", None, {}))) == ""
    cold = rung(("none", None, {}), ("clip", None, {}))
    cold["situation"] = {"mains_volts": 0.0}
    assert rounds_text(cold) == ""


@pytest.mark.parametrize("name", ["b", "c"])
def test_sheet_and_terminal_count_as_the_climb_switches_off(name: str) -> None:
    made = built(load(next(EXAMPLES.glob(f"{name}-*.toml"))), mode="fast")
    page, text = ladder_sheet(made.document), ladder_table(made.document)
    climbed, told = stages(made), 0
    for one in made.document["rungs"]:
        reached = {r["id"] for r in one["readings"] if r["contact"] in TOUCHED}
        most = max(rounds(one), default=0)
        # the terminal's own list of set-ups, cut from the plan and not from the document
        assert most == sum(s.powered and bool(reached & {*s.readings}) for s in climbed if s.rung == one["id"]), one[
            "id"
        ]
        if most > 1:
            assert f"{most} times off, safe, clips, on" in page
            assert f"{most} times off, safe, clips, on" in text
            last = [r.contact for r in rows(one, CONTACT) if "round" in r.contact][-1]
            assert last.endswith(f" {most}")
            told += 1
    assert told >= 5


def test_a_row_this_meter_cannot_judge_says_so_first() -> None:
    # a 20 kilohm a volt meter across a grid leak: told before range, band and stop, on page and terminal
    amplifier = load(EXAMPLES / "b-hazel-four.toml")
    document = built(amplifier, Bench(), meter="20k", mode="fast").document
    text = ladder_table(document)
    hidden = [r for one in document["rungs"] for r in one["readings"] if "digital meter" in (r.get("hidden") or "")]
    assert hidden
    assert text.count("READ IT WITH A DIGITAL METER") >= len(hidden) / 2  # twins share a row
    for block in text.split("\n\n"):
        if "READ IT WITH A DIGITAL METER" in block:
            assert block.index("READ IT") < block.index("EXPECT")
    assert "READ IT WITH A DIGITAL METER" in ladder_sheet(document)
