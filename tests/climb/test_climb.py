"""The climb without a terminal: where it stops, what it lets pass, and that its state is what its records say."""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from player import begun, climbed, healthy, ladder, once, showing, up_to

from firstglow.amplifier import Fault
from firstglow.ladder.climb import Climb
from firstglow.ladder.here import here
from firstglow.ladder.states import POWERED, STATES, TABLE, StateError, follow
from firstglow.ladder.steps import stages
from firstglow.readings.meters import ReadingsError
from firstglow.readings.observe import Cast
from firstglow.readings.spreads import settings
from firstglow.readings.trial import show
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


# ------------------------------------------------------------------------------------------ making safe
def safing(reading: str = "4/HT1 after 5 min/shared"):
    climb, clock = begun(B)
    up_to(climb, clock, reading)
    climb.switch_off()
    return climb, clock


def phase(climb: Climb) -> str:
    step = climb.step
    assert step.safe is not None
    return step.safe.phase


def test_the_meter_step_opens_at_zero_and_not_before() -> None:
    climb, clock = safing()
    assert phase(climb) == "off"
    climb.answer("")
    assert phase(climb) == "wait"
    with pytest.raises(ReadingsError, match="s to wait yet"):
        climb.answer("9.1")
    clock.run(climb.fall.wait_seconds - 1.0)
    assert phase(climb) == "wait"
    clock.run(1.5)
    assert phase(climb) == "prove"
    assert climb.here.powered  # at zero it is as live as before: only the meter says otherwise


def test_the_countdown_is_the_closed_form_of_an_rc_fall() -> None:
    """Example (b) on rung 4: 100 uF in all behind 220 k and what else drains, so no slower than C R ln (V / 60) of the
    bleeder alone and no faster than of half of it (R C decay, closed form)."""
    climb, _ = safing()
    amplifier = ladder(B).frame.amplifier
    start = climb.fall.start["C1a"]
    farads = sum(amplifier.parts[c].value("farads") for c in ("C1a", "C1b", "C2"))
    high = 1.0 + max(amplifier.parts["C1a"].values["farads"].spread, 0.0)
    seconds = farads * high * amplifier.parts["R3"].value("ohms") * np.log(start / 60.0)
    wait = climb.fall.wait_seconds
    assert wait is not None
    assert 0.5 * seconds < wait < 1.5 * seconds
    assert climb.fall.volts("C1a", wait) <= 60.0
    assert climb.fall.volts("C1a", 0.0) == pytest.approx(start, rel=1e-6)


def test_a_fall_twice_as_slow_is_a_fault_and_says_so() -> None:
    climb, clock = safing()
    climb.answer("")
    clock.run(climb.fall.wait_seconds + 1.0)
    climb.answer("9.1")
    assert phase(climb) == "fall"
    start = climb.fall.start["C1a"]
    said = climb.answer(f"{0.95 * start:.0f}").text  # an open bleeder: nothing drains it
    assert "half as fast" in said
    assert "bleeder" in said
    assert climb.here.findings
    assert phase(climb) == "prove"  # the meter again, and the joint again
    climb.answer("9.1")
    climb.answer(f"{0.94 * start:.0f}")
    assert phase(climb) == "discharge"  # the second time it is believed: the resistor brings it down
    for _ in range(20):
        if climb.state != "switched off":
            break
        once(climb, clock, healthy)
    assert climb.state == "made safe"


def test_a_fall_as_predicted_passes_and_half_the_time_is_the_limit() -> None:
    climb, clock = safing()
    climb.answer("")
    clock.run(climb.fall.wait_seconds + 1.0)
    t = climb.fall.wait_seconds + 1.0
    assert not climb.fall.is_slow("C1a", climb.fall.volts("C1a", t), t)
    assert not climb.fall.is_slow("C1a", 0.99 * climb.fall.volts("C1a", t / 2), t)
    assert climb.fall.is_slow("C1a", 1.01 * climb.fall.volts("C1a", t / 2), t)


def test_a_capacitor_that_is_not_down_or_comes_back_is_discharged_again() -> None:
    climb, clock = safing()
    climb.answer("")
    clock.run(climb.fall.wait_seconds + 1.0)
    climb.answer("9.1")
    climb.answer("40")
    assert "not below 10 V" in climb.answer("10.0").text
    assert phase(climb) == "discharge"
    climb.answer("0.3 0.2 0.1")
    clock.run(61.0)
    assert "come back" in climb.answer("0.4 14 0.1").text
    assert phase(climb) == "discharge"
    assert [p.part for p in climb.step.safe.places] == ["C1b"]
    climb.answer("0.1")
    clock.run(61.0)
    climb.answer("0.1 0.1")
    assert phase(climb) == "prove again"
    assert "one of the two is wrong" in climb.answer("7.0").text
    assert phase(climb) == "prove"  # a meter that cannot be trusted: everything again
    assert climb.here.powered


def test_the_count_must_be_right_before_the_plug_goes_in() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "4/HT1 after 1 min/shared")
    climb.switch_off()
    while climb.step.kind == "make safe":
        once(climb, clock, healthy)
    assert climb.step.kind == "before"
    right = climb.step.clips
    for wrong in (str(right + 1), "", "yes", "two", str(right - 1)):
        with pytest.raises(ReadingsError, match="before the plug goes in"):
            climb.answer(wrong)
    climb.answer(str(right))
    assert climb.here.powered
    assert climb.step.reading == "4/HT1 after 1 min/shared"


# ------------------------------------------------------------------------------------------ verdicts
def shown_by(fault: str) -> dict[str, str]:
    """What the meters show on the middle amplifier with one fault in it, from the solver."""
    on = ladder(B)
    part, mode, *value = fault.replace("=", ":").split(":")
    one = Fault(part, mode, float(value[0]) if value else None)
    sheet = on.sheet
    values = sheet.observer.nominal
    setting = {v: s[:1] * 0.0 for v, s in settings(sheet.setting, 2, 1).items()}
    cast = Cast(values, setting, ((one,),))
    with np.errstate(all="ignore"):
        seen = sheet.observer.see(sheet.wanted, cast, ohms_for=lambda r: True)
    shown = show(on.expected, sheet, seen, cast, 1)
    out = {}
    for name, figure in shown.items():
        reading = on.expected.by_id[name]
        if reading.on is not None and reading.unit != "1" and np.isfinite(figure[0]):
            out[name] = reading.on.shown(float(figure[0])).replace("Ω", "").replace(" ", "")
    return out


@pytest.mark.parametrize(
    ("fault", "rungs"),
    [
        # the house's ladder reference, section 8: the first row that must stop, as rungs (common practice)
        ("C5:leaks=500000", {"1", "4", "5"}),
        ("C1a:shorted", {"1"}),
        ("R13:open", {"1"}),
        ("R10:open", {"1"}),
    ],
)
def test_a_dangerous_fault_is_stopped_at_its_rung(fault: str, rungs: set[str]) -> None:
    climb, clock = begun(B)
    found = climbed(climb, clock, showing(shown_by(fault)))
    assert found is not None
    assert found.verdict is not None
    assert found.verdict.id.split("/")[0] in rungs, found
    assert found.verdict.check_first
    assert climb.step.kind in ("make safe", "reading")


def test_a_stop_leads_to_make_safe_and_back_to_the_same_reading() -> None:
    climb, clock = begun(B)
    found = climbed(climb, clock, showing({"5/V2 grid/shared": "12"}))
    assert found.verdict.verdict == "switch off now"
    assert found.verdict.id == "5/V2 grid/shared"
    assert climb.state == "switched off"
    with pytest.raises(StateError):
        climb.read("0.0")
    with pytest.raises(StateError):
        climb.sign("Anna Berg")
    while climb.step.kind != "reading":
        once(climb, clock, healthy)
    # rung 5's readings of that set-up stand; the one that stopped it is asked again
    assert climb.step.reading == "5/V2 grid/shared"


def test_nothing_is_passed_with_a_needed_reading_unread_or_off() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "1/C1a charge/shared")
    with pytest.raises(StateError, match="needed"):
        climb.skip()
    up_to(climb, clock, "1/HT2 to HT1/shared")
    climb.read("330")
    assert climb.state == "look first"
    assert climb.step.reading == "1/HT2 to HT1/shared"
    with pytest.raises(StateError):
        climb.skip()
    climb.read("270")
    assert climb.state == "reading"
    up_to(climb, clock, "1/R7 own ends/shared")  # no gate needs this one
    climb.read("1M2")
    assert climb.state == "look first"
    with pytest.raises(StateError, match="did not read right"):
        climb.skip()


def test_a_changed_part_takes_back_what_it_moves_and_the_rungs_it_stands_on() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "4/HT1 after 1 min/shared")
    with pytest.raises(StateError, match="make safe first"):
        climb.change(["R1"])
    climb.switch_off()
    while climb.step.kind == "make safe":
        once(climb, clock, healthy)
    with pytest.raises(ReadingsError, match="try R1"):
        climb.change(["R1x"])
    gone = climb.change(["R1"])
    assert "1/HT2 to HT1/shared" in gone
    assert "1/V2 cathode/shared" not in gone
    assert "1" not in climb.here.passed
    assert "0" in climb.here.passed
    assert "1" not in climb.here.signed  # its hold point is signed again
    while climb.step.kind != "reading":
        once(climb, clock, healthy)
    assert climb.step.reading == next(r.id for r in ladder(B).expected.readings() if r.id in gone)
    assert climbed(climb, clock) is None


def test_back_asks_the_last_reading_again() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "1/HT2 to HT1/shared")
    assert climb.back() == "1/HT2 to minus/shared"
    assert climb.step.reading == "1/HT2 to minus/shared"
    assert "1/HT2 to minus/shared" not in climb.here.taken


def test_back_over_another_set_up_goes_through_make_safe() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "4/HT1 after 10 min/shared")
    climb.back()
    assert climb.state == "switched off"
    while climb.step.kind != "reading":
        once(climb, clock, healthy)
    assert climb.step.reading == "4/HT1 after 5 min/shared"


def test_a_verdict_is_there_within_a_tenth_of_a_second() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "6/HT1/shared")
    climb.read("331")
    worst = 0.0
    for text in ("250", "331", "12", "299", "288"):
        start = time.perf_counter()
        climb.read(text)
        worst = max(worst, time.perf_counter() - start)
        if climb.step.kind != "reading":
            break
    assert worst < 0.1


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
    for _ in range(3000):
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
