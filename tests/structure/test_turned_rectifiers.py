"""A rectifier drawn backwards is named itself: never the good capacitors behind it, never a cathode resistor for valves
whose grids would stand on a positive supply. What a rectifier makes positive: current leaves it at its cathode, so the
reservoir there is charged positive (any textbook)."""

import re
from pathlib import Path

import pytest

from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.model import Problem

EXAMPLES = Path(__file__).parents[2] / "examples"
TWIN = (EXAMPLES / "a-linden-twin.toml").read_text(encoding="utf-8").partition("\n[[layer]]")[0] + "\n"
ULTRA = (EXAMPLES / "c-sorrel-twenty.toml").read_text(encoding="utf-8").partition("\n[[layer]]")[0] + "\n"
D1 = 'D1 = ["selenium 60m 160V 4 plates", "bias raw", "T1 bias 1"]'


def exchanged(text: str, name: str) -> str:
    """The text with the first two joints of a line exchanged."""
    out, n = re.subn(rf'^({name} = \["[^"]*", )("[^"]*"), ("[^"]*")', r"\1\3, \2", text, count=1, flags=re.MULTILINE)
    assert n == 1, name
    return out


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(AmplifierError) as caught:
        load(text, name="x.toml")
    return caught.value.problems


def test_a_bias_diode_drawn_backwards_is_named_and_its_line_works_when_pasted() -> None:
    bad = exchanged(TWIN, "D1")
    (one,) = problems(bad)
    assert one.part == "D1" and "wrong way round" in one.found and "C4" in one.found and "V3" in one.found
    assert one.remedy == D1
    load(bad.replace(bad.split("\n")[one.line - 1], one.remedy))


def test_capacitors_drawn_to_suit_the_turned_diode_do_not_hide_it() -> None:
    """Diode and capacitors agree on a positive supply; the output grids on it tell. Obeying a cathode resistor there
    would leave the grids tens of volts positive."""
    bad = exchanged(exchanged(exchanged(TWIN, "D1"), "C4"), "C5")
    found = problems(bad)
    assert {p.part for p in found} == {"D1", "C4", "C5"}  # each line works when pasted, in any order
    for p in found:
        assert "270R" not in p.remedy
        bad = bad.replace(bad.split("\n")[p.line - 1], p.remedy)
    load(bad)


def test_a_whole_bridge_drawn_backwards_is_named_and_no_capacitor() -> None:
    bad = ULTRA
    for n in range(1, 5):
        bad = exchanged(bad, f"D{n}")
    found = problems(bad)
    assert {p.part for p in found} == {"D1", "D2", "D3", "D4"}
    for n in range(1, 5):
        bad = exchanged(bad, f"D{n}")
    load(bad)


def test_bias_capacitors_that_are_both_turned_are_told_while_the_grids_say_the_diode_is_right() -> None:
    found = problems(exchanged(exchanged(TWIN, "C4"), "C5"))
    assert {p.part for p in found} == {"C4", "C5"}


def test_one_capacitor_turned_is_told_and_not_the_rectifier() -> None:
    assert {p.part for p in problems(exchanged(ULTRA, "C2"))} == {"C2"}
    assert {p.part for p in problems(exchanged(TWIN, "C4"))} == {"C4"}
