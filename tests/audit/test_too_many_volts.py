"""Volts that no one part is made for: what several in series then are, each with resistors whose watts and volts hold."""

import re
from collections.abc import Mapping
from typing import Any

import pytest

from at_hand import audited_cold
from firstglow.amplifier import load
from firstglow.audit.in_series import Across, across, electrolytics
from firstglow.audit.order import document as order
from firstglow.audit.parts import document
from firstglow.markings.made import VOLTS

BODY = {0.25: 250.0, 0.5: 350.0, 0.6: 350.0, 1.0: 500.0, 2.0: 500.0, 3.0: 500.0}
"""Working volts of leaded film resistors by watts (makers' sheets; 0.6 W from memory)."""
FILE = """format = 1
amplifier = { name = "Too much", drawing = "test", mains = "230V 50Hz" }
[parts]
F1 = ["fuse 2A slow"]
T1 = ["mains transformer", { primary = "230V 6R", ht = "2000V 100m 300R", "ht 2" = "chassis", heat = "6.3V 2A 0R1", "heat 2" = "chassis" }]
D1 = ["silicon 1A 8000V", "T1 ht 1", "HT1"]
C1 = ["47u 450V electrolytic", "HT1", "chassis"]
R1 = ["1M 10W", "HT1", "chassis"]
R2 = ["100k 20W", "HT1", "HT2"]
C2 = ["22u 450V electrolytic", "HT2", "chassis"]
V1 = ["EL84", { plate = "T2 plate a", screen = "100R HT2", cathode = "180R chassis", grid = "470k chassis", heater = "T1 heat" }]
T2 = ["output transformer 5k single-ended 6W", { taps = "8R", primary_ohms = "300R", centre = "HT1", common = "chassis", in_phase = "a" }]
LS = ["load 8R", "T2 8", "chassis"]
C9 = ["47n 400V film", "V1 plate", "out"]
R9 = ["1M", "out", "chassis"]
"""


def holds(found: Across, volts: float) -> None:
    """By hand: what each takes is half its watts at most, and nine tenths of what its body stands."""
    each = volts / found.count
    assert each**2 / found.ohms <= 0.5 * found.watts * 1.001
    assert each <= 0.9 * BODY[found.watts] * 1.001


@pytest.mark.parametrize("volts", [60.0, 225.0, 330.0, 426.0, 450.0, 600.0, 900.0, 2500.0])
def test_a_resistor_across_bears_its_watts_and_its_volts(volts: float) -> None:
    """220 kohm at 2.5 kV take 2500^2 / 220000 = 28 W: never one of 2 W."""
    found = across(volts)
    holds(found, volts)
    assert found.count * found.ohms == pytest.approx(220e3, rel=0.1)
    assert found.count == 1 or volts > 450.0


@pytest.mark.parametrize(
    ("volts", "count", "made"), [(550.0, 2, 350.0), (700.0, 2, 420.0), (1000.0, 3, 400.0), (3555.0, 10, 450.0)]
)
def test_so_many_in_series_that_each_is_made(volts: float, count: int, made: float) -> None:
    """1.2 times its share each, of what shops keep (450 V): 1.2 x 3555 / 450 = 9.5, so ten of 427 V; 1.2 x 1000 / 450 = 2.7, three
    of 400. In series ten of 470 uF are 47."""
    row = electrolytics(47e-6, volts)
    assert (row.count, row.volts) == (count, made)
    assert row.volts >= 1.2 * volts / count
    assert 47e-6 <= row.farads / row.count < 1.5 * 47e-6
    holds(row.shared, 1.2 * volts / count)


@pytest.fixture(scope="module")
def found() -> dict[str, Any]:
    made = audited_cold(load(FILE))
    return {"parts": {p["part"]: p for p in document(made)["parts"]}, "order": order(made)}


def texts(part: Mapping[str, Any]) -> str:
    p = part["proposal"]
    return "; ".join([p["what"], *p["alternatives"]])


def test_no_capacitor_is_ordered_that_nobody_makes(found: dict[str, Any]) -> None:
    every = [texts(found["parts"][name]) for name in ("C1", "C2", "C9")] + [row["what"] for row in found["order"]]
    for kind in ("electrolytic", "film"):
        volts = [float(v) for text in every for v in re.findall(rf"([\d.]+) V {kind}", text)]
        assert all(v in VOLTS[kind] for v in volts), volts
    assert "no electrolytic capacitor is made for more than 600 V" in found["parts"]["C1"]["proposal"]["what"]


def test_a_coupling_capacitor_gets_no_resistors_across_it(found: dict[str, Any]) -> None:
    """They would put a plate's dc on the next grid."""
    told = found["parts"]["C9"]["proposal"]
    assert "no film capacitor is made for more than 2000 V" in told["what"] and "kohm" not in told["what"]
    assert not any("C9" in row["for"] for row in found["order"])
    assert told["left"] == ["working volts"]


def test_the_order_says_what_its_resistors_meet(found: dict[str, Any]) -> None:
    (line,) = [r for r in found["order"] if r["what"].startswith("220 kΩ metal film")]
    assert line["pieces"] == 20 and line["what"] == "220 kΩ metal film 2 W, 1 %"
    for note in line["notes"]:
        volts, watts = re.search(r"ten: (\d+) V and (\d+) mW", note).groups()  # type: ignore[union-attr]
        assert float(volts) <= 450.0 and 1e-3 * float(watts) == pytest.approx(float(volts) ** 2 / 220e3, rel=0.01)
        assert 1e-3 * float(watts) <= 1.0


def test_diodes_in_series_share_by_resistors_that_stand_it(found: dict[str, Any]) -> None:
    """What a diode parts behind a reservoir is a sine on its own crest: 3/8 of the crest squared warms (closed form)."""
    told = re.search(r"9 of 1N4007 in series, (\d) of (\d+) kohm ([\d.]+) W in series", texts(found["parts"]["D1"]))
    assert told is not None
    count, ohms, watts = int(told[1]), 1e3 * float(told[2]), float(told[3])
    crest = found["parts"]["D1"]["stresses"][0]["value"] / 9 / count
    assert crest <= 0.9 * BODY[watts] and 3.0 / 8.0 * crest**2 / ohms <= 0.5 * watts


def test_no_transistor_is_named_for_more_than_is_made(found: dict[str, Any]) -> None:
    assert "MOSFET" not in found["parts"]["V1"]["proposal"]["what"]


def test_a_resistor_cut_in_two_is_not_of_a_body_too_small() -> None:
    """Some 850 V across 2.2 Mohm of 1 W (500 V): two halves of 0.5 W (350 V each) would meet 425 V; three meet 283."""
    text = FILE.replace("2000V 100m 300R", "550V 100m 100R").replace('"1M 10W"', '"2M2 1W"')
    told = {p["part"]: p for p in document(audited_cold(load(text)))["parts"]}["R1"]
    stress = next(s for s in told["stresses"] if s["stress"] == "volts")
    assert 630.0 < stress["value"] < 1000.0
    count, watts = re.search(r"(\d) of .* in series, metal film ([\d.]+) W", told["proposal"]["what"]).groups()  # type: ignore[union-attr]
    assert stress["value"] / int(count) <= 0.9 * BODY[float(watts)]
