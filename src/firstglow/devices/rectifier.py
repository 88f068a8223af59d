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

    perveance: k of I = k V^1.5 [A/V^1.5]. rated_amps: the current [A] from which the emission reserve of ``emission`` (5 times)
    counts: 1.6 times the greatest dc output of the maker's limits, both plates together, so that a hot cathode gives 8 times
    that output (``fit_types.RECTIFIER_RESERVE``). With that, HT of four fifths of a silicon rectifier's is there at 38 % of the
    mains with only a meter on it, 50 % with 220 kohm, 58 % with 47 kohm, 79 % with a whole amplifier; the house's physics
    notes have 35 to 40, 50, 60 and 80 to 85, all +-10 points.
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
    root, space = _root_volts(drive, ohms, perveance)
    return space, 3.0 * perveance * root / (2.0 + 3.0 * ohms * perveance * root)


def _root_volts(drive: Values, ohms: Values, perveance: Values) -> tuple[Values, Values]:
    """Root of the plate volts [V^0.5] and the current [A] that ``drive`` makes through ohms and plate.

    Written with augmented assignments: it is the innermost loop of the standing solution, and fresh arrays cost as much as
    the arithmetic.
    """
    rk = ohms * perveance
    z = np.maximum(drive, 0.0)
    z *= rk * rk
    y = np.sqrt(z)
    t = np.cbrt(y)
    one, two = _NUMERATOR
    top = two * t
    top += one
    top *= t
    top += 1.0
    t += 1.0
    t = _DENOMINATOR / t
    t += two
    t *= y
    t += top
    y *= top
    y /= t
    # Halley's step on f = y^3 + y^2 - z (cubic convergence): 7e-4 -> 2e-10
    t = 3.0 * y
    f = y + 1.0
    f *= y
    f *= y
    f -= z
    f1 = t + 2.0
    f1 *= y
    f1 += _TINY
    t += 1.0
    t *= f
    f *= f1
    f1 *= f1
    f1 -= t
    f1 += _TINY
    f /= f1
    y -= f
    y /= rk
    space = y * y
    space *= y
    space *= perveance
    return y, space


_STARVED_FROM, _STARVED_OVER, _STARVED_STEPS = 0.5, 0.2, 3
"""Share of the emission limit from which more Newton steps count, over how much they come in, and how many."""


def limited_series(
    drive: Values, ohms: Values, perveance: Values, limit: Values
) -> tuple[Values, Values, "SpaceCharge"]:
    """``valve_series`` with a cathode that can emit ``limit`` [A]: current [A], its slope by the drive [S], and what the
    other slopes are made from.

    The join is that of ``emission.emission_limit``, at the plate's own volts. From the current without a limit two Newton
    steps are right to 1e-8 up to three tenths of the limit, 3e-6 to half; beyond, more come in smoothly. Arrays only.
    """
    root, space = _root_volts(drive, ohms, perveance)
    inverse = 1.0 / (limit + _TINY)
    ratio = space * inverse
    # ohms i + volts = drive, and without a limit exactly so: what the cathode withholds, 1 - (1 + r^3)^(-1/3) of it (here
    # its first Pade approximant), is left over for the plate's volts
    cube = ratio * ratio
    cube *= ratio
    volts = 3.0 + 2.0 * cube
    cube /= volts
    cube *= space
    least = root * root
    root *= 1.5 * ohms * perveance
    root += 1.0
    cube /= root
    cube *= ohms
    volts = least + cube
    drive = np.maximum(drive, 0.0)
    _step(volts, drive, ohms, perveance, inverse, least)
    if np.max(ratio, initial=0.0) > _STARVED_FROM:
        part = np.clip((ratio - _STARVED_FROM) * (1.0 / _STARVED_OVER), 0.0, 1.0)
        more = volts + 0.0
        for _ in range(_STARVED_STEPS):
            _step(more, drive, ohms, perveance, inverse, least)
        volts += part * (more - volts)
    at = SpaceCharge.at(volts, ohms, perveance, inverse)
    return at.amps, at.by_volts * at.left, at


def _step(volts: Values, drive: Values, ohms: Values, perveance: Values, inverse: Values, least: Values) -> None:
    """One Newton step of ohms i + volts = drive, in place."""
    at = SpaceCharge.at(volts, ohms, perveance, inverse)
    miss = at.amps
    miss *= ohms
    miss += volts
    miss -= drive
    miss *= at.left
    volts -= miss
    np.maximum(volts, least, out=volts)


@dataclass(frozen=True, slots=True)
class SpaceCharge:
    """A plate at given volts, in series with ohms. space: space charge current [A]; ratio: over the emission limit; bend:
    d amps/d space; by_volts [S]; left: 1/(1 + ohms by_volts)."""

    amps: Values
    space: Values
    ratio: Values
    bend: Values
    by_volts: Values
    left: Values

    @classmethod
    def at(cls, volts: Values, ohms: Values, perveance: Values, inverse: Values) -> "SpaceCharge":
        """From plate volts (not negative) and 1 over the emission limit."""
        slope = np.sqrt(volts)
        slope *= perveance
        space = slope * volts
        ratio = space * inverse
        cube = ratio * ratio
        cube *= ratio
        cube += 1.0
        share = 1.0 / np.cbrt(cube)
        bend = share / cube
        slope *= bend
        slope *= 1.5
        left = ohms * slope
        left += 1.0
        left = 1.0 / left
        share *= space
        return cls(share, space, ratio, bend, slope, left)

    def by_perveance(self, perveance: Values) -> Values:
        """Slope of the current by the perveance, the drive held."""
        return self.bend * self.left * self.space / perveance

    def by_limit(self) -> Values:
        """Slope of the current by the emission limit, the drive held."""
        return self.bend * self.left * (self.ratio * self.ratio) * (self.ratio * self.ratio)


def emitted(law: RectifierLaw, heater_ratio: Values, emission: Values = 1.0) -> tuple[Values, Values]:
    """The most one plate's cathode can give [A] at ``heater_ratio`` (heater volts over rated), and its derivative [A]."""
    limit, _, d_ratio = emission_limit(1e9, heater_ratio, law.rated_amps, emission)
    return limit, d_ratio
