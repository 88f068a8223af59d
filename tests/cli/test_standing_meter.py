"""``firstglow standing --meter``: what a meter of the bench shows of each joint, itself across it."""

import json
from pathlib import Path

import pytest

from at_hand import firstglow

TEXT = """format = 1
fragment = true
amplifier = {{ name = "Divider", drawing = "test" }}
[parts]
B1 = ["supply 100V", "plus", "chassis"]
R1 = ["{ohms}", "plus", "middle"]
R2 = ["{ohms}", "middle", "chassis"]
"""


@pytest.mark.parametrize("ohms", [100e3, 1e6])
def test_a_moving_coil_meter_loads_a_divider(ohms: float, tmp_path: Path) -> None:
    """50 V behind R/2: 20 kohm/V on the range it stands on leaves 50 Rm / (Rm + R/2); 10 Mohm, 50 x 10 / (10 + R/2)."""
    file = tmp_path / "d.toml"
    file.write_text(TEXT.format(ohms=f"{ohms / 1e3:.0f}k"), encoding="utf-8")
    for meter, per_volt in (("20k", 20e3), ("digital", None)):
        told = json.loads(firstglow("standing", file, "--meter", meter, "--json").stdout)["joints"]["middle"]
        assert told["dc"] == pytest.approx(50.0, rel=1e-3)
        full = float(told["range"].split()[0])
        own = per_volt * full if per_volt else 10e6
        shown = float(told["shown"].split()[0])
        # within half of what the scale can be read to: a fiftieth of it, or a count
        assert shown == pytest.approx(50.0 * own / (own + ohms / 2), abs=full / 100 if per_volt else 0.06)
    text = firstglow("standing", file, "--meter", "20k").stdout
    assert max(map(len, text.splitlines())) <= 80, max(text.splitlines(), key=len)
    assert "itself across it" in text
