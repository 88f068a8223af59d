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
    root, space = _root_volts(drive, ohms, perveance)
    return space, 3.0 * perveance * root / (2.0 + 3.0 * ohms * perveance * root)


def _root_volts(drive: Values, ohms: Values, perveance: Values) -> tuple[Values, Values]:
    """Root of the plate volts [V^0.5] and the current [A] that ``drive`` makes through ohms and plate."""
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
    root = y / rk
    return root, perveance * root * root * root


_STEPS = 1
_STARVED_FROM, _STARVED_OVER, _STARVED_STEPS = 0.5, 0.2, 3
"""Share of the emission limit from which more Newton steps count, over how much they come in, and how many."""


def limited_series(
    drive: Values, ohms: Values, perveance: Values, limit: Values
) -> tuple[Values, Values, "SpaceCharge"]:
    """``valve_series`` with a cathode that can emit ``limit`` [A]: current [A], its slope by the drive [S], and what the
    other slopes are made from.

    The join is that of ``emission.emission_limit``, at the plate's own volts. From the current without a limit two Newton
    steps are right to 1e-8 up to half of the limit; beyond, more come in smoothly (1e-3 just at it, behind large ohms).
    """
    root, space = _root_volts(drive, ohms, perveance)
    inverse = 1.0 / (limit + _TINY)
    ratio = space * inverse
    cube = ratio * ratio * ratio
    # ohms i + volts = drive, and without a limit exactly so: what the cathode withholds, 1 - (1 + r^3)^(-1/3) of it (here
    # its second Pade approximant), is left over for the plate's volts
    withheld = cube / (3.0 + 2.0 * cube)
    stiff = (1.5 * ohms * perveance) * root
    least = root * root
    volts = least + ohms * space * withheld / (1.0 + stiff / (1.0 + (4.0 / 3.0) * cube))
    drive = np.maximum(drive, 0.0)
    for _ in range(_STEPS):
        at = SpaceCharge.at(volts, ohms, perveance, inverse)
        volts = np.maximum(volts - (ohms * at.amps + volts - drive) * at.left, least)
    if np.max(ratio, initial=0.0) > _STARVED_FROM:
        part = np.clip((ratio - _STARVED_FROM) * (1.0 / _STARVED_OVER), 0.0, 1.0)
        more = volts
        for _ in range(_STARVED_STEPS):
            at = SpaceCharge.at(more, ohms, perveance, inverse)
            more = np.maximum(more - (ohms * at.amps + more - drive) * at.left, least)
        volts = volts + part * (more - volts)
    at = SpaceCharge.at(volts, ohms, perveance, inverse)
    return at.amps, at.by_volts * at.left, at


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
        slope = perveance * np.sqrt(volts)
        space = slope * volts
        ratio = space * inverse
        cube = ratio * ratio * ratio + 1.0
        share = 1.0 / np.cbrt(cube)
        bend = share / cube
        by_volts = slope * bend * 1.5
        return cls(space * share, space, ratio, bend, by_volts, 1.0 / (1.0 + ohms * by_volts))

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
