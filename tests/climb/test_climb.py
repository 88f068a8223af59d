"""The climb without a terminal: where it stops, what it lets pass, and that its state is what its records say."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from player import begun, climbed, healthy, ladder, once, up_to

from firstglow.ladder.climb import Climb
from firstglow.ladder.here import here
from firstglow.ladder.states import POWERED, STATES, TABLE, StateError, follow
from firstglow.ladder.steps import stages
from firstglow.readings.meters import ReadingsError
from firstglow.records.jsonl import open_jsonl
from firstglow.records.store import MemoryStore

B = "b-hazel-four"


# ------------------------------------------------------------------------------------------ the table
def test_every_state_can_be_reached_and_left() -> None:
    assert {s for s, _ in TABLE} == set(STATES)
    assert set(TABLE.values()) <= set(STATES)
    for state in STATES:
        assert any(to != state for (s, _), to in TABLE.items() if s == state), state
        assert TABLE[state, "switch off"] == "switched off"  # from anywhere, at any moment
    with pytest.raises(StateError, match="possible now"):
        follow("open", "made safe", powered=False)


def test_no_way_through_the_table_puts_hands_inside_under_power() -> None:
    """Every path of (state, powered): what hands do (ready, power, open, change) only ever happens unpowered, and power
    only ends in made safe."""
    reached, edge = set(), {("open", False)}
    while edge:
        state, powered = edge.pop()
        reached.add((state, powered))
        for event in {e for s, e in TABLE if s == state}:
            try:
                after = follow(state, event, powered)  # type: ignore[arg-type]
            except StateError:
                continue
            if powered:
                assert event not in ("ready", "power", "open", "change", "repeat", "stopped"), (state, event)
            now = event == "power" or (powered and event != "made safe")
            if (after, now) not in reached:
                edge.add((after, now))
    assert ("reading", True) in reached
    assert ("made safe", True) not in reached
    assert ("open", True) not in reached
    assert all(POWERED[e] is False for e in ("ready", "power", "open", "change", "repeat"))


# ------------------------------------------------------------------------------------------ stages
@pytest.mark.parametrize("name", [B, "c-sorrel-twenty"])
def test_every_reading_stands_in_one_stage_and_clips_fit_the_meters(name: str) -> None:
    made = stages(ladder(name))
    read = [r for s in made for r in s.readings]
    assert read == [r.id for r in ladder(name).expected.readings()]
    for stage in made:
        assert len(stage.red) <= ladder(name).frame.gear.meters
        for reading in stage.readings:
            planned = ladder(name).expected.by_id[reading].planned
            assert (planned.situation.mains_volts > 0) == stage.powered
            assert planned.situation.out == stage.situation.out
            assert planned.situation.lifted == stage.situation.lifted
            if planned.contact == "clip" and stage.powered:
                assert planned.red_at in stage.red
                assert planned.black_at in stage.black


# ------------------------------------------------------------------------------------------ healthy, and the order of it
@pytest.fixture(scope="module")
def whole() -> Climb:
    climb, clock = begun(B)
    assert climbed(climb, clock) is None
    return climb


def test_a_healthy_amplifier_climbs_to_the_top(whole: Climb) -> None:
    assert whole.here.passed == tuple(r.id for r in ladder(B).expected.rungs)
    assert len(whole.here.signed) == 5  # five hold points (the house's ladder reference, section 4)
    assert whole.step.kind == "done"
    assert not whole.here.powered


def test_its_state_is_what_its_records_say(whole: Climb) -> None:
    assert here(whole.events) == whole.here
    # at every moment of it, too: a fold over any beginning of the records is where it stood then
    for count in range(0, len(whole.events), 37):
        again = here(whole.events[:count])
        assert again.state in STATES


def test_hands_only_went_in_after_it_was_made_safe(whole: Climb) -> None:
    """The record of a whole climb, walked by rules of its own: off, the source, each capacitor twice, the source."""
    powered, proof = False, []
    order = [p.part for p in whole.fall.places]
    for record in whole.events:
        if record.event == "power":
            assert not powered
            powered, proof = True, []
            assert record.value == str(whole.stage(record.data["stage"]).clips)
        elif record.event in ("unplugged", "proved", "fell", "discharged", "again", "made safe"):
            proof.append((record.event, record.data.get("part")))
            if record.event in ("discharged", "again"):
                assert abs(record.data["volts"]) < 10.0
            if record.event == "made safe":
                names = [p for e, p in proof if e == "discharged"]
                assert [e for e, _ in proof][:2] == ["unplugged", "proved"]
                assert [p for e, p in proof if e == "again"] == names
                assert names == sorted(names, key=order.index) if set(names) <= set(order) else names
                assert names[0] == "C1a"  # the HT reservoir first
                assert set(names) >= {"C1a"}
                powered = False
        elif record.event in ("ready", "open", "change", "repeat"):
            assert not powered, record


def test_a_minute_lies_between_the_two_readings_of_each_capacitor(whole: Climb) -> None:
    first = {}
    for record in whole.events:
        if record.event == "discharged":
            first[record.data["part"]] = record.moment
        elif record.event == "again":
            assert (record.moment - first[record.data["part"]]).total_seconds() >= 60.0


# ------------------------------------------------------------------------------------------ records
def test_a_sitting_that_ends_under_power_goes_on_at_the_same_reading_after_make_safe(tmp_path: Path) -> None:
    store = open_jsonl(tmp_path / "r.jsonl")
    climb, clock = begun(B, store)
    up_to(climb, clock, "5/HT2/shared")
    taken = dict(climb.here.taken)
    store.close()  # as if killed: nothing else was said
    again = Climb(ladder(B), open_jsonl(tmp_path / "r.jsonl"), clock=clock)
    again.begin()
    assert again.here.taken == taken
    assert again.step.kind == "make safe"
    assert again.step.reading == "5/HT2/shared"
    assert "taken as live" in again.here.why_off
    while again.step.kind != "reading":
        once(again, clock, healthy)
    assert again.step.reading == "5/HT2/shared"
    again.store.close()


def test_every_beginning_of_the_records_can_be_gone_on_from(whole: Climb) -> None:
    rng = np.random.default_rng(3)
    for count in sorted(rng.integers(1, len(whole.events), 40)):
        store = MemoryStore()
        for record in whole.events[:count]:
            store.append(record)
        _, clock = begun(B)
        clock.at = whole.events[count - 1].moment
        climb = Climb(ladder(B), store, clock=clock)
        wanted = climb._next_reading()
        climb.begin()
        assert climb._next_reading() == wanted
        assert climb.step.kind in ("before", "reading", "make safe", "hold", "done")
        once(climb, clock, healthy)


def test_a_void_line_anywhere_loses_no_safety(whole: Climb) -> None:
    """One line of a whole climb void, as mending leaves it: the rest is still read, and power never goes by itself."""
    rng = np.random.default_rng(5)
    for gone in [int(n) for n in rng.integers(0, len(whole.events), 25)]:
        events = list(whole.events)
        lost = events[gone]
        events[gone] = replace(lost, event="void line", reading=None, value=None, verdict=None, who="", data={})
        for end in (gone + 2, gone + 5, len(events)):
            place = here(events[:end])
            powers = [n for n, r in enumerate(events[:end]) if r.event == "power"]
            safes = [n for n, r in enumerate(events[:end]) if r.event == "made safe"]
            last = whole.events[powers[-1]] if powers else None
            assert place.powered or last is None or (safes and safes[-1] > powers[-1]) or lost.event == "power"
        if lost.reading is not None and lost.reading in whole.here.taken:
            assert lost.reading not in here(events).taken


def test_any_answers_at_random_never_skip_make_safe() -> None:
    """A monkey at the keys: whatever it does, the plug is never in while hands may be, and nothing is ever lost."""
    rng = np.random.default_rng(11)
    climb, clock = begun(B)
    powered = False
    for _ in range(1500):
        count = len(climb.events)
        try:
            kind = rng.integers(0, 14)
            if kind == 0:
                climb.switch_off()
            elif kind == 1:
                climb.back()
            elif kind == 2:
                climb.skip()
            elif kind == 3:
                climb.change([str(rng.choice(["R1", "R3", "C5", "V2"]))]) if rng.random() < 0.05 else None
            elif kind == 4:
                climb.sign("Anna Berg")
            elif kind == 5:
                climb.answer(str(rng.choice(["", "0", "3", "9.1", "0.2 0.2", "500", "OL", "?"])))
            elif kind == 6:
                climb.read(str(rng.choice(["0", "OL", "-5", "yes", "dark", "1k", "230", "rubbish"])))
            elif kind == 7:
                climb.mains(float(rng.choice([230, 235, 5, 69])))
            elif climb.step.kind != "done":
                once(climb, clock, healthy)
        except (ReadingsError, StateError):
            assert len(climb.events) == count or climb.here == here(climb.events)
        for record in climb.events[count:]:
            if record.event == "power":
                assert not powered
                powered = True
            if record.event == "made safe":
                powered = False
            assert not (powered and record.event in ("ready", "open", "change", "repeat"))
        assert climb.here.powered == powered
    assert here(climb.events) == climb.here


def test_a_reading_after_ten_minutes_is_not_taken_before_them_and_a_stop_is_told_at_once() -> None:
    """Two rehearsers passed "after 5 min" seconds after the plug went in: a wait that only advises is none."""
    climb, clock = begun(B)
    up_to(climb, clock, "4/HT1 after 5 min/shared")
    before = len(climb.events)
    with pytest.raises(ReadingsError, match="s to wait yet"):
        climb.read("359.7")
    assert len(climb.events) == before
    clock.run(climb.to_settle("4/HT1 after 5 min/shared"))
    assert climb.read("359.7").verdict.verdict == "go on"  # type: ignore[union-attr]
    up_to(climb, clock, "4/HT1 after 10 min/shared")
    assert climb.to_settle("4/HT1 after 10 min/shared") > 0.0
    assert climb.read("120").verdict.verdict == "switch off now"  # type: ignore[union-attr]
