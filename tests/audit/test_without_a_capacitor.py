"""A file without one capacitor or choke: nothing stores, nothing is followed in time, and every verb that reads it answers."""

import json
import math
from pathlib import Path

import pytest

from at_hand import audited, firstglow
from firstglow.amplifier import load

B = (Path(__file__).parents[2] / "examples" / "b-hazel-four.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Example (b) without its capacitors; the output valve's grid keeps its leak."""
    file = tmp_path_factory.mktemp("bare") / "bare.toml"
    file.write_text("\n".join(x for x in B.splitlines() if not x.startswith("C")) + "\n", encoding="utf-8")
    assert not load(file).of_kind("capacitor", "choke")
    return file


@pytest.mark.parametrize("verb", ["parts", "mains", "discharge", "ladder"])
def test_a_file_without_a_capacitor_is_answered(verb: str, bare: Path) -> None:
    quick = ["--quick"] if verb == "ladder" else []  # no band is looked at
    assert json.loads(firstglow(verb, bare, "--json", *quick).stdout)


def test_a_hot_restart_of_what_stores_nothing_is_as_it_runs(bare: Path) -> None:
    """No charge is left over and none has to come: with hot cathodes it runs at once, so nothing is followed and nothing was lost."""
    assert json.loads(firstglow("parts", bare, "--json").stdout)["unsolved"] == []


def test_its_resistors_are_judged_all_the_same(bare: Path) -> None:
    """The bleeder on the bare rectifier: its dc volts squared over 220k, times pi^2 / 8 for all of a full wave (closed form of |sin|),
    within its 2 W. 4 %: the valve's drop takes the foot of each half wave, some nanofarads of winding and wiring its valley."""
    judged = {p.part: p for p in audited(load(bare)).parts}
    assert not {p.kind for p in judged.values()} & {"capacitor", "choke"}
    stress = {s.stress: s for s in judged["R3"].stresses}
    assert stress["watts"].value == pytest.approx(math.pi**2 / 8.0 * stress["volts"].value ** 2 / 220e3, rel=0.04)
    assert judged["R3"].verdict == "fit"


def test_a_cold_start_of_nothing_to_charge_is_refused_and_a_discharge_says_that_there_is_none(bare: Path) -> None:
    """It ended in "would not go on" (exit 3), beside a resistor of "0 W"."""
    done = firstglow("start", bare, code=2)
    assert done.stderr.startswith(f"{bare}:1: parts: no capacitor is drawn; ") and not done.stdout
    said = firstglow("discharge", bare).stdout
    assert "No capacitor is drawn" in said and " 0 W" not in said


def test_next_to_nothing_is_told_as_nothing() -> None:
    """C12 couples from the output transformer: some microvolts of either sign were told as "-0"."""
    assert "-0" not in firstglow("discharge", "examples/published/handbook-20w.toml").stdout
    assert " 0 W" not in firstglow("discharge", "examples/published/output-pair-375v.toml").stdout
