"""``firstglow incoming``: no test volts for what nobody knows to stand them, none in place past a rating, each of several that are
ordered, and a list with parts that have no limits here. Sums by hand from the published leak formulas."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from at_hand import firstglow
from firstglow import schemas

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
B, C = (EXAMPLES / f"{n}.toml" for n in ("b-hazel-four", "c-sorrel-twenty"))


@pytest.fixture(scope="module")
def weak(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Example (c), its HT1 of some 420 V and more: C2 of no rating, C3 behind the choke of 350 V, both old."""
    text = C.read_text()
    for name, line in (
        ("C2", 'C2 = ["47u electrolytic", "HT1", "chassis", { note = "old, volts not readable" }]'),
        ("C3", 'C3 = ["47u 350V", "HT2", "chassis", { note = "old" }]'),
    ):
        text = text.replace(next(one for one in text.splitlines() if one.startswith(f"{name} = ")), line)
    file = tmp_path_factory.mktemp("weak") / C.name
    file.write_text(text)
    return file


def told(file: Path, *words: str) -> dict[str, Any]:
    """The document, with what the list orders; nothing here is met at a hot restart."""
    found: dict[str, Any] = json.loads(firstglow("incoming", file, *words, "--json", restart=False).stdout)
    jsonschema.validate(found, schemas.load("incoming"))
    return found


def of(rows: list[dict[str, Any]], name: str) -> dict[str, Any]:
    return next(r for r in rows if r["part"] == name)


def said(file: Path, *words: str) -> str:
    page = firstglow("incoming", file, *words, restart=False).stdout
    assert max(map(len, page.splitlines())) <= 80
    return " ".join(page.split())


def test_an_electrolytic_of_unknown_rating_has_no_test(weak: Path) -> None:
    row = of(told(weak, "C2", "C3")["capacitors"], "C2")
    assert (row["how"], row["rated_volts"], row["test_volts"]) == ("rating unknown", None, None)
    assert row["good_volts"] is None and row["reject_volts"] is None and row["series_ohms"] is None
    page = said(weak, "C2")
    for words in ("NOT TESTED", "WV", 'volts = "450V"', "neither tried nor reformed"):
        assert words in page
    (judged,) = told(weak, "--age", "old", "--measured", "C2=1mA")["measured"]
    assert judged["verdict"] == "doubtful" and "no test and no limit" in judged["why"]


def test_past_its_rating_it_is_not_tested_in_its_place(weak: Path) -> None:
    """C3 of 350 V where over 400 stand: on a supply of its own at 350 V, and UNFIT there. An old one's limit by hand (JAN-C-62, seen
    quoted, to 350 V): 0.025 mA a microfarad and 0.3 mA: 47 uF 1.475 mA. Within its rating (550 V) it stays on its rail."""
    row = of(told(weak, "C2", "C3")["capacitors"], "C3")
    assert row["must_stand_volts"] > 400.0 > 350.0 == row["rated_volts"]
    assert (row["how"], row["test_volts"]) == ("supply of its own", 350.0)
    assert row["reject_amps"] == pytest.approx(1.475e-3)
    page = said(weak, "C3")
    assert "UNFIT in its place" in page and "at 350 V, which it is made for" in page
    assert ".;" not in page
    assert "while it is tested" not in page.partition("as ordered")[0]
    assert of(told(C, "C3")["capacitors"], "C3")["how"] == "resistor in its lead"


def test_nothing_is_tested_in_place_while_another_is_past_its_rating(weak: Path) -> None:
    """C7 is tried under full mains, which stand on C2 and C3 too, whether they are asked for or not. As drawn, nothing of it."""
    assert told(weak, "C7")["weak"] == ["C2", "C3"] and told(C, "C7")["weak"] == []
    assert "Full mains puts more on C2, C3 than they are made for" in said(weak, "C7")
    assert "Full mains puts more" not in said(C, "C7")


def test_each_of_several_that_are_ordered_has_its_test(tmp_path: Path) -> None:
    """HT past what one electrolytic is made for (600 V): the list orders a row of them, and each is tried alone at what it is marked.
    New: 0.01 C U good (IEC 60384-4, from memory)."""
    text = C.read_text().replace('ht = "285V 200m 45R"', 'ht = "400V 200m 45R"')
    file = tmp_path / C.name
    file.write_text(text)
    found = told(file, "C2")
    (bought,) = [o for o in found["ordered"] if o["part"] == "C2"][:1]
    assert bought["pieces"] >= 2
    row = of(found["ordered_capacitors"], "C2")
    volts = float(bought["text"].split(" V")[0].split()[-1])
    assert (row["pieces"], row["how"], row["test_volts"]) == (bought["pieces"], "supply of its own", volts)
    assert row["good_amps"] == pytest.approx(0.01 * bought["value"] * volts)
    assert f"each of the {bought['pieces']} alone" in said(file, "C2")


def test_a_list_is_answered_with_parts_in_it_that_have_no_limits(tmp_path: Path) -> None:
    """A selenium rectifier, a fuse: the rest of the list is answered, of these what can be tried."""
    rail = 'D1 = ["selenium 60m 160V 4 plates", "raw", "T1 heat 1"]\nC8 = ["10u 100V", "chassis", "raw"]\nR20 = ["10k", "raw", "chassis"]'
    file = tmp_path / B.name
    file.write_text(f"{B.read_text()}\n{rail}\n")
    found = told(file, "D1", "R4", "F1")
    assert [(p["part"], p["kind"]) for p in found["beside"]] == [("D1", "diode"), ("F1", "fuse")]
    assert [r["part"] for r in found["resistors"]] == ["R4"]
    page = said(file, "D1", "R4", "F1")
    assert "D1 (selenium diode)" in page and "poisonous" in page and "F1 (fuse)" in page and "R4: 4.7 kΩ" in page
    assert told(B, "F1")["capacitors"] == []
