"""One mains cycle of legs into a reservoir, all its cells at once, with the slopes of everything.

The cycle is cut into cells; what the legs conduct in each is in ``cells`` (implicit midpoint rule; ``theta`` moves from 1/2
towards 1 where the capacitor is too small for a cell's step). The unknowns are the
capacitor's volts as each cell begins and the mean current. ``sweep`` takes one Newton step of them: the laws of all cells
at once, then a walk through the cells that only multiplies and adds. Where nothing can conduct the reservoir just
discharges, and the walk passes many cells in one stride.

Cells that no sample of the batch needs are left out. That changes nothing (no diode conducts in them), so a settled
sample does not depend on its neighbours in the batch.

Arrays end in the sample axis. Ways (rows of slopes): 0 what the state still misses, 1 reservoir volts at the start, 2 mean
current, then the caller's. Mean volts need no row: to the cycle they are a mean current of -drain.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.cells import CELLS, FIRST, MEAN, MISS, START, Along, Flow, Problem, flows
from firstglow.solver.together import flows_together, overlap

Array = NDArray[np.float64]

_TINY = 1e-300


@dataclass(slots=True)
class Stretch:
    """Cells ``first`` .. ``last`` (one past the end) in which some leg conducts.

    amps, by_drive: of all legs together (cell, sample). ways: likewise. volts: rows of the reservoir volts as each of its
    cells begins, and as the last one ends (cell + 1, way, sample); filled by the walk.
    """

    first: int
    last: int
    amps: Array
    by_drive: Array
    ways: dict[int, Array]
    volts: Array


@dataclass(slots=True)
class Sweep:
    """One Newton step. end, mean: rows of periodicity and of the mean volts (way, sample), the given mean volts aside.
    values: (result, leg, sample), results being mean, projection on the emf (rms) and, where wanted, mean square of a leg's
    current; slopes: their rows (result, leg, way, sample). stretches: where somebody conducts, in order; elsewhere the
    reservoir only discharges. load: what the load takes off a cell's volts (sample,). cross, d_cross: mean product of two
    legs' currents (leg, leg, sample) and its rows, where legs are solved together and it was asked for."""

    end: Array
    mean: Array
    values: Array
    slopes: Array
    stretches: list[Stretch]
    load: Array
    cross: Array | None = None
    d_cross: Array | None = None


def stretches(found: Sequence[Flow], wide: int) -> list[Stretch]:
    """Join the legs' cells into stretches; a stretch of one leg alone shares its arrays."""
    out: list[Stretch] = []
    groups: list[list[Flow]] = []
    for f in sorted(found, key=lambda f: f.first):
        if groups and f.first < max(g.last for g in groups[-1]):
            groups[-1].append(f)
        else:
            groups.append([f])
    for group in groups:
        first, last = group[0].first, max(f.last for f in group)
        size = group[0].amps.shape[1]
        if len(group) == 1:
            amps, by_drive, ways = group[0].amps, group[0].by_drive, group[0].ways
        else:
            amps, by_drive = np.zeros((last - first, size)), np.zeros((last - first, size))
            ways = {w: np.zeros_like(amps) for f in group for w in f.ways}
            for f in group:
                rows = slice(f.first - first, f.last - first)
                amps[rows] += f.amps
                by_drive[rows] += f.by_drive
                for way, source in f.ways.items():
                    ways[way][rows] += source
        out.append(Stretch(first, last, amps, by_drive, ways, np.empty((last - first + 1, wide, size))))
    return out


def sweep(p: Problem, state: Array, along: Sequence[Along], heat: bool) -> Sweep:
    """One Newton step from ``state`` (cell + 1, sample): capacitor volts as each cell begins, then the mean current.

    heat: whether ``square`` is wanted.
    """
    found = (flows if p.mutual is None else flows_together)(p, state, along)
    wide = FIRST + len(along)
    walk = _Walk(p, state, wide)
    parts = stretches(found, wide)
    at = None
    for part in parts:
        if p.ramp is not None and at is None and part.first >= p.drop:
            walk.rest(p.drop)
            at = np.array(walk.dv), walk.last
        walk.rest(part.first)
        walk.through(part)
    if p.ramp is not None and at is None:
        if walk.cell > p.drop:
            part = parts[-1]
            at = np.array(part.volts[p.drop - part.first]), state[p.drop]
        else:
            walk.rest(p.drop)
            at = np.array(walk.dv), walk.last
    walk.rest(p.cells)
    end, mean = walk.finish()
    if at is not None:
        mean = at[0]
        mean[MISS] += at[1] - p.volts
    values, slopes = _results(p, found, parts, wide, 3 if heat else 2)
    out = Sweep(end, mean, values, slopes, parts, walk.load)
    if heat and p.mutual is not None:
        out.cross, out.d_cross = _products(p, found, parts, wide)
    return out


def _products(p: Problem, found: Sequence[Flow], parts: Sequence[Stretch], wide: int) -> tuple[Array, Array]:
    """Means of the products of two different legs' currents over the cycle, and their rows."""
    legs, size = p.emf.shape
    value, slope = np.zeros((legs, legs, size)), np.zeros((legs, legs, wide, size))
    for n, f in enumerate(found):
        for g in found[:n]:
            cells = overlap(f, g)
            if cells is None:
                continue
            part = next(s for s in parts if s.first <= f.first < s.last)
            first = max(f.first, g.first) - part.first
            dv = part.volts[first : first + cells[0].stop - cells[0].start]
            i, k = f.amps[cells[0]] / CELLS, g.amps[cells[1]] / CELLS
            through = i * g.by_drive[cells[1]] + k * f.by_drive[cells[0]]
            rows = -p.keep * np.einsum("cn,cdn->dn", through, dv)
            rows[MEAN] += p.beta * through.sum(axis=0)
            for way, source in g.ways.items():
                rows[way] += (i * source[cells[1]]).sum(axis=0)
            for way, source in f.ways.items():
                rows[way] += (k * source[cells[0]]).sum(axis=0)
            for a, b in ((f.leg, g.leg), (g.leg, f.leg)):
                value[a, b], slope[a, b] = value[a, b] + CELLS * (i * k).sum(axis=0), slope[a, b] + rows
    return value, slope


def _results(p: Problem, found: Sequence[Flow], parts: Sequence[Stretch], wide: int, count: int) -> tuple[Array, Array]:
    """Sums over the cells: values and rows of the first ``count`` results of every leg."""
    legs, size = p.emf.shape
    values, slopes = np.zeros((count, legs, size)), np.zeros((count, legs, wide, size))
    share = 1.0 / CELLS  # where equal legs alternate, a leg is idle in the other half of the cycle
    for f in found:
        part = next(s for s in parts if s.first <= f.first < s.last)
        dv = part.volts[f.first - part.first : f.last - part.first]
        weight = np.empty((count, *f.amps.shape))
        weight[0], weight[1] = share, share * f.wave
        if count > 2:
            np.multiply(f.amps, share, out=weight[2])
        values[:, f.leg] += np.einsum("kcn,cn->kn", weight, f.amps)
        if count > 2:
            weight[2] *= 2.0
        through = weight * f.by_drive
        rows = np.einsum("kcn,cdn->kdn", through, dv)
        rows *= -p.keep
        rows[:, MEAN] += p.beta * through.sum(axis=1)
        for way, source in f.ways.items():
            rows[:, way] += np.einsum("kcn,cn->kn", weight, source)
        slopes[:, f.leg] += rows
    return values, slopes


class _Walk:
    """The rows of the capacitor's volts as the cycle goes by."""

    def __init__(self, p: Problem, state: Array, wide: int) -> None:
        self.p, self.state = p, state
        self.cell = 0
        self.dv = np.zeros((wide, state.shape[1]))
        self.dv[START] = 1.0
        self.last = state[0]
        self.sum_v, self.sum_dv = 0.5 * state[0], 0.5 * self.dv
        self.load = p.beta * (p.drain * p.volts - state[-1])
        self.lose = p.back * (1.0 - p.keep)
        self.spans: dict[int, tuple[Array, Array, Array, Array]] = {}

    def through(self, part: Stretch) -> None:
        """Through a stretch where legs conduct. Each cell multiplies the rows and adds its own."""
        p, own = self.p, part.volts
        gain = p.back * p.beta
        inside = self.state[part.first : part.last]
        after = self.state[part.first + 1 : part.last + 1] if part.last < p.cells else None
        free = 1.0 - p.beta * part.by_drive  # of what flows in, the share that the legs do not take back
        factor = (p.back * p.keep) * free
        factor += 1.0 - p.back
        target = inside * (1.0 - self.lose)
        target += p.back * self.load
        target += gain * part.amps
        ways = {**part.ways, MEAN: -free + part.ways.get(MEAN, 0.0)}
        own[0] = self.dv
        for way in range(own.shape[1]):
            if way in ways:
                np.multiply(ways[way], gain, out=own[1:, way])
            else:
                own[1:, way] = 0.0
        known = len(inside) if after is not None else len(inside) - 1
        own[1 : known + 1, MISS] = target[:known] - self.state[part.first + 1 : part.first + 1 + known]
        spare = np.empty_like(self.dv)
        for row in range(len(inside)):
            np.multiply(own[row], factor[row], out=spare)
            own[row + 1] += spare
        self.dv, self.cell = own[-1], part.last
        self.last = target[-1] if after is None else after[-1]
        self.sum_v = self.sum_v + inside[1:].sum(axis=0) + self.last
        self.sum_dv += own[1:].sum(axis=0)

    def rest(self, cell: int) -> None:
        """Pass idle cells up to ``cell``."""
        count = cell - self.cell
        if count <= 0:
            return
        p = self.p
        power, load, sum_power, sum_load = self._span(count)
        v = self.last
        target = power * v + load * self.load
        dv = power * self.dv
        dv[MEAN] -= p.beta * load
        self.sum_v = self.sum_v + sum_power * v + sum_load * self.load
        self.sum_dv += sum_power * self.dv
        self.sum_dv[MEAN] -= p.beta * sum_load
        if cell < p.cells:
            own = self.state[cell]
            miss = target - own
            dv[MISS] += miss
            self.sum_v = self.sum_v - miss
            self.sum_dv[MISS] += miss
            self.last = own
        else:
            self.last = target
        self.cell, self.dv = cell, dv

    def _span(self, count: int) -> tuple[Array, Array, Array, Array]:
        """Over ``count`` idle cells: the volts' factor and the load's, and the same for the sum of the volts after each."""
        if count not in self.spans:
            if count == 1:
                one = 1.0 - self.lose
                self.spans[1] = one, self.p.back, one, self.p.back
            else:
                a, b, sa, sb = self._span(count // 2)
                c, d, sc, sd = self._span(count - count // 2)
                # first the one, then the other: v -> c (a v + b) + d
                self.spans[count] = c * a, c * b + d, sa + sc * a, sb + sc * b + sd
        return self.spans[count]

    def finish(self) -> tuple[Array, Array]:
        """Rows of periodicity and of the mean volts (trapezoid); what they miss is in row ``MISS``."""
        share = 1.0 / self.p.cells
        end = self.dv.copy()
        end[START] -= 1.0
        end[MISS] += self.last - self.state[0]
        mean = share * (self.sum_dv - 0.5 * self.dv)
        mean[MISS] += share * (self.sum_v - 0.5 * self.last) - self.p.volts
        if self.p.esr is not None:
            mean[MISS] += self.p.esr * self.state[-1]
            mean[MEAN] += self.p.esr
        return end, mean


def advance(p: Problem, state: Array, done: Sweep, step: Array) -> Array:
    """The state after a Newton step: volts move as the rows of ``done`` say with ``step`` (2, sample) of the start volts and
    the mean current; idle cells follow from the cell before them."""

    def moves(rows: Array) -> Array:
        out = rows[:, MISS] + rows[:, START] * step[0]
        out += rows[:, MEAN] * step[1]
        return np.asarray(out)

    return _moved(p, state, done, step, done.load - p.beta * step[1], moves)


def carried(p: Problem, state: Array, done: Sweep, step: Array, volts: Array, ways: Array) -> Array:
    """The state where what stands around the cycle has moved since: ``volts`` (sample,) by so much, and by ``ways``
    (way, sample) along the ways of ``done``, which moves start volts and mean current by ``step`` (2, sample)."""

    def moves(rows: Array) -> Array:
        out = rows[:, START] * step[0]
        out += rows[:, MEAN] * (step[1] - p.drain * volts)
        for k, by in enumerate(ways):
            out += rows[:, FIRST + k] * by
        return np.asarray(out)

    load = p.beta * (p.drain * (p.volts + volts) - state[-1] - step[1])
    return _moved(p, state, done, step, load, moves)


def _moved(p: Problem, state: Array, done: Sweep, step: Array, load: Array, moves: Callable[[Array], Array]) -> Array:
    """Start volts and mean current moved by ``step``, the cells in which somebody conducts as ``moves`` has it from their
    rows, the others discharging into ``load`` [V of a cell]."""
    new = np.empty_like(state)
    new[-1] = state[-1] + step[1]
    new[0] = state[0] + step[0]
    cell = 0
    for part in [*done.stretches, None]:
        first = p.cells if part is None else part.first
        if first > cell:
            # cell itself is known (the start, or the end of the stretch before)
            _discharge(p, new, cell, first, load)
        if part is None:
            break
        last = min(part.last + 1, p.cells)
        new[part.first : last] = state[part.first : last] + moves(part.volts[: last - part.first])
        cell = part.last
    return new


def _discharge(p: Problem, new: Array, cell: int, until: int, load: Array) -> None:
    """Fill the idle cells after ``cell`` up to ``until``."""
    idle = until - cell - 1
    if idle < 1:
        return
    # towards where it would end; the cancellation costs 1e-7 V at worst, and these cells are only asked who may conduct
    lose = p.back * (1.0 - p.keep)
    final = p.back * load / (lose + _TINY)
    after, keep = new[cell + 1 : until], 1.0 - lose
    left = new[cell] - final
    for volts in after:
        left *= keep
        np.add(left, final, out=volts)
