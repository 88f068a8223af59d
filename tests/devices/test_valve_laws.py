"""The valve laws themselves: derivatives by complex step, limits, monotonicity, finiteness, hand-computed values."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from firstglow.devices.catalogue import type_names, valve_type
from firstglow.devices.emission import cathode_temperature, emission_limit, heater_current
from firstglow.devices.grid import grid_current
from firstglow.devices.pentode import PentodeLaw, pentode_currents
from firstglow.devices.smooth import DeviceError, positive_part, softplus, stack
from firstglow.devices.triode import TriodeLaw, triode_current

STEP = 1e-30  # complex step: no cancellation, so derivatives are exact to rounding
TRIODE = TriodeLaw(perveance=1.3e-3, exponent=1.41, mu=100.0, sharpness=600.0, low_plate=300.0, contact=0.45)
PENTODE = PentodeLaw(
    perveance=1.1e-3, exponent=1.43, mu=9.9, sharpness=60.0, contact=0.37, penetration=0.03, share=0.14,
    share_volts=0.45, share_drive=0.6, knee=17.0, knee_power=1.85,
)  # fmt: skip


def gridded_sections() -> list[tuple[str, object]]:
    out = []
    for name in type_names():
        try:
            valve = valve_type(name)
        except DeviceError:
            continue
        out += [(name, s) for s in valve.sections if s.kind != "rectifier"]
    return out


def by_complex_step(function, args, which):
    moved = [a + 1j * STEP if i == which else a for i, a in enumerate(args)]
    return np.imag(np.asarray(function(*moved))) / STEP


@pytest.fixture
def states():
    rng = np.random.default_rng(20260)
    n = 4000
    return rng.uniform(-30, 600, n), rng.uniform(-30, 500, n), rng.uniform(-90, 5, n)


def test_triode_derivatives_by_complex_step(states) -> None:
    plate, _, grid = states
    _, d_plate, d_grid = triode_current(TRIODE, plate, grid, 1.1, 0.97, 0.05)
    for i, d in enumerate((d_plate, d_grid)):
        exact = by_complex_step(lambda a, g: triode_current(TRIODE, a, g, 1.1, 0.97, 0.05)[0], (plate, grid), i)
        np.testing.assert_allclose(d, exact, rtol=1e-7, atol=1e-20)


def test_pentode_derivatives_by_complex_step(states) -> None:
    plate, screen, grid = states
    _, _, d = pentode_currents(PENTODE, plate, screen, grid, 0.9, 1.03, -0.05)
    for row in (0, 1):
        for i, column in enumerate((0, 2, 1)):  # arguments are plate, screen, grid; partials plate, grid, screen
            exact = by_complex_step(
                lambda a, s, g, row=row: pentode_currents(PENTODE, a, s, g, 0.9, 1.03, -0.05)[row],
                (plate, screen, grid),
                i,
            )
            np.testing.assert_allclose(d[row][column], exact, rtol=1e-7, atol=1e-16)


@pytest.mark.parametrize("split", [0.3, 0.9, 1.2, 3.0])
def test_derivatives_by_complex_step_with_the_split_moved(states, split: float) -> None:
    plate, screen, grid = states
    _, _, d = pentode_currents(PENTODE, plate, screen, grid, 0.9, 1.03, -0.05, split)
    for row in (0, 1):
        for i, column in enumerate((0, 2, 1)):
            exact = by_complex_step(
                lambda a, s, g, row=row: pentode_currents(PENTODE, a, s, g, 0.9, 1.03, -0.05, split)[row],
                (plate, screen, grid),
                i,
            )
            np.testing.assert_allclose(d[row][column], exact, rtol=1e-7, atol=1e-16)


def test_the_split_moves_the_screen_and_keeps_the_cathode(states) -> None:
    """By hand: with T = ia + ig2 and a factor f, ig2' = T f ig2/(ia + f ig2) and ia' = T ia/(ia + f ig2); f = 1 changes no bit."""
    plate, screen, grid = states
    screen = 25.0 + np.abs(screen)  # above the screen's onset the two add up to the cathode's current
    ia, ig2, d = pentode_currents(PENTODE, plate, screen, grid)
    same = pentode_currents(PENTODE, plate, screen, grid, split=np.ones_like(plate))
    for got, law in zip((*same[:2], *same[2][0], *same[2][1]), (ia, ig2, *d[0], *d[1]), strict=True):
        np.testing.assert_array_equal(got, law)
    total = ia + ig2
    seen = total > 1e-12
    for f in (1e-3, 0.5, 2.0, 1e3):
        a, s, _ = pentode_currents(PENTODE, plate, screen, grid, split=f)
        assert a.min() >= 0 and s.min() >= 0
        np.testing.assert_allclose(s[seen], (total * f * ig2 / (ia + f * ig2))[seen], rtol=1e-10, atol=1e-18)
        np.testing.assert_allclose(a[seen], (total * ia / (ia + f * ig2))[seen], rtol=1e-10, atol=1e-18)
        np.testing.assert_allclose(a + s, total, rtol=1e-13)


def test_with_the_split_moved_currents_stay_finite_and_rise_as_they_do() -> None:
    """As far as any type's uncertainty goes at 4 sigma; plate current rises with plate volts, and with grid volts above the knee."""
    ends = np.array([-1e6, -300.0, -1.0, 0.0, 1e-3, 1.0, 300.0, 1e6])
    far = [x.ravel() for x in np.meshgrid(ends, ends, ends)]
    for name, section in gridded_sections():
        if section.kind != "pentode":
            continue
        for sigmas in (-4.0, 4.0):
            f = math.exp(sigmas * section.law_uncertainty["screen"])
            ia, ig2, d = pentode_currents(section.law, *far, split=f)
            assert all(np.isfinite(x).all() for x in (ia, ig2, *d[0], *d[1])), name
            assert ia.min() >= 0 and ig2.min() >= 0, name
            screen = section.limits.screen_volts
            plate, grid = np.meshgrid(
                np.linspace(0.5, 1.5 * section.limits.plate_volts, 40),
                np.linspace(-0.9 * screen / section.law.mu, 0, 30),
            )
            ia, _, d = pentode_currents(section.law, plate, screen, grid, split=f)
            seen = ia > 1e-9
            assert (d[0][0][seen] > 0).all() and (d[0][1] + d[1][1])[seen].min() > 0, name
            above = seen & (plate > 0.5 * screen)
            assert (d[0][1][above] > 0).all(), name


def test_grid_heater_and_emission_derivatives_by_complex_step() -> None:
    rng = np.random.default_rng(7)
    grid = rng.uniform(-4, 3, 500)
    exact = by_complex_step(lambda g: grid_current(g, 0.1)[0], (grid,), 0)
    np.testing.assert_allclose(grid_current(grid, 0.1)[1], exact, rtol=1e-7, atol=1e-20)
    volts = rng.uniform(-8, 8, 500)
    exact = by_complex_step(lambda v: heater_current(v, 6.3, 0.3)[0], (volts,), 0)
    np.testing.assert_allclose(heater_current(volts, 6.3, 0.3)[1], exact, rtol=1e-10)
    amps, ratio = rng.uniform(0, 0.2, 500), rng.uniform(0.4, 1.3, 500)
    _, d_i, d_v = emission_limit(amps, ratio, 0.05, 0.7)
    exact = by_complex_step(lambda i, v: emission_limit(i, v, 0.05, 0.7)[0], (amps, ratio), 0)
    np.testing.assert_allclose(d_i, exact, rtol=1e-6, atol=1e-12)
    exact = by_complex_step(lambda i, v: emission_limit(i, v, 0.05, 0.7)[0], (amps, ratio), 1)
    np.testing.assert_allclose(d_v, exact, rtol=1e-6, atol=1e-14)


def test_stacked_laws_give_what_each_gives_alone(states) -> None:
    plate, screen, grid = (x[:50] for x in states)
    other = TriodeLaw(2e-3, 1.5, 20.0, 90.0, 250.0, 0.3)
    both = triode_current(stack([TRIODE, other]), plate, grid)
    for row, law in enumerate((TRIODE, other)):
        for got, alone in zip(both, triode_current(law, plate, grid), strict=True):
            np.testing.assert_allclose(got[row], alone, rtol=1e-13)
    currents = pentode_currents(stack([PENTODE, PENTODE]), plate, screen, grid)[0]
    np.testing.assert_allclose(currents[1], pentode_currents(PENTODE, plate, screen, grid)[0], rtol=1e-13)
    with pytest.raises(DeviceError, match="one kind"):
        stack([TRIODE, PENTODE])


FAR = st.floats(-1e6, 1e6)


@given(FAR, FAR, FAR)
@settings(max_examples=300, deadline=None)
def test_laws_are_finite_and_never_negative_for_any_volts(plate: float, screen: float, grid: float) -> None:
    ia, da, dg = triode_current(TRIODE, plate, grid)
    assert np.isfinite([ia, da, dg]).all()
    assert ia >= 0 and da >= 0 and dg >= 0
    ia, ig2, d = pentode_currents(PENTODE, plate, screen, grid)
    assert np.isfinite([ia, ig2, *d[0], *d[1]]).all()
    assert ia >= 0 and ig2 >= 0
    assert np.isfinite(grid_current(grid)).all() and grid_current(grid)[0] >= 0
    assert np.isfinite(heater_current(plate, 6.3, 0.3)).all()
    assert np.isfinite(emission_limit(abs(plate), screen / 1e3, 0.05, 0.0)).all()


def test_every_fitted_law_is_finite_at_the_ends_and_under_a_complex_step() -> None:
    ends = np.array([-1e6, -300.0, -1.0, 0.0, 1e-3, 1.0, 300.0, 1e6])
    plate, screen, grid = (x.ravel() for x in np.meshgrid(ends, ends, ends))
    sections = gridded_sections()
    assert len(sections) >= 30
    for name, section in sections:
        for shift in (0.0, 1j * STEP):
            if section.kind == "triode":
                out = triode_current(section.law, plate + shift, grid)
            else:
                ia, ig2, d = pentode_currents(section.law, plate + shift, screen, grid)
                out = (ia, ig2, *d[0], *d[1])
            assert all(np.isfinite(x).all() for x in out), name
            assert shift or min(out[0].min(), out[1].min()) >= 0, name


def test_triode_rises_with_plate_and_grid_volts() -> None:
    for name, section in gridded_sections():
        if section.kind != "triode":
            continue
        top = section.limits.plate_volts * 1.5
        plate, grid = np.meshgrid(np.linspace(0.5, top, 60), np.linspace(-top / section.law.mu, 2.0, 60))
        current, d_plate, d_grid = triode_current(section.law, plate, grid)
        seen = current > 1e-12
        assert (d_plate[seen] > 0).all() and (d_grid[seen] > 0).all(), name


def test_pentode_rises_with_grid_and_plate_volts() -> None:
    for name, section in gridded_sections():
        if section.kind != "pentode":
            continue
        screen = section.limits.screen_volts
        plate, grid = np.meshgrid(
            np.linspace(0.5, 1.5 * section.limits.plate_volts, 80), np.linspace(-0.9 * screen / section.law.mu, 0, 40)
        )
        ia, _, d = pentode_currents(section.law, plate, screen, grid)
        seen = ia > 1e-9
        assert (d[0][0][seen] > 0).all(), name
        # above the knee more grid volts mean more plate current; inside the knee the cathode current still rises
        assert (d[0][1] + d[1][1])[seen].min() > 0, name
        above = seen & (plate > 0.5 * screen)
        assert (d[0][1][above] > 0).all(), name


def test_currents_vanish_with_their_own_electrode() -> None:
    # plate at -2 V and below: retarding field, e-folds of 0.2 V: 45 uA of drive is left at most at -2 V
    ia, _, _ = triode_current(TRIODE, np.array([-2.0, -5.0, -300.0]), 0.0)
    assert (ia < [1e-8, 1e-13, 1e-30]).all()
    root = math.sqrt(300.0 + 250.0**2)  # the drive without any plate volts, by hand
    full = 1.1e-3 * (250.0 / 60.0 * math.log1p(math.exp(60.0 * (1 / 9.9 - (12.5 - 0.37) / root)))) ** 1.43
    ia, ig2, _ = pentode_currents(PENTODE, np.array([0.0, -2.0, -300.0]), 250.0, -12.5)
    assert (ia < np.array([2e-3, 1e-6, 1e-12]) * full).all()
    assert (np.abs(ig2 / full - 1) < [3e-3, 1e-5, 1e-12]).all()  # all of it goes to the screen
    _, ig2, _ = pentode_currents(PENTODE, 250.0, np.array([0.0, -2.0, -10.0]), 0.0)
    assert (ig2 < [1e-3 * full, 1e-5 * full, 1e-10]).all()


def test_screen_tied_to_plate_gives_the_total_current() -> None:
    volts = np.array([100.0, 250.0, 400.0])
    ia, ig2, _ = pentode_currents(PENTODE, volts, volts, -20.0)
    drive = volts * (1 + PENTODE.penetration)
    per_volt = np.log1p(np.exp(60.0 * (1 / 9.9 + (-20 + 0.37) / np.sqrt(300 + drive**2)))) / 60.0
    np.testing.assert_allclose(ia + ig2, 1.1e-3 * (drive * per_volt) ** 1.43, rtol=1e-12)


def test_triode_against_an_independent_formula() -> None:
    """The published form (N. Koren, Glass Audio 8 (5), 1996) written out with math, one point at a time."""
    for va, vg in ((250.0, -2.0), (100.0, -1.0), (30.0, 0.0)):
        u = 600.0 * (1 / 100.0 + (vg + 0.45) / math.sqrt(300.0 + va * va))
        drive = va / 600.0 * math.log(1 + math.exp(u))
        assert triode_current(TRIODE, va, vg)[0] == pytest.approx(1.3e-3 * drive**1.41, rel=1e-12)
        # a contact offset is the same as that much grid
        assert triode_current(TRIODE, va, vg, contact=0.3)[0] == pytest.approx(triode_current(TRIODE, va, vg + 0.3)[0])


def test_perveance_is_a_plain_factor() -> None:
    one, two = (triode_current(TRIODE, 200.0, -1.0, p)[0] for p in (1.0, 1.2))
    assert two == pytest.approx(1.2 * one)
    one, two = (pentode_currents(PENTODE, 200.0, 200.0, -10.0, p) for p in (1.0, 1.2))
    assert two[0] == pytest.approx(1.2 * one[0]) and two[1] == pytest.approx(1.2 * one[1])


def test_grid_current_figures() -> None:
    """House physics notes: 0.2 mA at 0 V; about -1 V across 10 megohm."""
    assert grid_current(0.0)[0] == pytest.approx(0.2e-3, rel=0.05)
    low, high = -2.0, 0.0
    for _ in range(60):  # bisection of -grid / 10 Mohm = current
        middle = (low + high) / 2
        low, high = (middle, high) if -middle / 10e6 > grid_current(middle)[0] else (low, middle)
    assert middle == pytest.approx(-1.0, abs=0.15)


def test_heater_law() -> None:
    """current ~ volts^0.6 (common practice); cold inrush 3 to 7 times the rated current (common practice)."""
    assert heater_current(6.3, 6.3, 0.45)[0] == pytest.approx(0.45, rel=1e-12)
    assert heater_current(6.3 * 0.8, 6.3, 0.45)[0] == pytest.approx(0.45 * 0.8**0.6, rel=2e-3)
    cold_ohms = 1 / heater_current(0.0, 6.3, 0.45)[1]
    assert 3 < (6.3 / 0.45) / cold_ohms < 7


def test_emission_figures() -> None:
    """House physics notes: saturation 1 % of rated current at half heater volts, 87 % at 80 %; 5 times at full."""
    saturated = emission_limit(1e3, np.array([0.5, 0.8, 1.0]), 1.0)[0]
    np.testing.assert_allclose(saturated, [0.01, 0.87, 5.0], rtol=0.08)
    assert emission_limit(1e-3, 1.0, 0.05)[0] == pytest.approx(1e-3, rel=1e-5)  # far below: the space charge rules
    assert emission_limit(1e-3, 1.0, 0.05, emission=0.0)[0] < 1e-20
    assert cathode_temperature(0.0)[0] == pytest.approx(300 / 1050, rel=1e-3)
    rise = emission_limit(0.1, np.linspace(0, 1.3, 200), 0.05)[0]
    assert (np.diff(rise) >= 0).all()


def test_a_sample_does_not_feel_its_neighbours() -> None:
    """Bit for bit: a starved sample in the batch must not move the others' bands."""
    plate, screen, grid = np.array([250.0, 3.0, 40.0]), np.array([250.0, 250.0, -2.0]), np.array([-12.5, -12.5, 0.0])
    batch = pentode_currents(PENTODE, plate, screen, grid)
    three = triode_current(TRIODE, plate, grid / 10)
    for i in range(3):
        alone = pentode_currents(PENTODE, plate[i : i + 1], screen[i : i + 1], grid[i : i + 1])
        assert (batch[0][i], batch[1][i]) == (alone[0][0], alone[1][0])
        assert [d[i] for d in (*batch[2][0], *batch[2][1])] == [d[0] for d in (*alone[2][0], *alone[2][1])]
        assert [x[i] for x in three] == [x[0] for x in triode_current(TRIODE, plate[i : i + 1], grid[i : i + 1] / 10)]


def test_building_blocks() -> None:
    assert softplus(0.0) == (pytest.approx(math.log(2)), 0.5)
    assert softplus(1e6) == (1e6, 1.0)
    assert positive_part(np.array([50.0, 60.0]))[0].tolist() == [50.0, 60.0]
    value, slope = positive_part(np.array([-3.0, 0.0, 3.0]), 0.2)
    np.testing.assert_allclose(value, [0.2 * math.exp(-15), 0.2 * math.log(2), 3.0], rtol=1e-6)
    np.testing.assert_allclose(slope, [math.exp(-15), 0.5, 1.0], rtol=1e-6)


@pytest.mark.parametrize("name", ["6V6GT", "EL84", "EL34", "6L6GC", "EF86", "6AU6"])
def test_a_screen_that_nothing_feeds_floats_about_a_volt_below_its_cathode(name: str) -> None:
    """Electrons reach an electrode of small negative volts by their starting energies alone, kT/e = 0.09 V: a grid over 10 megohm stands at
    about -1 V (PHYSICS), and takes 0.3 uA at -1.3 V at most (makers' sheets of small valves, from memory). Far below 0.2 V are a decade"""
    law = next(s.law for s in valve_type(name).sections if s.kind == "pentode")

    def amps(screen: float) -> float:
        return float(pentode_currents(law, 400.0, screen, 0.0)[1])

    at = brentq(lambda v: amps(v) + v / 10e6, -5.0, 0.0)
    assert -1.3 < at < -0.5
    assert amps(-1.3) < 0.3e-6
    assert amps(-1.8) < 0.1 * amps(-1.6)
    assert amps(25.0) > 0.0  # and above its onset as before: the rest of the cathode's current
