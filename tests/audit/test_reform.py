"""``firstglow reform``: the leak's limits by the published formula, the charge by scipy, the dial by the standing solution."""

import json
import math
import subprocess
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from at_hand import firstglow
from firstglow import schemas
from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.audit.reform import reform
from firstglow.markings.incoming import leak_test
from firstglow.solver.circuit import compile_circuit

ROOT = Path(__file__).parent.parent.parent
A, B, C = (ROOT / "examples" / f"{n}.toml" for n in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty"))


def command(*words: str | Path, code: int = 0) -> subprocess.CompletedProcess[str]:
    return firstglow("reform", *words, code=code)


def answer(*words: str | Path) -> Any:
    document = json.loads(command(*words, "--json").stdout)
    jsonschema.validate(document, schemas.load("reform"))
    return document


def test_limits_are_the_published_ones_and_the_resistor_s() -> None:
    """JAN-C-62 (seen quoted): mA = k uF + 0.3, k 0.01 to 100 V, 0.02 to 250, 0.025 to 350, 0.04 to 450; restorers hold a short
    to 5 mA (90 kohm at 450 V). By hand for the 47 uF of example (c)."""
    (found,) = reform(load(C), ["C2"])
    assert 4e-3 < found.target / found.ohms <= 5e-3
    assert found.watts == pytest.approx(2.0 * found.target**2 / found.ohms)
    for step in found.steps:
        k = next(v for most, v in ((100.0, 0.01), (250.0, 0.02), (350.0, 0.025), (1e9, 0.04)) if step.supply <= most)
        jan = (k * 47.0 + 0.3) * 1e-3
        jan /= 1.0 + jan * found.ohms / step.supply  # a leak in proportion to its volts: the resistor takes its share
        assert step.give_up_amps == pytest.approx(min(jan, 0.5 * step.supply / found.ohms))
        assert step.go_on_amps == pytest.approx(min(jan, 0.1 * step.supply / found.ohms))
        assert step.go_on < step.give_up < step.supply
    assert found.steps[-1].supply == found.target
    # the same as ``incoming`` lets an old one of its kind leak there: one limit
    test = leak_test("electrolytic", "old", 47e-6, found.target, series_ohms=found.ohms, meter_ohms=1e12)
    assert found.steps[-1].give_up == pytest.approx(test.reject_volts)


def test_the_drop_is_the_leak_s_alone_when_it_says_so() -> None:
    """Supply, resistor, capacitor beside a leak that just lets it go on, integrated by scipy: by then the charge adds a tenth at
    most, and at half of it still more than that."""
    (found,) = reform(load(C), ["C2"])
    before = 0.0
    for step in found.steps:
        leak = (step.supply - step.go_on) / step.go_on_amps

        def rate(_: float, v: np.ndarray, supply: float = step.supply, leak: float = leak) -> np.ndarray:
            return np.asarray(((supply - v) / found.ohms - v / leak) / found.farads)

        run = solve_ivp(rate, (0.0, step.alone), [before], rtol=1e-8, atol=1e-8, dense_output=True)
        assert step.at_once == pytest.approx(step.supply - before)
        late, early = (step.supply - float(run.sol(t)[0]) for t in (step.alone, 0.5 * step.alone))
        assert late < 1.12 * step.go_on
        assert early > 1.12 * step.go_on
        before = step.supply - step.go_on


def test_the_dial_gives_those_volts_with_the_valves_out() -> None:
    """The standing solution at each dial, solved for itself; a rectifier valve's rail has no dial."""
    a = load(C)
    (found,) = reform(a, ["C2"])
    circuit = compile_circuit(a)
    out = frozenset(str(p.envelope) for p in a.of_kind("valve"))
    for step in found.steps:
        assert step.dial is not None
        standing = circuit.solve(circuit.vector(Situation(step.dial * a.mains_volts, out=out)))
        assert float(standing.dc("HT1")[0]) == pytest.approx(step.supply, rel=0.01)
    (valve,) = reform(load(A), ["C1"])
    assert valve.behind_valve
    assert all(s.dial is None for s in valve.steps)


def test_an_old_one_is_found_by_its_note_and_never_goes_past_what_it_is_made_for(tmp_path: Path) -> None:
    """Planted: the reservoir of example (c) 350 V and called original."""
    text = C.read_text()
    line = next(one for one in text.splitlines() if one.startswith("C2 = "))
    planted = tmp_path / C.name
    planted.write_text(text.replace(line, 'C2 = ["47u 350V", "HT1", "chassis", { note = "original, 1961" }]'))
    (found,) = answer(planted)["parts"]
    assert (found["part"], found["target_volts"]) == ("C2", 350.0)
    assert found["meets_volts"] > 450.0
    said = command(planted).stdout
    assert "renew it" in said
    assert max(map(len, said.splitlines())) <= 80
    for caution in ("High voltage kills", "below 10 V", "one hand"):
        assert caution in said


def test_nothing_old_is_said_and_what_is_no_electrolytic_refused() -> None:
    assert answer(B)["parts"] == []
    assert "Name one" in command(B).stdout
    for name, near in (("C3", "C1a"), ("R1", "C1a"), ("C99", "C6")):  # each an electrolytic of the file
        refused = command(B, name, code=2)
        assert name in refused.stderr
        assert f"try {near}" in refused.stderr
        assert refused.stdout == ""


def test_seconds_of_the_first_step_by_hand() -> None:
    """RC ln(10): charge from empty down to a tenth of the tenth that is let pass."""
    (found,) = reform(load(C), ["C2"])
    assert found.steps[0].alone == pytest.approx(found.ohms * 47e-6 * math.log(100.0), rel=1e-6)
