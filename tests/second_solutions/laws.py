"""Device laws on plain floats, written again from the physics notes (Koren 1996 with contact volts; Child-Langmuir;
Richardson-Dushman). ``law``: the fitted constants of a valve type by name."""

import math
from collections.abc import Mapping

from scipy.optimize import brentq

Law = Mapping[str, float]


def ln1pexp(u: float) -> float:
    return u + math.log1p(math.exp(-u)) if u > 0 else math.log1p(math.exp(u))


def drive(volts: float, grid: float, mu: float, sharpness: float, low: float) -> float:
    """E = (V/kP) ln(1 + exp(kP (1/mu + V'/sqrt(kVB + V^2))))."""
    return volts / sharpness * ln1pexp(sharpness * (1 / mu + grid / math.sqrt(low + volts * volts)))


def triode(law: Law, plate: float, grid: float) -> float:
    """Plate amps; 0 at and below 0 V of plate."""
    if plate <= 0:
        return 0.0
    e = drive(plate, grid + law["contact"], law["mu"], law["sharpness"], law["low_plate"])
    return law["perveance"] * e ** law["exponent"]


def pentode(law: Law, plate: float, screen: float, grid: float) -> tuple[float, float]:
    """Plate and screen amps, plate and screen well above 0 V."""
    plate, screen = max(plate, 1e-9), max(screen, 1e-9)
    volts = screen + law["penetration"] * plate
    e = drive(volts, grid + law["contact"], law["mu"], law["sharpness"], 300.0)
    cathode = law["perveance"] * e ** law["exponent"]
    w = e * law["mu"] / volts
    s = law["share"] * ((screen + 20) / (plate + 20)) ** law["share_volts"] * (w + 0.02) ** law["share_drive"]
    # the knee is stated at a drive of 100 V referred to the screen; 2 % of that drive's current keeps it a width
    depth = (e * law["mu"] / 100) ** law["exponent"] + 0.02
    knee = 1 - math.exp(-((plate / law["knee"]) ** law["knee_power"]) / depth)
    amps = cathode / (1 + s) * knee
    return amps, cathode - amps


def grid_current(grid: float) -> float:
    """Kg (Vt ln(1 + exp((Vg + Vc)/(1.5 Vt))))^1.5 with Kg 1 mA/V^1.5, Vt 0.09 V, Vc 0.5 V."""
    return 1e-3 * (0.09 * ln1pexp((grid + 0.5) / 0.135)) ** 1.5


def heater_amps(volts: float, rated_volts: float, rated_amps: float) -> float:
    """Amps as volts^0.6."""
    return rated_amps * (volts / rated_volts) ** 0.6


def emission(rated_amps: float, heater_ratio: float) -> float:
    """Saturated emission: T from 0.85 (t^4 - a^4)/(1 - a^4) + 0.15 (t - a)/(1 - a) = v^1.6, then
    5 I t^2 exp(-(1.35 eV/k)(1/T - 1/1050 K))."""
    a, p = 300 / 1050, heater_ratio**1.6

    def excess(t: float) -> float:
        return 0.85 * (t**4 - a**4) / (1 - a**4) + 0.15 * (t - a) / (1 - a) - p

    t = brentq(excess, a, 3.0, xtol=1e-14)
    return 5 * rated_amps * t * t * math.exp(-1.35 / 8.617333e-5 * (1 / (1050 * t) - 1 / 1050))


def joined(asked: float, limit: float) -> float:
    """Space charge within saturation, third-power join."""
    return asked / (1 + (asked / limit) ** 3) ** (1 / 3)


def within(currents: list[float], limit: float) -> list[float]:
    """All currents of a cathode scaled by what it can give in all."""
    total = sum(currents)
    return [i * joined(total, limit) / total for i in currents] if total > 0 else currents


class ValvePlate:
    """A rectifier plate behind resistance: amps at ``u`` volts across both, k V^1.5 within the emission."""

    def __init__(self, perveance: float, limit: float, ohms: float) -> None:
        self.k, self.limit, self.ohms = perveance, limit, ohms

    def amps(self, u: float) -> tuple[float, float]:
        """(amps, slope); Newton on the volts across the valve alone."""
        if u <= 0:
            return 0.0, 0.0
        v = u / (1 + self.ohms * self.k * math.sqrt(u))
        for _ in range(60):
            i, g = self._law(v)
            step = (v + self.ohms * i - u) / (1 + self.ohms * g)
            v = max(v - step, 0.2 * v)
            if abs(step) < 1e-12 * u:
                break
        i, g = self._law(v)
        return i, g / (1 + self.ohms * g)

    def _law(self, v: float) -> tuple[float, float]:
        asked = self.k * v * math.sqrt(v)
        cube = (asked / self.limit) ** 3
        share = (1 + cube) ** (-1 / 3)
        return asked * share, 1.5 * self.k * math.sqrt(v) * share / (1 + cube)


class Silicon:
    """``count`` equal diodes behind resistance, i = Is (exp(v/(n a)) - 1) with the physics notes' typical 1 A diode."""

    def __init__(self, slope_volts: float, start_amps: float, ohms: float, count: int = 1) -> None:
        self.a, self.start, self.ohms = slope_volts * count, start_amps, ohms
        self.last = 0.0  # amps: the next instant's are near them

    def amps(self, u: float) -> tuple[float, float]:
        """(amps, slope); Newton on the current's logarithm's side: v(i) = a ln(1 + i/Is) + R i rises smoothly, and bends one way
        only, so that it comes from any side."""
        if u <= 0:
            return 0.0, 0.0
        i = max((u - self.a * 17) / self.ohms, self.start * math.expm1(min(u / self.a, 14.0)), self.last)
        for _ in range(80):
            f = self.a * math.log1p(i / self.start) + self.ohms * i - u
            g = self.a / (i + self.start) + self.ohms
            new = max(i - f / g, 0.05 * i)
            if abs(new - i) < 1e-13 * (i + self.start):
                i = new
                break
            i = new
        self.last = i
        return i, 1 / (self.a / (i + self.start) + self.ohms)
