"""A diode whose amps the file does not say: silicon is taken for 1 A in its law, selenium for 60 mA; neither has a rating."""

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


def test_selenium_without_amps_stands_as_a_usual_bias_rectifier(monkeypatch: pytest.MonkeyPatch) -> None:
    """4 plates behind 46 V that give 5 mA in pulses of some 25 mA. By hand, half aged: a plate of 20 mA has 28 ohms, one of 60 mA 9.5
    (1.0 V at rated current new, half as much again by age, 0.6 V where it begins: seen in print and from memory), so 4 x 25 mA x 19
    ohms = 1.9 V more, and 0.1 V a plate of bend. No rating, and what to look for."""
    monkeypatch.setattr(Stood, "restart", None)
    unsaid = "selenium 160V 4 plates"
    assert bias(unsaid) == bias(SAID)
    assert all(abs(bias(f"selenium {amps} 160V 4 plates") - bias(unsaid)) < 4 * 0.2 for amps in ("40m", "300m"))
    assert bias("selenium 20m 160V 4 plates") - bias(unsaid) == pytest.approx(1.9 + 0.4, abs=0.5)
    amplifier = with_diode(unsaid)
    (taken,) = [d for d in amplifier.defaults if (d.part, d.what) == ("D1", "amps")]
    assert taken.value == "60 mA" and "no rating" in taken.spread
    (part,) = [p for p in document(audit(amplifier, None))["parts"] if p["part"] == "D1"]
    (mean,) = [s for s in part["stresses"] if s["stress"] == "amps, mean"]
    assert (mean["verdict"], mean["rating"]) == ("rating unknown", None) and "mA beside the plates" in mean["look"]


def test_no_plates_are_asked_for() -> None:
    """None in series drops nothing and passes everything: no part is so (it ended in "would not settle")."""
    with pytest.raises(AmplifierError) as told:
        with_diode("selenium 60m 160V 0 plates")
    (problem,) = told.value.problems
    assert "0 plates" in problem.found and with_diode(problem.remedy.strip('"')).parts["D1"].value("plates") == 4.0
