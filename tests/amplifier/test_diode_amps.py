"""A diode whose amps the file does not say: silicon is taken for 1 A in its law and has no rating; selenium is asked for."""

from pathlib import Path

import pytest

from firstglow.amplifier.model import Amplifier, AmplifierError
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Situation
from firstglow.audit.parts import audit, document
from firstglow.audit.ways import Stood
from firstglow.solver.circuit import compile_circuit

A = (Path(__file__).parents[2] / "examples" / "a-linden-twin.toml").read_text(encoding="utf-8").split("[[layer")[0]
SAID = "selenium 60m 160V 4 plates"


def with_diode(text: str) -> Amplifier:
    assert SAID in A
    return load(A.replace(SAID, text))


def bias(text: str) -> float:
    circuit = compile_circuit(with_diode(text))
    return float(circuit.solve(circuit.vector(Situation(230.0))).dc("bias raw")[0])


def test_silicon_without_amps_stands_and_its_size_hardly_matters() -> None:
    """A decade of current density moves a power diode's drop by 0.11 V (0.76 V at 100 mA, 0.65 V at 10 mA: 1N4001 data sheets,
    from memory)."""
    assert bias("silicon 1000V") == bias("silicon 1A 1000V")
    assert bias("silicon 10A 1000V") == pytest.approx(bias("silicon 1000V") - 0.11, abs=0.03)


def test_it_is_listed_among_what_was_taken_and_is_no_rating(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Stood, "restart", None)  # half of an audit's time, and no ampere of this diode's
    amplifier = with_diode("silicon 1000V")
    (taken,) = [d for d in amplifier.defaults if (d.part, d.what) == ("D1", "amps")]
    assert taken.value == "1 A" and "no rating" in taken.spread
    assert "amps" not in amplifier.parts["D1"].values
    (part,) = [p for p in document(audit(amplifier, None))["parts"] if p["part"] == "D1"]
    (mean,) = [s for s in part["stresses"] if s["stress"] == "amps, mean"]
    assert (mean["rating"], mean["verdict"]) == (None, "rating unknown")
    assert not [d for d in with_diode("silicon 1A").defaults if (d.part, d.what) == ("D1", "amps")]


def test_selenium_without_amps_is_asked_for_and_the_remedy_works() -> None:
    with pytest.raises(AmplifierError) as told:
        with_diode("selenium 160V 4 plates")
    (problem,) = told.value.problems
    line = next(n for n, text in enumerate(A.splitlines(), 1) if SAID in text)
    assert (problem.part, problem.line, problem.found) == ("D1", line, "a selenium rectifier without amps")
    remedy = problem.remedy.split('"')[1]
    assert with_diode(remedy).parts["D1"].value("amps") == 0.06


def test_no_plates_are_asked_for() -> None:
    """None in series drops nothing and passes everything: no part is so (it ended in "would not settle")."""
    with pytest.raises(AmplifierError) as told:
        with_diode("selenium 60m 160V 0 plates")
    (problem,) = told.value.problems
    assert "0 plates" in problem.found and with_diode(problem.remedy.strip('"')).parts["D1"].value("plates") == 4.0
