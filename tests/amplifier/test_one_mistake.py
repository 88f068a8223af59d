"""One mistake in a file is one line on stderr: what hangs on it is not told again in other words."""

import re
from pathlib import Path

import pytest

from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.model import Problem

EXAMPLES = Path(__file__).parents[2] / "examples"
SINGLE = (EXAMPLES / "b-hazel-four.toml").read_text(encoding="utf-8")
TWIN = (EXAMPLES / "a-linden-twin.toml").read_text(encoding="utf-8")


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(AmplifierError) as caught:
        load(text, name="x.toml")
    return caught.value.problems


# (file, old, new, part told of, its remedy, what the remedy is pasted over)
ONE = [
    (SINGLE, '"EF86"', '"EF68"', "V1", '"EF86"', '"EF68"'),
    (SINGLE, '"EL84"', '"ELL84X"', "V2", None, None),
    (SINGLE, "\nV1 = [", "\nV1c = [", "V1c", "V1", "V1c"),
    (TWIN, '"V1 plate", "V2b grid"]', '"V1 plate", "V2d grid"]', "R16", '"V2a grid"|"V2b grid"', None),
    (TWIN, "\nV2b = [", "\nV2c = [", "V2c", "V2b", "V2c"),
    (TWIN, '"V1 plate", "V2b grid"]', '"V1 plaet", "V2b grid"]', "R16", '"V1 plate"', '"V1 plaet"'),
    (SINGLE, "T1 = [", "T1x = [", "T1x", "T1", "T1x"),
]


@pytest.mark.parametrize(("text", "old", "new", "part", "remedy", "over"), ONE, ids=[x[2] for x in ONE])
def test_a_misspelt_type_or_name_is_told_once(
    text: str, old: str, new: str, part: str, remedy: str | None, over: str | None
) -> None:
    assert text.count(old) == 1
    bad = text.replace(old, new)
    found = problems(bad)
    assert {p.part.split(" ")[-1] for p in found} == {part}
    assert len({(p.line, p.found) for p in found}) <= 2  # once a channel at most
    assert remedy is None or found[0].remedy in remedy.split("|")
    if over is not None:
        load(bad.replace(over, found[0].remedy, 1))


def test_a_pot_that_is_not_there_is_no_reason_to_name_the_volume_control() -> None:
    bad = TWIN.replace('set_by = "P1"', 'set_by = "P9"')
    assert bad != TWIN
    for problem in problems(bad):
        assert "P3" not in problem.remedy  # the volume control


AUTO = SINGLE.replace('"mains transformer", {', '"autotransformer", {')


def test_an_autotransformer_is_refused_by_name() -> None:
    """Its output is the mains themselves (common practice): no ladder, whatever else the file says."""
    (problem,) = problems(AUTO)
    assert problem.part == "T1"
    assert "autotransformer" in problem.found
    assert "licensed" in problem.remedy
    assert problems(AUTO.replace("autotransformer", "auto-transformer 100VA"))[0].found == problem.found


# (file, old, new, words of the finding, remedy or None for a plain instruction, what the remedy is pasted over)
TOLD = [
    (TWIN, 'V2b = ["6CG7"', 'V2b = ["12AX7"', "in one glass with V2a", '"6CG7"', '"12AX7"'),
    (TWIN, "\nV2b = [", "\nV2c = [", "no line names V2c|no section of the 6CG7", "V2b", "V2c"),
    (TWIN, 'right = { V1 = "V5"', 'right = { V11 = "V5"', "unknown part 'V11'", "V1", "V11"),
    (SINGLE, '["22k 1W 5%"', '["0 1W 5%"', "0 ohm", '"wire"', '"0 1W 5%"'),
    (SINGLE, '["22k 1W 5%"', '["0R 1W 5%"', "0 ohm", '"wire"', '"0R 1W 5%"'),
    (SINGLE, "position = 1 }", "position = 11 }", "position of 11$", None, None),
    (SINGLE, '"HT2", "HT3"]', '"HT2", "HT3", "HT2"]', "3 leads in a row", None, None),
    (SINGLE, '"220k 2W 10%", "HT1", "chassis"', '"220k 2W 10%", "HT1", "HT1"', "both leads on one joint", None, None),
]


@pytest.mark.parametrize(("text", "old", "new", "words", "remedy", "over"), TOLD, ids=[x[2] for x in TOLD])
def test_what_is_found_and_what_to_try(
    text: str, old: str, new: str, words: str, remedy: str | None, over: str | None
) -> None:
    bad = text.replace(old, new, 1)
    assert bad != text
    found = [p for p in problems(bad) if re.search(words, p.found)]
    assert found
    assert not re.search(r"\d 1\b", found[0].found)  # a ratio has no unit
    if remedy is not None and over is not None:
        assert {p.remedy for p in found} == {remedy}
        load(bad.replace(over, remedy, 1))


def test_a_slip_in_a_node_is_mended_and_no_feed_is_invented() -> None:
    bad = SINGLE.replace('R7 = ["1M 0.5W 5%", "HT3"', 'R7 = ["1M 0.5W 5%", "HT33"')
    (problem,) = problems(bad)
    assert "did you mean HT3?" in problem.found
    load(bad.replace('"HT33"', problem.remedy))


def test_a_node_that_counts_one_too_far_is_a_slip_and_told_once() -> None:
    bad = SINGLE.replace('R7 = ["1M 0.5W 5%", "HT3"', 'R7 = ["1M 0.5W 5%", "HT4"')
    (problem,) = problems(bad)
    assert problem.part == "R7"
    assert "did you mean HT3?" in problem.found
    load(bad.replace('"HT4"', problem.remedy))


def test_a_node_between_two_others_is_no_slip_that_can_be_told() -> None:
    """HT2 alone beside HT1 and HT3: which of the two was meant stands in the drawing, not in the letters."""
    renamed = SINGLE.replace('"HT2"', '"HT1b"').replace('"HT3", "V1 plate"', '"HT2", "V1 plate"')
    assert not any("did you mean" in p.found for p in problems(renamed))


def test_both_dangling_leads_of_a_heater_are_named() -> None:
    bad = SINGLE.replace('V1 = ["EF86", { heater = "T1 heat" }]', 'V1 = ["EF86", { heater = ["ha", "hb"] }]')
    words = " / ".join(p.found for p in problems(bad))
    assert "joint ha" in words
    assert "joint hb" in words


def test_two_parts_of_one_name_are_told_with_both_lines_and_a_free_name() -> None:
    """And every other mistake of the file beside it."""
    bad = SINGLE.replace("\nR2 = [", "\nR1 = [").replace("22u 450V", "22m 450V")
    double, other = problems(bad)
    assert (double.part, double.line) == ("R1", 18)
    assert "line 17 and another on line 18" in double.found
    assert other.part == "C2"
    lines = bad.replace("22m 450V", "22u 450V").split("\n")
    lines[17] = lines[17].replace("R1", double.remedy, 1)
    assert double.remedy in load("\n".join(lines)).parts


def test_a_second_valve_of_one_name_too() -> None:
    bad = SINGLE.replace("\nV1 = [", "\nV2 = [")
    assert any(p.found == "a part on line 27 and another on line 39" for p in problems(bad))


def test_names_that_differ_only_in_capitals_are_not_let_pass() -> None:
    bad = SINGLE + 'c1 = ["1u 450V", "HT2", "chassis"]\n'
    (problem,) = problems(bad)
    assert (problem.part, problem.line) == ("c1", bad.count("\n"))
    assert "beside C1" in problem.found
    load(bad.replace("c1 =", f"{problem.remedy} ="))


@pytest.mark.parametrize("tail", ["R1 = [[", "R1 = [,", "R1 = [1 = ", 'R1 = ["', "R1 = {a = [", "R1 = "])
def test_a_second_name_on_a_line_that_is_no_toml_ends_all_the_same(tail: str) -> None:
    assert any("not TOML" in p.found or "another on line" in p.found for p in problems(SINGLE + tail + "\n"))
