"""A file without one capacitor or choke: nothing stores, nothing is followed in time, and every verb that reads it answers."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from firstglow.amplifier import load
from firstglow.audit.parts import audit
from firstglow.cli.main import main

B = (Path(__file__).parents[2] / "examples" / "b-hazel-four.toml").read_text(encoding="utf-8")


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """Example (b) without its capacitors; the output valve's grid keeps its leak."""
    file = tmp_path / "bare.toml"
    file.write_text("\n".join(x for x in B.splitlines() if not x.startswith("C")) + "\n", encoding="utf-8")
    assert not load(file).of_kind("capacitor", "choke")
    return file


@pytest.mark.parametrize("verb", ["parts", "mains", "discharge", "ladder"])
def test_a_file_without_a_capacitor_is_answered(verb: str, bare: Path) -> None:
    result = CliRunner().invoke(main, [verb, str(bare), "--json"])
    assert result.exit_code == 0, result.exception


def test_its_resistors_are_judged_all_the_same(bare: Path) -> None:
    """Ohm's law on the bleeder: its watts are its volts squared over 220k, within its 2 W."""
    judged = {p.part: p for p in audit(load(bare)).parts}
    assert not {p.kind for p in judged.values()} & {"capacitor", "choke"}
    stress = {s.stress: s for s in judged["R3"].stresses}
    assert stress["watts"].value == pytest.approx(stress["volts"].value ** 2 / 220e3, rel=1e-3)
    assert judged["R3"].verdict == "fit"
