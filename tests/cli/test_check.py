"""``firstglow check``: findings after problems, defaults in the order in which they are worth measuring."""

import json
import re
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

from firstglow import schemas
from firstglow.amplifier import load
from firstglow.cli.check import command
from firstglow.cli.said_by_default import MEASURE, VALVES, grouped

ROOT = Path(__file__).parents[2]
SPARSE = ROOT / "tests/data/linden-sparse.toml"


def check(file: Path, *options: str) -> str:
    done = CliRunner().invoke(command, [str(file), *options])
    assert done.exit_code == 0, done.output
    return done.output


def test_a_clean_file_is_no_approval_and_findings_are_numbered(tmp_path: Path) -> None:
    bad = tmp_path / "x.toml"
    text = (ROOT / "examples/b-hazel-four.toml").read_text()
    bad.write_text(text.replace(', { link = "feedback" }]', "]"))
    said = check(bad)
    assert "no mistakes found" not in said and "says nothing of the amplifier on the bench" in said
    assert re.search(r"Findings: \d+, to be looked at before any power:\n  1\. R14 \(line \d+\): the loop", said)
    document = json.loads(check(bad, "--json"))
    jsonschema.validate(document, schemas.load("check"))
    assert document["findings"][0].startswith("R14 (line ")


def test_every_default_is_in_one_group_and_the_copper_is_on_top() -> None:
    amplifier = load(SPARSE)
    groups = grouped(amplifier)
    assert groups[0][0] == MEASURE
    first = groups[0][1]
    assert any(line.startswith("T1 ht a ") and "ohms" in line for line in first)
    assert not any("leak_ohms" in line for line in first)
    whole = "\n".join(line for _, lines in groups for line in lines)
    for d in amplifier.defaults:
        assert d.part in whole and d.what in whole and d.value in whole, d
    (valves,) = (lines for head, lines in groups if head == VALVES)
    types = {p.type for p in amplifier.of_kind("valve", "rectifier")}
    assert len([line for line in valves if line.split(" (")[0] in types]) == len(types)


def test_the_guides_first_file_has_nothing_to_find(tmp_path: Path) -> None:
    """What is pasted first must not begin with a warning."""
    page = (ROOT / "docs/file.md").read_text(encoding="utf-8")
    first = tmp_path / "first.toml"
    first.write_text(page.split("```toml\n", 1)[1].split("```", 1)[0], encoding="utf-8")
    assert json.loads(check(first, "--json"))["findings"] == []


def test_one_line_a_part_with_everything_that_it_exceeds(tmp_path: Path) -> None:
    """An EL84 is rated 12 W, 65 mA and 2 W of screen (Philips data handbook): a tenth of its resistor passes all three. A
    32 uF capacitor for 200 V is past it unloaded and loaded."""
    b = (ROOT / "examples/b-hazel-four.toml").read_text(encoding="utf-8").replace("240R 2W", "24R 2W")
    a = (ROOT / "examples/a-linden-twin.toml").read_text(encoding="utf-8").replace("32u 500V", "32u 200V")
    lines = {}
    for name, text in (("a", a), ("b", b)):
        path = tmp_path / f"{name}.toml"
        path.write_text(text, encoding="utf-8")
        lines[name] = json.loads(check(path, "--json"))["findings"]
        parts = [
            line.removeprefix("OVERLOAD as drawn: ").removeprefix("UNFIT: ").split(":")[0].split(" is ")[0]
            for line in lines[name]
        ]
        assert len(parts) == len(set(parts)), parts
    (valve,) = (line for line in lines["b"] if "drawn: V2:" in line)
    assert all(rating in valve for rating in ("rated 65 mA", "rated 12 W", "rated 2 W"))
    (capacitor,) = lines["a"]
    assert "with nothing drawing" in capacitor and "with the output valves in" in capacitor
    # what is to be fitted is told with why: the most here, a tenth more for the socket's most (EN 50160), the next made above
    within, fitted, most = (
        float(re.search(rf"{x} ([\d.]+) V", capacitor)[1])
        for x in ("up to", "Fit one of", "more: up to")  # type: ignore[index]
    )
    assert most == pytest.approx(1.1 * within, abs=1.1) and within < most <= fitted
    assert f"{fitted:g} V is the next rating made" in capacitor


def test_ratings_that_the_file_does_not_say_are_listed_and_no_others(tmp_path: Path) -> None:
    """By hand, from what is cut out of the file: C6's volts and R6's watts; what says its rating is not in the list."""
    text = (ROOT / "examples/b-hazel-four.toml").read_text(encoding="utf-8")
    before = json.loads(check(ROOT / "examples/b-hazel-four.toml", "--json"))["ratings_unknown"]
    cut = tmp_path / "x.toml"
    cut.write_text(text.replace('"100u 25V", "V2 cathode"', '"100u", "V2 cathode"').replace("220k 1W 5%", "220k 5%"))
    document = json.loads(check(cut, "--json"))
    jsonschema.validate(document, schemas.load("check"))

    def of(rows: list[dict[str, object]], kind: str, attribute: str) -> set[str]:
        return {n for r in rows if (r["kind"], r["attribute"]) == (kind, attribute) for n in r["parts"]}  # type: ignore[attr-defined]

    after = document["ratings_unknown"]
    assert of(after, "capacitor", "volts") - of(before, "capacitor", "volts") == {"C6"}
    assert "R6" in of(after, "resistor", "watts") - of(before, "resistor", "watts")
    said = " ".join(check(cut).split())
    assert "Ratings not said in the file" in said and "firstglow parts FILE" in said


@pytest.mark.parametrize("name", ["b-hazel-four", "c-sorrel-twenty"])
def test_it_says_what_it_does_not_look_at(name: str) -> None:
    """A capacitor that a cold start's ring takes past its rating is ``parts``' to find: "Findings: none" beside its UNFIT is
    a contradiction until somebody says who looks at what."""
    told = " ".join(check(ROOT / "examples" / f"{name}.toml").split())
    assert (
        "a cold start's ring, a crest and a fault ask of the parts is not looked at here: firstglow parts FILE" in told
    )
