"""The mains side as drawn and as left out: interference capacitors, and remedies that never touch line, HT or a grid."""

import re
from pathlib import Path

import pytest

from firstglow.amplifier import Amplifier, AmplifierError, load
from firstglow.amplifier.model import Problem

SINGLE = (Path(__file__).parents[2] / "examples" / "b-hazel-four.toml").read_text(encoding="utf-8")


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(AmplifierError) as caught:
        load(text, name="x.toml")
    return caught.value.problems


def primary(amplifier: Amplifier) -> tuple[str, str]:
    return amplifier.joint_of("T1", "primary 1"), amplifier.joint_of("T1", "primary 2")


@pytest.mark.parametrize(
    "more",
    [
        'C55 = ["4.7n 250V Y", "T1 primary 1", "chassis"]',
        'C55 = ["100n 275V X2", "T1 primary 1", "T1 primary 2"]',
        'C55 = ["4.7n 250V Y", "chassis", "T1 primary 2"]',
        'R55 = ["470k 1W", "T1 primary 1", "T1 primary 2"]',
    ],
)
def test_a_part_across_the_primary_leaves_the_mains_side_as_it_is_by_default(more: str) -> None:
    """Fuse and switch without a lead stay in the line, whatever hangs on the primary for interference."""
    plain, with_it = load(SINGLE), load(SINGLE + more + "\n")
    assert primary(with_it)[1] == "neutral" == primary(plain)[1]
    assert {with_it.joint_of("S1", "2"), with_it.joint_of("F1", "1")} == {primary(with_it)[0], "line"}


def test_a_primary_drawn_on_line_alone_is_told_to_go_to_neutral() -> None:
    drawn = SINGLE.replace('"fuse 500m slow"', '"fuse 500m slow", "line", "on"').replace(
        '"mains switch"', '"mains switch", "on", "T1 primary 1"'
    )
    (problem,) = problems(drawn)
    assert problem.remedy == 'W99 = ["wire", "neutral", "T1 primary 2"]'
    assert load(drawn + problem.remedy + "\n").joint_of("W99", "2") == "T1 primary 2"


@pytest.mark.parametrize(
    ("drop", "remedy"),
    [
        ('R4 = ["4k7 0.5W 5%", "volume", "V1 grid"]\n', '{ "grid" = "1M chassis" }'),
        ('R6 = ["220k 1W 5%", "HT3", "V1 plate"]\n', ""),
        ('R7 = ["1M 0.5W 5%", "HT3", "V1 screen"]\nC3 = ["0.1u 630V film", "V1 screen", "chassis"]\n', ""),
    ],
)
def test_a_valve_lead_that_stands_nowhere_is_never_sent_to_ht(drop: str, remedy: str) -> None:
    assert drop in SINGLE
    for problem in problems(SINGLE.replace(drop, "").replace('C5 = ["0.1u 630V film", "V1 plate", "drive"]\n', "")):
        assert "HT" not in problem.remedy or re.match(r'R\d+ = \["\d+k", "HT3", "V1 plate"\]', problem.remedy)
        if "stands nowhere" in problem.found and remedy:
            assert problem.remedy == remedy
            load(
                SINGLE.replace(drop, "").replace(
                    '{ heater = "T1 heat" }]\nR6', f'{{ heater = "T1 heat" }}, {remedy}]\nR6'
                )
            )


def test_a_directly_heated_cathode_need_not_be_said() -> None:
    """A 2A3's cathode is its filament (RCA tube handbook: base 4D has no cathode pin)."""
    text = SINGLE.replace(
        'V2 = ["EL84", { plate = "T2 plate a", heater = "T1 heat" }]',
        'V2 = ["2A3", { plate = "T2 plate a", heater = "T1 fil" }]',
    )
    text = text.replace(
        'heat = "6.3V 1.7A ct 0R12"', 'heat = "6.3V 1.7A ct 0R12", fil = "2.5V 2.5A ct", "fil ct" = "fk"'
    )
    text = text.replace('"V2 cathode"', '"fk"').replace('R13 = ["100R 1W 5%", "HT2", "V2 screen"]\n', "")
    text = text.replace('"240R 2W 5%"', '"750R 10W 5%"').replace('"100u 25V", "fk"', '"100u 100V", "fk"')
    amplifier = load(text)
    assert amplifier.joint_of("V2", "cathode") == amplifier.joint_of("T1", "fil 1")
