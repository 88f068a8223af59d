"""``[[chart]]`` and ``[intake]``: names resolved as everywhere, bad input told with a remedy that works."""

import tomllib
from pathlib import Path

import jsonschema
import pytest

from firstglow import schemas
from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.intake import contradictions
from firstglow.amplifier.model import Amplifier

LINDEN = Path("examples/a-linden-twin.toml").read_text(encoding="utf-8")
CHART = '\n[[chart]]\ntitle = "sheet 2"\nmains = "220V"\nmeter = "20k/V"\n[chart.points]\n"V1 plate" = "80V"\n'


def read(more: str) -> Amplifier:
    return load(LINDEN + more, name="linden.toml")


def points(line: str, head: str = "") -> list[tuple[str, str, float]]:
    amplifier = read(f'\n[[chart]]\ntitle = "t"\n{head}\n[chart.points]\n{line}\n')
    return [(p.red, p.kind, p.volts) for p in amplifier.charts[0].points]


@pytest.mark.parametrize(
    ("line", "head", "joints"),
    [
        ('"V1 plate" = "80V"', "", ["V1 plate", "V5 plate"]),  # the channel's own word: both channels
        ('"V5 plate" = "80V"', "", ["V5 plate"]),  # the right channel's own name: that one alone
        ('"right V1 plate" = "80V"', "", ["V5 plate"]),
        ('"V1 plate" = "80V"', 'channel = "right"', ["V5 plate"]),
        ('"R14 2" = "80V"', "", ["V1 plate", "V5 plate"]),  # another lead on the same joint
        ('HT1 = "300V"', "", ["HT1"]),
        # 6CG7, base 9AJ: pin 6 is the plate of its first unit, pin 1 of its second (registration, from memory)
        ('"V2 pin 6" = "200V"', "", ["V2a plate", "V6a plate"]),
        ('"bias a" = "-26V"', "", ["left bias a", "right bias a"]),
    ],
)
def test_names_are_resolved_as_everywhere(line: str, head: str, joints: list[str]) -> None:
    found = [red for red, _, _ in points(line, head)]
    assert found == joints


def test_a_joint_that_the_chart_names_is_not_read_off_its_twins_line() -> None:
    found = points('"V1 plate" = "80V"\n"V5 plate" = "84V"')
    assert sorted(found) == [("V1 plate", "dc volts", 80.0), ("V5 plate", "dc volts", 84.0)]


def test_nothing_that_is_said_beside_the_circuit_moves_the_digest() -> None:
    said = read(CHART + '\n[intake]\noriginal = ["C1"]\nselector = "115V"\nfuse = "2A slow"\n')
    assert said.digest == load(LINDEN).digest
    assert said.parts["C1"].words["original"] is True
    assert "original" not in said.parts["C2"].words


@pytest.mark.parametrize(
    ("was", "now", "found"),
    [
        ('"V1 plate" = "80V"', '"V1 plat" = "80V"', "no lead"),
        ('"V1 plate" = "80V"', 'HT9 = "80V"', "no joint"),
        ('"V1 plate" = "80V"', '"V1 pin 8" = "80V"', "no 'V1 pin 8'"),
        ('"80V"', '"80X"', "V1 plate"),
        ('"80V"', '"0V"', "0V"),
        ('"80V"', '"-6V ac"', "ac"),
        ('"80V"', '{ volts = "80V", blak = "chassis" }', "blak"),
        ('mains = "220V"', 'mains = "110V"', "marked for 230 V"),
        ('meter = "20k/V"', 'meter = "good one"', "good one"),
        ('title = "sheet 2"', 'titel = "sheet 2"', "titel"),
        ('title = "sheet 2"', 'title = "sheet 2"\ntolerance = "80%"', "80%"),
        ('title = "sheet 2"', 'title = "sheet 2"\nout = ["V33"]', "V33"),
        ('title = "sheet 2"', 'title = "sheet 2"\nchannel = "middle"', "middle"),
    ],
)
def test_a_bad_chart_is_told_with_its_line_and_a_remedy(was: str, now: str, found: str) -> None:
    text = LINDEN + CHART.replace(was, now)
    with pytest.raises(AmplifierError) as told:
        load(text, name="linden.toml")
    assert any(found in p.found for p in told.value.problems), told.value
    lines = text.split("\n")
    for problem in told.value.problems:
        assert problem.line > LINDEN.count("\n"), problem.text
        assert problem.remedy, problem.text
        assert lines[problem.line - 1].strip(), problem.text


def test_the_remedy_for_another_tap_works() -> None:
    bad = CHART.replace('"220V"', '"110V"')
    with pytest.raises(AmplifierError) as told:
        read(bad)
    (problem,) = told.value.problems
    chart = read(bad.replace('mains = "110V"', f'mains = "110V"\n{problem.remedy}')).charts[0]
    assert chart.share == 1.0


@pytest.mark.parametrize(
    "line",
    [
        'plugged_in = "perhaps"', 'selector = "much"', 'fuse = "big"', 'fuse = { F9 = "1A" }', 'original = ["C99"]',
        'country = "Atlantis"', 'polarised = "yes"', 'cord = "long"', 'missing = "V3"', "story = 3", 'fuze = "1A"',
    ],
)  # fmt: skip
def test_a_bad_intake_is_told_with_its_line_and_a_remedy(line: str) -> None:
    text = LINDEN + f"\n[intake]\n{line}\n"
    with pytest.raises(AmplifierError) as told:
        load(text, name="linden.toml")
    (problem,) = told.value.problems
    assert problem.line == text.split("\n").index(line) + 1
    assert problem.part == "intake"
    key = line.split(" =")[0]
    mended = line if problem.remedy.startswith("taking") else problem.remedy
    if problem.remedy.startswith('"'):
        mended = f"{key} = [{problem.remedy}]" if key == "original" else f"{key} = {problem.remedy}"
    if problem.remedy.startswith("F1 ="):
        mended = f"fuse = {{ {problem.remedy} }}"
    if key == "fuze":
        mended = line.replace("fuze", problem.remedy)
    load(LINDEN + f"\n[intake]\n{mended}\n")


def test_the_schema_has_what_the_reader_takes() -> None:
    text = LINDEN + CHART + '\n[intake]\nplugged_in = "no"\nfuse = { F1 = "T1A" }\noriginal = ["C1"]\n'
    load(text)
    jsonschema.validate(tomllib.loads(text), schemas.load("amplifier-file"))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(
            tomllib.loads(text.replace("[intake]", "[intake]\nfuze = 1")), schemas.load("amplifier-file")
        )


# -- a wrong fuse and a wrong selector, planted --------------------------------------------------------------------
# IEC 60127-2: T is time-lag, F quick; its rated currents step by about 1.25 (R10). A transformer's volts go with the
# volts on its primary's turns: 230 V on a 115 V setting is twice everything.
@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('fuse = "T3.15A"', "3.15 times"),
        ('fuse = "500mA slow"', "may open at switch-on"),
        ('fuse = "F1A"', "may open at switch-on"),
        ('selector = "115V"', "2 times its volts"),
        ('missing = ["F1"]', "Missing as found: F1"),
    ],
)
def test_what_was_found_against_what_the_file_says(line: str, told: str) -> None:
    (text,) = contradictions(read(f"\n[intake]\n{line}\n"))
    assert told in text


@pytest.mark.parametrize("line", ['fuse = "T1A"', 'fuse = "1A"', 'selector = "220-240V"', 'selector = "230V"'])
def test_what_agrees_is_not_told(line: str) -> None:
    assert contradictions(read(f"\n[intake]\n{line}\n")) == ()
