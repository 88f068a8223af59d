"""One mains cycle of a transformer with rectifiers, integrated in time by scipy, and shot until it repeats.

Everything the pulses flow through is there at once: socket, fuse and primary, the core's emf that all windings share,
half windings, valves. The core's emf follows from the balance of amp-turns at every instant.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import root


@dataclass
class Leg:
    """A rectifier on a winding.

    ratio: its turns over the primary's, signed by phase. sign: +1 where it drives current INTO its reservoir, -1 where
    it pulls it out (a bias supply). plate: .amps(volts) -> (amps, slope).
    """

    ratio: float
    plate: object
    reservoir: int
    sign: float = 1.0


@dataclass
class Mains:
    """volts rms, hertz; ohms from socket to primary's end; load: siemens of everything resistive on the core, in
    primary terms (heaters, core loss); magnetising: amps rms in quadrature."""

    volts: float
    hertz: float
    ohms: float
    load: float
    magnetising: float


@dataclass
class Cycle:
    """Settled cycle: times, states (state, time), core emf, primary amps (without magnetising), leg amps."""

    times: np.ndarray
    states: np.ndarray
    core: np.ndarray
    legs: np.ndarray

    def mean(self, values: np.ndarray) -> float:
        return float(np.trapezoid(values, self.times) / (self.times[-1] - self.times[0]))

    def rms(self, values: np.ndarray) -> float:
        return math.sqrt(self.mean(values**2))


def emf(
    mains: Mains, legs: Sequence[Leg], socket: float, states: Sequence[float], near: float | None = None
) -> tuple[float, list[float]]:
    """Core emf and leg amps at an instant: (socket - e)/R = load e + sum of ratio x amps, by safeguarded Newton. near: where
    it begins, for instance at the emf of a moment before."""
    # a reservoir may drive the core backwards through a shorted rectifier
    reach = abs(socket) + max((abs(states[leg.reservoir] / leg.ratio) for leg in legs), default=0.0) + 1e-9
    low, high = -reach, reach
    e = socket / (1 + mains.ohms * mains.load) if near is None else min(max(near, low), high)
    for _ in range(60):
        f, g, amps = (socket - e) / mains.ohms - mains.load * e, -1 / mains.ohms - mains.load, []
        for leg in legs:
            i, slope = leg.plate.amps(leg.ratio * e - leg.sign * states[leg.reservoir])  # type: ignore[attr-defined]
            amps.append(i)
            f -= leg.ratio * i
            g -= leg.ratio**2 * slope
        if f > 0:
            low = e
        else:
            high = e
        new = e - f / g
        if not low <= new <= high:
            new = (low + high) / 2
        if abs(new - e) < 1e-11 * (1 + abs(e)):
            return new, amps
        e = new
    return e, amps


def settle(
    mains: Mains, legs: Sequence[Leg], rates: Callable[[np.ndarray, list[float]], list[float]], start: Sequence[float]
) -> Cycle:
    """The cycle that repeats. rates(states, amps into each reservoir) -> d states/dt."""
    period = 1 / mains.hertz
    w = 2 * math.pi * mains.hertz
    reservoirs = max(leg.reservoir for leg in legs) + 1

    last = 0.0

    def slope(t: float, y: np.ndarray) -> list[float]:
        nonlocal last
        last, amps = emf(mains, legs, math.sqrt(2) * mains.volts * math.sin(w * t), y.tolist(), last)
        into = [0.0] * reservoirs
        for leg, i in zip(legs, amps, strict=True):
            into[leg.reservoir] += leg.sign * i
        return rates(y, into)

    def cycle(y: np.ndarray, times: np.ndarray | None = None) -> np.ndarray:
        run = solve_ivp(slope, (0, period), y, "LSODA", times, rtol=1e-8, atol=1e-8, max_step=period / 150)
        assert run.success, run.message
        return run.y if times is not None else run.y[:, -1]

    found = root(lambda y: cycle(y) - y, np.array(start), method="hybr", options={"xtol": 1e-9, "eps": 1e-5})
    times = np.linspace(0, period, 1201)
    states = cycle(found.x, times)
    # a tenth of a millivolt of drift in a cycle is 1e-6 of HT
    assert np.abs(states[:, -1] - states[:, 0]).max() < 1e-3, found.message
    core, amps = [], []
    for t, y in zip(times, states.T, strict=True):
        e, i = emf(mains, legs, math.sqrt(2) * mains.volts * math.sin(w * t), y)
        core.append(e)
        amps.append(i)
    return Cycle(times, states, np.array(core), np.array(amps).T)


def primary_rms(mains: Mains, found: Cycle) -> float:
    """Amps rms from the socket: what the core's emf leaves of its volts, and the magnetising quarter turn behind."""
    w = 2 * math.pi * mains.hertz
    socket = math.sqrt(2) * mains.volts * np.sin(w * found.times)
    lag = -math.sqrt(2) * mains.magnetising * np.cos(w * found.times)
    return found.rms((socket - found.core) / mains.ohms + lag)
