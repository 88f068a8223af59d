"""``firstglow reform``: nothing on what nobody knows to stand it, no dial that another capacitor does not stand, no HT for a bias
capacitor: held against the standing solution at each dial and sums by hand."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from at_hand import firstglow
from firstglow import schemas
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.audit.reform import reform
from firstglow.solver.circuit import compile_circuit

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
A, C = (EXAMPLES / f"{n}.toml" for n in ("a-linden-twin", "c-sorrel-twenty"))
SILICON = 'D8 = ["1N4007", "T1 ht 1", "HT1"]\nD9 = ["1N4007", "T1 ht 2", "HT1"]'


def planted(source: Path, where: Path, **lines: str) -> Path:
    """A copy of an example with whole lines of parts put anew."""
    text = source.read_text()
    for name, line in lines.items():
        old = next(one for one in text.splitlines() if one.startswith(f"{name} = "))
        text = text.replace(old, line)
    file = where / source.name
    file.write_text(text)
    return file


def answer(*words: str | Path) -> Any:
    document = json.loads(firstglow("reform", *words, "--json").stdout)
    jsonschema.validate(document, schemas.load("reform"))
    return document["parts"]


def at(amplifier: Amplifier, share: float, out: frozenset[str], lifted: frozenset[str] = frozenset()) -> Any:
    circuit = compile_circuit(amplifier)
    return circuit.solve(circuit.vector(Situation(share * amplifier.mains_volts, out=out, lifted=lifted)))


def test_an_electrolytic_of_unknown_rating_gets_no_volts(tmp_path: Path) -> None:
    """Neither a step nor a supply's volts; where to look, how the file is told, replaced and not reformed (common practice). Said, it
    is reformed up to what it is made for and no further."""
    file = planted(C, tmp_path, C2='C2 = ["47u electrolytic", "HT1", "chassis", { note = "old" }]')
    (found,) = answer(file)
    assert (found["part"], found["rated_volts"], found["target_volts"], found["steps"]) == ("C2", None, None, [])
    said = " ".join(firstglow("reform", file).stdout.split())
    for words in ("rating not in the file", "WV", "volts =", "replaced, not reformed"):
        assert words in said
    assert "supply dial" not in said and "Raise to a step" not in said
    told = planted(C, tmp_path, C2='C2 = ["47u electrolytic", "HT1", "chassis", { volts = "300V", note = "old" }]')
    (found,) = answer(told)
    assert max(step["supply_volts"] for step in found["steps"]) == pytest.approx(300.0)


def test_a_bias_capacitor_is_reformed_without_ht(tmp_path: Path) -> None:
    """Example (a): the HT rectifier valve out, and by the standing solution no HT on any rail at any dial; every capacitor below what
    it is made for. With silicon HT what the ladder's rung 2b lifts is lifted here."""
    amplifier = load(A)
    (found,) = reform(amplifier, ["C4"])
    assert found.out == ("V9",) and found.lifted == ()
    glasses = frozenset(str(p.envelope) for p in amplifier.of_kind("valve", "rectifier"))
    for step in found.steps:
        assert step.dial is not None
        standing = at(amplifier, step.dial, glasses)
        assert abs(float(standing.dc("bias raw")[0])) == pytest.approx(step.supply, rel=0.01)
        assert all(abs(float(standing.dc(f"HT{n}")[0])) < 1.0 for n in (1, 2, 3, 4))
    assert "V9 too" in " ".join(firstglow("reform", A, "C4").stdout.split())
    silicon = load(planted(A, tmp_path, V9=SILICON))
    (found,) = reform(silicon, ["C4"])
    assert found.out == () and set(found.lifted) == {"D8 cathode", "D9 cathode"}
    assert found.steps[-1].dial is not None
    standing = at(silicon, found.steps[-1].dial, glasses - {"V9"}, frozenset(found.lifted))
    assert abs(float(standing.dc("HT1")[0])) < 1.0
    assert "D8 cathode" in firstglow("reform", planted(A, tmp_path, V9=SILICON), "C4").stdout


def test_no_dial_takes_another_capacitor_past_what_it_is_made_for(tmp_path: Path) -> None:
    """Example (c), its C3 of 300 V beside the C2 that is reformed, the same volts on both with nothing drawing: by hand 300 / 1.06
    (3 % of meter, 3 % of turns) = 283 V is the last; 345 V and more get a supply of their own."""
    file = planted(C, tmp_path, C3='C3 = ["47u 300V", "HT2", "chassis"]')
    amplifier = load(file)
    (found,) = reform(amplifier, ["C2"])
    assert found.limit is not None and (found.limit.part, found.limit.rating) == ("C3", 300.0)
    out = frozenset(str(p.envelope) for p in amplifier.of_kind("valve"))
    assert float(at(amplifier, found.limit.dial, out).dc("HT2")[0]) == pytest.approx(283.0, abs=1.5)
    with_dial = [s.supply for s in found.steps if s.dial is not None]
    assert with_dial and max(with_dial) < 283.0
    assert min(s.supply for s in found.steps if s.dial is None) > 283.0
    said = " ".join(firstglow("reform", file, "C2").stdout.split())
    assert "C3 (made for 300 V) would stand too much" in said and "supply of its own" in said


def test_beside_one_of_unknown_rating_there_is_no_dial(tmp_path: Path) -> None:
    file = planted(A, tmp_path, C5='C5 = ["100u electrolytic", "chassis", "bias"]')
    (found,) = answer(file, "C4")
    assert found["dial_limit"]["part"] == "C5" and found["dial_limit"]["rated_volts"] is None
    assert [s["dial_share"] for s in found["steps"]] == [None] * 6
    assert "C5 (whose rating is not in the file)" in " ".join(firstglow("reform", file, "C4").stdout.split())


def test_what_stands_at_next_to_nothing_is_formed_on_a_battery() -> None:
    """A cathode bypass: 9 V, in steps that are told apart, and a resistor that is sold."""
    amplifier = load(EXAMPLES / "b-hazel-four.toml")
    (found,) = reform(amplifier, ["C4"])  # 47 uF 25 V at some 2 V
    assert found.meets < 5.0 and found.target == 9.0
    assert np.diff([s.supply for s in found.steps]).min() > 0.5
    assert all(s.dial is None for s in found.steps)
    said = firstglow("reform", EXAMPLES / "b-hazel-four.toml", "C4").stdout
    assert "0.9 V" in said and " 0 V " not in said and "0.0 W" not in said
