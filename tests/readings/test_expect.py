"""Expected readings on dividers, where every answer has a closed form, through a linear stand-in for the circuit."""

from dataclasses import replace

import numpy as np
import pytest

from builders import Builder
from firstglow.amplifier.model import Amplifier, Quantity
from firstglow.amplifier.situation import Situation
from firstglow.readings.asked import Cast, blocks
from firstglow.readings.expect import compare, expect_with_sheet
from firstglow.readings.meters import digital, loaded, meter_named
from firstglow.readings.observe import Observer
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung, Probe, StopRule
from firstglow.readings.sheet import prepare, sample
from firstglow.readings.spreads import draw

FULL = Situation(230.0)


def dividers(**spread: float) -> Amplifier:
    """250 V behind 1 ohm; two equal dividers of 220 k over 100 k (left and right), and one of 2.2 M over 1 M."""
    b = Builder("Dividers", channels=("left", "right"))
    b.add("E1", "supply", {"+": "HT", "-": "chassis"}, volts=250.0, ohms=1.0)
    for name, joint, top, foot in (
        ("left R1", "left grid", 220e3, 100e3),
        ("right R1", "right grid", 220e3, 100e3),
        ("R5", "high", 2.2e6, 1e6),
    ):
        b.resistor(name, "HT", joint, top)
        b.resistor(name.replace("R1", "R2").replace("R5", "R6"), joint, "chassis", foot)
    amplifier = b.build()
    parts = dict(amplifier.parts)
    for name, part in parts.items():
        if part.kind == "resistor":
            q = replace(part.values["ohms"], spread=spread.get(name.replace(" ", "_"), 0.10), shape="uniform")
            parts[name] = replace(part, values={**part.values, "ohms": q})
    parts["E1"] = replace(
        parts["E1"], values={**parts["E1"].values, "volts": Quantity(250.0, 0.01, "normal"), "ohms": Quantity(1.0)}
    )
    return replace(amplifier, parts=parts, digest="")


def reading(name: str, red: str, stops: tuple[StopRule, ...] = (), twin: str | None = None) -> PlannedReading:
    return PlannedReading(f"2/{name}", name, Probe("dc volts", red), FULL, "clip", twin=twin, stops=stops)


def rung(*more: PlannedReading) -> PlannedRung:
    rows = (
        reading("grid/left", "left grid", twin="2/grid/right"),
        reading("grid/right", "right grid", twin="2/grid/left"),
        reading("high/shared", "high"),
        reading("ht/shared", "HT", (StopRule("fixed", "", "above", 300.0, "300 V part"),)),
        *more,
    )
    return PlannedRung("2", "Dividers", FULL, "", (), rows, Hold(False, ""))


def observer(amplifier: Amplifier) -> Observer:
    return Observer(amplifier)


def run(amplifier: Amplifier, meter: str = "digital", **more: object) -> object:
    return expect_with_sheet(amplifier, [rung()], meter_named(meter), observer=observer(amplifier), **more)[0]


@pytest.mark.parametrize("mode", ["sampled", "fast"])
def test_expected_is_ohms_law_with_the_meter_on(mode: str) -> None:
    """250 x 100/320 = 78.1 V behind 68.75 k: on 10 Mohm 77.6 V; 2.2 M over 1 M behind 687.5 k: 73.1 V (Ohm's law)."""
    found = run(dividers(), mode=mode)
    assert found.by_id["2/grid/left"].shown == "77.6 V"
    assert found.by_id["2/high/shared"].shown == f"{78.125 / (1 + 0.6875 / 10):.1f} V" == "73.1 V"
    assert found.by_id["2/ht/shared"].shown == "250.0 V"


def test_a_moving_coil_takes_its_range_into_account() -> None:
    """20 kohm/V x 250 V = 5 Mohm: 78.125/(1 + 0.6875/5) = 68.7 V, read to 2.5 V."""
    high = run(dividers(), "20k").by_id["2/high/shared"]
    assert (high.on.full, high.shown) == (250.0, "67.5 V")


def test_loading_against_an_exact_solution_with_the_meter_in_the_circuit() -> None:
    amplifier = dividers()
    seen = observer(amplifier)
    exact = seen.see(
        blocks([replace(reading("a", "high"), situation=FULL.but(loads={"high": 5e6}))]), Cast(seen.nominal)
    ).values["2/a"]
    ours = run(amplifier, "20k").by_id["2/high/shared"]
    true = seen.see(blocks([reading("a", "high")]), Cast(seen.nominal)).values["2/a"]
    assert loaded(true, ours.source_ohms, 5e6) == pytest.approx(exact, rel=1e-9)


def test_band_of_two_rectangles() -> None:
    """The ends of 10 % parts: 250 x 90/(90+242) .. 250 x 110/(110+198) unloaded. A band that passes 99 % of amplifiers
    on four readings lies inside those ends (and the meter's and the supply's share) and covers most of them."""
    band = run(dividers()).by_id["2/grid/left"]
    least, most = 250 * 90 / 332 / 1.00688, 250 * 110 / 308 / 1.00688
    assert least * 0.96 < band.low < least * 1.03
    assert most * 0.97 < band.high < most * 1.04


def test_a_healthy_amplifier_passes_everything_99_percent_of_the_time_and_not_more_than_needed() -> None:
    amplifier = dividers()
    see, meter = observer(amplifier), digital()
    found = run(amplifier, samples=2000)
    sheet = prepare(see, [rung()], meter)
    values, _ = sample(sheet, meter, draw(see.circuit, 20_000, sheet.mains_width, seed=99))
    low = np.array([found.by_id[r.id].low for r in sheet.readings])[:, None]
    high = np.array([found.by_id[r.id].high for r in sheet.readings])[:, None]
    passed = ((values >= low - 1e-9) & (values <= high + 1e-9)).all(axis=0).mean()
    assert 0.99 <= passed < 0.9999


def test_twins_print_the_same_figures() -> None:
    found = run(dividers()).by_id
    left, right = found["2/grid/left"], found["2/grid/right"]
    assert (left.low, left.high, left.expected) == (right.low, right.high, right.expected)


def test_what_moves_a_reading_most() -> None:
    """dV/V = (1 - share) dR1/R1 and the same for R2, opposite: R1 and R2 move it alike."""
    moved = dict(run(dividers()).by_id["2/grid/left"].moved_by)
    assert set(moved) == {"left R1", "left R2"}
    assert moved["left R1"] == pytest.approx(moved["left R2"], rel=0.01)
    # supply 1 %, meter 0.5 %/sqrt 3 and its counts against 10 % x 220/320 /sqrt 3 twice
    one = (0.1 * 220 / 320) ** 2 / 3
    rest = 0.01**2 + 0.005**2 / 3 + (0.2 / 77.6) ** 2 / 3
    assert moved["left R1"] == pytest.approx(one / (2 * one + rest), rel=0.02)


def test_measuring_one_part_narrows_what_it_moves_and_nothing_else() -> None:
    before, after = run(dividers()).by_id, run(dividers(left_R1=0.005)).by_id
    width = {k: (before[k].high - before[k].low, after[k].high - after[k].low) for k in before}
    assert width["2/grid/left"][1] < 0.8 * width["2/grid/left"][0]
    for other in ("2/grid/right", "2/high/shared", "2/ht/shared"):
        assert after[other].sigma == pytest.approx(before[other].sigma, rel=1e-9)
        # the score is common to the ladder: one reading that moves less leaves the others a little less to give way
        assert width[other][1] == pytest.approx(width[other][0], rel=0.06)


def test_slopes_against_samples() -> None:
    """JCGM 101 clause 8. Two 10 % rectangles: straight lines are 0.95 .. 1.05 of the sampled widths."""
    amplifier = dividers()
    see, meter = observer(amplifier), digital()
    for row in compare(prepare(see, [rung()], meter), meter):
        assert row.width_ratio == pytest.approx(1.0, abs=0.06)
        assert row.middle_fast == pytest.approx(row.middle_sampled, abs=0.1 * row.half_sampled)


def test_same_file_same_sheet() -> None:
    one, two = run(dividers()), run(dividers())
    assert [r.json() for r in one.readings()] == [r.json() for r in two.readings()]


def test_order_of_parts_changes_nothing() -> None:
    a = dividers()
    b = replace(a, parts=dict(reversed(a.parts.items())), digest="")
    for x, y in zip(run(a).readings(), run(b).readings(), strict=True):
        assert (x.low, x.high, x.expected) == (y.low, y.high, y.expected)
