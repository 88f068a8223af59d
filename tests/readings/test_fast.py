"""Fast bands where straight lines do not do: leaks, junctions, starved currents, hum that cancels; ratios."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from at_hand import built
from builders import Builder
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier, Quantity
from firstglow.amplifier.situation import Situation
from firstglow.readings.expect import Mode, expect_with_sheet
from firstglow.readings.meters import digital, meter_named, ratio_of
from firstglow.readings.observe import Observer
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung, Probe
from firstglow.readings.sheet import sample
from firstglow.readings.spreads import draw
from firstglow.readings.straight import sizes

EXAMPLES = Path(__file__).parents[2] / "examples"
FULL, OFF = Situation(230.0), Situation(0.0)


def leaky() -> Amplifier:
    """250 V through a coupling capacitor's leak (1 Gohm, 25 %) to a grid leak of 220 k; two 100 k dividers whose
    joints stand at nearly the same volts; a diode over a resistor of 10 k."""
    b = Builder("Leaky")
    b.add("E1", "supply", {"+": "HT", "-": "chassis"}, volts=250.0, ohms=1.0)
    b.add("C1", "capacitor", {"+": "HT", "-": "grid"}, leak_ohms=1e9)
    b.resistor("R1", "grid", "chassis", 220e3)
    for n, side in ((2, "left"), (4, "right")):
        b.resistor(f"R{n}", "HT", side, 100e3)
        b.resistor(f"R{n + 1}", side, "chassis", 100e3)
    b.resistor("R6", "kept", "chassis", 10e3)
    b.add("D1", "diode", {"anode": "chassis", "cathode": "kept"}, "silicon")
    made = b.build()
    parts = dict(made.parts)
    parts["C1"] = replace(parts["C1"], values={**parts["C1"].values, "leak_ohms": Quantity(1e9, 0.25, "normal")})
    return replace(made, parts=parts, digest="")


def rows() -> PlannedRung:
    asked = (
        ("grid", Probe("dc volts", "grid"), FULL),
        ("between", Probe("dc volts", "left", "right"), FULL),
        ("junction", Probe("ohms", "chassis", "kept", "ohms"), OFF),
    )
    readings = tuple(PlannedReading(f"2/{n}/shared", n, probe, at, "clip") for n, probe, at in asked)
    return PlannedRung("2", "Leaky", FULL, "", (), readings, Hold(False, ""))


def test_fast_bands_pass_amplifiers_that_no_straight_line_fits() -> None:
    """1 Gohm of 25 % puts 55 mV on the grid, and at a fifth of it 275 mV: volts go as 1/ohms. A junction reads anywhere
    between its own ohms and 10 k. Fresh samples through the whole solution are the reference (JCGM 101, clause 8)."""
    amplifier, meter = leaky(), digital()
    see = Observer(amplifier)
    found, sheet = expect_with_sheet(amplifier, [rows()], meter, mode="fast", observer=see)
    fresh, _ = sample(sheet, meter, draw(see.circuit, 4000, sheet.mains_width, seed=99))
    low, high = (
        np.array([getattr(found.by_id[r.id], side) for r in sheet.readings])[:, None] for side in ("low", "high")
    )
    inside = (fresh >= low - 1e-9) & (fresh <= high + 1e-9)
    assert inside.all(axis=0).mean() > 0.98, dict(zip(found.by_id, inside.mean(axis=1), strict=True))
    # and not by being wide: a third of the band is used by 99 in 100, the long side of 1/ohms being what is left
    used = np.ptp(np.quantile(fresh, [0.005, 0.995], axis=1), axis=0)
    assert (used > 0.33 * (high - low)[:, 0]).all()


@pytest.mark.parametrize("mode", ["fast", "sampled"])
def test_a_leak_is_a_size_and_a_difference_is_none(mode: Mode) -> None:
    """The grid never goes below zero but by the meter's own counts (2 of 0.1 mV); the two dividers may differ either
    way."""
    see = Observer(leaky())
    found, sheet = expect_with_sheet(leaky(), [rows()], digital(), mode=mode, observer=see)
    assert dict(zip([r.id.split("/")[1] for r in sheet.readings], sizes(sheet), strict=True)) == {
        "grid": True, "between": False, "junction": True,
    }  # fmt: skip
    assert found.by_id["2/grid/shared"].low >= -0.2e-3 - 1e-12
    assert found.by_id["2/between/shared"].low < -1.0


@pytest.mark.parametrize("name", ["digital", "20k"])
def test_a_ratio_has_no_range_and_no_unit(name: str) -> None:
    meter = meter_named(name)
    on = ratio_of(meter.range_for("ac volts", 0.3))
    assert (on.text, on.unit) == ("", "1")
    # the moving coil's 10 V range is read to 0.1 V: of 0.3 V that is a third, and no more is shown
    assert float(on.shown(0.83)) == pytest.approx(0.83, abs=on.step / 2)
    assert "V" not in on.shown(0.83)


def test_a_ratio_is_as_good_as_the_two_readings_that_make_it() -> None:
    """300.0 mV on the 600 mV range: 3 counts of 0.1 mV are a thousandth of it, 1 % goes with the reading."""
    on = ratio_of(digital().range_for("ac volts", 0.3))
    assert (on.step, on.offset_limit, on.gain_limit) == (0.001, pytest.approx(0.001), 0.01)


def test_nothing_has_no_side() -> None:
    """Where nothing stands all there is is the meter's own counts, as likely on one side of 0 V as on the other (its stated
    accuracy): the last digit of a solution that is nothing but rounding must not cut one side's tail."""
    ladder = built(load(EXAMPLES / "b-hazel-four.toml"), samples=400)
    nothing = {r.id for r, v in zip(ladder.sheet.readings, ladder.sheet.shown, strict=True) if abs(v) < 1e-9}
    rows = [r for r in ladder.expected.readings() if r.id in nothing and r.kind == "dc volts"]
    assert len(rows) >= 3
    assert [r.id for r in rows if r.low != -r.high] == []
