"""A dc heater supply as drawn: what brings its heater to its mark, and a diode that its first charge is too much for."""

import pytest

from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.audit.parts import audit, document
from firstglow.solver.circuit import compile_circuit

FILE = """format = 1
amplifier = { name = "Dc line", drawing = "test", mains = "230V 50Hz" }
[parts]
T1 = ["mains transformer", { primary = "230V 12R", ht = "250V 30m 150R", "ht 2" = "chassis" }, { dch = "9V 1A 0R35" }]
D5 = ["1N4007", "T1 ht 1", "HT1"]
C1 = ["22u 450V", "HT1", "chassis"]
R1 = ["100k 3W", "HT1", "chassis"]
D1 = ["1N4001", "T1 dch 1", "dc+"]
D2 = ["1N5400", "T1 dch 2", "dc+"]
D3 = ["1N5400", "chassis", "T1 dch 1"]
D4 = ["1N5400", "chassis", "T1 dch 2"]
C4 = ["10000u 25V", "dc+", "chassis"]
R5 = ["10R 5W", "dc+", "h+"]
V1 = ["EF86", { plate = "220k HT1", screen = "1M HT1", cathode = "2k2 chassis", grid = "1M chassis", heater = ["h+", "chassis"] }]
"""


def heater_volts(text: str) -> float:
    circuit = compile_circuit(load(text))
    return float(circuit.solve(circuit.vector(Situation(230.0))).dc("h+")[0])


@pytest.fixture(scope="module")
def parts() -> dict[str, dict[str, object]]:
    return {p["part"]: p for p in document(audit(load(FILE)))["parts"]}


def test_the_resistor_that_feeds_it_is_named_and_brings_it_there(parts: dict[str, dict[str, object]]) -> None:
    """9 V rms less two diodes and 0.37 ohm leave some 11 V; 200 mA at 6.3 V (EF86) then want (11 - 6.3) / 0.2 = 23.6 ohm: E24 has
    24. A heater within 5 % of its mark is where a maker wants it (common practice)."""
    assert heater_volts(FILE) > 1.1 * 6.3
    told = parts["V1 heater"]["proposal"]["what"]  # type: ignore[index]
    assert told.startswith("24 Ω") and "in place of R5 (10 Ω)" in told and "primary" not in told
    assert heater_volts(FILE.replace("10R 5W", "24R 5W")) == pytest.approx(6.3, rel=0.05)


def test_a_diode_past_its_surge_is_not_replaced_by_its_like(parts: dict[str, dict[str, object]]) -> None:
    """Its crest over the winding's own ohms, 1.1 x 9.4 x 1.41 / 0.37 = 39 A, is past the 30 A of a 1N4001 (maker's sheet, from
    memory); the 3 A type stands three times that."""
    stress = next(s for s in parts["D1"]["stresses"] if s["stress"] == "surge amps at switch-on")  # type: ignore[attr-defined]
    assert stress["value"] == pytest.approx(39.0, rel=0.03) and stress["verdict"] == "unfit"
    assert "1N5408" in parts["D1"]["proposal"]["what"]  # type: ignore[index]
    assert parts["D2"]["verdict"] == "fit"
