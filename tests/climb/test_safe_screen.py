"""Every screen of making safe fits a terminal of 24 lines, says what became of the steps before it and what comes next."""

from dataclasses import replace
from itertools import pairwise

import pytest
from player import answer_safe, begun, once, up_to

from firstglow.cli.safe_now import done
from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.climb import Climb
from firstglow.sheets.safe_screen import SafeNow, safe_screen

TERMINAL = 24  # lines; the prompt takes one, a rehearsal's meter and keys two


def walked(reading: str, figure: str) -> list[tuple[str, list[str]]]:
    """(phase, screen) of making safe after a figure that stops it, to the screen that follows."""
    climb, clock = begun()
    up_to(climb, clock, reading)
    sitting = Sitting(climb, Lines())
    sitting._line(climb.step, figure)
    found = []
    while climb.step.kind == "make safe":
        found.append((climb.step.safe.phase, sitting.screen(climb.step)))
        sitting._said = []
        clock.run(3.0)
        if climb.step.safe.phase in ("wait", "minute"):
            answer_safe(climb, clock)
        else:
            ask = climb.step.safe
            figures = {"off": "", "fall": "30"}.get(ask.phase, " ".join("0.3" for _ in ask.places) or "9.1")
            sitting._line(climb.step, figures)
    return [*found, ("after", sitting.screen(climb.step))]


@pytest.fixture(scope="module")
def from_ht() -> list[tuple[str, list[str]]]:
    return walked("4/HT1 after 5 min/shared", "600")


def test_the_stop_is_on_the_screen_that_it_leads_to(from_ht: list[tuple[str, list[str]]]) -> None:
    """It was 31 lines: of a terminal's 24 the first seven, with SWITCH OFF NOW among them, were gone."""
    phase, first = from_ht[0]
    assert phase == "off"
    assert first[0] == "✗ SWITCH OFF NOW"
    for phase, screen in from_ht[:-1]:
        assert len(screen) + 3 <= TERMINAL, phase
        assert max(map(len, screen)) <= 80, phase


def test_every_step_says_what_comes_next_and_it_comes(from_ht: list[tuple[str, list[str]]]) -> None:
    then = {
        "off": "countdown",
        "wait": "only the meter step",
        "prove": "the volts on C1a",
        "fall": "the discharge resistor",
        "discharge": "each is read again",
        "minute": "each is read again",
        "again": "the known source again",
        "prove again": "rung 4",
    }
    assert [phase for phase, _ in from_ht[:-1]] == list(then)
    for (phase, screen), (_, follows) in pairwise(from_ht):
        said = " ".join(" ".join(screen).partition("THEN")[2].split())
        assert then[phase] in said, (phase, said)
        assert follows != screen
    assert "No leave to touch anything" in " ".join(" ".join(from_ht[1][1]).split())
    assert "Discharge clip on till the count" in from_ht[-1][1][0]


def test_what_was_done_stands_with_its_figure(from_ht: list[tuple[str, list[str]]]) -> None:
    last = "\n".join(from_ht[-2][1])
    for line in ("✓ 3.    The known source read 9.1 V", "✓ 4.    C1a read 30.0 V", "✓ 5.", "C1a 0.3 V", "▶ 7."):
        assert line in last


def test_a_step_that_is_passed_over_says_why() -> None:
    """Rung 2: no HT, so neither a countdown nor a fall; two readers saw steps 2 and 4 vanish without a word."""
    climb, clock = begun()
    up_to(climb, clock, "2a/mains amps at 30 %/shared")
    climb.switch_off()
    climb.answer("")
    mark, fell = done(climb.fall, climb.here.safing, 0.0)[3]
    assert mark == "·"
    assert fell.startswith("No fall to read: ")
    mark, waited = done(replace(climb.fall, wait_seconds=0.0), climb.here.safing, 0.0)[1]
    assert mark == "·"
    assert waited.startswith("No countdown: ")


def test_nothing_is_predicted_where_nothing_is_known() -> None:
    """Esc before it was ever on: what it was charged to by others is not known, and no countdown, fall or watts is claimed."""
    climb, clock = begun()
    climb.switch_off()
    said = ""
    while climb.step.safe.phase != "discharge":
        said += "\n".join(Sitting(climb, Lines()).screen(climb.step))
        once(climb, clock, lambda r: "")
    said += "\n".join(Sitting(climb, Lines()).screen(climb.step))
    assert "every one is taken" in said
    assert "countdown starts" not in said
    assert "by prediction" not in said
    assert "0 W for a moment" not in said.replace("10 W", "")
    assert "No fall to read: what stood there is not known." in said


def test_a_fall_too_slow_stays_on_every_screen_after_it() -> None:
    climb, clock = begun()
    up_to(climb, clock, "4/HT1 after 5 min/shared")
    climb.switch_off()
    slow_twice(climb, clock)
    screen = "\n".join(Sitting(climb, Lines()).screen(climb.step))
    assert climb.step.safe.phase == "discharge"
    assert "✗ 4.    C1a read 330 V" in screen


def slow_twice(climb: Climb, clock) -> None:
    while climb.step.safe.phase != "discharge":
        if climb.step.safe.phase == "fall":
            climb.answer("330")
        else:
            once(climb, clock, lambda r: "")


@pytest.mark.parametrize("phase", ["off", "wait", "discharge", "again"])
def test_it_fits_with_the_longest_stop_above_it(phase: str) -> None:
    places = [(f"C{n}", f"C{n} + (HT{n})", f"C{n} - (chassis)") for n in range(1, 6)]
    said = ["✗ SWITCH OFF NOW", *["  check first: what may be wrong with it"] * (8 if phase == "off" else 2)]
    now = SafeNow(
        phase, "6/HT1/shared: " + "past it " * 14, places if phase in ("discharge", "again") else (), 70.0, "C1", 360.0,
        10e3, 13.0, (), False, (), "rung 6, HT1", [("✓", "done")] * 6, "the meter on a known source, and what follows it",
    )  # fmt: skip
    screen = safe_screen(now, "Hazel Four", said)
    assert len(screen) + 3 <= TERMINAL, "\n".join(screen)
    assert screen[0] == "✗ SWITCH OFF NOW"


def test_a_look_first_under_power_never_says_unplugged() -> None:
    """It said "it stays unplugged until this reads right" with HT on."""
    climb, clock = begun()
    up_to(climb, clock, "4/HT2/shared")
    sitting = Sitting(climb, Lines())
    sitting._line(climb.step, "300")
    screen = "\n".join(sitting.screen(climb.step))
    assert climb.here.powered
    assert "? LOOK FIRST: the power is on" in screen
    assert "unplugged" not in screen.partition("LOOK FIRST")[2]
    climb, clock = begun()
    up_to(climb, clock, "1/HT1 to minus/shared")
    sitting = Sitting(climb, Lines())
    sitting._line(climb.step, "400k")
    assert "it stays unplugged until this reads right" in "\n".join(sitting.screen(climb.step))


def test_make_safe_names_dial_order_seconds_and_the_clip_that_stays(from_ht: list[tuple[str, list[str]]]) -> None:
    """The dial was left up; three capacitors, one clip, no seconds and no order (a third rehearser)."""
    by_phase = {phase: " ".join(" ".join(screen).split()) for phase, screen in from_ht}
    assert "Plug out, and in sight. Then the dial to zero." in by_phase["off"]
    told = by_phase["discharge"]
    assert told.index("- end first") < told.index("+ end")
    assert "the meter stays on" in told
    assert "goes back on C1a" in told
    # R C ln(V / 1 V), closed form: 10 k on 47 + 47 + 10 uF or more from 360 V is 6 to 10 s
    assert "+ end, 10 s" in told
    assert "insulated bodies" in by_phase["prove"]


def test_a_meter_that_shows_nothing_at_the_end_proves_nothing_before_it() -> None:
    climb, clock = begun()
    up_to(climb, clock, "4/HT1 after 5 min/shared")
    climb.switch_off()
    while climb.step.safe.phase != "prove again":
        answer_safe(climb, clock)
    climb.answer("0.0")
    assert climb.step.safe.phase == "prove"
    climb.answer("9.1")
    assert climb.step.safe.phase == "discharge"
    assert len(climb.step.safe.places) == 3  # every one again
    assert climb.here.powered


def test_before_an_ohms_reading_the_clip_comes_off() -> None:
    climb, clock = begun()
    up_to(climb, clock, "1/HT1 to minus/shared")
    climb.switch_off()
    while climb.step.safe.phase != "prove again":
        answer_safe(climb, clock)
    screen = " ".join(" ".join(Sitting(climb, Lines()).screen(climb.step)).split())
    assert "The discharge clip comes off for ohms" in screen
    assert "before the plug goes in" not in screen
