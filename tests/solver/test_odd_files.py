"""Small files that once went wrong: each stands, and its proof holds."""

from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.standing import Standing

EXAMPLES = Path(__file__).parents[2] / "examples"
HEAD = 'format = 1\nfragment = true\namplifier = { name = "Odd one", drawing = "a bench sketch" }\n\n[parts]\n'


def read(folder: Path, parts: str) -> Amplifier:
    file = folder / "odd.toml"
    file.write_text(HEAD + parts, encoding="utf-8")
    return load(file)


def stands(amplifier: Amplifier) -> Standing:
    circuit = compile_circuit(amplifier)
    standing = circuit.solve(circuit.vector(Situation(amplifier.mains_volts)))
    assert standing.settled.all()
    return standing


IN_SERIES = [("series", 12.6, "50Hz"), ("series", 12.6, "")]


@pytest.mark.parametrize(("connection", "volts", "hertz"), [*IN_SERIES, ("parallel", 6.3, "50Hz")])
def test_a_centre_tapped_heater_fed_from_its_ends(tmp_path: Path, connection: str, volts: float, hertz: str) -> None:
    """12AX7: 12.6 V at 0.15 A in series, 6.3 V at 0.3 A in parallel (every maker's sheet)."""
    heater = f'heater = ["heat", "chassis"], heater_connection = "{connection}"'
    supply = f"supply {volts}V {hertz}".strip()
    found = stands(read(tmp_path, f"""
B1 = ["supply 280V 100R", "HT", "chassis"]
B2 = ["{supply}", "heat", "chassis"]
V1a = ["12AX7", {{ plate = "150k HT", cathode = "1k8 chassis", grid = "1M chassis", {heater} }}]
"""))  # fmt: skip
    assert found.part("V1 heater")["watts"][0] == pytest.approx(12.6 * 0.15, rel=0.01)
    assert found.part("V1a")["heater_volts"][0] == pytest.approx(volts, rel=0.01)


@pytest.mark.parametrize("ends", ['["heat", "chassis"]', '["chassis", "heat"]'])
def test_a_directly_heated_valve_with_either_end_on_chassis(tmp_path: Path, ends: str) -> None:
    """The cathode is the filament: drawn on either end, it is joined there, and the supply is not shorted."""
    found = stands(read(tmp_path, f"""
B1 = ["supply 250V 10R", "HT", "chassis"]
B2 = ["supply 2.5V 50Hz", "heat", "chassis"]
B3 = ["supply 45V", "chassis", "bias"]
V1 = ["2A3", {{ plate = "HT", grid = "100k bias", cathode = "chassis", heater = {ends} }}]
"""))  # fmt: skip
    assert found.part("V1 heater")["heater_volts"][0] == pytest.approx(2.5, rel=0.02)
    # RCA: 250 V, -45 V, 60 mA; another fit's spread of one operating point is 15 %
    assert found.part("V1")["plate_amps"][0] == pytest.approx(60e-3, rel=0.15)


@pytest.mark.parametrize("rectifiers", [
    'D1 = ["1N4007", "leg 1", "HT1"]\nD2 = ["1N4007", "leg 2", "HT1"]',
    ('V3 = ["EZ80", { plate1 = "leg 1", plate2 = "leg 2", cathode = "HT1", heater = ["heat", "HT1"] }]\n'
    'B3 = ["supply 6.3V 50Hz", "heat", "HT1"]'),
], ids=["silicon", "valve"])  # fmt: skip
def test_a_rectifier_fed_from_two_ac_supplies(tmp_path: Path, rectifiers: str) -> None:
    found = stands(read(tmp_path, f"""
B1 = ["supply 300V 50Hz 90R", "leg 1", "chassis"]
B2 = ["supply 300V 50Hz 90R", "chassis", "leg 2"]
{rectifiers}
C1 = ["32u 500V", "HT1", "chassis"]
R1 = ["3k 50W", "HT1", "chassis"]
"""))  # fmt: skip
    # between 0.9 and sqrt2 times the rms; the same current through both
    assert 0.9 * 300.0 < found.dc("HT1")[0] < 2.0**0.5 * 300.0
    assert found.part("B1")["amps"][0] == pytest.approx(-found.part("B2")["amps"][0], rel=1e-6)
    assert found.power_balance[0] < 1e-8


@pytest.mark.parametrize("name", ["a", "b", "c"])
def test_any_primary_resistance_with_and_without_a_lamp(name: str) -> None:
    """The lamp's harmonics once would not settle at some small primary ohms and did at others."""
    amplifier = load(next(EXAMPLES.glob(f"{name}-*.toml")))
    circuit = compile_circuit(amplifier)
    columns = []
    for ohms in np.geomspace(0.02, 30.0, 12):
        for lamp in (None, 40.0):
            columns.append(circuit.vector(Situation(amplifier.mains_volts, lamp_watts=lamp)))
            columns[-1][circuit.column["T1 primary ohms"]] = ohms
    standing = circuit.solve(np.stack(columns, axis=1), thorough=False)
    assert standing.settled.all()
    # less resistance, more HT: no jump between neighbours
    for lamp in (0, 1):
        assert np.all(np.diff(standing.dc("HT1")[lamp::2]) < 0.0)
