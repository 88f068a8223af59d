"""One mistake in a file is one line on stderr: what hangs on it is not told again in other words."""

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
