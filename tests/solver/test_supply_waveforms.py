"""Whole supplies, mains to load, against a cycle integrated by scipy (``second_solutions.waveform``, which imports nothing of
the package): half wave, unequal legs, and a choke input on both sides of the critical current (R/(6 pi f): 3.3 kohm for 8 H at
50 Hz goes either way at 25 kohm and 2.5 kohm); with the primary's resistance, and with a limiter lamp as hot as it stands."""

from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit
from second_solutions.laws import Silicon
from second_solutions.waveform import Cycle, Leg, Mains, settle

HEAD = """format = 1
fragment = true
amplifier = { name = "Supply", drawing = "a bench sketch", mains = "230V 50Hz" }

[parts]
J1 = ["inlet", "line", "neutral", "earth"]
W1 = ["wire", "earth", "chassis"]
T1 = ["mains transformer", { primary = "230V 14R", ht = "%s" }, { "primary 1" = "line", "primary 2" = "neutral"%s }]
D1 = ["1N4007", "T1 ht 1", "%s"]
"""
BOTH = 'D2 = ["1N4007", "T1 ht 2", "%s"]\n'
STRAY = 2e-10  # at the joint before the choke, so that its volts are a state: 10 µA at most go into it


def solved(folder: Path, text: str, lamp: float | None) -> dict[str, float]:
    file = folder / "supply.toml"
    file.write_text(text, encoding="utf-8")
    amplifier = load(file)
    circuit = compile_circuit(amplifier)
    standing = circuit.solve(circuit.vector(Situation(230.0, lamp_watts=lamp)))
    out = {name: float(standing.x[k, 0]) for k, name in enumerate(circuit.unknowns)}
    return out | {q.name: float(standing.values[k, 0]) for k, q in enumerate(circuit.parameters)}


def cycle(v: dict[str, float], halves: list[tuple[str, float]], choke: bool, ohms: float, farads: float) -> Cycle:
    """The settled cycle of the same supply: states HT1, or the joint before the choke, its current and HT1."""
    line = 0.01 + v["lamp ohms"] + v["T1 primary ohms"] + 0.02
    mains = Mains(230.0, 50.0, line, v["T1 core_loss_watts"] / 230.0**2, 0.0)
    legs = [
        Leg(
            sign * v[f"T1 {w} turns"] / 230.0,
            Silicon(0.0478, 1.24e-8, v[f"T1 {w} ohms"] + v[f"D{n + 1} series_ohms"]),
            0,
        )
        for n, (w, sign) in enumerate(halves)
    ]
    if not choke:
        return settle(mains, legs, lambda y, into: [(into[0] - y[0] / ohms) / farads], [v["dc HT1"]])

    def rates(y: np.ndarray, into: list[float]) -> list[float]:
        return [(into[0] - y[1]) / STRAY, (y[0] - 110.0 * y[1] - y[2]) / 8.0, (y[1] - y[2] / ohms) / farads]

    return settle(mains, legs, rates, [v["dc HT1"], v["dc HT1"] / ohms, v["dc HT1"]])


@pytest.mark.parametrize("lamp", [None, 100.0], ids=["no lamp", "100 W lamp"])
@pytest.mark.parametrize("name", ["half wave", "unequal legs", "full wave"])
def test_capacitor_input(name: str, lamp: float | None, tmp_path: Path) -> None:
    one = name == "half wave"
    winding = {"half wave": "300V 100m 85R", "unequal legs": "300-0-280V 150m 85+120R"}.get(
        name, "300-0-300V 150m 85+85R"
    )
    text = HEAD % (winding, ', "ht 2" = "chassis"' if one else "", "HT1") + ("" if one else BOTH % "HT1")
    text += 'C1 = ["16u 500V", "HT1", "chassis"]\nR1 = ["4k 50W", "HT1", "chassis"]\n'
    v = solved(tmp_path, text, lamp)
    halves = [("ht", 1.0)] if one else [("ht a", 1.0), ("ht b", -1.0)]
    found = cycle(v, halves, False, 4e3, v["C1 farads"])
    # issue: 0.3 % full wave, 0.5 % half wave and unequal legs
    assert v["dc HT1"] == pytest.approx(found.mean(found.states[0]), rel=0.003 if name == "full wave" else 0.005)


@pytest.mark.parametrize("lamp", [None, 100.0], ids=["no lamp", "100 W lamp"])
@pytest.mark.parametrize("ohms", [2.5e3, 25e3], ids=["above critical", "below critical"])
def test_choke_input(ohms: float, lamp: float | None, tmp_path: Path) -> None:
    text = HEAD % ("300-0-300V 150m 85+85R", "", "rectified") + BOTH % "rectified"
    text += 'L1 = ["choke 8H 160m 110R", "rectified", "HT1"]\nC1 = ["47u 500V", "HT1", "chassis"]\n'
    text += f'R1 = ["{ohms / 1e3:g}k 50W", "HT1", "chassis"]\n'
    v = solved(tmp_path, text, lamp)
    found = cycle(v, [("ht a", 1.0), ("ht b", -1.0)], True, ohms, v["C1 farads"])
    broken = bool((found.states[1] < 1e-3).any())
    assert broken == (ohms > 1e4)
    assert v["dc HT1"] == pytest.approx(found.mean(found.states[2]), rel=0.005)
