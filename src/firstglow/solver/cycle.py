"""One mains cycle of legs into a reservoir, cell by cell, with the slopes of everything.

In each cell the currents are constant and solve ``i = law(e - v - (ohms + charging ohms) i ...)``: the reservoir's own
charging only adds to the leg's ohms, so a cell costs one evaluation of the series law and nothing is iterated (implicit
midpoint rule; ``theta`` moves from 1/2 towards 1 where the capacitor is too small for a cell's step). Where nothing can
conduct the reservoir only discharges, and many cells are passed at once, exactly as if they had been stepped.

A cell that no sample of the batch needs is left out; that changes nothing (no diode conducts in it), so a sample's result
does not depend on its neighbours in the batch.

Arrays end in the sample axis. Directions: 0 capacitor volts at the start, 1 mean current, 2 mean volts, then the caller's.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.devices.rectifier import limited, valve_series
from firstglow.devices.semiconductor import junction_series

Array = NDArray[np.float64]

CELLS = 48
"""Cells in a mains cycle: 7.5 degrees each, one of them centred on each crest."""
ROOT2 = 2.0**0.5
WAVE = tuple(ROOT2 * cos(2.0 * pi * k / CELLS - pi / 2.0) for k in range(CELLS))
"""Emf of a leg of phase +1 over its rms, cell by cell from the zero before its crest."""
_GATE = 0.5 * ROOT2
"""Cells where no leg's emf is above half its crest are passed at once if they are idle."""


@dataclass(frozen=True, slots=True)
class Along:
    """A direction in which slopes are wanted: how fast each input moves; None where it does not. Each (leg, sample)."""

    emf: Array | None = None
    ohms: Array | None = None
    scale: Array | None = None
    limit: Array | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """Inputs of a batch, broadcast, and what follows from them. (leg, sample) or (sample,).

    phase: +1 or -1 a leg; junction: yes or no a leg; cells: how many make the period (half of them where two equal legs
    alternate). esr None: none anywhere; leak, sense, dent None: none anywhere. keep, beta, back: a cell's reservoir volts are
    node = keep v + beta (currents in), v_next = v + back (node - v).
    """

    phase: tuple[int, ...]
    junction: tuple[bool, ...]
    cells: int
    volts: Array
    emf: Array
    ohms: Array
    scale: Array
    limit: Array
    leak: Array | None
    sense: Array | None
    dent: Array | None
    esr: Array | None
    drain: Array
    keep: Array
    beta: Array
    back: Array


@dataclass(slots=True)
class Run:
    """What one pass gives. end, mean: residuals of periodicity and of the mean volts (sample,), with slopes (direction,
    sample). amps, in_phase, square: mean, projection on the emf (rms) and mean square of each leg's current (leg, sample),
    with slopes (leg, direction, sample)."""

    end: Array
    d_end: Array
    mean: Array
    d_mean: Array
    amps: Array
    d_amps: Array
    in_phase: Array
    d_in_phase: Array
    square: Array
    d_square: Array


def leg_current(p: Problem, leg: int, drive: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Current of a leg into the reservoir at ``drive`` (emf less what it works against), through its ohms and the charging
    ohms; its slope by the drive; by ohms, scale and limit."""
    ohms, scale, limit = p.ohms[leg] + p.beta, p.scale[leg], p.limit[leg]
    if p.sense is not None:
        drive = p.sense[leg] * drive
    if p.junction[leg]:
        i, m = junction_series(drive, ohms, scale, limit)
        by = -m * i, -(np.maximum(drive, 0.0) - ohms * i) / scale * m, (1.0 - ohms * m) * i / limit
    else:
        space, slope = valve_series(drive, ohms, scale)
        i, keep, by_limit = limited(space, limit)
        m = keep * slope
        by = -m * space, (2.0 / 3.0) * (np.maximum(drive, 0.0) - ohms * space) / scale * m, by_limit
    if p.leak is not None:
        back = 1.0 / (ohms + p.leak[leg])
        reverse = np.minimum(drive, 0.0) * back
        i, m, by = i + reverse, m + back * (drive < 0.0), (by[0] - reverse * back, by[1], by[2])
    if p.sense is not None:
        s = p.sense[leg]
        return s * i, m, s * by[0], s * by[1], s * by[2]
    return i, m, *by


def march(p: Problem, state: Array, along: Sequence[Along], heat: bool) -> Run:
    """Once through the period from ``state`` (2, sample). heat: whether ``square`` is wanted."""
    legs, size = p.emf.shape
    wide = 3 + len(along)
    walk = _Walk(p, state, wide)
    sums = [_Sums(legs, wide, size) for _ in range(3 if heat else 2)]
    open_ways = p.leak is not None or p.sense is not None or p.dent is not None
    most, least = p.emf.max(axis=1), p.emf.min(axis=1)
    cell = 0
    while cell < p.cells:
        against = walk.against()
        floor = -np.inf if open_ways else float(against.min())
        busy = False
        for leg in range(legs):
            wave = p.phase[leg] * WAVE[cell]
            if wave * (most[leg] if wave > 0.0 else least[leg]) <= floor:
                continue
            e = wave * p.emf[leg]
            if p.dent is not None:
                e = e - p.phase[leg] * p.dent[cell % len(p.dent)] * p.emf[leg]
            drive = e - (walk.against() if busy else against)
            if p.leak is None and not (drive if p.sense is None else p.sense[leg] * drive).max() > 0.0:
                continue
            i, m, *by = leg_current(p, leg, drive)
            di = walk.conduct(i, m)
            for k, way in enumerate(along):
                if way.emf is not None:
                    per_volt = wave if p.dent is None else wave - p.phase[leg] * p.dent[cell % len(p.dent)]
                    di[3 + k] += (per_volt * m) * way.emf[leg]
                for slope, move in zip(by, (way.ohms, way.scale, way.limit), strict=True):
                    if move is not None:
                        di[3 + k] += slope * move[leg]
            walk.charge(i, di)
            sums[0].add(leg, i, di, 1.0)
            sums[1].add(leg, wave * i, di, wave)
            if heat:
                sums[2].add(leg, i * i, di, 2.0 * i)
            busy = True
        if busy or open_ways:
            walk.step()
            cell += 1
        else:
            cell += walk.rest(cell)
    return walk.run(sums)


class _Sums:
    """Running sum of one result of every leg and its slopes."""

    def __init__(self, legs: int, wide: int, size: int) -> None:
        self.value, self.slope = np.zeros((legs, size)), np.zeros((legs, wide, size))

    def add(self, leg: int, value: Array, di: Array, gain: Any) -> None:
        self.value[leg] += value
        self.slope[leg] += di if isinstance(gain, float) and gain == 1.0 else gain * di


class _Walk:
    """Reservoir volts as the cycle goes by, and their slopes by every direction."""

    def __init__(self, p: Problem, state: Array, wide: int) -> None:
        self.p, self.state = p, state
        self.v, self.dv = state[0], np.zeros((wide, state.shape[1]))
        self.dv[0] = 1.0
        self.sum_v, self.sum_dv = 0.5 * self.v, 0.5 * self.dv
        self.load = p.beta * (p.drain * p.volts - state[1])
        self.d_load = np.zeros_like(self.dv)
        self.d_load[1], self.d_load[2] = -p.beta, p.beta * p.drain
        self.lift = None if p.esr is None else p.esr * state[1]
        self.node: Array | None = None
        self.d_node: Array | None = None
        self.spans: dict[int, tuple[Array, Array, Array, Array]] = {}

    def against(self) -> Array:
        """What the legs work against [V]: the capacitor as the cell would end without further current, less the load's part
        of the drop in its series resistance."""
        if self.node is None:
            self.node = self.p.keep * self.v + self.load
        return self.node if self.lift is None else self.node - self.lift

    def conduct(self, i: Array, m: Array) -> Array:
        """Slopes of a leg's current through what it works against (direction, sample)."""
        if self.d_node is None:
            self.d_node = self.p.keep * self.dv
            self.d_node += self.d_load
        di = (-m) * self.d_node
        if self.p.esr is not None:
            di[1] += m * self.p.esr
        return di

    def charge(self, i: Array, di: Array) -> None:
        """A leg's current flows into the reservoir in this cell."""
        assert self.node is not None and self.d_node is not None
        self.node = self.node + self.p.beta * i
        self.d_node += self.p.beta * di

    def step(self) -> None:
        """On to the next cell."""
        p = self.p
        node = p.keep * self.v + self.load if self.node is None else self.node
        d_node = self.d_node if self.d_node is not None else p.keep * self.dv + self.d_load
        self.v = self.v + p.back * (node - self.v)
        d_node -= self.dv
        d_node *= p.back
        self.dv = self.dv + d_node
        self.sum_v = self.sum_v + self.v
        self.sum_dv += self.dv
        self.node = self.d_node = None

    def rest(self, cell: int) -> int:
        """Pass idle cells, as many as surely are idle; returns how many."""
        p = self.p
        count = next((k for k in range(1, p.cells - cell) if self._gate(cell + k)), p.cells - cell)
        if count > 2:
            power, load, sum_power, sum_load = self._span(count)
            v = power * self.v + load * self.load
            low = v if self.lift is None else v - self.lift
            top = [max(s * WAVE[cell + k] for k in range(count)) for s in p.phase]
            if all(t <= 0.0 or not (t * p.emf[leg] - low).max() > 0.0 for leg, t in enumerate(top)) and low.min() > 0.0:
                self.sum_v = self.sum_v + sum_power * self.v + sum_load * self.load
                self.sum_dv += sum_power * self.dv + sum_load * self.d_load
                self.v, self.dv = v, power * self.dv + load * self.d_load
                self.node = self.d_node = None
                return count
        self.step()
        return 1

    def _gate(self, cell: int) -> bool:
        return any(s * WAVE[cell] > _GATE for s in self.p.phase)

    def _span(self, count: int) -> tuple[Array, Array, Array, Array]:
        """Over ``count`` idle cells: the volts' factor and the load's, and the same for the sum of the volts after each."""
        if count not in self.spans:
            p = self.p
            one = 1.0 - p.back * (1.0 - p.keep), p.back, 1.0 - p.back * (1.0 - p.keep), p.back
            if count == 1:
                self.spans[1] = one
            else:
                a, b, sa, sb = self._span(count // 2)
                c, d, sc, sd = self._span(count - count // 2)
                # first the one, then the other: v -> c (a v + b) + d
                self.spans[count] = c * a, c * b + d, sa + sc * a, sb + sc * b + sd
        return self.spans[count]

    def run(self, sums: Sequence[_Sums]) -> Run:
        """Results at the end of the period; the mean by the trapezoid."""
        p, state = self.p, self.state
        share = 1.0 / p.cells
        d_end = self.dv.copy()
        d_end[0] -= 1.0
        d_mean = share * (self.sum_dv - 0.5 * self.dv)
        d_mean[2] -= 1.0
        mean = share * (self.sum_v - 0.5 * self.v) - p.volts
        none = _Sums(*p.emf.shape[:1], *self.dv.shape) if len(sums) < 3 else sums[2]
        parts = [a * share for s in (sums[0], sums[1], none) for a in (s.value, s.slope)]
        return Run(self.v - state[0], d_end, mean, d_mean, *parts)
