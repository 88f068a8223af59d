"""Tungsten limiter lamp: its ohms, and how bright it looks.

A filament radiates as the fourth power of its kelvin and its ohms go as kelvin^1.2 (H. A. Jones and I. Langmuir, "The
characteristics of tungsten filaments as functions of temperature", General Electric Review 30, 1927: 1.2 between 300 K and
2700 K). With 300 K cold and 2700 K hot that is 14 times the ohms hot, inside the 10 to 15 that lamps show (common practice).
"""

from collections.abc import Callable
from typing import Literal

import numpy as np

from firstglow.devices.smooth import Values

HOT_KELVIN = 2700.0
"""Vacuum and gas-filled lamps run at 2400 to 2900 K (common practice)."""
COLD_KELVIN = 300.0
OHMS_POWER = 1.2
_COLD = (COLD_KELVIN / HOT_KELVIN) ** 4
_POWER = OHMS_POWER / 4.0
_STEPS = 12
LIT_SECONDS, LIT_AMPS = 0.13, 100.0 / 120.0
"""A 100 W lamp for 120 V gives 90 % of its light 0.13 s after it is switched on, and its current is steady after 0.10 s (makers'
figure, as encyclopedias quote it); one for 230 V nears its current in 0.05 s (lamptech.co.uk, "Starting Characteristics")."""
LIT_OVER_HEAT = 0.99
"""That time over the seconds of rated watts that the filament holds, light as watts to 2.2 (volts to 3.5: common practice)."""

Glow = Literal["dark", "dim", "half", "full"]
GLOW: tuple[tuple[float, Glow], ...] = ((0.05, "dark"), (0.3, "dim"), (0.7, "half"), (float("inf"), "full"))
"""Watts over rated up to which a lamp looks dark, dim, half, full: 1280, 2000 and 2470 K, or 15, 45 and 80 % of its volts.
A lit room hides a dull red (the eye's first red is at 798 K, the Draper point). Common practice, no sharper than that."""


def filament(load: Values) -> tuple[Values, Values]:
    """Ohms over hot ohms at ``load`` = watts over rated watts, and its derivative [1]. A negative load counts as none."""
    load = np.asarray(load)
    on = np.real(load) > 0.0
    base = _COLD + (1.0 - _COLD) * np.where(on, load, 0.0)
    h = base**_POWER
    return h, np.where(on, _POWER * (1.0 - _COLD) * h / base, 0.0)


def lamp_ohms(amps: Values, rated_volts: Values, rated_watts: Values) -> tuple[Values, Values]:
    """Ohms of a lamp that carries ``amps`` [A rms, harmonics included] and their derivative [ohm/A]; current is given."""
    hot = rated_volts * rated_volts / rated_watts
    square = np.asarray(amps) ** 2 * (hot / rated_watts)  # watts over rated if it were hot
    h, slope = _settle(lambda h: (square * h, square))
    # h = F(square h): dh/dsquare = F' h / (1 - F' square)
    return hot * h, hot * slope * h / (1.0 - slope * square) * 2.0 * amps * hot / rated_watts


def lamp_ohms_at(volts: Values, rated_volts: Values, rated_watts: Values) -> tuple[Values, Values]:
    """Ohms of a lamp with ``volts`` [V rms] across it and their derivative [ohm/V]; volts are given."""
    hot = rated_volts * rated_volts / rated_watts
    square = (np.asarray(volts) / rated_volts) ** 2
    h, slope = _settle(lambda h: (square / h, -square / (h * h)))
    return hot * h, hot * slope / h / (1.0 + slope * square / (h * h)) * 2.0 * volts / (rated_volts * rated_volts)


def _settle(load: Callable[[Values], tuple[Values, Values]]) -> tuple[Values, Values]:
    """h of h = filament(load(h)), and filament's slope there. Newton's rule in ln h, where both sides are nearly straight."""
    h = np.asarray(1.0)
    for _ in range(_STEPS):
        watts, by_h = load(h)
        value, slope = filament(watts)
        miss = np.log(h / value)
        h = h * np.exp(-miss / (1.0 - slope * by_h * h / value))
    return h, filament(load(h)[0])[1]


def filament_seconds(rated_volts: Values, rated_watts: Values) -> Values:
    """Heat that a filament holds at its working temperature, in seconds of its rated watts [s].

    It goes with the wire's thickness: heat over watts is thickness, watts length x thickness, ohms length over thickness squared,
    so thickness goes as rated amps to 2/3.
    """
    amps = rated_watts / rated_volts
    return LIT_SECONDS / LIT_OVER_HEAT * (amps / LIT_AMPS) ** (2.0 / 3.0)


def filament_watts(warmth: Values) -> tuple[Values, Values]:
    """What a filament at ``warmth`` (kelvin over its working ones) radiates over its rated watts, and its derivative."""
    cold = (COLD_KELVIN / HOT_KELVIN) ** 4
    return (warmth**4 - cold) / (1.0 - cold), 4.0 * warmth**3 / (1.0 - cold)


def glow(load: float) -> Glow:
    """How a lamp looks that takes ``load`` times its rated watts."""
    return next(word for most, word in GLOW if load <= most)
