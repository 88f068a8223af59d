"""Example (b) with another HT supply: forms of rectifier that no example has, as whole amplifiers."""

from collections.abc import Mapping
from pathlib import Path

from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier

EXAMPLE = Path(__file__).parents[2] / "examples" / "b-hazel-four.toml"
HALVES = "250-0-250V 70m 190+198R"
UNEQUAL = {"ht": "250-0-235V 70m 190+240R"}
RESERVOIR = 'C1 = ["50+50u 450V", "HT1", "HT2", "chassis"]'
CHOKE = 'L1 = ["choke 12H 90m 210R", "bridge", "HT1"]\n' + RESERVOIR
VALVE = 'V3 = ["EZ80", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "%s", heater = "T1 heat" }]'
PAIR = 'D1 = ["1N4007", "T1 ht 1", "%s"]\nD2 = ["1N4007", "T1 ht 2", "%s"]'
BRIDGE = PAIR % ("HT1", "HT1") + '\nD3 = ["1N4007", "chassis", "T1 ht 1"]\nD4 = ["1N4007", "chassis", "T1 ht 2"]'
SUPPLIES: Mapping[str, tuple[Mapping[str, str], str]] = {
    "valve": ({}, VALVE % "HT1" + "\n" + RESERVOIR),
    "valve, legs unequal": (UNEQUAL, VALVE % "HT1" + "\n" + RESERVOIR),
    "valve, choke input": ({"ht": "320-0-320V 70m 190+198R"}, VALVE % "bridge" + "\n" + CHOKE),
    "silicon": ({}, PAIR % ("HT1", "HT1") + "\n" + RESERVOIR),
    "silicon, choke input": ({"ht": "320-0-320V 70m 190+198R"}, PAIR % ("bridge", "bridge") + "\n" + CHOKE),
    "bridge": ({"ht": "250V 70m 190R"}, BRIDGE + "\n" + RESERVOIR),
    "half wave": ({"ht": "250V 70m 190R", "lead": "ht 2"}, 'D1 = ["1N4007", "T1 ht 1", "HT1"]\n' + RESERVOIR),
    "full-wave doubler": (
        {"ht": "120V 200m 40R", "lead": ""},
        (
            'D1 = ["1N4007", "T1 ht 1", "HT1"]\nD2 = ["1N4007", "chassis", "T1 ht 1"]\n'
            'C7 = ["100u 250V", "HT1", "T1 ht 2"]\nC8 = ["100u 250V", "T1 ht 2", "chassis"]\n'
            'R15 = ["220k 1W", "HT1", "T1 ht 2"]\nR16 = ["220k 1W", "T1 ht 2", "chassis"]\n'
            'C1 = ["50u 450V", "HT2", "chassis"]'
        ),
    ),
    "cascade doubler": (
        {"ht": "120V 200m 40R", "lead": "ht 2"},
        'C7 = ["100u 250V", "pump", "T1 ht 1"]\nD1 = ["1N4007", "pump", "HT1"]\nD2 = ["1N4007", "chassis", "pump"]\n'
        + RESERVOIR,
    ),
}


def text(name: str) -> str:
    """The amplifier file of a variant."""
    words, supply = SUPPLIES[name]
    whole = EXAMPLE.read_text(encoding="utf-8")
    start, end = whole.index('V3 = ["EZ80"'), whole.index("R1 = [")
    whole = whole[:start] + supply + "\n" + whole[end:]
    whole = whole.replace("250-0-250V 70m 190+198R", words.get("ht", HALVES))
    if words.get("lead"):
        heat = 'heat = "6.3V 1.7A ct 0R12" }'
        whole = whole.replace(heat, f'{heat}, {{ "{words["lead"]}" = "chassis" }}')
    return whole


def variant(name: str, folder: Path) -> Amplifier:
    """Example (b) with the supply of this name, read from a file in ``folder``."""
    file = folder / f"{name.replace(', ', '-').replace(' ', '-')}.toml"
    file.write_text(text(name), encoding="utf-8")
    return load(file)
