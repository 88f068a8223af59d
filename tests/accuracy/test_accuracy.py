"""The claims of `firstglow accuracy` against published figures (data/valves.toml and data/cases.toml name every source)."""

import json
import re
import time
from pathlib import Path

import jsonschema
import pytest
from scipy.stats import binom

from at_hand import firstglow, studied
from firstglow import schemas
from firstglow.accuracy.page import headline
from firstglow.accuracy.study import document

ROOT = Path(__file__).parent.parent.parent


@pytest.fixture(scope="module")
def rows():
    start = time.process_time()
    found = studied()
    assert time.process_time() - start < 60.0
    return found


@pytest.fixture(scope="module")
def answer(rows):
    return document(rows)


def test_document_is_what_the_schema_says(answer) -> None:
    jsonschema.validate(answer, schemas.load("accuracy"))
    json.dumps(answer, allow_nan=False)


def test_no_line_of_the_screen_is_wider_than_80_columns(rows) -> None:
    """A terminal's usual width (common practice)."""
    said = firstglow("accuracy").stdout.splitlines()
    assert said and [line for line in said if len(line) > 80] == []


def test_blind_dc_rows_reach_the_goal(answer) -> None:
    """The issue's mark: >= 60 dc rows of >= 15 types that no fit used, median |error| <= 5 %, counted here from the JSON."""
    mine = [r for r in answer["rows"] if r["kind"] in ("dc volts", "dc amps") and r["valve"] and not r["used_in_fit"]]
    # shown without En: what the prints of the published circuits do not fix, and nothing else
    assert {r["case"] for r in mine if r["en"] is None} == {"handbook-20w", "handbook-10w"}
    mine = [r for r in mine if r["en"] is not None]
    assert len(mine) >= 60 and len({r["valve"] for r in mine}) >= 15
    errors = sorted(abs(r["error"]) for r in mine if r["error"] is not None)
    assert errors[len(errors) // 2] <= 0.05


def test_share_that_agrees_is_what_chance_allows(answer) -> None:
    """|En| <= 1: inside the central 99 % binomial interval around 95 %, a publication and type counting once."""
    by: dict[str, list[bool]] = {}
    for r in answer["rows"]:
        if r["kind"] in ("dc volts", "dc amps") and r["valve"] and not r["used_in_fit"] and r["en"] is not None:
            width = (r["high"] - r["low"]) / 2.0
            en = (r["published"] - r["predicted"]) / (r["published_uncertainty"] ** 2 + width**2) ** 0.5
            assert en == pytest.approx(r["en"], rel=1e-9, abs=1e-12)
            by.setdefault(r["cluster"], []).append(abs(en) <= 1)
    agree = sum(sum(v) / len(v) for v in by.values())
    low, high = binom.interval(0.99, len(by), 0.95)
    assert low <= agree <= high


def test_every_missed_row_has_a_reason(answer) -> None:
    for r in answer["rows"]:
        if r["en"] is None or abs(r["en"]) > 1:
            assert r["reason"], r["case"]


def test_a_publication_left_out_is_out(rows) -> None:
    """No row that counts as blind may be in the law that predicted it: refit and look (three types)."""
    from firstglow.devices.fit_blind import fit_blind
    from firstglow.devices.fit_rows import rows_of

    for name in ("12AX7", "6V6GT", "EL34"):
        for publication in {r.cluster.partition(" / ")[2] for r in rows if r.cluster.startswith(f"{name} /")}:
            if not any(r.publication == publication for r in rows_of(name)):
                continue
            used = {w for s in fit_blind(name, [publication]).sections for w in s.rows}
            for r in rows:
                if r.cluster == f"{name} / {publication}" and r.case.startswith(f"{name} ") and not r.used_in_fit:
                    assert r.case.partition(" ")[2] not in used


def test_looked_at_less_kindly() -> None:
    """A maker left out is out whole (one type), and a law without its floor keeps what its own fit says, no more."""
    from firstglow.accuracy.valves import without_floor
    from firstglow.devices.catalogue import valve_type
    from firstglow.devices.fit_blind import fit_blind
    from firstglow.devices.fit_rows import rows_of

    used = {w for s in fit_blind("12AX7", ["RCA"]).sections for w in s.rows}
    assert used and not used & {r.where for r in rows_of("12AX7") if r.publication.startswith("RCA:")}
    with_floor, bare = (v.sections[0].law_uncertainty for v in (valve_type("EL84"), without_floor(valve_type("EL84"))))
    # 4 %, 1.5 %, 0.04 V and 7 % of the split in square: devices/fit_uncertainty.py
    for term, floor in (("perveance", 0.04), ("mu", 0.015), ("contact", 0.04), ("screen", 0.07)):
        assert bare[term] ** 2 + floor**2 == pytest.approx(max(with_floor[term], floor) ** 2, rel=1e-9)


def test_the_page_is_this_runs(rows) -> None:
    """docs/accuracy.md says what the command says today (figures to the last printed digit but one)."""

    def rounded(text: str) -> list[float]:
        return [float(x) for x in re.findall(r"-?\d+(?:\.\d+)?", text)]

    text = (ROOT / "docs" / "accuracy.md").read_text(encoding="utf-8")
    for line in headline(rows):
        start = line.split(":")[0].split(";")[0]
        written = next(x for x in text.splitlines() if start in x)
        assert rounded(written) == pytest.approx(rounded(line), abs=0.15), (
            "run: firstglow accuracy --docs docs/accuracy.md"
        )


@pytest.mark.parametrize("name", ["handbook-20w", "handbook-10w", "output-pair-375v"])
def test_published_circuits_are_the_examples(name: str) -> None:
    """What the study solves is the file that people read."""
    from firstglow.accuracy.published import published_text

    assert published_text(name) == (ROOT / "examples" / "published" / f"{name}.toml").read_text(encoding="utf-8")


def test_closed_forms_agree(rows) -> None:
    """Dividers, meter loading, capacitor input, feedback and decay: a page of algebra leaves no room for disagreement."""
    closed = [r for r in rows if r.valve is None and r.family != "published circuits"]
    assert len(closed) >= 50
    for r in closed:
        assert r.en is not None and abs(r.en) <= 1, (r.case, r.what, r.published, r.predicted)


def test_second_whole_circuit_stands_as_quoted(rows) -> None:
    """The same handbook's 10 watts: 320 V at the reservoir (a builder's page that quotes the print; 6 %, data/rules.toml, and
    as much again for a winding of which the page does not say whether 300 V is open or loaded: 307 V open by its regulation)
    and 80 mA of the pair (recalled, 12 %). Plate volts are shown and not scored: they stand on a chosen choke."""
    mine = {r.what: r for r in rows if r.case == "handbook-10w"}
    assert mine["dc volts at the reservoir"].predicted == pytest.approx(320.0, rel=0.12)
    assert mine["cathode amps of the pair"].predicted == pytest.approx(0.080, rel=0.12)
    assert mine["output plate volts"].en is None and mine["output plate volts"].reason


def test_whole_circuit_stands_as_printed(rows) -> None:
    """The handbook's 32 V, 68 mA and 400 V of the output stage (page; data/cases.toml) within its tolerances."""
    mine = {r.what: r for r in rows if r.case == "handbook-20w"}
    assert mine["output cathode volts"].predicted == pytest.approx(32.0, rel=0.08)
    assert mine["output cathode amps, each"].predicted == pytest.approx(0.068, rel=0.10)
    assert mine["output plate volts to cathode"].predicted == pytest.approx(400.0, rel=0.06)
