"""A rectifier into a choke: the cycle with continuous or broken current, the volts behind the choke held.

Between the rectifier and its first capacitor stands a choke. Below the critical current it runs empty in every half cycle
and the dc volts climb from 0.9 of the rms towards the crest. Cell by cell (implicit midpoint rule, as in ``cycle``) the
leg with the larger emf feeds the choke: to it the choke is wL over the cell's angle, in ohms, that only add to its own, and
a pull below the capacitor's volts by what the choke carries already. In the few cells near the crossing both legs share the
choke: the hot joint's volts are solved for. One unknown is left, the choke's current as the cycle begins; periodicity
fixes it (Newton).

Inputs, slopes and results are those of ``averaged``; ``volts`` is hot minus return BEHIND the choke where ``choke_ohms`` is
given, before it (mean) where the choke's resistance is a part of its own. farads, esr, drain and dent are not used: the
capacitor behind the choke counts as a battery (its ripple is under a tenth of what the choke takes).
"""

from collections.abc import Sequence
from dataclasses import replace
from math import cos, pi

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.averaged import Averaged, Cell, Inputs, every_way, prepare
from firstglow.solver.cells import CELLS, ROOT2, WAVE, Along, Problem, series_current, wanted_slopes

Array = NDArray[np.float64]

PASSES = 60
FREE_PASSES = 12
"""Passes of Newton's rule before the interval that holds the answer is halved instead."""
SETTLED = 1e-8
"""Last change of the current, over what the winding could drive, after which the results' own correction leaves its square."""
SOURCE_OHMS = 200.0
"""Ohms against which a choke is too small for a cell's step (0.1 H is, 2 H is not)."""
SMALLEST_HENRIES = 1e-6
SHARING_STEPS = 40
"""Newton steps of the hot joint's volts where two legs share; halved between bounds where emission bends the law over."""
SHARED = 1e-8
"""Last step of these, as a part of the volts, after which the next would be rounding (Newton's steps square)."""
START, VOLTS = 0, 1


def choke_input(
    cell: Cell, x: Inputs, henries: Array | float, choke_ohms: Array | float = 0.0, start: Array | None = None,
    passes: int = PASSES, along: Sequence[Along] | None = None, heat: bool = True,
) -> Averaged:  # fmt: skip
    """Solve the cycle of legs into a choke of ``henries`` [H] (sample,).

    start, passes, along, heat and the result: as for ``averaged``. state: the choke's current as each cell begins, then its
    mean [A] (cell + 1, sample).
    """
    return choke_cycle(cell, x, henries, choke_ohms, start, passes, along, heat)[0]


def choke_cycle(
    cell: Cell, x: Inputs, henries: Array | float, choke_ohms: Array | float = 0.0, start: Array | None = None,
    passes: int = PASSES, along: Sequence[Along] | None = None, heat: bool = True, drain: Array | float = 0.0,
) -> tuple[Averaged, Array]:  # fmt: skip
    """``choke_input``, and the volts before the choke that the legs work against in each cell (cell, sample). drain:
    conductance [S] (sample,) that takes its part of the ripple there; what flows in it on average counts with the choke's
    current.
    """
    p = prepare(cell, replace(x, farads=np.ones_like(np.asarray(x.volts, dtype=float)), esr=0.0, dent=None))
    ways = every_way(p.emf.shape) if along is None else along
    inertia = CELLS * np.asarray(x.hertz, dtype=float) * np.maximum(henries, SMALLEST_HENRIES)  # wL over a cell [ohm]
    stiff = SOURCE_OHMS / inertia
    theta = 0.5 + 0.5 * stiff / (stiff + 6.0) if p.sense is None and p.leak is None else np.ones_like(stiff)
    # beside the choke a drain takes its part: the joint moves less, and the choke with it
    ohms = np.asarray(choke_ohms, dtype=float)
    beside = np.asarray(drain, dtype=float)
    slack = 1.0 / (1.0 + beside * (inertia / theta + ohms))
    kept = slack + (1.0 - slack) * ohms / (inertia / theta + ohms)
    empty = inertia / (1.0 + beside * (inertia + ohms))
    choke = _Choke(p, slack * inertia / theta, slack * ohms, slack / theta, kept / theta, (empty, beside * empty))
    amps = np.zeros(p.volts.shape) if start is None else start[0]
    size = np.abs(p.emf).max(axis=0) * ROOT2 / (inertia + p.ohms.min(axis=0)) + 1e-6
    low, high, far = np.full_like(amps, -np.inf), np.full_like(amps, np.inf), np.ones_like(amps, dtype=bool)
    for done in range(1, passes + 1):
        rows, sums, trace = choke.cycle(amps, ways, heat)
        gain = rows[START] - 1.0
        gain = np.where(np.abs(gain) > 1e-12, gain, -1e-12)
        miss = trace[-1] - amps
        step = -miss / gain
        old, amps = amps, amps + step
        # the choke ends higher than it began below the answer, lower above it: a starved cathode cannot throw it about
        low, high = np.where(miss > 0.0, old, low), np.where(miss < 0.0, old, high)
        between = np.isfinite(low) & np.isfinite(high) & ((amps < low) | (amps > high) | (far & (done > FREE_PASSES)))
        amps = np.where(between, 0.5 * (np.where(between, low, 0.0) + np.where(between, high, 0.0)), amps)
        unsettled = np.abs(amps - old) / size
        far = unsettled > SETTLED
        if done == passes or unsettled.max(initial=0.0) < SETTLED:
            break
    move = -rows[VOLTS:] / gain
    if not heat:
        sums.append((np.zeros_like(sums[0][0]), np.zeros_like(sums[0][1])))
    out: list[Array] = []
    for value, slope in sums:
        by_start = slope[:, START]
        out += [value + by_start * step, slope[:, VOLTS:] + by_start[:, None] * move]
    carried = np.maximum(trace[:-1], 0.0) if p.sense is None and p.leak is None else trace[:-1]
    state = np.concatenate([carried, (out[0].sum(axis=0) * (2.0 if cell.equal else 1.0))[None]])
    found = Averaged(cell, p.emf, out[0], out[2], out[4], out[1], out[3], out[5], state, unsettled)
    return found, np.array(choke.joint)


class _Choke:
    """One pass after the other through the cycle. inertia: wL over a cell's angle and theta [ohm]. back: 1/theta; both
    times what a drain before the choke leaves. lose: what the choke's own current counts in a cell, ``back`` unless a drain
    lies before its ohms. idle: the same two where a cell ends what the one before has overrun.

    A cell's rule runs past the moment at which the choke is empty; the next cell, in which nobody conducts, brings the current
    back to nothing with the volts that takes, so that the joint's mean stays what it is. (Cut off at nothing instead, the mean
    was up to 0.7 % of itself too low.)

    With equal legs the half cycle is theirs in turn, and the leg modelled stands for the pair: near the crossing both
    conduct, and what the other one takes is this one's at the other end of the half cycle.
    """

    def __init__(
        self, p: Problem, inertia: Array, ohms: Array, back: Array, lose: Array, idle: tuple[Array, Array]
    ) -> None:
        self.equal = p.cells < CELLS
        if self.equal:
            p = replace(
                p, phase=(p.phase[0], -p.phase[0]), junction=p.junction * 2,
                emf=_twice(p.emf), ohms=_twice(p.ohms), scale=_twice(p.scale), limit=_twice(p.limit),
                leak=None if p.leak is None else _twice(p.leak), sense=None if p.sense is None else _twice(p.sense),
            )  # fmt: skip
        self.p = replace(p, beta=np.zeros_like(p.volts) + inertia + ohms)
        self.bare = replace(p, beta=np.zeros_like(p.volts))
        self.inertia, self.back, self.lose, self.idle = inertia, back, lose, idle
        self.joint: list[Array] = []

    def cycle(self, start: Array, along: Sequence[Along], heat: bool) -> tuple[Array, list[tuple[Array, Array]], Array]:
        """Once through the period: rows of the choke current at the end (way, sample), sums of each result, and the
        choke's current as each cell begins and as the last one ends."""
        p = self.p
        legs, size = p.emf.shape
        wide = 2 + len(along)
        j, dj = start, np.zeros((wide, size))
        dj[START] = 1.0
        trace, self.joint = [j], []
        sums = [(np.zeros((legs, size)), np.zeros((legs, wide, size))) for _ in range(3 if heat else 2)]
        for cell in range(p.cells):
            empty, d_empty = p.volts - self.inertia * j, -self.inertia * dj
            d_empty[VOLTS] += 1.0
            found = self._cell(cell, empty, d_empty, along)
            node, d_node = np.zeros(size), np.zeros((wide, size))
            for leg, (i, di) in found.items():
                wave = p.phase[leg] * float(WAVE[cell])
                node, d_node = node + i, d_node + di
                for k, (value, gain) in enumerate(((i, 1.0), (wave * i, wave), (i * i, 2.0 * i))[: len(sums)]):
                    sums[k][0][leg] += value
                    sums[k][1][leg] += gain * di
            volts = empty + p.beta * node
            after, d_after = j + self.back * node - self.lose * j, dj + self.back * d_node - self.lose * dj
            if p.sense is None and p.leak is None:
                over = (j < 0.0) & (node <= 0.0)
                volts = np.where(over, p.volts - self.idle[0] * j, volts)
                after, d_after = np.where(over, self.idle[1] * j, after), np.where(over, self.idle[1] * dj, d_after)
            j, dj = after, d_after
            self.joint.append(volts)
            trace.append(j)
        return dj, [self._mean(v, d) for v, d in sums], np.array(trace)

    def _cell(self, cell: int, empty: Array, d_empty: Array, along: Sequence[Along]) -> dict[int, tuple[Array, Array]]:
        """Currents of the legs in a cell and their rows; ``empty``: the hot joint's volts if nobody conducted."""
        p = self.p
        out: dict[int, tuple[Array, Array]] = {}
        against, d_against = empty, d_empty
        # the leg with the larger emf first; in the cell of the crossing the one that conducts already
        for leg in sorted(
            range(len(p.phase)), key=lambda n: -p.phase[n] * cos(2.0 * pi * (cell - 0.01) / CELLS - pi / 2.0)
        ):
            drive = p.phase[leg] * WAVE[cell] * p.emf[leg] - against
            if p.leak is None and not (drive if p.sense is None else p.sense[leg] * drive).max() > 0.0:
                continue
            i, m, *by = series_current(p, leg, drive, wanted_slopes(along))
            di = self._sources(cell, leg, m, by, along) - m * d_against
            if out:
                return self._share(cell, empty, d_empty, against, drive > 0.0, along, out | {leg: (i, di)})
            out[leg] = (i, di)
            against, d_against = against + p.beta * i, d_against + p.beta * di
        return out

    def _sources(self, cell: int, leg: int, m: Array, by: Sequence[Array], along: Sequence[Along]) -> Array:
        """What the ways do to a leg's current at given volts (way, sample)."""
        out = np.zeros((2 + len(along), len(m)))
        row = 0 if self.equal else leg
        for k, way in enumerate(along):
            slopes = (self.p.phase[leg] * WAVE[cell] * m, *by)
            for slope, moved in zip(slopes, (way.emf, way.ohms, way.scale, way.limit), strict=True):
                if moved is not None:
                    out[2 + k] += slope * moved[row]
        return out

    def _share(
        self, cell: int, empty: Array, d_empty: Array, u: Array, both: Array, along: Sequence[Along],
        alone: dict[int, tuple[Array, Array]],
    ) -> dict[int, tuple[Array, Array]]:  # fmt: skip
        """Two legs at once where ``both``, from the hot joint's volts ``u`` of the first one alone; else as they were."""
        p, siemens = self.p, 1.0 / self.p.beta
        drives = {leg: p.phase[leg] * WAVE[cell] * p.emf[leg] for leg in alone}
        wanted = wanted_slopes(along)
        low, high = u, np.maximum(u, np.max(list(drives.values()), axis=0))
        for _ in range(SHARING_STEPS):
            found = {leg: series_current(self.bare, leg, e - u, wanted) for leg, e in drives.items()}
            miss = sum((f[0] for f in found.values()), siemens * (empty - u))
            low, high = np.where(miss > 0.0, u, low), np.where(miss < 0.0, u, high)
            old, u = u, u + miss / sum((f[1] for f in found.values()), siemens)
            near = np.asarray(np.abs(u - old) < SHARED * (1.0 + np.abs(old)), dtype=bool)
            # back on a bound is round in a circle: one leg conducts on this side of it alone
            u = np.where(near | ((u > low) & (u < high)), u, 0.5 * (low + high))
            if np.all(near[both]):
                break
        found = {leg: series_current(self.bare, leg, e - u, wanted) for leg, e in drives.items()}
        sources = {leg: self._sources(cell, leg, f[1], f[2:], along) for leg, f in found.items()}
        du = sum(sources.values(), siemens * d_empty) / sum((f[1] for f in found.values()), siemens)
        return {
            leg: (np.where(both, f[0], alone[leg][0]), np.where(both, sources[leg] - f[1] * du, alone[leg][1]))
            for leg, f in found.items()
        }

    def _mean(self, value: Array, slope: Array) -> tuple[Array, Array]:
        """Means over the cycle. The pair's currents in one half cycle are one leg's own over the whole."""
        share = 1.0 / self.p.cells
        if self.equal:
            return 0.5 * share * value.sum(axis=0, keepdims=True), 0.5 * share * slope.sum(axis=0, keepdims=True)
        return share * value, share * slope


def _twice(rows: Array) -> Array:
    """The one leg's row for both of a pair."""
    return np.repeat(rows, 2, axis=0)
