"""Choke input on both sides of the critical current, against an integrated waveform and the handbook's closed forms."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq
from waveforms import choke_input as integrated
from waveforms import shockley, three_halves

from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.solver.averaged import Averaged, Cell, Inputs, Leg
from firstglow.solver.choke_input import choke_input
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.slow import Slow, Stretch

EMF, OHMS, HENRIES, CHOKE_OHMS = 300.0, 100.0, 8.0, 110.0
PERVEANCE, SLOPE, START = 0.77e-3, 0.0478, 1.24e-8


def element(volts: float, law: str, henries: float = HENRIES, **changes: float) -> Averaged:
    column = np.ones((2, 1))
    scale, limit = (PERVEANCE, 1e9) if law == "valve" else (SLOPE, START)
    x = Inputs(np.array([volts]), column * EMF, column * OHMS, column * scale, column * limit, 1.0, 50.0)
    x = replace(x, **{k: column * v for k, v in changes.items()})
    return choke_input(Cell((Leg(1, law), Leg(-1, law))), x, henries, CHOKE_OHMS)


# volts behind the choke: 240 V well above the critical current (0.9 E less drops), 262 near it, 300 and 360 below it
@pytest.mark.parametrize("law", ["valve", "junction"])
@pytest.mark.parametrize("amps_wanted", [0.120, 0.060, 0.035, 0.02, 0.008])
def test_waveform(law: str, amps_wanted: float) -> None:
    """Issue: <= 0.5 % of the dc volts on both sides of the critical current (about 33 mA here)."""
    volts = brentq(lambda v: element(v, law).amps[0] - amps_wanted, 150.0, 424.0, xtol=1e-8)
    drop = three_halves(PERVEANCE) if law == "valve" else shockley(SLOPE, START)
    amps = integrated(EMF, OHMS, drop, HENRIES, CHOKE_OHMS, volts, 50.0, steps=1500)
    found = element(volts, law)
    # volts at which the waveform's current would have been the element's: error over slope
    error = (amps - amps_wanted) / found.amps_by.volts[0] / volts
    assert abs(error) < 0.003, error


def test_nine_tenths_above_the_critical_current() -> None:
    """Vdc = 0.9 Vrms for a lossless choke-input filter (2 sqrt2/pi), worked example ``ex_choke_input``: 360.1 V from 400."""
    x = Inputs(
        np.array([360.1265]),
        np.full((1, 1), 400.0),
        np.full((1, 1), 1e-3),
        np.full((1, 1), 1e-6),
        np.full((1, 1), 1e-9),
        1.0,
        60.0,
    )
    cell = Cell((Leg(1, "junction"),), equal=True)
    by_volts = [choke_input(cell, replace(x, volts=np.array([v])), 10.0, 50.0).amps[0] for v in (358.0, 354.0)]
    # 50 ohm of choke: (360.1 - V)/50, to 0.5 % of the volts
    for volts, amps in zip((358.0, 354.0), by_volts, strict=True):
        assert volts + 50.0 * amps == pytest.approx(360.1265, rel=0.005)


@pytest.mark.parametrize(("hertz", "henries"), [(60.0, 4.42), (50.0, 5.31)])
def test_critical_inductance(hertz: float, henries: float) -> None:
    """L critical = R/(6 pi f): worked example ``ex_choke_input``, 5 kohm, tolerance 15 %: below it the current breaks off
    and the dc volts leave 0.9 E."""
    column = np.ones((1, 1))
    cell = Cell((Leg(1, "junction"),), equal=True)

    def least(h: float) -> float:
        """Least choke current over the cycle at 5 kohm, as a fraction of the mean."""

        def at(v: float) -> Averaged:
            x = Inputs(np.array([v]), 400.0 * column, column, 0.01 * column, 1e-9 * column, 1.0, hertz)
            return choke_input(cell, x, h)

        v = brentq(lambda v: at(v).amps[0] - v / 5000.0, 200.0, 560.0)
        return float(at(v).state[:-1].min() / at(v).amps[0])

    assert least(0.85 * henries) == 0.0
    assert least(1.15 * henries) > 0.0


def test_below_it_climbs_to_the_crest() -> None:
    assert element(424.0, "junction").amps[0] < 1e-5 < 1e-4 < element(405.0, "junction").amps[0]


def test_slopes_and_warm_start() -> None:
    """Fourth-order differences of the settled element, and one pass from the state settled nearby."""
    for volts in (200.0, 262.0, 320.0):
        found = element(volts, "valve")
        h = 0.01
        y = [element(volts + k * h, "valve") for k in (-2, -1, 1, 2)]
        for name in ("amps", "watts", "heating"):
            a = [getattr(q, name)[0] for q in y]
            slope = (a[0] - 8 * a[1] + 8 * a[2] - a[3]) / (12 * h)
            assert getattr(found, name + "_by").volts[0] == pytest.approx(slope, rel=1e-6)
        for changed in ("emf", "ohms", "scale"):
            nominal = {"emf": EMF, "ohms": OHMS, "scale": PERVEANCE}[changed]
            h = 1e-4 * nominal
            a = [element(volts, "valve", **{changed: nominal + k * h}).amps[0] for k in (-2, -1, 1, 2)]
            slope = (a[0] - 8 * a[1] + 8 * a[2] - a[3]) / (12 * h)
            assert getattr(found.amps_by, changed)[:, 0].sum() == pytest.approx(slope, rel=1e-6)


def test_equal_legs_take_half_the_work_and_agree() -> None:
    volts = np.array([180.0, 240.0, 262.0, 300.0, 400.0])
    one, two = np.ones((1, 5)), np.ones((2, 5))
    a = choke_input(
        Cell((Leg(1),), equal=True), Inputs(volts, EMF * one, OHMS * one, PERVEANCE * one, one, 1.0, 50.0), 8.0, 110.0
    )
    b = choke_input(
        Cell((Leg(1), Leg(-1))), Inputs(volts, EMF * two, OHMS * two, PERVEANCE * two, two, 1.0, 50.0), 8.0, 110.0
    )
    for name in ("amps", "watts", "heating"):
        np.testing.assert_allclose(getattr(a, name), getattr(b, name), rtol=1e-9)
    np.testing.assert_allclose(a.each_amps[0], b.each_amps[1], rtol=1e-9)


def test_finite_for_absurd_states() -> None:
    rng = np.random.default_rng(3)
    n = 700
    column = lambda low, high: 10.0 ** rng.uniform(low, high, (2, n))  # noqa: E731
    x = Inputs(rng.uniform(-2000, 2000, n), column(-3, 3), column(-6, 9), column(-12, 2), column(-12, 2), 1.0, 50.0)
    for cell in (Cell((Leg(1), Leg(-1))), Cell((Leg(1, "junction"), Leg(-1, "junction")))):
        found = choke_input(cell, x, 10.0 ** rng.uniform(-6, 3, n), 10.0 ** rng.uniform(0, 4, n), passes=5)
        for value in (found.amps, found.watts, found.heating, found.amps_by.volts, found.amps_by.emf, found.state):
            assert np.isfinite(value).all()


def test_a_heater_winding_that_rides_ahead_of_the_choke_does_not_float(tmp_path: Path) -> None:
    """Its ends have equal and opposite ac, and what they have in common is nobody's: it jittered by rounding, no step was the last,
    and a ladder with such a rectifier took minutes. With the heater fed from elsewhere all dc is the same."""
    text = """format = 1
amplifier = { name = "Riding", drawing = "test", mains = "230V 50Hz" }
[parts]
T1 = ["mains transformer", { primary = "230V 12R", ht = "300-0-300V 150m 70+75R", heat = "6.3V 3A 0R08" }, { "heat 2" = "HEATER" }]
V1 = ["EZ81", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "lit", heater = "T1 heat" }]
L1 = ["choke 10H 150m 120R", "lit", "HT1"]
C1 = ["47u 500V", "HT1", "chassis"]
R1 = ["6k 50W", "HT1", "chassis"]
"""
    volts = []
    for foot in ("lit", "chassis"):
        file = tmp_path / "riding.toml"
        file.write_text(text.replace("HEATER", foot), encoding="utf-8")
        circuit = compile_circuit(load(file))
        laid = circuit.vector(Situation(230.0))
        found = circuit.newton(laid[:, None])
        assert found.settled.all() and found.steps.max() <= 10
        volts.append(float(circuit.solve(laid).dc("HT1")[0]))
    assert volts[0] == pytest.approx(volts[1], rel=1e-6)


@pytest.mark.parametrize("law", ["valve", "junction"])
@pytest.mark.parametrize("legs", [1, 2])
def test_all_cells_at_once_and_cell_after_cell_agree(law: str, legs: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two ways to one answer: the whole chain by Newton's rule from a start nearby, and by its first current between bounds;
    with cathodes too cold to feed the choke among them."""
    rng = np.random.default_rng(11)
    n = 60
    spread = lambda low, high: 10.0 ** rng.uniform(low, high, (legs, n))  # noqa: E731
    emf = rng.uniform(100.0, 450.0, (legs, n))
    scale, limit = (spread(-3.5, -2.3), spread(-2.5, 0.5)) if law == "valve" else (0.048 + 0.0 * emf, 1e-8 + 0.0 * emf)
    x = Inputs(rng.uniform(0.3, 1.3, n) * emf[0], emf, spread(1.3, 2.5), scale, limit, 1.0, 50.0)
    cell = Cell(tuple(Leg(phase, law) for phase in (1, -1)[:legs]))
    henries = 10.0 ** rng.uniform(0.0, 1.5, n)
    monkeypatch.setattr("firstglow.solver.choke_input.NEARBY", 1e-8)  # walked to the end
    walked = choke_input(cell, x, henries, 150.0)
    near = choke_input(cell, replace(x, volts=x.volts * 1.01), henries, 150.0)
    chained = choke_input(cell, x, henries, 150.0, near.state)
    for name in ("each_amps", "each_in_phase", "each_square", "d_amps"):
        one, other = getattr(walked, name), getattr(chained, name)
        np.testing.assert_allclose(one, other, rtol=1e-6, atol=1e-9 * np.abs(one).max())


def test_a_choke_input_is_switched_on_again_while_its_cathode_is_warm() -> None:
    """Two seconds off and on: it comes back to what stands for good. (Of a whole amplifier with such a supply two passes of the
    cycle a step flipped for ever at a hundred-thousandth of the current, and its start was given up.)"""
    text = """format = 1
amplifier = { name = "Again", drawing = "test", mains = "230V 50Hz" }
[parts]
T1 = ["mains transformer", { primary = "230V", ht = "250-0-250V", rect = "5V" }]
V3 = ["5Y3GT", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "HT1", heater = "T1 rect" }]
L1 = ["choke 10H 120m 150R", "HT1", "HT2"]
C2 = ["16u 450V", "HT2", "chassis"]
R2 = ["5k 20W", "HT2", "chassis"]
"""
    circuit = compile_circuit(load(text))
    on, off = circuit.vector(Situation(230.0)), circuit.vector(Situation(0.0))
    course = Slow(circuit).run([Stretch(s, p[:, None]) for s, p in ((5.0, on), (2.0, off), (4.0, on))])
    standing = circuit.solve(on)
    back = course.seconds >= 7.0
    assert course.dc("HT2")[np.flatnonzero(back)[0], 0] < 5.0  # 80 ms of RC let it down
    assert course.dc("HT2")[-1, 0] == pytest.approx(float(standing.dc("HT2")[0]), rel=1e-3)
