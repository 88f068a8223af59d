"""The averaged rectifier against closed forms and published cases; its slopes; faults; absurd inputs."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from firstglow.solver.averaged import Averaged, Cell, Inputs, Leg, averaged
from firstglow.solver.cells import CELLS, Along

PAIR = Cell((Leg(1), Leg(-1)))
IDEAL = 1e-4, 1e-9
"""Slope volts and start current of a junction without any drop worth the name."""


def inputs(volts: float, legs: int = 2, samples: int = 1, **changes: float) -> Inputs:
    values = {
        "emf": 300.0,
        "ohms": 100.0,
        "scale": 1.4e-3,
        "limit": 1e9,
        "farads": 32e-6,
        "drain": 0.0,
        "esr": 0.0,
        "hertz": 50.0,
    }
    values |= changes
    column = np.ones((legs, samples))
    per_leg = {k: values[k] * column for k in ("emf", "ohms", "scale", "limit")}
    return Inputs(
        np.full(samples, volts), **per_leg, farads=np.full(samples, values["farads"]), hertz=values["hertz"],
        esr=values["esr"], drain=np.full(samples, values["drain"]),
    )  # fmt: skip


def loaded(cell: Cell, load: float, top: float, **changes: float) -> tuple[float, Averaged]:
    """Volts and result with a resistance across the reservoir."""

    def at(volts: float) -> Averaged:
        return averaged(cell, inputs(volts, len(cell.legs), drain=1.0 / load, **changes))

    volts = brentq(lambda v: at(v).amps[0] - v / load, 1e-6 * top, top, xtol=1e-10 * top)
    return volts, at(volts)


def test_unloaded_reads_the_crest() -> None:
    """sqrt 2 times the rms, closed form. (NUMERICS.md's 1 % in a meter's sense: 10 Mohm load.)"""
    volts, _ = loaded(PAIR, 10e6, 500.0)
    assert volts == pytest.approx(300.0 * 2**0.5, rel=0.003)
    junction = Cell((Leg(1, "junction"),))
    volts, _ = loaded(junction, 10e6, 500.0, scale=IDEAL[0], limit=IDEAL[1])
    assert volts == pytest.approx(300.0 * 2**0.5, rel=0.002)


# Schade's circuit (Proc. IRE, July 1943): ideal diode, source ohms, very large capacitor. Closed form
# Rs/R = (n/pi)(tan t - t), Edc/Epk = cos t, n = 2 full wave, 1 half wave; worked examples ``schade_fw_limit`` (1 %).
LARGE = [(2, 0.1, 0.9861), (2, 1.0, 0.9376), (2, 5.0, 0.8322), (2, 10.0, 0.7518), (2, 20.0, 0.6455), (2, 50.0, 0.4728)]
LARGE += [(1, 1.0, 0.9035), (1, 5.0, 0.7518), (1, 10.0, 0.6455), (1, 30.0, 0.4364)]


@pytest.mark.parametrize(("waves", "percent", "ratio"), LARGE)
def test_large_reservoir(waves: int, percent: float, ratio: float) -> None:
    cell = Cell((Leg(1, "junction"), Leg(-1, "junction"))[:waves])
    load = 1000.0
    volts, _ = loaded(cell, load, 500.0, scale=IDEAL[0], limit=IDEAL[1], ohms=load * percent / 100.0, farads=0.1)
    # the table has 1 %; a stiff source (0.1 %) conducts in three cells only
    assert volts / (300.0 * 2**0.5) == pytest.approx(ratio, rel=0.01 if percent < 1.0 else 0.004)
    t = np.arccos(volts / (300.0 * 2**0.5))
    if percent >= 1.0:
        assert waves / np.pi * (np.tan(t) - t) == pytest.approx(percent / 100.0, rel=0.02)


# Finite omega R C (worked examples ``schade_fw_finite``, ``schade_hw_finite``, ``..._b``: computed there by step integration;
# 1.5 % of the volts, 6 % of the ripple and of rms over dc current)
FINITE = [
    (2, 3, 1, 0.7727, 19.5, 1.69), (2, 10, 1, 0.8861, 7.14, 2.12), (2, 10, 10, 0.7445, 5.84, 1.61), (2, 30, 5, 0.8303, 2.15, 1.79),
    (2, 100, 10, 0.7517, 0.59, 1.62), (1, 10, 5, 0.7057, 14.8, 2.26), (1, 30, 1, 0.8803, 5.36, 2.87),
    (1, 100, 10, 0.6452, 1.43, 2.09), (1, 10, 1, 0.7797, 15.5, 2.63), (1, 30, 10, 0.6426, 4.76, 2.09),
]  # fmt: skip


@pytest.mark.parametrize(("waves", "wrc", "percent", "ratio", "ripple", "rms"), FINITE)
def test_finite_reservoir(waves: int, wrc: float, percent: float, ratio: float, ripple: float, rms: float) -> None:
    cell = Cell((Leg(1, "junction"), Leg(-1, "junction"))[:waves])
    load = 1000.0
    farads = wrc / (2.0 * np.pi * 50.0 * load)
    volts, found = loaded(cell, load, 500.0, scale=IDEAL[0], limit=IDEAL[1], ohms=load * percent / 100.0, farads=farads)
    assert volts / (300.0 * 2**0.5) == pytest.approx(ratio, rel=0.015)
    wave = found.state[:-1, 0]
    # read off as each cell begins; 6 % as tabulated, 0.1 % of the volts beside it where the figure has two digits
    assert 100.0 * wave.std() / wave.mean() == pytest.approx(ripple, rel=0.06)
    total = np.sqrt(found.each_square.sum()) / found.amps[0]  # of the rectifiers together, into capacitor and load
    assert total == pytest.approx(rms, rel=0.06)


@pytest.mark.parametrize(("amps", "farads", "published"), [(0.150, 50e-6, 6.75), (0.100, 16e-6, 14.07)])
def test_ripple_rule(amps: float, farads: float, published: float) -> None:
    """Hum at the first capacitor = sqrt2 Idc Xc at 100 Hz (Radiotron Designer's Handbook ch. 31; ``ripple_rule``, 15 %): the
    fundamental, for a stiff source: always a little less."""
    cell = Cell((Leg(1, "junction"), Leg(-1, "junction")))
    x = inputs(0.0, farads=farads, ohms=10.0, scale=0.0478, limit=1.24e-8)
    at = lambda v: averaged(cell, replace(x, volts=np.array([v])))  # noqa: E731
    wave = at(brentq(lambda v: at(v).amps[0] - amps, 100.0, 424.0)).state[:-1, 0]
    hum = 2.0**0.5 * np.abs(np.fft.rfft(wave)[2]) / CELLS
    assert hum == pytest.approx(published, rel=0.15)
    assert hum < 2**0.5 * amps / (2 * np.pi * 100 * farads)


@pytest.mark.parametrize(("rms", "published"), [(50.0, -70.0), (40.0, -55.9)])
def test_light_bias_supply(rms: float, published: float) -> None:
    """Lightly loaded half-wave bias: crest less 0.7 V (worked example ``bias_supply_half_wave``, 3 %)."""
    cell = Cell((Leg(-1, "junction"),))
    volts, _ = loaded(cell, 100e3, 90.0, emf=rms, scale=0.0478, limit=1.24e-8, ohms=60.0, farads=47e-6)
    assert -volts == pytest.approx(published, rel=0.03)


def test_no_reservoir_gives_the_mean_of_the_rectified_wave() -> None:
    """Capacitor open, resistive load, no diode drop: 2 sqrt2/pi (full wave) and sqrt2/pi (half wave) of the rms, divided by
    load and source ohms (closed form)."""
    for waves in (1, 2):
        cell = Cell((Leg(1, "junction"), Leg(-1, "junction"))[:waves])
        volts, found = loaded(cell, 1000.0, 400.0, scale=IDEAL[0], limit=IDEAL[1], farads=1e-12)
        mean = waves * 2**0.5 / np.pi * 300.0 * 1000.0 / 1100.0
        assert volts == pytest.approx(mean, rel=0.004)
        # and the current is a sine's half: its mean square is (crest/2)^2 a leg
        crest = 300.0 * 2**0.5 / 1100.0
        assert found.each_square[0, 0] == pytest.approx(crest**2 / 4.0, rel=0.01)


def test_shorted_reservoir_is_held_by_winding_and_valve_only() -> None:
    """0 V on the reservoir: every leg carries its half sine; junction without drop: mean sqrt2 E/(pi R), rms E/(sqrt2 R)."""
    found = averaged(
        Cell((Leg(1, "junction"), Leg(-1, "junction"))), inputs(0.0, drain=100.0, scale=IDEAL[0], limit=IDEAL[1])
    )
    assert found.each_amps[:, 0] == pytest.approx([2**0.5 / np.pi * 3.0] * 2, rel=0.01)
    assert np.sqrt(found.each_square[:, 0]) == pytest.approx([3.0 / 2**0.5] * 2, rel=0.01)


def test_open_leg_reversed_and_shorted_diodes() -> None:
    single = averaged(Cell((Leg(1),)), inputs(300.0, legs=1))
    x = inputs(300.0)
    one_open = averaged(PAIR, replace(x, ohms=np.array([[100.0], [1e9]])))
    assert one_open.amps == pytest.approx(single.amps, rel=1e-4)
    assert abs(one_open.each_amps[1, 0]) < 1e-6
    # reversed: the mirror image, exactly
    turned = averaged(Cell((Leg(1),)), replace(inputs(-300.0, legs=1), sense=np.array([[-1.0]])))
    assert turned.amps == pytest.approx(-single.amps, rel=1e-9)
    assert turned.each_square == pytest.approx(single.each_square, rel=1e-9)
    # a shorted diode is a resistance: no dc emf, so the mean current is -V/R, the mean square adds the sine's
    short = averaged(Cell((Leg(1),)), replace(inputs(50.0, legs=1, scale=1e6, farads=1.0), leak=np.zeros((1, 1))))
    assert short.amps == pytest.approx(-0.5, rel=1e-3)
    assert short.each_square[0, 0] == pytest.approx(0.25 + 9.0, rel=0.01)


def test_leak_of_an_old_selenium_stack() -> None:
    """Reverse leak G discharges by about G V (the emf's own mean is 0), half of the time it is shunted by the diode."""
    plain = averaged(Cell((Leg(1, "junction"),)), inputs(50.0, legs=1, emf=42.0, scale=0.5, limit=1e-7))
    leaky = averaged(
        Cell((Leg(1, "junction"),)),
        replace(inputs(50.0, legs=1, emf=42.0, scale=0.5, limit=1e-7), leak=np.full((1, 1), 100e3)),
    )
    lost = plain.amps[0] - leaky.amps[0]
    assert 0.9 * 50.0 / 100e3 < lost < 1.1 * 50.0 / 100e3


def test_power_balance() -> None:
    """Watts from the emfs = watts into the reservoir + heat in ohms + heat in the diode, cell by cell."""
    for x, cell in ((inputs(300.0), PAIR), (inputs(280.0, farads=8e-6, drain=4e-4), PAIR)):
        found = averaged(cell, x)
        heat = (found.each_square * x.ohms).sum()
        into = x.volts[0] * found.amps[0]
        # the diode's share: I^(5/3) k^(-2/3), bounded by its value at the crest's drop
        left = found.watts[0] - heat - into
        assert 0.03 * found.watts[0] < left < 0.25 * found.watts[0]


SLOPES = ("emf", "ohms", "scale", "limit")


@pytest.mark.parametrize("volts", [150.0, 300.0, 380.0, 415.0])
@pytest.mark.parametrize("law", ["valve", "junction"])
@pytest.mark.parametrize("farads", [47e-6, 8e-6, 1e-9])
def test_slopes_of_everything(volts: float, law: str, farads: float) -> None:
    """Analytic slopes against fourth-order differences of the settled element."""
    cell = Cell((Leg(1, law), Leg(-1, law)))
    # 0.2 ohm of series resistance: exercised too
    nominal = {"scale": 1.4e-3, "limit": 20.0} if law == "valve" else {"scale": 0.0478, "limit": 1.24e-8}
    x = replace(inputs(volts, farads=farads, drain=3e-4, esr=0.2, **nominal), ohms=np.array([[100.0], [130.0]]))
    found = averaged(cell, x)
    for name, leg in [("volts", None), *((n, k) for n in SLOPES for k in (0, 1))]:
        value = getattr(x, name)
        at = (0,) if leg is None else (leg, 0)
        h = 1e-4 * abs(value[at])

        def moved(step: float, name: str = name, value: np.ndarray = value, at: tuple = at, h: float = h) -> Averaged:
            new = value.copy()
            new[at] += step * h
            return averaged(cell, replace(x, **{name: new}), found.state)

        y = [moved(k) for k in (-2, -1, 1, 2)]
        for result in ("amps", "watts", "heating"):
            a = [getattr(q, result)[0] for q in y]
            slope = (a[0] - 8 * a[1] + 8 * a[2] - a[3]) / (12 * h)
            written = getattr(getattr(found, result + "_by"), name)[at]
            scale = abs(getattr(found, result)[0] / value[at])
            assert written == pytest.approx(slope, rel=2e-6, abs=2e-6 * scale + 1e-12), (result, name)


def test_asked_directions_are_combinations_of_all() -> None:
    x = inputs(310.0, samples=3)
    x = replace(x, ohms=x.ohms * np.array([[1.0, 1.1, 0.9], [1.05, 1.0, 1.2]]))
    whole = averaged(PAIR, x)
    turns = np.array([[1.3, 1.2, 1.1], [1.25, 1.3, 1.2]])
    some = averaged(PAIR, x, along=[Along(emf=turns, ohms=2.0 * turns), Along(limit=turns)])
    by = whole.amps_by
    expected = (by.emf * turns).sum(axis=0) + 2.0 * (by.ohms * turns).sum(axis=0)
    np.testing.assert_allclose(some.d_amps[:, 1].sum(axis=0), expected, rtol=1e-9)
    np.testing.assert_allclose(some.d_amps[:, 2].sum(axis=0), (by.limit * turns).sum(axis=0), rtol=1e-9, atol=1e-20)


def test_one_pass_from_a_neighbour_is_second_order() -> None:
    """Inside an outer Newton solution one pass is enough: its error falls with the square of the step."""
    near = averaged(PAIR, inputs(300.0))
    errors = []
    for step in (0.4, 0.2, 0.1):
        exact = averaged(PAIR, inputs(300.0 + step))
        errors.append(abs(averaged(PAIR, inputs(300.0 + step), near.state, passes=1).amps[0] - exact.amps[0]))
    assert errors[1] < 0.35 * errors[0] < 0.1 * 1e-3
    assert errors[2] < 0.35 * errors[1]


def test_equal_legs_take_half_the_work_and_agree() -> None:
    rng = np.random.default_rng(5)
    volts = rng.uniform(150.0, 420.0, 40)
    two = replace(inputs(0.0, samples=40, farads=12e-6), volts=volts)
    one = replace(inputs(0.0, legs=1, samples=40, farads=12e-6), volts=volts)
    a, b = averaged(PAIR, two), averaged(Cell((Leg(1),), equal=True), one)
    for name in ("amps", "watts", "heating"):
        np.testing.assert_allclose(getattr(b, name), getattr(a, name), rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(b.each_amps[0], a.each_amps[1], rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(b.watts_by.emf[0], a.watts_by.emf.sum(axis=0), rtol=1e-7, atol=1e-12)


def test_a_sample_does_not_depend_on_its_neighbours() -> None:
    rng = np.random.default_rng(6)
    n = 60
    x = replace(inputs(0.0, samples=n), volts=rng.uniform(-50.0, 430.0, n), ohms=10.0 ** rng.uniform(1, 3, (2, n)))
    together = averaged(PAIR, x)
    for k in range(0, n, 7):
        alone = averaged(
            PAIR,
            Inputs(
                x.volts[k : k + 1],
                x.emf[:, :1],
                x.ohms[:, k : k + 1],
                x.scale[:, :1],
                x.limit[:, :1],
                x.farads[:1],
                50.0,
                0.0,
                x.drain[:1],
            ),  # type: ignore[index]
        )
        assert alone.amps[0] == pytest.approx(together.amps[k], rel=1e-9, abs=1e-15)


@pytest.mark.parametrize("law", ["valve", "junction"])
@pytest.mark.parametrize("legs", [1, 2])
def test_finite_for_absurd_states_and_settles_for_wild_ones(law: str, legs: int) -> None:
    rng = np.random.default_rng(7)
    n = 1000
    cell = Cell((Leg(1, law), Leg(-1, law))[:legs])
    wide = lambda low, high, *shape: 10.0 ** rng.uniform(low, high, shape)  # noqa: E731
    x = Inputs(
        rng.uniform(-1e4, 1e4, n), wide(-6, 4, legs, n), wide(-9, 12, legs, n), wide(-14, 3, legs, n), wide(-14, 2, legs, n),
        wide(-13, 0, n), 50.0, wide(-6, 4, n), wide(-12, 3, n),
    )  # fmt: skip
    for passes in (1, 3):
        found = averaged(cell, x, passes=passes)
        for value in (found.amps, found.watts, found.heating, found.state, found.amps_by.volts, found.watts_by.ohms):
            assert np.isfinite(value).all()
    # any amplifier with any fault: mains to 130 %, parts open, shorted, tenfold. Without a reservoir something draws (a current
    # that neither capacitor nor load lets vary is a choke's, and chokes have an element of their own)
    valve = law == "valve"
    scale = wide(-4, -2, legs, n) if valve else np.full((legs, n), 0.0478)
    limit = wide(-2, 1, legs, n) if valve else np.full((legs, n), 1e-8)
    emf = rng.uniform(0.0, 450.0, n) * rng.uniform(0.9, 1.1, (legs, n))
    farads = wide(-8, -3.5, n)
    drain = np.where(farads < 1e-7, wide(-5, -2, n), wide(-7, -2, n))
    x = Inputs(
        rng.uniform(0.0, 600.0, n),
        emf,
        wide(0.7, 3.3, legs, n),
        scale,
        limit,
        farads,
        rng.choice([50.0, 60.0], n),
        0.0,
        drain,
    )
    found = averaged(cell, x)
    assert (found.unsettled > 1e-7).mean() <= 1e-3


@pytest.mark.parametrize("farads", [1e-7, 3e-7])
def test_without_a_reservoir_one_leg_hands_over_to_the_other(farads: float) -> None:
    """A choke takes a steady current and hardly any capacitor stands before it (reservoir open): each leg has it for half a
    cycle. Closed forms: 2 sqrt2/pi E less the drop, square waves of current, and no watt from nowhere."""
    pair = Cell((Leg(1, "junction"), Leg(-1, "junction")))
    amps, ohms = 0.3, 57.0

    def at(volts: float) -> Averaged:
        return averaged(pair, inputs(volts, scale=IDEAL[0], limit=IDEAL[1], ohms=ohms, farads=farads, emf=346.5))

    volts = brentq(lambda v: at(v).amps[0] - amps, 200.0, 480.0, xtol=1e-9)
    found = at(volts)
    # the volts dip a little below 0 where no leg can hold them up: 0.2 % with 0.1 uF
    assert volts == pytest.approx(2.0 * 2.0**0.5 / np.pi * 346.5 - amps * ohms, rel=0.004)
    assert found.each_amps[0, 0] == pytest.approx(found.each_amps[1, 0], rel=1e-6)
    assert found.each_square[0, 0] == pytest.approx(amps**2 / 2.0, rel=0.03)
    # 48 cells: the hand-over falls into one of them
    given, taken = found.watts[0], volts * amps + ohms * found.each_square[:, 0].sum()
    assert given == pytest.approx(taken, rel=0.01)
