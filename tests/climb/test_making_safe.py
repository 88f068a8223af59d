"""Making safe, one step after another, and the count before the plug goes in again."""

import numpy as np
import pytest
from player import begun, healthy, ladder, once, up_to

from firstglow.ladder.climb import Climb
from firstglow.readings.meters import ReadingsError

B = "b-hazel-four"


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
    (foot,) = (r["make_safe"] for r in ladder(B).document["rungs"] if r["id"] == "4")
    assert wait == foot["wait_seconds"]  # what the sheet says, from the highest mains
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
    assert "what drains it is open" in said
    assert climb.here.findings
    assert phase(climb) == "prove"  # the meter again, and the joint again
    climb.answer("9.1")
    climb.answer(f"{0.94 * start:.0f}")
    assert phase(climb) == "discharge"  # the second time it is believed: the resistor brings it down
    for _ in range(20):
        if climb.state != "switched off":
            break
        once(climb, clock, healthy)
    assert not climb.here.powered
    # a fault, and no power before what drains that capacitor was read again, cold (its rung's proof falls with it)
    assert "1/HT1 to minus/shared" not in climb.here.taken
    assert "1" not in climb.here.passed
    asked = []
    while not climb.here.powered:
        if climb.step.kind == "reading":
            asked.append(climb.step.reading)
        once(climb, clock, healthy)
    assert asked == ["1/HT1 to minus/shared", "1/emptied/shared"]  # the ohms range leaves charge behind


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
