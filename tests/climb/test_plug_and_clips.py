"""What changes with the plug out, and what is said on the screen on which the power comes up (a third rehearser's dangers)."""

import re

import pytest
from player import begun, healthy, ladder, once

from at_hand import firstglow
from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.climb import Climb
from firstglow.ladder.dialling import amps_text, most_amps
from firstglow.ladder.steps import stages
from firstglow.readings.meters import ReadingsError

B = "b-hazel-four"


def flat(screen: list[str]) -> str:
    return " ".join(" ".join(screen).split())


@pytest.fixture(scope="module")
def screens() -> list[tuple[str, str, str]]:
    """(kind of step, its reading, its screen) of a whole healthy climb; "live" for a reading under power."""
    climb, clock = begun(B)
    sitting, found = Sitting(climb, Lines()), []
    while climb.step.kind != "done":
        step = climb.step
        kind = "live" if step.kind == "reading" and climb.here.powered else step.kind
        found.append((kind, step.reading or "", flat(sitting.screen(step))))
        once(climb, clock, healthy)
    return found


def test_the_lamp_changes_on_a_card_with_the_plug_out_and_never_under_power(
    screens: list[tuple[str, str, str]],
) -> None:
    """NOW Lamp OUT stood on a screen under 230 V: a lamp holder unscrewed in the live line."""
    assert not [name for kind, name, text in screens if kind == "live" and "Lamp OUT" in text]
    cards = [text for kind, _, text in screens if kind == "before" and "Lamp OUT of the line, the plug out." in text]
    assert len(cards) == 4  # rungs 2a, 2b, 4 and 6
    assert all("Dial at zero" in text for text in cards)
    for stage in stages(ladder(B)):
        lamps = {ladder(B).expected.by_id[n].planned.situation.lamp_watts for n in stage.readings}
        assert len(lamps) <= 1 or not stage.powered, stage.id


def test_each_card_orders_the_lamp_in_or_out_wherever_the_last_power_had_it_otherwise(
    screens: list[tuple[str, str, str]],
) -> None:
    """A technician: taken out on rung 2a, and rung 2b began with "Lamp still in" while it lay on the bench: full mains without
    it. Counted by hand off the plan: in on 2a, 2b, 4 and 6, out after each."""
    on, last, orders, card = ladder(B), None, [], ""
    for (kind, _, text), (after, name, _) in zip(screens, screens[1:], strict=False):
        card = text if kind == "before" else card  # a hold point may stand between it and the power
        if kind not in ("before", "hold") or after != "live":
            continue
        now = on.expected.by_id[name].planned.situation.lamp_watts
        assert ("NOW 40 W lamp INTO the line, the plug out." in card) == (now is not None and last is None), name
        assert ("NOW Lamp OUT of the line, the plug out." in card) == (now is None and last is not None), name
        assert "Lamp still in" not in card
        if now != last:
            orders.append(name.split("/")[0])
        last = now
    assert orders == ["2a", "2a", "2b", "2b", "4", "4", "6", "6"]


def test_after_a_new_sitting_the_lamp_is_said_again() -> None:
    """What was done to it between two sittings nobody knows."""
    climb, clock = begun(B)
    while climb.step.reading != "2b/mains amps at 65 %/shared":
        once(climb, clock, healthy)
    climb.begin()
    while climb.step.kind == "make safe":
        once(climb, clock, healthy)
    assert "NOW 40 W lamp INTO the line, the plug out." in flat(Sitting(climb, Lines()).screen(climb.step))


@pytest.mark.parametrize("name", [B, "c-sorrel-twenty"])
def test_every_black_lead_of_a_set_up_is_on_its_card(name: str) -> None:
    """Black clips that no card named were to be moved under power, or a count of them was refused."""
    made = ladder(name)
    for stage in stages(made):
        for reading in (made.expected.by_id[n].planned for n in stage.readings if stage.powered):
            if reading.contact in ("clip", "one hand"):
                assert reading.black_at in stage.black, (stage.id, reading.id)
            if reading.contact == "clip":
                assert reading.red_at in stage.red


def test_the_plug_the_dial_and_the_limit_stand_where_one_dials_up(screens: list[tuple[str, str, str]]) -> None:
    """The limit of the ammeter came two screens later, and nothing said when to plug in."""
    lamp = next(text for kind, name, text in screens if kind == "live" and name == "2a/lamp at 30 %/shared")
    limit = ladder(B).expected.by_id["2a/mains amps at 30 %/shared"]
    assert "Plug in, hands off the chassis, switch on; from zero dial up slowly to 69 V." in lamp
    assert f"Past {limit.text(limit.stop_above.limit)} at any dial: to zero, plug out." in lamp
    powered = [
        n for n, (kind, _, _) in enumerate(screens) if kind == "live" and screens[n - 1][0] in ("before", "hold")
    ]
    assert len(powered) > 30
    assert all("lug in, hands off the chassis" in screens[n][2] for n in powered)


def test_the_ammeter_has_a_limit_on_every_screen_on_which_the_mains_come_up_without_a_lamp(
    screens: list[tuple[str, str, str]],
) -> None:
    """From rung 4 on only the lamp's stop stood there. Half of the limit is what is drawn: more than the heaters that are in
    take by their own ratings (watts by V x A of the types), less than three times that with HT's few watts beside it."""
    on = ladder(B)
    up = {name: text for kind, name, text in screens if kind == "live" and "lug in, hands off" in text}
    assert "Past 59 mA at any dial" in up["4/lamp/shared"]
    assert "Ammeter still past 59 mA after ten seconds: off, plug out." in up["4/V3 warm-up/shared"]
    assert "Past" not in up["6/lamp/shared"]  # the 40 W lamp lets no more than 0.17 A through: its glow tells
    assert all("Past" in text or "past" in text or "lamp in line" in text for text in up.values())
    small = on.expected.by_id["5/V1 plate/shared"].planned.situation
    most = most_amps(on.frame, small)
    heaters = [p for p in on.frame.amplifier.of_kind("heater") if p.envelope not in small.out]
    watts = sum(p.value("volts") * p.value("amps") for p in heaters)
    assert watts < most / 2.0 * small.mains_volts < 3.0 * watts
    assert amps_text(0.0599) == "59 mA"  # down, never up
    assert amps_text(1.29) == "1.2 A"


def test_the_rectifier_is_watched_from_cold_with_nobody_inside(screens: list[tuple[str, str, str]]) -> None:
    text = next(text for kind, name, text in screens if kind == "live" and name == "4/V3 warm-up/shared")
    assert "Dial at 230 V and the mains switch off, plug in, hands off the chassis; then ON from cold." in text
    assert "nobody's hands go in, so no make safe between" in text
    assert "dial up slowly" not in text


def test_what_was_on_the_loudspeaker_terminals_has_a_row_that_takes_it_off() -> None:
    """A tie to the transformer's centre left on puts HT on the loudspeaker winding; the dummy load came back by no row."""
    made = ladder(B)
    row = made.expected.by_id["1/load back/shared"]
    assert "tie off" in row.planned.what
    assert "dummy load back on" in row.planned.what
    assert row.planned.needs
    order = [r.id for r in made.expected.rungs[1].readings]
    assert order.index(row.id) > max(n for n, name in enumerate(order) if "turns" in name)


def test_the_first_lug_is_named_and_the_tool_is_in_hand_before_any_valve_is_pulled() -> None:
    rungs = ladder(B).document["rungs"]
    charge = rungs[1]["readings"][0]
    assert charge["red_at"] == "C1a + (HT1)"
    before = rungs[0]["before"]
    tool = next(n for n, text in enumerate(before) if "discharge resistor (10 kΩ" in text)
    assert tool < next(n for n, text in enumerate(before) if text.startswith("Every valve out"))


def test_a_figure_typed_while_it_warms_is_told_so_before_any_part() -> None:
    climb, clock = begun(B)
    while climb.step.reading != "6/V2 plate/shared" or climb.step.kind != "reading":
        once(climb, clock, healthy)
    sitting = Sitting(climb, Lines())
    assert "cathodes warm" in flat(sitting.screen(climb.step))
    sitting._line(climb.step, f"{0.97 * climb.reading('6/V2 plate/shared').low:.0f}")
    text = flat(sitting.screen(climb.step))
    assert "LOOK FIRST" in text
    assert text.index("Typed before its time") < text.index("check first")


def test_a_rehearsal_stays_within_eighty_columns() -> None:
    out = firstglow(
        "rehearse", "examples/b-hazel-four.toml", "--fault", "hidden", "--seed", "11", "--quick", typed="\n" * 6
    )
    assert "tell: what is hidden" in out.stdout
    assert max(map(len, out.stdout.splitlines())) <= 80


def test_the_card_says_whose_clip_is_whose_and_how_pins_are_counted(screens: list[tuple[str, str, str]]) -> None:
    """Two clips on one pin, one black at 285 V, the pairs not told; the socket only shown once the power was on."""
    card = next(text for kind, name, text in screens if kind == "before" and name == "2a/HT1 leg 1/shared")
    assert "METER 1 black T1 ht ct, red V3 pin 7 (plate 1)" in card
    assert "METER 2 black T1 ht ct, red V3 pin 1 (plate 2)" in card
    assert "PINS seen from below, counted clockwise from the gap (noval)" in card
    grid = next(text for kind, name, text in screens if kind == "before" and name == "6/lamp/shared")
    assert "red V2 pin 2 (grid), 1 MΩ in this red clip" in grid
    drop = next(text for kind, name, text in screens if kind == "before" and name == "6/V2 screen/shared")
    assert re.search(r"METER 2 black V2 pin 9 \(screen\), \d{3} V on this lead, red C1b", drop)
    hold = next(text for kind, _, text in screens if kind == "hold")
    assert "Hold point after Rung 1." in hold
    held = next(text for kind, name, text in screens if kind == "before" and name == "2a/V1 heater pin to pin/shared")
    assert "METER 1 black V1 pin 5 (heater), its red stays a sheathed probe" in held


def test_load_on_again_and_the_plug_to_pull_stand_under_now(screens: list[tuple[str, str, str]]) -> None:
    """After "Load off." no row told it on again; and "pull the plug" was the smallest line, under WAIT."""
    by_name = {name: text for kind, name, text in screens if kind in ("reading", "live")}
    assert "NOW Dummy load on." in by_name["1/LS load on/shared"]
    assert "NOW SWITCH OFF AND PULL THE PLUG" in by_name["4/HT1 fall/shared"]


def test_a_yes_without_a_name_is_told_so_and_back_speaks_bench_words() -> None:
    climb, clock = begun(B)
    while climb.step.kind != "hold":
        once(climb, clock, healthy)
    sitting = Sitting(climb, Lines())
    sitting._line(climb.step, "yes")
    assert "yes alone; a yes and the name" in flat(sitting.screen(climb.step))
    climb, clock = begun(B)
    while len(climb.here.taken) < 8:
        once(climb, clock, healthy)
    sitting = Sitting(climb, Lines())
    sitting._line(climb.step, "back")
    assert "/shared" not in flat(sitting.screen(climb.step))
    assert "asked again: rung 0" in flat(sitting.screen(climb.step))


def test_no_card_s_work_comes_back_on_a_live_screen_after_a_look_first() -> None:
    """The first reading of a set-up, read again under power: its lamp was changed on the card, and not now."""
    climb, clock = begun(B)
    while climb.step.reading != "2a/V1 heater pin to pin/shared" or climb.step.kind != "reading":
        once(climb, clock, healthy)
    sitting = Sitting(climb, Lines())
    assert "Plug in" in flat(sitting.screen(climb.step))
    sitting._line(climb.step, f"{0.99 * climb.reading('2a/V1 heater pin to pin/shared').low:.3f}")
    again = flat(sitting.screen(climb.step))
    assert "LOOK FIRST" in again
    assert "OUT of the line" not in again
    assert "Plug in" not in again


def here(reading: str) -> tuple[Climb, Sitting]:
    climb, clock = begun(B)
    while climb.step.reading != reading or climb.step.kind != "reading":
        once(climb, clock, healthy)
    return climb, Sitting(climb, Lines())


def test_what_no_gate_needs_is_left_out_in_one_go_and_a_socket_is_drawn_where_it_is_asked_for() -> None:
    first = next(r for r in ladder(B).expected.rungs[1].readings if not r.planned.needs)
    climb, sitting = here(first.id)
    assert "skip (all)" in flat(sitting.screen(climb.step))
    sitting._line(climb.step, "skip all")
    assert climb.step.reading is None or climb.reading(climb.step.reading).planned.needs or climb.step.kind != "reading"
    assert len(climb.here.skipped) > 3
    sitting._line(climb.step, "socket V2 7")
    assert "(7)" in flat(sitting.screen(climb.step))
    with pytest.raises(ReadingsError, match="try socket V1 1"):
        sitting._socket("V9")


def test_the_other_leg_and_the_row_before_stand_beside_and_a_proportion_is_typed_in_volts() -> None:
    """Leg 1 was no longer on the screen, and "divided by the same with it lifted": two figures, or the sum?"""
    climb, sitting = here("2b/HT1 leg 2/shared")
    leg = climb.here.taken["2b/HT1 leg 1/shared"].value
    assert f"BESIDE HT winding, leg 1 read {leg}" in flat(sitting.screen(climb.step))
    climb, sitting = here("7/LS polarity/shared")
    screen = flat(sitting.screen(climb.step))
    typed = re.search(r"Type the volts with their unit \((\S+) is as expected\)", screen)[1]
    sitting._line(climb.step, typed)
    assert climb.here.taken["7/LS polarity/shared"].value == typed


def test_a_hint_told_once_and_read_the_same_again_stands_after_what_is_wrong() -> None:
    """The true cause stood under "Nothing need be wrong with the amplifier", each time."""
    climb, sitting = here("1/R2 own ends/shared")
    typed = f"{1e-3 * climb.reading('1/R2 own ends/shared').expected:.2f}"  # kilohms, the k left out
    texts = []
    for _ in range(2):
        sitting._line(climb.step, typed)
        texts.append(flat(sitting.screen(climb.step)))
    assert "Nothing need be wrong" in texts[0]
    assert "Or only a slip:" in texts[1]
    assert texts[1].index("check first") < texts[1].index("Or only a slip:")
