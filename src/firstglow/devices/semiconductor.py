"""Silicon and selenium rectifiers: ``v = a ln(1 + i/I0) + r i``, alone and in series with the ohms of their winding.

Shockley's junction law (W. Shockley, "The theory of p-n junctions", Bell System Technical Journal 28, 1949) with a series
resistance. A selenium plate follows it too: it hardly conducts below 0.5 to 0.7 V and rises by another 0.4 to 0.5 V at
rated current. In series with ohms R the current solves ``R i + a ln(1 + i/I0) = u``: Wright's omega function,
``w + ln w = z`` with ``w = (i + I0) R/a`` (R. M. Corless and D. J. Jeffrey, "The Wright omega function", 2002).
"""

from dataclasses import dataclass
from math import exp

import numpy as np

from firstglow.devices.smooth import Values

SMALLEST_OHMS = 1e-6
"""Series ohms below this count as this [ohm], so that a quotient by them stays finite."""
_LOWEST = -600.0
"""exp of less is no normal number."""
_HIGHEST = 1e100
"""Squares of more overflow."""


@dataclass(frozen=True, slots=True)
class JunctionLaw:
    """A rectifier of ``count`` equal junctions in series.

    slope_volts: a, one junction [V]. start_amps: I0 [A]. series_ohms: r, one junction [ohm].
    leak_ohms: ohms across one junction in reverse. Where the age is a batch, series_ohms and leak_ohms are (sample,).
    """

    slope_volts: float
    start_amps: float
    series_ohms: Values
    leak_ohms: Values
    count: float = 1.0


SILICON_AMPS = 1.0


def silicon_law(rated_amps: float = SILICON_AMPS, series_ohms: float | None = None) -> JunctionLaw:
    """A power silicon diode of ``rated_amps`` [A dc].

    Slope and start current from the typical curve of a 1 A diode: 0.65 V at 10 mA, 0.76 V at 100 mA, 0.93 V at 1 A, 1.15 V at
    5 A, within 0.05 V (1N4001-1N4007 data sheets, 25 C, from memory); a larger die has the same volts at the same density.
    """
    scale = rated_amps / SILICON_AMPS
    ohms = 0.036 / scale if series_ohms is None else series_ohms
    return JunctionLaw(0.0478, 1.24e-8 * scale, ohms, 2e8 / scale)


SELENIUM_REVERSE_VOLTS = 26.0
"""Reverse rating of a plate [V rms], 1956 and later (Sams, Metallic Rectifiers, 1957)."""


def selenium_law(rated_amps: float, plates: float, age: Values = 0.0) -> JunctionLaw:
    """A selenium stack: ``plates`` in series, ``rated_amps`` [A dc], ``age`` 0 new .. 1 at the end of its life.

    New: 0.6 V where it begins (2 % of rated current; 0.5 to 0.7 V, selenium handbook, from memory) and 1.0 V a plate at rated
    current (seen in print). The drop at rated current doubles with age (1.5 to 2.5 V aged, service literature, from memory):
    the rise is series resistance, and the leak grows with it. Leak: rated current/100 at the reverse rating new, /20 aged, a
    plausibility choice.
    """
    slope = 0.085
    start = 0.02 * rated_amps * exp(-0.6 / slope)
    begin = slope * np.log1p(rated_amps / start)
    series = (1.0 + age - begin) / rated_amps
    leak = SELENIUM_REVERSE_VOLTS * 2.0**0.5 / (rated_amps * 0.01 * 5.0**age)
    return JunctionLaw(slope, start, series, leak, plates)


def junction_diode(law: JunctionLaw, volts: Values) -> tuple[Values, Values]:
    """Current [A] at ``volts`` across the whole stack, leak included, and its derivative [S]."""
    n = law.count
    drive = np.asarray(volts)
    ohms = np.maximum(n * law.series_ohms, SMALLEST_OHMS)
    i, m = junction_series(drive, ohms, n * law.slope_volts, law.start_amps)
    leak = 1.0 / (n * law.leak_ohms)
    return i + leak * drive, m + leak


def silicon(volts: Values, rated_amps: float = SILICON_AMPS) -> tuple[Values, Values]:
    """Current of one silicon diode [A] at ``volts`` and its derivative [S]."""
    return junction_diode(silicon_law(rated_amps), volts)


def selenium(volts: Values, rated_amps: float, plates: float, age: float = 0.0) -> tuple[Values, Values]:
    """Current of a selenium stack [A] at ``volts`` across it and its derivative [S]; see ``selenium_law``."""
    return junction_diode(selenium_law(rated_amps, plates, age), volts)


def wright_omega(z: Values) -> Values:
    """w of ``w + ln w = z``, real z; relative error below 1e-12. z is held between -600 and 1e100.

    Start: S. Winitzki's approximation (2 %), then the fourth-order step of F. N. Fritsch, R. E. Shafer and W. P. Crowley
    (Communications of the ACM 16, 1973, algorithm 443) and one of Newton's.
    """
    z = np.clip(z, _LOWEST, _HIGHEST)
    p = np.log1p(np.exp(-np.abs(z))) + np.maximum(z, 0.0)
    w = p * (1.0 - np.log1p(p) / (2.0 + p))
    r = z - w - np.log(w)
    one = 1.0 + w
    q = 2.0 * one * (one + (2.0 / 3.0) * r)
    w = w * (1.0 + r / one * (q - r) / (q - 2.0 * r))
    return w * (1.0 + (z - w - np.log(w)) / (1.0 + w))


def junction_series(drive: Values, ohms: Values, slope: Values, start: Values) -> tuple[Values, Values]:
    """Current [A] of a junction (a = ``slope`` V, I0 = ``start`` A) in series with ``ohms`` at ``drive`` volts across both.

    Second result: its derivative by the drive m [S]. By ohms -i m; by slope -(drive - ohms i)/slope m; by start
    (1 - ohms m) i/start. Zero for a negative drive, where Shockley's -I0 is less than any leak; the corner there is I0/a,
    under 1e-5 S. Finite for any finite input.
    """
    rs = ohms * start / slope
    w = wright_omega(drive / slope + rs + np.log(rs))
    return np.maximum(slope / ohms * w - start, 0.0), np.where(drive > 0.0, w / (ohms * (1.0 + w)), 0.0)
