"""A lead that a part has not: what is meant is offered only where it is certain, and never a lead of another function; a
heater's ends and a valve's pins are terminals like all others."""

import re
from pathlib import Path

import pytest

from firstglow.amplifier import Amplifier, AmplifierError, load

SINGLE = (Path(__file__).parents[2] / "examples" / "b-hazel-four.toml").read_text()
DOUBLE = (Path(__file__).parents[2] / "examples" / "a-linden-twin.toml").read_text().partition("\n[[layer]]")[0]


def with_line(line: str) -> Amplifier:
    return load(f"{SINGLE}\n{line}\n")


def remedy(text: str) -> str:
    with pytest.raises(AmplifierError) as told:
        load(text)
    (problem,) = told.value.problems
    return problem.remedy


@pytest.mark.parametrize(
    "lead",
    ["T2 16", "V3 heater", "V1 heater", "V1 pin 7", "V3 plate", "V3 plate 3", "T1 ht 3", "T2 plate b", "V2", "V3 x"],
)
def test_where_several_leads_or_none_may_be_meant_nothing_is_there_to_paste(lead: str) -> None:
    told = remedy(f'{SINGLE}\nR99 = ["100R", "{lead}", "chassis"]\n')
    assert not re.search(r'"|=', told)
    assert told.endswith("as the drawing has it")


@pytest.mark.parametrize(
    ("lead", "meant"), [("V2 cathod", "V2 cathode"), ("V1 pate", "V1 plate"), ("T1 heet ct", "T1 heat ct")]
)
def test_a_slip_of_the_fingers_is_mended(lead: str, meant: str) -> None:
    assert remedy(f'{SINGLE}\nR99 = ["100R", "{lead}", "chassis"]\n') == f'"{meant}"'


def test_a_grid_of_the_rectifier_is_the_grid_that_no_line_names() -> None:
    assert remedy(SINGLE.replace('"drive", "V2 grid"', '"drive", "V3 grid"')) == '"V2 grid"'
    # with a capacitor on that grid it is no longer certain that this line means it
    text = SINGLE.replace('"drive", "V2 grid"', '"drive", "V3 grid"') + 'C9 = ["100p", "V2 grid", "chassis"]\n'
    assert "as the drawing has it" in remedy(text)


def test_a_loudspeaker_on_a_tap_that_is_not_there_is_not_sent_to_the_plate() -> None:
    told = remedy(SINGLE.replace('"T2 8", "chassis"]', '"T2 16", "chassis"]'))
    assert "plate" not in told


@pytest.mark.parametrize(
    ("terminal", "same"),
    [
        ("V1 heater 1", "T1 heat 1"),
        ("V3 heater 2", "T1 heat 2"),
        # EF86 on B9A: cathode pin 3, grid pin 9, heater 4 and 5; EZ80: cathode pin 3 (data sheets)
        ("V1 pin 3", "V1 cathode"),
        ("V1 pin 9", "V1 grid"),
        ("V1 pin 4", "T1 heat 1"),
        ("V3 pin 3", "HT1"),
    ],
)
def test_a_heater_end_or_a_pin_stands_for_its_joint(terminal: str, same: str) -> None:
    one, other = (with_line(f'R99 = ["100R", "{text}", "chassis"]') for text in (terminal, same))
    assert one.parts["R99"].leads == other.parts["R99"].leads
    assert one.digest == other.digest


def test_a_glass_of_two_sections_has_its_pins_under_its_own_name() -> None:
    """6CG7, base 9AJ: pin 6 is the plate of its first unit, pin 4 and 5 its heater (registration, from memory)."""
    line = 'C99 = ["100p", "V2 pin 6", "chassis"]\n'
    amplifier = load(DOUBLE.replace("[channel]", f"[channel]\n{line}", 1))
    assert amplifier.parts["left C99"].leads["+"] == amplifier.joint_of("V2a", "plate")
    assert amplifier.parts["right C99"].leads["+"] == amplifier.joint_of("V6a", "plate")
    heater = load(DOUBLE.replace("[channel]", '[channel]\nC99 = ["100p", "V2 heater 1", "chassis"]\n', 1))
    assert heater.parts["right C99"].leads["+"] == heater.joint_of("V6 heater", "1")
