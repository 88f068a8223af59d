"""What a valve carries, told beside an accepted reading: Ohm's law over the resistor as measured, and the plate's own watts."""

import pytest
from player import begun, healthy, ladder, once, showing, up_to

from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.carries import carries
from firstglow.ladder.climb import Climb

B = "b-hazel-four"
IDLE, PLATE, COLD = "9/V2 cathode after 60 min/shared", "9/V2 plate/shared", "1/V2 cathode/shared"


@pytest.fixture(scope="module")
def climbed() -> Climb:
    """Example (b) past its idle, its cathode resistor (240 Ω drawn) read as 250 Ω."""
    climb, clock = begun(B)
    shows = showing({COLD: "250", IDLE: "10.00V", PLATE: "270V"})
    while PLATE not in climb.here.taken:
        once(climb, clock, shows)
    return climb


def told(climb: Climb, name: str) -> str:
    return carries(climb.ladder, climb.here, name)


def test_milliamperes_are_ohms_law_over_the_resistor_as_read(climbed: Climb) -> None:
    assert told(climbed, IDLE) == "40.0 mA"  # 10.00 V / 250 ohms


def test_watts_are_net_of_cathode_volts_and_of_the_screen(climbed: Climb) -> None:
    """P = (270 - 10) V x (40 mA - screen); the screen's share by the drawing, its drop on R13 over its ohms."""
    at = ladder(B).expected.by_id[PLATE].planned.situation
    joints = ladder(B).frame.physics.joints(at)
    screen = (joints["HT2"][0] - joints["V2 screen"][0]) / 100.0  # R13 of the file
    assert 0.002 < screen < 0.008
    assert told(climbed, PLATE) == f"40.0 mA, plate {260.0 * (0.040 - screen):.1f} W of 12 W"


def test_as_drawn_it_is_what_the_solution_has() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "9/V2 screen/shared")
    at = ladder(B).expected.by_id[PLATE].planned.situation
    watts = float(ladder(B).frame.physics.standing(at).part("V2")["plate_watts"][0])
    said = float(told(climb, PLATE).partition("plate ")[2].partition(" W")[0])
    assert said == pytest.approx(watts, rel=0.02)


def test_nothing_is_told_of_other_readings_or_with_the_valve_out(climbed: Climb) -> None:
    assert told(climbed, "4/V2 cathode/shared") == ""
    assert told(climbed, "9/HT1/shared") == ""
    assert told(climbed, COLD) == ""


def test_it_stands_beside_the_verdict() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "6/V2 cathode lamp out/shared")
    clock.run(60.0)  # the first minute counts
    sitting = Sitting(climb, Lines())
    sitting._line(climb.step, healthy(climb.reading("6/V2 cathode lamp out/shared")))
    assert sitting._last.endswith("= 40.7 mA")
