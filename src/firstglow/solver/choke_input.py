"""A rectifier into a choke: the cycle with continuous or broken current, the volts behind the choke held.

Between the rectifier and its first capacitor stands a choke. Below the critical current it runs empty in every half cycle
and the dc volts climb from 0.9 of the rms towards the crest. Cell by cell (implicit midpoint rule, as in ``cycle``) the
leg with the larger emf feeds the choke: to it the choke is wL over the cell's angle, in ohms, that only add to its own, and
a pull below the capacitor's volts by what the choke carries already. (The other leg works against what the first one has
taken; the degree or so in which both share the choke is not resolved, 0.1 V.) One unknown is left, the choke's current as
the cycle begins; periodicity fixes it (Newton).

Inputs, slopes and results are those of ``averaged``; ``volts`` is hot minus return BEHIND the choke where ``choke_ohms`` is
given, before it (mean) where the choke's resistance is a part of its own. farads, esr, drain and dent are not used: the
capacitor behind the choke counts as a battery (its ripple is under a tenth of what the choke takes).
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.averaged import Averaged, Cell, Inputs, every_way, prepare
from firstglow.solver.cycle import CELLS, ROOT2, WAVE, Along, Problem, series_current

Array = NDArray[np.float64]

PASSES = 40
SETTLED = 1e-12
SOURCE_OHMS = 200.0
"""Ohms against which a choke is too small for a cell's step (0.1 H is, 2 H is not)."""
SMALLEST_HENRIES = 1e-6
START, VOLTS = 0, 1


def choke_input(
    cell: Cell, x: Inputs, henries: Array | float, choke_ohms: Array | float = 0.0, start: Array | None = None,
    passes: int = PASSES, along: Sequence[Along] | None = None, heat: bool = True,
) -> Averaged:  # fmt: skip
    """Solve the cycle of legs into a choke of ``henries`` [H] (sample,).

    start, passes, along, heat and the result: as for ``averaged``. state: the choke's current as each cell begins, then its
    mean [A] (cell + 1, sample).
    """
    p = prepare(cell, replace(x, farads=np.ones_like(np.asarray(x.volts, dtype=float)), esr=0.0, dent=None))
    ways = every_way(p.emf.shape) if along is None else along
    inertia = CELLS * np.asarray(x.hertz, dtype=float) * np.maximum(henries, SMALLEST_HENRIES)  # wL over a cell [ohm]
    stiff = SOURCE_OHMS / inertia
    theta = 0.5 + 0.5 * stiff / (stiff + 6.0) if p.sense is None and p.leak is None else np.ones_like(stiff)
    choke = _Choke(p, inertia / theta, np.asarray(choke_ohms, dtype=float), 1.0 / theta)
    amps = np.zeros(p.volts.shape) if start is None else start[0]
    size = np.abs(p.emf).max(axis=0) * ROOT2 / (inertia + p.ohms.min(axis=0)) + 1e-6
    for done in range(1, passes + 1):
        rows, sums, trace = choke.cycle(amps, ways, heat)
        gain = rows[START] - 1.0
        gain = np.where(np.abs(gain) > 1e-12, gain, -1e-12)
        step = -(trace[-1] - amps) / gain
        old, amps = amps, amps + step
        if p.sense is None and p.leak is None:
            amps = np.maximum(amps, 0.0)
        unsettled = np.abs(amps - old) / size
        if done == passes or unsettled.max(initial=0.0) < SETTLED:
            break
    move = -rows[VOLTS:] / gain
    if not heat:
        sums.append((np.zeros_like(sums[0][0]), np.zeros_like(sums[0][1])))
    out: list[Array] = []
    for value, slope in sums:
        by_start = slope[:, START]
        out += [value + by_start * step, slope[:, VOLTS:] + by_start[:, None] * move]
    state = np.concatenate([trace[:-1], (out[0].sum(axis=0) * (2.0 if cell.equal else 1.0))[None]])
    return Averaged(cell, p.emf, out[0], out[2], out[4], out[1], out[3], out[5], state, unsettled)


class _Choke:
    """One pass after the other through the cycle. inertia: wL over a cell's angle and theta [ohm]. back: 1/theta.

    With equal legs the half cycle is theirs in turn, and the leg modelled stands for the pair: near the crossing both
    conduct, and what the other one takes is this one's at the other end of the half cycle.
    """

    def __init__(self, p: Problem, inertia: Array, ohms: Array, back: Array) -> None:
        self.equal = p.cells < CELLS
        if self.equal:
            twice = {n: np.repeat(getattr(p, n), 2, axis=0) for n in ("emf", "ohms", "scale", "limit")}
            twice |= {n: None if getattr(p, n) is None else np.repeat(getattr(p, n), 2, axis=0) for n in ("leak", "sense")}
            p = replace(p, phase=(p.phase[0], -p.phase[0]), junction=p.junction * 2, **twice)
        self.p = replace(p, beta=np.zeros_like(p.volts) + inertia + ohms)
        self.inertia, self.back = inertia, back

    def cycle(self, start: Array, along: Sequence[Along], heat: bool) -> tuple[Array, list[tuple[Array, Array]], Array]:
        """Once through the period: rows of the choke current at the end (way, sample), sums of each result, and the
        choke's current as each cell begins and as the last one ends."""
        p = self.p
        legs, size = p.emf.shape
        wide = 2 + len(along)
        j, dj = start, np.zeros((wide, size))
        dj[START] = 1.0
        trace = [j]
        sums = [(np.zeros((legs, size)), np.zeros((legs, wide, size))) for _ in range(3 if heat else 2)]
        for cell in range(p.cells):
            against, d_against = p.volts - self.inertia * j, -self.inertia * dj
            d_against[VOLTS] += 1.0
            node, d_node = np.zeros(size), np.zeros((wide, size))
            for leg in sorted(range(legs), key=lambda n: -p.phase[n] * WAVE[cell]):
                wave = p.phase[leg] * float(WAVE[cell])
                drive = wave * p.emf[leg] - against
                if p.leak is None and not (drive if p.sense is None else p.sense[leg] * drive).max() > 0.0:
                    continue
                i, m, *by = series_current(p, leg, drive)
                di = -m * d_against
                for k, way in enumerate(along):
                    row = 0 if self.equal else leg
                    for slope, moved in zip((wave * m, *by), (way.emf, way.ohms, way.scale, way.limit), strict=True):
                        if moved is not None:
                            di[2 + k] += slope * moved[row]
                against, d_against = against + p.beta * i, d_against + p.beta * di
                node, d_node = node + i, d_node + di
                for k, (value, gain) in enumerate(((i, 1.0), (wave * i, wave), (i * i, 2.0 * i))[: len(sums)]):
                    sums[k][0][leg] += value
                    sums[k][1][leg] += gain * di
            j, dj = j + self.back * (node - j), dj + self.back * (d_node - dj)
            if p.sense is None and p.leak is None:
                dj *= j > 0.0
                j = np.maximum(j, 0.0)
            trace.append(j)
        return dj, [self._mean(v, d) for v, d in sums], np.array(trace)

    def _mean(self, value: Array, slope: Array) -> tuple[Array, Array]:
        """Means over the cycle. The pair's currents in one half cycle are one leg's own over the whole."""
        share = 1.0 / self.p.cells
        if self.equal:
            return 0.5 * share * value.sum(axis=0, keepdims=True), 0.5 * share * slope.sum(axis=0, keepdims=True)
        return share * value, share * slope
