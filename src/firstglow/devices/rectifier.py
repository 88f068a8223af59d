"""Valve rectifiers: one plate to its cathode, alone and in series with the ohms that the pulse flows through.

The law is space charge, ``I = k V^1.5`` a plate (C. D. Child, "Discharge from hot CaO", Physical Review 32, 1911; its
exponent is 1.5 for any electrode shape, I. Langmuir, Physical Review 2, 1913), limited by what the cathode can emit.

In series with ohms R the current solves ``R i + (i/k)^(2/3) = u``. With ``y = R k (i/k)^(1/3)`` this is ``y^3 + y^2 =
u (R k)^2``: one curve for every valve and every winding, found in two steps from a start that is right at both ends.
"""

from dataclasses import dataclass

import numpy as np

from firstglow.devices.emission import emission_limit
from firstglow.devices.smooth import Values

SMALLEST_OHMS = 1e-6
"""Series ohms below this count as this [ohm], so that a quotient by them stays finite."""
SMALLEST_PERVEANCE = 1e-15
"""Perveance below this counts as this [A/V^1.5]: a dead rectifier passes nothing that a meter could show."""
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class RectifierLaw:
    """Law of one plate of a rectifier valve.

    perveance: k of I = k V^1.5 [A/V^1.5]. rated_amps: the peak plate current of the maker's limits [A]; the emission
    reserve of ``emission`` (5 times, 3 to 8) counts from it.
    """

    perveance: float
    rated_amps: float


def valve_diode(law: RectifierLaw, volts: Values, perveance: Values = 1.0) -> tuple[Values, Values]:
    """Current of one plate [A] at ``volts`` plate to cathode, and its derivative [S], emission not limited.

    perveance: factor on the law's. Zero below 0 V; the derivative is continuous there.
    """
    v = np.where(np.real(volts) > 0.0, volts, 0.0)
    root = np.sqrt(v)
    k = law.perveance * perveance
    return k * v * root, 1.5 * k * root


_NUMERATOR = 0.25332119, 1.58302787
_DENOMINATOR = -1.32335179
"""Start of ``valve_series``: rational in the cube root of sqrt(z), 0.07 % off at worst (fitted here, minimax, over eleven
decades; right at both ends)."""


def valve_series(drive: Values, ohms: Values, perveance: Values) -> tuple[Values, Values]:
    """Current [A] of a plate in series with ``ohms`` at ``drive`` volts across both, and its derivative by the drive [S].

    perveance: k [A/V^1.5]. Zero for a negative drive. The other slopes follow from the second result m:
    by ohms -i m, by perveance (2/3) (drive - ohms i)/perveance m. Right to 1e-9 for any finite input.
    """
    rk = ohms * perveance
    z = np.maximum(drive, 0.0) * (rk * rk)
    s = np.sqrt(z)
    t = np.cbrt(s)
    one, two = _NUMERATOR
    top = (two * t + one) * t + 1.0
    y = s * top / (top + s * (_DENOMINATOR / (1.0 + t) + two))
    # Halley's step on y^3 + y^2 = z (cubic convergence): 7e-4 -> 2e-10
    t = 3.0 * y
    f = y * y * (y + 1.0) - z
    f1 = y * (t + 2.0) + _TINY
    y = y - f * f1 / (f1 * f1 - f * (t + 1.0) + _TINY)
    w = y / rk
    wk = w * perveance
    return wk * w * w, 3.0 * wk / (2.0 + 3.0 * y)


def limited(amps: Values, limit: Values) -> tuple[Values, Values, Values]:
    """What a cathode that can emit ``limit`` [A] gives of ``amps``, and its derivatives by both [1].

    The join of ``emission.emission_limit``, for a limit already worked out from the heater volts.
    """
    ratio = amps / (limit + _TINY)
    cube = ratio * ratio * ratio
    share = 1.0 / np.cbrt(1.0 + cube)
    d_amps = share / (1.0 + cube)
    return amps * share, d_amps, d_amps * ratio * cube


def emitted(law: RectifierLaw, heater_ratio: Values, emission: Values = 1.0) -> tuple[Values, Values]:
    """The most one plate's cathode can give [A] at ``heater_ratio`` (heater volts over rated), and its derivative [A]."""
    limit, _, d_ratio = emission_limit(1e9, heater_ratio, law.rated_amps, emission)
    return limit, d_ratio
