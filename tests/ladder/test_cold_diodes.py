"""A shorted diode is seen cold: no diode may go unread before the first turn of the dial.

By hand, a 6.3 V winding of 0.25 ohm and 1.2 A behind a bridge, one diode shorted (0.1 ohm), the other of that half wave
good (0.8 V, 0.04 ohm): at 30 % of the mains the crest is 0.3 * 6.3 * 1.414 = 2.67 V and drives 1.87 / 0.39 = 4.8 A; over
the whole cycle 2.67 / 0.39 * sqrt(0.635 / 6.28) = 2.2 A rms, near twice its amps; at full mains eight times. Only the
cold row is earlier.
"""

from functools import cache
from pathlib import Path

import pytest
from paper import PaperPhysics

from at_hand import built
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.ladder import rung_cold
from firstglow.ladder.gear import Gear
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.plan import frame_of
from firstglow.readings.taken import Taken, TakenFile
from firstglow.readings.verdict import judge
from structure.topologies import topology

TEXT = (Path(__file__).parents[2] / "examples" / "b-hazel-four.toml").read_text(encoding="utf-8")
DC = """V1 = ["EF86", { heater = ["dch", "chassis"] }]
D1 = ["silicon 50V 3A", "T1 dc 1", "dch"]
D2 = ["silicon 50V 3A", "T1 dc 2", "dch"]
D3 = ["silicon 50V 3A", "chassis", "T1 dc 1"]
D4 = ["silicon 50V 3A", "chassis", "T1 dc 2"]
CD = ["4700u 16V", "dch", "chassis"]"""


@cache
def dc_heated(meter: str) -> Ladder:
    text = TEXT.replace('ct 0R12"', 'ct 0R12", dc = "6.3V 1.2A 0R25"')
    return built(load(text.replace('V1 = ["EF86", { heater = "T1 heat" }]', DC)), meter=meter, mode="fast")


def unread(amplifier: Amplifier) -> list[str]:
    """Diodes without a cold row that the hold needs and that stops at a short."""
    rung = rung_cold.rung(frame_of(amplifier, Gear(amplifier.mains_volts), PaperPhysics(amplifier)))
    pairs = [{r.probe.red, r.probe.black} for r in rung.readings if r.probe.quantity == "ohms" and r.needs and r.stops]
    return [d.name for d in amplifier.of_kind("diode") if set(d.leads.values()) not in pairs]


def test_every_diode_is_needed_cold() -> None:
    seen = 0
    for seed in range(60):
        amplifier = topology(seed)[1]
        seen += len(amplifier.of_kind("diode"))
        assert not unread(amplifier), seed
    assert seen > 100


@pytest.mark.parametrize("n", [1, 2, 3, 4])
@pytest.mark.parametrize("meter", ["digital", "20k", "1k"])
def test_a_shorted_diode_of_a_heater_bridge_is_a_switch_off(meter: str, n: int) -> None:
    made = dc_heated(meter).expected
    row = made.by_id[f"1/D{n} own ends/shared"]
    assert row.planned.needs
    for ohms in ("0", "0.2", "20"):
        taken = Taken(row.id, ohms)
        assert judge(made, row, taken, TakenFile((taken,))).verdict == "switch off now"
