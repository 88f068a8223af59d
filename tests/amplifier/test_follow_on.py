"""One mistake is told once: what only follows from it stays silent, and nothing is listed that decides nothing."""

from pathlib import Path

import pytest

from firstglow.amplifier import load
from firstglow.amplifier.model import AmplifierError

ROWAN = (Path(__file__).parent.parent / "data" / "rowan-nine.toml").read_text()


def test_a_comma_in_a_value_says_nothing_of_a_phase_that_nobody_stated() -> None:
    with pytest.raises(AmplifierError) as told:
        load(ROWAN.replace('C3 = ["0.1u', 'C3 = ["0,1u'))
    (line,) = str(told.value).splitlines()
    assert "C3" in line
    assert "comma" in line


def test_a_phase_that_is_stated_and_wrong_is_told_beside_it() -> None:
    text = ROWAN.replace('C3 = ["0.1u', 'C3 = ["0,1u')
    phase = next(d.value for d in load(ROWAN).defaults if d.what == "in_phase")
    other = {"a": "b", "b": "a"}[phase]
    with pytest.raises(AmplifierError) as told:
        load(text.replace('taps = "8+15R"', f'taps = "8+15R", in_phase = "{other}"'))
    assert [" comma" in p.found or "positive" in p.found for p in told.value.problems] == [True, True]


def test_a_load_that_decides_nothing_is_not_listed() -> None:
    """Where taps are said, 8 kohm stands for each of them with its own ohms on it (turns squared)."""
    assert not [d for d in load(ROWAN).defaults if d.what == "load_ohms"]
    bare = load(ROWAN.replace('taps = "8+15R", ', "").replace("T2 15", "T2 8").replace("load 15R", "load 8R"))
    assert [d.value for d in bare.defaults if d.what == "load_ohms"] == ["8 Ω"]


@pytest.mark.parametrize(("text", "better"), [("22u 450v", "22u 450V"), ("4k7 0.5w 5%", "4k7 0.5W 5%")])
def test_a_small_letter_for_a_unit_keeps_its_rating_in_the_remedy(text: str, better: str) -> None:
    """Left out, the part would pass with its rating unknown."""
    with pytest.raises(AmplifierError) as refused:
        load(HEAD + f'X1 = ["{text}", "ac", "chassis"]\n')
    assert f'try "{better}"' in str(refused.value)
    load(HEAD + f'X1 = ["{better}", "ac", "chassis"]\n')


HEAD = """
format = 1
fragment = true
amplifier = { name = "Two letters", drawing = "a bench sketch" }

[parts]
B1 = ["supply 50V 10R 50Hz", "ac", "chassis"]
"""
