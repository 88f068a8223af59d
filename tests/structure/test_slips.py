"""A letter that slipped (220R for 220k, 0.1n for 0.1u) names the part. What places have is common practice: plate loads of small
valves 10 k to 1 M, cathode resistors 100 ohm to 100 k, grid leaks 10 k to 22 M, couplings 1 n to 10 u."""

import re
from pathlib import Path

import pytest

from firstglow.amplifier import load
from firstglow.amplifier.findings import findings
from structure.topologies import topology

EXAMPLES = Path(__file__).parents[2] / "examples"
TEXT = {
    x: (EXAMPLES / f"{x}.toml").read_text(encoding="utf-8")
    for x in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty")
}


def told(file: str, old: str, new: str) -> list[str]:
    assert old in TEXT[file], old
    return [f for f in findings(load(TEXT[file].replace(old, new, 1))) if "slipped" in f]


@pytest.mark.parametrize(("file", "part", "old", "new", "right"), [
    ("b-hazel-four", "R6", '"220k 1W 5%", "HT3", "V1 plate"', '"220R 1W 5%", "HT3", "V1 plate"', "220k"),
    ("b-hazel-four", "R10", '"470k 0.5W 5%", "drive", "chassis"', '"470R 0.5W 5%", "drive", "chassis"', "470k"),
    ("b-hazel-four", "R10", '"470k 0.5W 5%", "drive", "chassis"', '"470M 0.5W 5%", "drive", "chassis"', "470k"),
    ("b-hazel-four", "R12", '"240R 2W 5%"', '"240k 2W 5%"', "240R"),
])  # fmt: skip
def test_a_value_that_its_place_does_not_allow_names_the_part_and_the_letter(
    file: str, part: str, old: str, new: str, right: str
) -> None:
    (line,) = told(file, old, new)
    assert line.startswith(f"{part} (line ") and f"likely {right}." in line


@pytest.mark.parametrize("seed", range(60))
def test_sound_amplifiers_have_no_slips(seed: int) -> None:
    assert not [f for f in findings(topology(seed)[1]) if "slipped" in f]


@pytest.mark.parametrize("file", TEXT)
def test_the_examples_have_none(file: str) -> None:
    assert not [f for f in findings(load(TEXT[file])) if "slipped" in f]


def _couplings(file: str) -> list[tuple[str, str]]:
    """(name, its line) of film capacitors of that file's output grids."""
    rows = re.findall(r'^(C\d+) = \["((?:0\.\d+u|\d+n)[^"]*)"', TEXT[file], re.MULTILINE)
    return [(name, what) for name, what in rows]


def test_one_coupling_capacitor_a_thousand_times_below_its_twin() -> None:
    """0.1n beside 0.1u: with 220k its corner is 1 / (2 pi 220k 0.1n) = 7.2 kHz instead of 7.2 Hz."""
    for file in ("a-linden-twin", "c-sorrel-twenty"):
        hits = 0
        for name, what in _couplings(file):
            value = re.match(r"[\d.]+", what)
            assert value is not None
            wrong = what.replace("u", "n", 1) if "u" in what.split()[0] else what.replace("n", "p", 1)
            lines = told(file, f'{name} = ["{what}"', f'{name} = ["{wrong}"')
            hits += any(f"{name} (line" in line for line in lines)
        assert hits >= 2, file
