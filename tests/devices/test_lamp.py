"""Limiter lamp against common practice and closed relations."""

import numpy as np
import pytest

from firstglow.devices.lamp import filament, glow, lamp_ohms, lamp_ohms_at


def test_hot_over_cold_and_exponents() -> None:
    # common practice: 10 to 15 times more ohms hot than cold; ohms as kelvin^1.2, watts as kelvin^4, so ohms as watts^0.3
    assert 10.0 < 1.0 / filament(0.0)[0] < 15.0
    assert filament(1.0)[0] == pytest.approx(1.0, abs=1e-12)
    assert filament(0.5)[0] / filament(0.05)[0] == pytest.approx(10.0**0.3, rel=0.002)


def test_sixty_watts() -> None:
    # 230 V, 60 W: 882 ohm and 0.261 A hot (Ohm's law); at half volts a lamp takes about 62 to 66 % of the current:
    # I as V^0.6 (common practice, lamp makers' exponent 0.54 to 0.6)
    ohms, _ = lamp_ohms_at(230.0, 230.0, 60.0)
    assert ohms == pytest.approx(230.0**2 / 60.0, rel=1e-9)
    half = 115.0 / lamp_ohms_at(115.0, 230.0, 60.0)[0]
    assert 0.62 < half / (60.0 / 230.0) < 0.70


@pytest.mark.parametrize("watts", [25.0, 60.0, 200.0])
def test_both_forms_agree_and_slopes(watts: float) -> None:
    volts = np.linspace(0.0, 300.0, 61)
    ohms, by_volts = lamp_ohms_at(volts, 230.0, watts)
    again, by_amps = lamp_ohms(volts / ohms, 230.0, watts)
    np.testing.assert_allclose(again, ohms, rtol=1e-9)
    h = 1e-3  # fourth-order differences: independent of the written derivatives
    for function, at, slope, step in (
        (lamp_ohms_at, volts[2:], by_volts[2:], h),
        (lamp_ohms, (volts / ohms)[2:], by_amps[2:], h * 1e-3),
    ):
        y = [function(at + k * step, 230.0, watts)[0] for k in (-2, -1, 1, 2)]
        np.testing.assert_allclose(slope, (y[0] - 8 * y[1] + 8 * y[2] - y[3]) / (12 * step), rtol=1e-6)
    step = 1e-30
    load = np.array([0.01, 0.3, 1.0, 4.0])
    np.testing.assert_allclose(filament(load)[1], np.imag(filament(load + 1j * step)[0]) / step, rtol=1e-12)


def test_words_climb() -> None:
    assert [glow(x) for x in (0.0, 0.01, 0.1, 0.4, 1.0, 3.0)] == ["dark", "dark", "dim", "half", "full", "full"]


def test_finite_for_anything() -> None:
    for value in (0.0, -1e9, 1e9, 1e-300):
        for function in (lamp_ohms, lamp_ohms_at):
            ohms, slope = function(np.array([value]), 230.0, 60.0)
            assert np.isfinite(ohms).all() and np.isfinite(slope).all() and (ohms > 0.0).all()
