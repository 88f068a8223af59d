"""Hold points: what hands do comes first, then the count, then the name, then the plug, and nothing between."""

import re

import pytest
from player import begun, climbed, healthy, ladder, once, up_to

from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.climb import Climb
from firstglow.ladder.states import StateError
from firstglow.readings.meters import ReadingsError
from firstglow.records.store import MemoryStore

B, C = "b-hazel-four", "c-sorrel-twenty"


@pytest.mark.parametrize("name", [B, C])
def test_a_hold_point_is_signed_after_the_make_safe_and_the_count_and_right_before_power(name: str) -> None:
    """Two rehearsers signed HT ON with the clips of the rung before still on. Issue: clips and tools are counted OUT
    before the plug goes in; only the five signed hold points ask for a yes."""
    climb, clock = begun(name)
    assert climbed(climb, clock) is None
    events = climb.events
    signed = [n for n, r in enumerate(events) if r.event == "sign"]
    assert len(signed) == 5
    for n in signed[:-1]:  # the last one lets nothing into the amplifier any more
        assert events[n - 1].event == "counted"
        assert [r.event for r in events[n : n + 3]] == ["sign", "open", "power"]
        assert events[n + 2].value == events[n - 1].value
        assert events[n + 2].data["stage"] == events[n - 1].data["stage"]
    powered = False
    for record in events:
        powered = record.event == "power" or (powered and record.event != "made safe")
        assert not (powered and record.event in ("sign", "counted")), record


def gate(reading: str = "3/HT1 off/shared"):
    """Before HT ON: everything of rung 3 is read, and made safe."""
    climb, clock = begun(B)
    up_to(climb, clock, reading)
    once(climb, clock, healthy)
    while climb.step.kind == "make safe":
        once(climb, clock, healthy)
    return climb, clock


def test_nobody_signs_before_the_work_and_the_count() -> None:
    climb, _ = gate()
    assert (climb.step.kind, climb.step.rung, climb.gate) == ("before", "4", "3")  # fit the rectifier, clips on
    with pytest.raises(StateError):
        climb.sign("Anna Berg")
    with pytest.raises(ReadingsError, match="counting again"):
        climb.answer(str(climb.step.clips + 1))
    climb.answer(str(climb.step.clips))
    assert climb.step.kind == "hold"
    assert not climb.here.powered
    climb.sign("Anna Berg")
    assert climb.here.powered
    assert climb.step.reading == "4/lamp/shared"


@pytest.mark.parametrize("between", ["back", "switch off", "change", "another sitting"])
def test_what_happens_between_the_count_and_the_name_undoes_the_count(between: str) -> None:
    climb, clock = gate()
    climb.answer(str(climb.step.clips))
    if between == "back":
        climb.back()
    elif between == "switch off":
        climb.switch_off()
    elif between == "change":
        climb.change(["V2"])
    else:
        store = MemoryStore()
        for record in climb.events:
            store.append(record)
        climb = Climb(ladder(B), store, clock=clock)
        climb.begin()
    assert climb.here.counted is None
    with pytest.raises(StateError):
        climb.sign("Anna Berg")
    assert not climb.here.powered
    assert climbed(climb, clock) is None


def test_a_part_that_moves_no_reading_leaves_no_hold_point_that_cannot_be_signed() -> None:
    """At the hold of rung 1 a change that repeats nothing led to a gate that nobody could sign."""
    climb, clock = begun(B)
    while climb.gate is None:
        once(climb, clock, healthy)
    climb.repeat([], "looked at again")
    assert climb.step.kind == "before"
    assert climbed(climb, clock) is None


def test_what_is_done_by_hand_is_asked_with_the_plug_out() -> None:
    """A valve looked at in the hand was asked for with 359 V on its socket (a rehearser's words)."""
    for name in (B, C):
        on = ladder(name)
        climb, _ = begun(name)
        for stage in climb.stages:
            for reading in stage.readings:
                if on.expected.by_id[reading].planned.contact == "none":
                    assert not stage.powered, reading
        assert any(r.id.startswith("5/") and r.planned.contact == "none" for r in on.expected.readings())


def test_how_many_clips_there_should_be_stands_nowhere_before_they_are_counted() -> None:
    """What is printed above its own question is copied (a rehearser did): counted first, compared then."""
    climb, _ = gate()
    sitting = Sitting(climb, Lines())
    text = "\n".join(sitting.screen(climb.step))
    assert "How many clips" in text
    number = re.compile(r"\b\d+ clip|clip\(s\)|\b(one|two|three|four) clip", re.IGNORECASE)
    assert not number.search(text), text
    sitting._line(climb.step, "7")
    wrong = "\n".join(sitting.screen(climb.step))
    assert "counting again" in " ".join(wrong.split())
    assert not number.search(wrong)
    assert "clips" not in sitting._asked(climb.step)["data"]  # nor in the events that a script reads
    right = climb.step.clips
    sitting._line(climb.step, str(right))
    assert f"✓ {right} clip(s) counted" in sitting.screen(climb.step)[0]
    assert "The plug goes in only after it" in "\n".join(sitting.screen(climb.step))


def test_a_change_under_power_is_refused_before_anything_is_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """A rehearser's screen froze for nine seconds, with 375 V on, to say no."""
    climb, clock = begun(B)
    up_to(climb, clock, "4/HT1 after 1 min/shared")

    def worked_out(*_: object) -> None:
        raise AssertionError("worked out under power")

    monkeypatch.setattr("firstglow.ladder.climb.changed", worked_out)
    with pytest.raises(StateError, match="make safe first"):
        climb.change(["V2"])


def test_after_a_repair_the_power_comes_back_through_the_lamp_and_every_hold_point() -> None:
    """From cold ohms it went straight to 230 V without lamp or dial, under a hold point that claimed both; and the output
    valves went back in without their first seconds (a third rehearser)."""
    climb, clock = begun()
    up_to(climb, clock, "7/LS gain/shared")
    climb.switch_off()
    while climb.step.kind == "make safe":
        once(climb, clock, healthy)
    signed = dict(climb.here.signed)
    gone = climb.change(["C4"])
    assert "1/plus ends/shared" in gone  # which end of the new one is plus: its ohms do not tell
    lamps = [r.id for r in climb.ladder.expected.readings() if r.kind == "lamp" and r.rung in ("2a", "2b", "4", "6")]
    assert set(lamps) <= set(gone)
    assert {"6/V2 cathode lamp in/shared", "6/V2 cathode lamp out/shared", "2a/mains amps at 30 %/shared"} <= set(gone)
    assert not climb.here.signed
    first: dict[str, float | None] = {}  # of each rung that is powered again: the lamp of its first power
    while climb.step.reading != "7/LS gain/shared" or climb.step.kind != "reading":
        if climb.step.kind == "reading" and climb.here.powered:
            first.setdefault(climb.step.rung, climb.reading(climb.step.reading).planned.situation.lamp_watts)
        once(climb, clock, healthy)
    assert dict(climb.here.signed) == signed
    assert {"2a", "2b", "4", "6"} <= set(first)
    assert all(first[rung] for rung in ("2a", "2b", "4", "6"))
