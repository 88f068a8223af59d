"""Rectifier waveforms integrated step by step, as the outside check of the averaged rectifier. Hand-written; imports
nothing from firstglow. scipy integrates (LSODA, relative tolerance 1e-9) and finds the periodic state."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, fsolve

Law = Callable[[float], float]  # diode current [A] -> its drop [V]


def three_halves(perveance: float) -> Law:
    """Drop of a vacuum diode, I = k V^1.5 (Child and Langmuir)."""
    return lambda i: (i / perveance) ** (2.0 / 3.0)


def shockley(slope: float, start: float) -> Law:
    """Drop of a junction (Shockley): slope ln(1 + i/start)."""
    return lambda i: slope * np.log1p(i / start)


@dataclass
class WaveLeg:
    """emf [V rms], phase +1 or -1, ohms, law; conducts towards the reservoir.

    emission: what the cathode can give [A]; it joins the space charge current as I^-3 = space^-3 + emission^-3.
    """

    emf: float
    ohms: float
    law: Law
    phase: int = 1
    emission: float | None = None

    def current(self, drive: float) -> float:
        """Current at ``drive`` volts across ohms and diode."""
        if drive <= 0.0:
            return 0.0
        top, least = drive / self.ohms, self.emission
        if least is None:
            return float(brentq(lambda i: self.ohms * i + self.law(i) - drive, 0.0, top, xtol=1e-15, rtol=1e-12))

        def miss(i: float) -> float:
            space = i / (1.0 - (i / least) ** 3) ** (1.0 / 3.0)  # I^-3 = space^-3 + emission^-3
            return min(self.ohms * i + self.law(space) - drive, 1e6)

        return float(brentq(miss, 0.0, min(top, least * (1.0 - 1e-9)), xtol=1e-15, rtol=1e-12))


@dataclass
class Wave:
    """One period: angle, reservoir volts, each leg's current."""

    angle: np.ndarray
    volts: np.ndarray
    amps: np.ndarray  # (leg, angle)

    def mean(self, y: np.ndarray) -> float:
        return float(np.trapezoid(y, self.angle) / (self.angle[-1] - self.angle[0]))

    @property
    def dc(self) -> float:
        return self.mean(self.volts)

    @property
    def ripple(self) -> float:
        """Peak to peak over mean."""
        return float(np.ptp(self.volts)) / self.dc


def capacitor_input(
    legs: Sequence[WaveLeg], farads: float, load_ohms: float, hertz: float, esr: float = 0.0,
    filter_lc: tuple[float, float, float] | None = None, filter_rc: tuple[float, float] | None = None,
) -> Wave:  # fmt: skip
    """Periodic waveform of legs into a reservoir and a resistance; ``filter_lc`` (henries, its ohms, farads) or ``filter_rc``
    (ohms, farads) between them."""
    w = 2.0 * np.pi * hertz

    def hot(angle: float, x: np.ndarray) -> tuple[float, list[float], float]:
        e = np.sqrt(2.0) * np.cos(angle)
        out = x[1] if filter_lc else (x[0] - x[1]) / filter_rc[0] if filter_rc else None
        amps = [0.0] * len(legs)
        if esr == 0.0:
            amps = [leg.current(leg.phase * leg.emf * e - x[0]) for leg in legs]
            volts = x[0]
        else:  # never more than one leg at once at positive volts: its esr is in series with its ohms
            load = out if out is not None else x[0] / load_ohms
            for k, leg in enumerate(legs):
                amps[k] = replace(leg, ohms=leg.ohms + esr).current(leg.phase * leg.emf * e - x[0] + esr * load)
            volts = x[0] + esr * (sum(amps) - load)
        return volts, amps, out if out is not None else volts / load_ohms

    def rate(angle: float, x: np.ndarray) -> list[float]:
        volts, amps, out = hot(angle, x)
        rates = [(sum(amps) - out) / farads / w]
        if filter_lc:
            henries, ohms, after = filter_lc
            rates += [(volts - ohms * x[1] - x[2]) / henries / w, (x[1] - x[2] / load_ohms) / after / w]
        elif filter_rc:
            rates.append((out - x[1] / load_ohms) / filter_rc[1] / w)
        return rates

    crest = np.sqrt(2.0) * max(leg.emf for leg in legs)
    guess = [0.8 * crest]
    if filter_lc:
        guess += [0.8 * crest / (load_ohms + filter_lc[1]), 0.8 * crest]
    elif filter_rc:
        guess.append(0.8 * crest * load_ohms / (load_ohms + filter_rc[0]))
    x = _periodic(rate, np.array(guess), crest)
    grid = np.linspace(-np.pi / 2, 1.5 * np.pi, 4001)
    states = solve_ivp(rate, (grid[0], grid[-1]), x, "LSODA", grid, rtol=1e-9, atol=1e-9 * crest, max_step=0.05).y
    found = [hot(a, s) for a, s in zip(grid, states.T, strict=True)]
    return Wave(grid, np.array([f[0] for f in found]), np.array([f[1] for f in found]).T)


def _periodic(rate: Callable, guess: np.ndarray, scale: float) -> np.ndarray:
    """State at -90 degrees that comes back after one cycle: a few cycles run, then Newton on the map (the slow state of a
    filter would take hundreds of cycles)."""

    def cycle(x: np.ndarray) -> np.ndarray:
        run = solve_ivp(rate, (-np.pi / 2, 1.5 * np.pi), x, "LSODA", rtol=1e-9, atol=1e-10 * scale, max_step=0.1)
        return run.y[:, -1]

    for _ in range(3):
        guess = cycle(guess)
    x, _, found, why = fsolve(lambda x: (cycle(x) - x) / scale, guess, xtol=1e-10, epsfcn=1e-8, full_output=True)
    assert found == 1 or np.max(np.abs(cycle(x) - x)) < 1e-7 * scale, why
    return x


def choke_input(
    emf: float, ohms: float, law: Law, henries: float, choke_ohms: float, volts: float, hertz: float, steps: int = 6000
) -> float:
    """Mean choke current of a full-wave rectifier (equal legs) into a choke and a battery of ``volts``. Heun's rule on a
    fine grid of the half cycle, current kept from reversing; the legs share the choke near the crossing."""
    leg = WaveLeg(emf, ohms, law)
    w = 2.0 * np.pi * hertz
    h = np.pi / steps
    e = emf * np.sqrt(2.0) * np.abs(np.cos(-np.pi / 2 + h * np.arange(steps + 1)))

    def hot(emf_now: float, amps: float) -> float:
        one = emf_now - ohms * amps - law(amps)
        if -emf_now <= one:
            return one
        # two legs share: sum of their currents is the choke's
        return float(brentq(lambda u: leg.current(emf_now - u) + leg.current(-emf_now - u) - amps, one - 1e-9, emf_now))

    def slope(emf_now: float, amps: float) -> float:
        if amps <= 0.0:
            return max(emf_now - volts, 0.0) / (w * henries)
        return (hot(emf_now, amps) - volts - choke_ohms * amps) / (w * henries)

    amps = 0.0
    for _ in range(400):
        began, total = amps, 0.0
        for k in range(steps):
            first = slope(e[k], amps)
            ahead = max(amps + h * first, 0.0)
            after = max(amps + 0.5 * h * (first + slope(e[k + 1], ahead)), 0.0)
            total += 0.5 * (amps + after)
            amps = after
        if abs(amps - began) < 1e-7:
            break
    return total / steps
