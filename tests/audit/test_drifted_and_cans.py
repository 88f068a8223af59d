"""A resistor measured outside its own tolerance has drifted; a can that must stay is named by its own name."""

import re
from pathlib import Path

import pytest

from at_hand import audited_cold, firstglow
from firstglow.amplifier import load
from firstglow.amplifier.intake import with_originals
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.audit.stress_passive import DRIFT
from firstglow.solver.circuit import compile_circuit

B = Path(__file__).parent.parent.parent / "examples" / "b-hazel-four.toml"


def with_text(at: Path, more: str) -> Amplifier:
    file = at / "hazel.toml"
    file.write_text(B.read_text(encoding="utf-8") + more, encoding="utf-8")
    return load(file)


def test_a_resistor_measured_half_as_much_again_is_unfit_and_its_drawn_value_is_proposed(tmp_path: Path) -> None:
    """1 Mohm 5 % measured at 1.5 Mohm; 250 ohm of 240 5 % and 235 k of 220 k 10 % are within theirs (IEC 60062 tolerances as
    drawn). With the new one the plate stands where the drawing's own solution has it, worked out apart."""
    found = audited_cold(
        with_text(tmp_path, '\n[[layer]]\nkind = "measured"\nset = { R7 = "1M5", R12 = "250R", R3 = "235k" }\n')
    )
    r7 = found.of("R7")
    row = next(s for s in r7.stresses if s.stress == DRIFT)
    assert (row.unit, row.rating, row.verdict) == ("1", pytest.approx(0.05), "unfit")
    assert row.value == pytest.approx(0.5, abs=0.011)  # less what the meter may be wrong by, 1 %
    assert "1.5 MΩ measured, 1 MΩ 5 % drawn" in row.note
    assert r7.proposal is not None
    assert r7.proposal.items[0].text.startswith("1 MΩ metal film")
    moves = re.search(r"V1 plate goes from ([\d.]+) to ([\d.]+) V", r7.proposal.changes)
    assert moves is not None
    drawn = compile_circuit(load(B))
    standing = drawn.solve(drawn.vector(Situation(230.0)))
    assert float(moves[2]) == pytest.approx(float(standing.dc("V1 plate")[0]), abs=2.0)
    assert float(moves[1]) > float(moves[2]) + 20.0
    for name in ("R12", "R3"):
        assert next(s for s in found.of(name).stresses if s.stress == DRIFT).verdict == "fit"
    assert not any(s.stress == DRIFT for s in found.of("R6").stresses)  # not measured


def test_what_is_changed_after_it_was_measured_has_not_drifted(tmp_path: Path) -> None:
    layers = '\n[[layer]]\nkind = "measured"\nset = { R7 = "1M5" }\n\n[[layer]]\nkind = "changed"\nset = { R7 = "1M 0.5W" }\n'
    part = with_text(tmp_path, layers).parts["R7"]
    assert (part.value("ohms"), dict(part.measured_from)) == (1e6, {})


def test_a_can_that_must_stay_is_named_as_it_is_drawn(tmp_path: Path) -> None:
    """docs/file.md: original = ["C1", "V3"]; example (b) draws C1 as one can, V3 as its rectifier."""
    kept = with_text(tmp_path, '\n[intake]\noriginal = ["C1", "V3"]\n')
    assert kept.intake is not None
    assert set(kept.intake.original) == {"C1a", "C1b", "V3"}
    parts = with_originals(kept).parts
    assert parts["C1a"].words["original"] and parts["C1b"].words["original"]
    said = " ".join(firstglow("parts", tmp_path / "hazel.toml", "C1", restart=False).stdout.split())
    assert said.count("restuff the can C1") == 2
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(B.read_text(encoding="utf-8") + '\n[intake]\noriginal = ["C9"]\n', encoding="utf-8")
    assert "no part 'C9'" in firstglow("check", wrong, code=2).stderr
