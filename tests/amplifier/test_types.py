"""The reader's valve types (bases.toml, from tools/make_bases.py) and the catalogue's: one and the same valve to both."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from firstglow.amplifier import load
from firstglow.amplifier.bases import bases, find
from firstglow.amplifier.model import AmplifierError
from firstglow.amplifier.situation import Situation
from firstglow.devices.catalogue import type_names, valve_type
from firstglow.solver.circuit import compile_circuit

HEAD = """format = 1
fragment = true
amplifier = { name = "one valve", drawing = "test" }
[parts]
"""
RECTIFIED = """format = 1
amplifier = { name = "a supply", drawing = "test", mains = "230V 50Hz" }
[parts]
T1 = ["mains transformer", { primary = "230V 6R", rect = "5V 2A", ht = "300-0-300V 100m 90+90R" }, { "ht ct" = "chassis" }]
V1 = ["80", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "HT1", heater = "T1 rect" }]
C1 = ["8u 500V", "HT1", "chassis"]
R1 = ["10k 20W", "HT1", "chassis"]
"""
ROOT = Path(__file__).parent.parent.parent


def test_table_is_what_the_tool_writes() -> None:
    data = ROOT / "src" / "firstglow" / "devices" / "data"
    tool = [sys.executable, "tools/make_bases.py", str(data / "valves.toml"), str(data / "variants.toml")]
    written = subprocess.run(tool, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert tomllib.loads(written) == tomllib.loads((ROOT / "src/firstglow/amplifier/bases.toml").read_text("utf-8"))


def test_every_type_with_a_law_can_be_written_in_a_file() -> None:
    """Under its own name and every designation, with the catalogue's heater, warm-up and pins."""
    assert set(type_names()) == set(bases())
    for name in type_names():
        valve, base = valve_type(name), find(name)
        assert base is not None and base.name == name
        assert [(h.volts, h.amps) for h in valve.heaters] == list(base.heaters), name
        assert valve.warmup_s == base.warmup_s and valve.heater_pins == base.heater_pins, name
        assert valve.cathode_joined_to_heater == base.joined and (valve.heating == "direct") == base.direct, name
        for word in valve.designations:
            if " (" not in word and "/" not in word:
                assert find(word).name == valve_type(word).name, (name, word)


def test_variants_are_valves_of_their_own() -> None:
    """From memory: 6B4G, 6.3 V 1 A on an octal base, filament 2 and 7, plate 3, grid 5 (RCA RC-30); 2A3, 2.5 V 2.5 A; E88CC/6922
    300 mA (Philips); 80 and 5Z3, four pins, plates 2 and 3 (RCA RC-30); the 6SN7GTB's 11 s is controlled warm-up, for
    series strings, which the plain 6SN7GT has not."""
    b4 = find("6B4G")
    assert b4.heaters == ((6.3, 1.0),) and b4.heater_pins == (2, 7) and b4.socket.startswith("octal")
    assert (b4.sections[0].pins["plate"], b4.sections[0].pins["grid"]) == ((3,), (5,))
    assert find("2A3").heaters == ((2.5, 2.5),)
    assert find("6922").heaters == ((6.3, 0.3),) and find("6DJ8").name == "6DJ8"
    assert find("80").sections[0].pins["plate 1"] + find("80").sections[0].pins["plate 2"] == (3, 2)
    assert find("6L6").name == find("6l6g").name == "6L6G" and find("6L6GC").name == "6L6GC"
    assert find("6SN7").name == "6SN7GT"  # short of its suffix: the lower rated of the two
    assert find("6SN7GT").warmup_s > find("6SN7GTB").warmup_s
    assert find("5U4") is None  # 5U4G and 5U4GB are two valves: asked, not guessed


@pytest.mark.parametrize("value", ["80", "80 5W", "7027 2W", "6922"])
def test_a_number_of_a_resistor_is_no_valve(value: str) -> None:
    """80, 7027 and 6922 are valves too; on an R they are ohms without their letter, and the remedy says so."""
    text = HEAD + f'B1 = ["supply 250V 0.01R", "HT", "chassis"]\nR1 = ["{value}", "HT", "chassis"]\n'
    number, *rest = value.split()
    with pytest.raises(AmplifierError, match=rf"'{number}' has no unit.*try \"{' '.join([number + 'R', *rest])}\""):
        load(text)
    assert load(text.replace(f'"{value}"', f'"{number}R"')).parts["R1"].value("ohms") == float(number)
    assert load(RECTIFIED).parts["V1"].type == "80"


@pytest.mark.parametrize(("written", "heater"), [("6B4G", "6.3V"), ("2A3", "2.5V")])
def test_a_variant_stands_on_its_chief_types_law(written: str, heater: str) -> None:
    """RCA RC-30, 2A3 and 6B4G alike: 250 V, -45 V, 60 mA (from memory; 10 %, the facts' tolerance)."""
    text = (
        HEAD
        + f"""B1 = ["supply 250V 0.01R", "HT", "chassis"]
B2 = ["supply 45V 0.01R", "chassis", "V1 grid"]
B3 = ["supply {heater} 50Hz", "f1", "f2"]
V1 = ["{written}", {{ plate = "HT", cathode = "chassis", heater = ["f1", "f2"] }}]
"""
    )
    amplifier = load(text)
    circuit = compile_circuit(amplifier)
    standing = circuit.solve(circuit.vector(Situation(mains_volts=amplifier.mains_volts)))
    assert float(standing.part("V1")["plate_amps"][0]) == pytest.approx(0.060, rel=0.10)
    assert any(q.name == f"type {written} perveance" for q in circuit.parameters)


@pytest.mark.parametrize(
    ("word", "amps", "volts"), [("1N4003", 1.0, 200.0), ("1N5404", 3.0, 400.0), ("uf4005", 1.0, 600.0)]
)
def test_diodes_of_a_registered_series(word: str, amps: float, volts: float, tmp_path: Path) -> None:
    """JEDEC 1N4001 to 1N4007 (50, 100, 200, 400, 600, 800, 1000 V), 1N5400 to 1N5408 (500 V is the 1N5405), from memory; one
    that is not known is asked for by its figures, not taken for a resistor."""
    file = tmp_path / "diode.toml"
    text = HEAD + 'R1 = ["1k", "a", "chassis"]\nR2 = ["1k", "a", "chassis"]\nD1 = ["WORD", "a", "chassis"]\n'
    file.write_text(text.replace("WORD", word), encoding="utf-8")
    values = load(file).parts["D1"].values
    assert (values["amps"].value, values["volts"].value) == (amps, volts)
    file.write_text(text.replace("WORD", "BY127"), encoding="utf-8")
    with pytest.raises(AmplifierError, match=r'no diode known here.*try "silicon 1A 1000V"'):
        load(file)
    file.write_text(text.replace("WORD", "silicon 1A 1000V"), encoding="utf-8")
    assert load(file).parts["D1"].values["volts"].value == 1000.0
