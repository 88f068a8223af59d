"""An HT supply that nothing drawn drains: no word of a bleeder that is not there, and a bleeder that empties it."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from at_hand import built, firstglow
from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.solver.discharge import capacitor_starts, discharge

HERE = Path(__file__).parent.parent
BARE = HERE / "data" / "rowan-nine.toml"
B = HERE.parent / "examples" / "b-hazel-four.toml"


def test_no_text_names_a_bleeder_where_none_is_drawn_except_to_fit_one() -> None:
    made = built(load(BARE), mode="fast").document
    told = re.findall(r"[^.\"]*bleeder[^.\"]*", json.dumps(made))
    assert told
    assert all("Fit a bleeder across C1a" in text for text in told), told
    row = next(r for rung in made["rungs"] for r in rung["readings"] if r["id"] == "4/HT1 fall/shared")
    assert (row["stop_above"], row["stop_below"]) == (None, None)
    assert "Nothing drawn drains this" in row["note_only"]
    (said,) = [line for line in made["findings"] if line.startswith("NO BLEEDER")]
    kept = json.loads(firstglow("discharge", BARE, "--json").stdout)
    offered = next(c["bleeder"] for c in kept["capacitors"] if c["part"] == "C1a")
    text = f"{offered['count']} in series of {offered['each_ohms'] / 1e3:g} kΩ, {offered['each_watts']:g} W"
    assert text in said


def test_the_bleeder_that_is_named_empties_the_supply_within_its_seconds() -> None:
    """Drawn into the file and let fall from 450 V: below 60 V (IEC 62368-1, ES1) within what was said, and no finding more."""
    (said,) = [line for line in built(load(BARE), mode="fast").document["findings"] if line.startswith("NO BLEEDER")]
    count, each, seconds = re.search(r"(\d) in series of (\d+) kΩ.* within (\d+) s", said).groups()
    text = BARE.read_text() + f'R40 = ["{int(count) * int(each)}k 5W 5%", "HT1", "chassis"]\n'
    amplifier = load(text)
    start = capacitor_starts(amplifier, 264.0, lambda joint: np.full(1, 450.0 if joint.startswith("HT") else 0.0))
    fall = discharge(amplifier, Situation(0.0), start, high=True)
    assert max(float(fall.of(c).below_60_s[0]) for c in ("C1a", "C1b", "C2")) <= float(seconds)
    made = built(amplifier, mode="fast").document
    assert not [line for line in made["findings"] if "BLEEDER" in line]
    row = next(r for rung in made["rungs"] for r in rung["readings"] if r["id"] == "4/HT1 fall/shared")
    assert row["stop_above"] is not None
    assert "bleeder open" in row["stop_why"]


@pytest.mark.parametrize(
    ("id_", "value", "word"),
    [("4/HT1 fall/shared", "390", "DO NOT GO ON"), ("4/HT1 after 1 min/shared", "480", "SWITCH OFF NOW")],
)
def test_what_is_read_with_the_power_off_is_not_told_to_be_switched_off(
    tmp_path: Path, id_: str, value: str, word: str
) -> None:
    readings = tmp_path / "r.toml"
    readings.write_text(f'[readings]\n"{id_}" = "{value}"\n')
    out = firstglow("verdict", B, "--readings", readings, code=None, quick=True).stdout
    assert f"✗ {word}" in out
