"""What the drawing itself is unfit for is on the first screen of a climb, before anything else of it; and where the ladder
ends for it, the last screen says so."""

from functools import cache
from pathlib import Path

from player import Clock, healthy, once

from at_hand import built
from firstglow.amplifier import load
from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.climb import Climb
from firstglow.ladder.ladder import Ladder
from firstglow.records.store import MemoryStore

# an amplifier with a 400 V capacitor on 413 V and nothing that drains HT (made for the tests)
ROWAN = Path(__file__).parents[1] / "data" / "rowan-nine.toml"


@cache
def rowan() -> Ladder:
    return built(load(ROWAN), mode="fast")


def test_unfit_parts_and_charts_stand_before_any_power_and_once() -> None:
    climb = Climb(rowan(), MemoryStore(), clock=(clock := Clock()))
    climb.begin()
    sitting = Sitting(climb, Lines(), ["HT1: the chart has 300 V where the drawing has 360 V"])
    first = " ".join(" ".join(sitting.screen(climb.step)).split())
    for said in ("UNFIT: C3 is a 400 V capacitor", "NO BLEEDER: nothing drawn drains C1a", "the chart has 300 V"):
        assert f"FOUND in the drawing, to be looked at before any power: {said}" in first or said in first
    assert first.count("before any power:") == len(rowan().frame.findings) + 1
    assert max(map(len, sitting.screen(climb.step))) <= 80
    again = 0
    for _ in range(60):
        once(climb, clock, healthy)
        again += "FOUND in the drawing" in "\n".join(sitting.screen(climb.step))
    assert not again


def test_a_ladder_that_ends_early_says_so_at_its_top(capsys) -> None:
    climb = Climb(rowan(), MemoryStore(), clock=(clock := Clock()))
    climb.begin()
    while climb.step.kind != "done":
        once(climb, clock, healthy)
    Sitting(climb, Lines()).run()
    said = " ".join(capsys.readouterr().out.split())
    assert "this ladder is climbed, and ends early" in said
    assert "C3 is a 400 V capacitor" in said
    assert "the ladder is climbed" not in said
