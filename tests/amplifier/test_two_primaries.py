"""One transformer written four ways: its windings give the same volts however its primaries are said to lie."""

import pytest

from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier

MAINS = """
J9 = ["inlet", "line", "neutral", "earth"]
W9 = ["wire", "earth", "chassis"]
F1 = ["fuse 2A slow", "line", "hot"]
"""
PRIMARIES = {
    "one of 220 V": (220.0, 'primary = "220V 16R", "primary 1" = "hot", "primary 2" = "neutral"'),
    "one of 110 V": (110.0, 'primary = "110V 4R", "primary 1" = "hot", "primary 2" = "neutral"'),
    "two in series": (
        220.0,
        'primarya = "110V 8R", primaryb = "110V 8R", "primarya 1" = "hot", "primarya 2" = "T1 primaryb 1", "primaryb 2" = "neutral"',
    ),
    "two beside each other": (
        110.0,
        (
            'primarya = "110V 8R", primaryb = "110V 8R", "primarya 1" = "hot", "primarya 2" = "neutral", '
            '"primaryb 1" = "hot", "primaryb 2" = "neutral"'
        ),
    ),
}


def written(way: str) -> Amplifier:
    mains, primaries = PRIMARIES[way]
    return load(f"""
format = 1
amplifier = {{ name = "Four Ways", drawing = "own", mains = "{mains:g}V 50Hz" }}
[parts]
{MAINS}
T1 = ["mains transformer", {{ {primaries}, heat = "6.3V 4A 0R05 ct", volt_amps = 88 }}]
V1 = ["6V6GT", {{ plate = "1k HT", screen = "HT", cathode = "300R chassis", grid = "100k chassis", heater = "T1 heat" }}]
R9 = ["100k", "HT", "chassis"]
""")


@pytest.mark.parametrize("way", PRIMARIES)
def test_the_open_heater_winding(way: str) -> None:
    """88 VA at 220 V are 0.4 A; through 16 ohm they drop 6.4 V, 2.909 %. The winding's own 4 A through 0.05 ohm drop 0.2 V: open, the
    6.3 V are (6.3 + 0.2) / (1 - 0.02909) = 6.6948 V (marked volts are those under load)."""
    heat = [w for w in written(way).parts["T1"].windings if w.name.startswith("heat")]
    assert sum(w.turns.value for w in heat) == pytest.approx(6.5 / (1.0 - 0.4 * 16.0 / 220.0), rel=1e-9)


def test_default_ohms_of_two_beside_each_other() -> None:
    """Beside each other they make up one of the same volts: each has twice its ohms."""
    amplifier = {}
    for way in ("one of 110 V", "two beside each other"):
        mains, primaries = PRIMARIES[way]
        PRIMARIES["bare"] = mains, primaries.replace(" 4R", "").replace(" 8R", "")
        amplifier[way] = [w.ohms.value for w in written("bare").parts["T1"].windings if w.name.startswith("primary")]
    assert amplifier["two beside each other"] == pytest.approx([2.0 * amplifier["one of 110 V"][0]] * 2)
