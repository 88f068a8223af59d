"""Waits stand at the readings that need them, and what an old make safe found does not follow for ever."""

from datetime import datetime
from functools import cache

import pytest
from player import begun, healthy, ladder, once, up_to

from at_hand import built
from firstglow.amplifier import load
from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.climb import Climb
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.waits import advised, still_advised, warm_seconds
from firstglow.readings.meters import ReadingsError
from firstglow.records.store import MemoryStore

B = "b-hazel-four"


def shown(climb: Climb) -> str:
    return "\n".join(Sitting(climb, Lines()).screen(climb.step))


@pytest.mark.parametrize(
    ("reading", "word"),
    [
        # two rehearsers: the 15 minutes of the no-load current stood at the dark lamp of the first dial step, the
        # 10 minutes of the leakage at the rectifier's first seconds, 15 minutes at heaters read "in the first minute"
        ("2b/lamp at 65 %/shared", ""),
        ("2b/mains amps at 100 %/shared", ""),
        ("2b/mains amps after the wait/shared", "WAIT     1"),
        ("2b/V1 heater pin to pin/shared", ""),
        ("4/lamp/shared", ""),
        # five minutes off, then on: nobody kept that clock, and a yes was taken seconds later (a third rehearser)
        ("4/V3 warm-up/shared", "off yet, its switch stays off"),
        ("4/HT1 after 10 min/shared", "WAIT     "),
        ("4/HT2/shared", ""),
        ("5/V1 heater pin to pin/shared", ""),
        ("5/V2 grid/shared", "WAIT     1"),
        ("6/lamp/shared", ""),
        ("6/V2 grid through 1 Mohm/shared", "WAIT     "),
        ("8/LS hum/shared", "slow oscillation"),
        # the highest of a cold start is over in seconds: an hour's wait stood there, and none at the soak
        ("10/soak/shared", "WAIT     60 min"),
        ("10/primary warm/shared", ""),
        ("10/HT1 cold start/shared", "off yet, its switch stays off"),
    ],
)
def test_a_wait_stands_at_the_reading_that_needs_it(reading: str, word: str) -> None:
    screen = shown(at(reading))
    assert ("WAIT" in screen) == bool(word), screen
    assert word in screen


@cache
def _walk() -> dict[str, tuple]:
    """The records up to each reading of one healthy climb, and the time there."""
    climb, clock = begun(B)
    found = {}
    while climb.step.kind != "done":
        if climb.step.kind == "reading":
            found[climb.step.reading] = (climb.events, clock.at)
        once(climb, clock, healthy)
    return found


def at(reading: str) -> Climb:
    """A climb that asks one reading now."""
    events, moment = _walk()[reading]
    store = MemoryStore()
    for record in events:
        store.append(record)
    return Climb(ladder(B), store, clock=lambda: moment)


def test_dc_with_valves_in_waits_for_warm_cathodes() -> None:
    """Example (b)'s slowest cathode by its type's warm-up, whatever the rung waits for."""
    on = ladder(B)
    rung = next(r for r in on.expected.rungs if r.id == "5")
    planned = on.expected.by_id["5/V1 plate/shared"].planned
    assert advised(on.frame, rung.planned, planned) == (warm_seconds(on.frame, planned.situation), "cathodes warm")
    assert 5.0 <= advised(on.frame, rung.planned, planned)[0] <= 60.0


def test_a_soak_is_not_answered_yes_early_and_no_at_any_moment() -> None:
    climb = at("10/soak/shared")
    with pytest.raises(ReadingsError, match="to wait yet"):
        climb.read("yes")
    assert climb.read("no").verdict.verdict == "look first"


def test_five_minutes_off_are_counted_from_the_plug_and_a_yes_before_them_is_told_so() -> None:
    """By the records: the plug of the set-up before came out, its make safe took some of the five minutes."""
    climb = at("4/V3 warm-up/shared")
    out = [r for r in climb.events if r.event == "unplugged"][-1].moment
    assert climb.to_settle("4/V3 warm-up/shared") == pytest.approx(300.0 - (climb.clock() - out).total_seconds())
    with pytest.raises(ReadingsError, match="to wait yet"):
        climb.read("yes")
    assert climb.read("no").verdict.verdict == "look first"


def test_a_fall_is_counted_from_the_plug_and_taken_at_its_second() -> None:
    """108 V was typed under "30 s after off" and 360 V stood on the next screen: nobody told when the plug came out."""
    climb, clock = begun(B)
    name = "4/HT1 fall/shared"
    while climb.step.reading != name or climb.step.kind != "reading":
        once(climb, clock, healthy)
    sitting, typed = Sitting(climb, Lines()), healthy(climb.reading(name))
    with pytest.raises(ReadingsError, match="the plug is in yet"):
        climb.read(typed)
    clock.run(60.0)
    sitting._line(climb.step, "out")
    assert climb.here.pulled
    assert climb.here.powered  # what is charged stands there all the same
    clock.run(12.0)
    assert "18 s yet; read it at zero" in shown(climb)
    with pytest.raises(ReadingsError, match="18 s yet"):
        climb.read("300")  # no stop either: it is meant for its own second
    clock.run(18.0)
    assert climb.read(typed).verdict.verdict == "go on"
    clock.run(7.0)
    climb.answer("")  # the plug, in sight: asked for again, and the fall counted from when it came out
    assert (clock.at - datetime.fromisoformat(climb.here.safing.off)).total_seconds() == pytest.approx(37.0)


def test_cold_valves_pass_a_stop_for_warm_ones_and_nobody_switches_off_for_it() -> None:
    """STOP IF above 268 V at a plate where every cold start shows HT itself (a third rehearser)."""
    climb, clock = begun(B)
    name = "5/V1 plate/shared"
    while climb.step.reading != name or climb.step.kind != "reading":
        once(climb, clock, healthy)
    cold = climb.cold_past_its_stop(name)
    assert cold is not None
    assert cold > climb.reading(name).stop_above.limit
    assert "its stop is for warm valves" in " ".join(shown(climb).split())
    with pytest.raises(ReadingsError, match="cold it stands at"):
        climb.read(f"{cold:.0f}")
    clock.run(60.0)
    assert climb.read(f"{cold:.0f}").verdict.verdict == "switch off now"


def test_the_primary_is_read_warm_with_the_hot_valves_where_they_are() -> None:
    """Glass just off is too hot to pull, and a primary's ohms do not hang on it (plug pins, copper alone)."""
    assert not ladder(B).expected.by_id["10/primary warm/shared"].planned.situation.out


def test_the_wait_of_a_rung_is_added_up_over_its_set_ups() -> None:
    """Rung 2a waits two minutes on 30 % of the mains, not two for every pair of clips; a cathode is cold after each."""
    on = ladder(B)
    rung = next(r for r in on.expected.rungs if r.id == "2a")
    leg = on.expected.by_id["2a/HT1 leg 2/shared"].planned
    assert still_advised(on.frame, rung.planned, leg, 0.0, 30.0)[0] == rung.planned.wait_seconds - 30.0
    assert still_advised(on.frame, rung.planned, leg, 0.0, 300.0)[0] == 0.0
    small = next(r for r in on.expected.rungs if r.id == "5")
    plate = on.expected.by_id["5/V1 plate/shared"].planned
    assert still_advised(on.frame, small.planned, plate, 0.0, 3000.0)[0] == warm_seconds(on.frame, plate.situation)


def test_a_coupling_leak_is_not_taken_cold() -> None:
    """Leakage grows with warmth (common practice): what is read after 15 minutes counts after them."""
    climb = at("5/V2 grid/shared")
    assert climb.to_settle("5/V2 grid/shared") > 600.0


# ------------------------------------------------------------------------------------------ an old fall
def slow(climb: Climb, clock) -> None:
    """Made safe, with a fall that is twice as slow as predicted, twice."""
    while climb.step.kind == "make safe":
        ask = climb.step.safe
        if ask.phase == "fall":
            seconds = (clock() - datetime.fromisoformat(climb.here.safing.off)).total_seconds()
            climb.answer(f"{climb.fall.volts(ask.places[0].part, seconds / 2.0) + 40.0:.0f}")
        else:
            once(climb, clock, healthy)


def test_what_a_make_safe_found_is_said_before_the_next_power_and_not_again() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "4/HT1 after 5 min/shared")
    climb.switch_off()
    slow(climb, clock)
    assert "what drains it is open" in " ".join(shown(climb).split())
    up_to(climb, clock, "4/HT1 after 10 min/shared")
    climb.switch_off()
    while climb.step.kind == "make safe":
        once(climb, clock, healthy)
    assert climb.step.kind == "before"
    assert "NOTE" not in shown(climb)


# ------------------------------------------------------------------------------------------ charts
CHART = """
[[chart]]
title = "drawn on the lid"
mains = "220V"
meter = "20k/V"
[chart.points]
"V1 plate" = "90V"
"HT1" = "300V"
"""


@cache
def charted() -> Ladder:
    from player import EXAMPLES

    text = (EXAMPLES / f"{B}.toml").read_text(encoding="utf-8")
    return built(load(text + CHART), mode="fast")


def test_a_chart_stands_beside_what_is_expected_as_on_the_ladder() -> None:
    on = charted()
    rows = {r["id"]: r for rung in on.document["rungs"] for r in rung["readings"] if r.get("charts")}
    climb, clock = begun(B)
    climb = Climb(on, MemoryStore(), clock=clock)
    climb.begin()
    name = next(n for n in rows if n.startswith("5/"))
    up_to(climb, clock, name)
    screen = " ".join(shown(climb).split())
    assert "CHART" in screen
    assert rows[name]["charts"][0]["text"] in screen
    assert "here today" in screen
    assert max(map(len, shown(climb).split("\n"))) <= 80
