"""Bad rectifiers, whose legs conduct at the same moments as their neighbours', mains to load, against a cycle integrated by
scipy (``second_solutions.waveform``, which imports nothing of the package) with every ohm of mains, lamp, windings and diodes
there at once. The lamp is as hot as the solution under test has it."""

from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.circuit import compile_circuit
from second_solutions.waveform import Cycle, Leg, Mains, settle

FILE = """format = 1
fragment = true
amplifier = { name = "Supply", drawing = "a bench sketch", mains = "230V 50Hz" }

[parts]
J1 = ["inlet", "line", "neutral", "earth"]
W1 = ["wire", "earth", "chassis"]
T1 = ["mains transformer", { primary = "230V 14R", ht = "300-0-300V 150m 85+85R" }, { "primary 1" = "line", \
"primary 2" = "neutral" }]
D1 = ["1N4007", "T1 ht 1", "HT1"]
D2 = ["1N4007", "T1 ht 2", "HT1"]
C1 = ["16u 500V", "HT1", "chassis"]
R1 = ["4k 50W", "HT1", "chassis"]
"""


class Junction:
    """Shockley's junction with series ohms, either way round."""

    def __init__(self, ohms: float, sense: float = 1.0) -> None:
        self.ohms, self.sense = ohms, sense

    def amps(self, volts: float) -> tuple[float, float]:
        u = self.sense * volts
        if u <= 0.0:
            return 0.0, 0.0
        i = max(0.0, (u - 0.8) / self.ohms)
        low, high = 0.0, u / self.ohms
        for _ in range(80):
            f = 0.0478 * np.log1p(i / 1.24e-8) + self.ohms * i - u
            low, high = (low, i) if f > 0.0 else (i, high)
            slope = 0.0478 / (i + 1.24e-8) + self.ohms
            new = i - f / slope
            new = new if low < new < high else 0.5 * (low + high)
            if abs(new - i) < 1e-13 + 1e-12 * i:
                break
            i = new
        return self.sense * i, 1.0 / slope


class Short:
    """A shorted diode behind its winding's ohms; forward it keeps a junction's drop, as the solver counts it."""

    def __init__(self, ohms: float) -> None:
        self.ohms, self.forward = ohms, Junction(ohms)

    def amps(self, volts: float) -> tuple[float, float]:
        return (volts / self.ohms, 1.0 / self.ohms) if volts < 0.0 else self.forward.amps(volts)


@pytest.mark.parametrize("lamp", [None, 15.0, 100.0])
@pytest.mark.parametrize("mode", ["shorted", "reversed"])
def test_full_wave_with_one_bad_diode(mode: str, lamp: float | None, tmp_path: Path) -> None:
    file = tmp_path / "supply.toml"
    file.write_text(FILE, encoding="utf-8")
    circuit = compile_circuit(load(file))
    p = circuit.vector(Situation(230.0, lamp_watts=lamp), [Fault("D1", mode)])
    p[circuit.column["T1 magnetising_amps"]] = 1e-9  # the integrated core has none
    standing = circuit.solve(p)
    v = {name: float(standing.x[k, 0]) for k, name in enumerate(circuit.unknowns)}
    v |= {q.name: float(standing.values[k, 0]) for k, q in enumerate(circuit.parameters)}
    ohms = [v[f"T1 {w} ohms"] + v[f"D{n} series_ohms"] for n, w in ((1, "ht a"), (2, "ht b"))]
    bad = Short(ohms[0]) if mode == "shorted" else Junction(ohms[0], -1.0)
    legs = [Leg(v["T1 ht a turns"] / 230.0, bad, 0), Leg(-v["T1 ht b turns"] / 230.0, Junction(ohms[1]), 0)]
    mains = Mains(230.0, 50.0, 0.03 + v["lamp ohms"] + v["T1 primary ohms"], v["T1 core_loss_watts"] / 230.0**2, 0.0)
    found = settle(mains, legs, lambda y, into: [(into[0] - y[0] / 4e3) / v["C1 farads"]], [v["dc HT1"]])
    rms = found.rms(found.core) * v["T1 ht a turns"] / 230.0
    for n in (1, 2):
        # the 0.5 % of half-wave supplies and unequal legs, of the winding's volts: dc is what is left of two pulses
        mean = found.mean(found.legs[n - 1])
        assert float(standing.part(f"D{n}")["amps"][0]) == pytest.approx(mean, rel=0.01, abs=0.005 * rms / 4e3)
    assert v["dc HT1"] == pytest.approx(found.mean(found.states[0]), abs=0.005 * rms)
    line: Cycle = found
    amps = (np.sqrt(2) * 230.0 * np.sin(2 * np.pi * 50 * line.times) - line.core) / mains.ohms
    power = line.mean(amps * np.sqrt(2) * 230.0 * np.sin(2 * np.pi * 50 * line.times))
    assert float(np.asarray(standing.books.given_watts)[0]) == pytest.approx(power, rel=0.01)
