"""One mains cycle of legs into a reservoir, all its cells at once, with the slopes of everything.

The cycle is cut into cells; in each the currents are constant and solve ``i = law(e - v - (ohms + charging ohms) i ...)``:
the reservoir's own charging only adds to the leg's ohms, so a cell costs one evaluation of the series law (implicit midpoint
rule; ``theta`` moves from 1/2 towards 1 where the capacitor is too small for a cell's step). The unknowns are the
capacitor's volts as each cell begins and the mean current. ``sweep`` takes one Newton step of them: the laws of all cells
at once, then a walk through the cells that only multiplies and adds. Where nothing can conduct the reservoir just
discharges, and the walk passes many cells in one stride.

Cells that no sample of the batch needs are left out. That changes nothing (no diode conducts in them), so a settled
sample does not depend on its neighbours in the batch.

Arrays end in the sample axis. Ways (rows of slopes): 0 what the state still misses, 1 reservoir volts at the start, 2 mean
current, then the caller's. Mean volts need no row: to the cycle they are a mean current of -drain.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import cos, pi

import numpy as np
from numpy.typing import NDArray

from firstglow.devices.rectifier import limited_series
from firstglow.devices.semiconductor import junction_series

Array = NDArray[np.float64]

CELLS = 48
"""Cells in a mains cycle: 7.5 degrees each, one of them centred on each crest."""
ROOT2 = 2.0**0.5
WAVE = np.array([ROOT2 * cos(2.0 * pi * k / CELLS - pi / 2.0) for k in range(CELLS)])
"""Emf of a leg of phase +1 over its rms, cell by cell from the zero before its crest."""
_TINY = 1e-300
MISS, START, MEAN, FIRST = range(4)


@dataclass(frozen=True, slots=True)
class Along:
    """A direction in which slopes are wanted: how fast each input moves; None where it does not. Each (leg, sample)."""

    emf: Array | None = None
    ohms: Array | None = None
    scale: Array | None = None
    limit: Array | None = None


_INPUTS = tuple(f.name for f in fields(Along))


@dataclass(frozen=True, slots=True)
class Problem:
    """Inputs of a batch, broadcast, and what follows from them. (leg, sample) or (sample,).

    phase: +1 or -1 a leg; junction: yes or no a leg; cells: how many make the period (half of them where two equal legs
    alternate). esr, leak, sense, dent: None where there is none anywhere. ohms: esr included. keep, beta, back: a cell's
    reservoir volts are node = keep v + beta (currents in), next v = v + back (node - v).
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
class Flow:
    """Current of one leg in cells ``first`` .. ``last`` (one past the end).

    wave: emf over its rms in each cell (cell, 1), or (cell, sample) where dented. amps, by_drive: the current and its slope
    by what the cell's reservoir volts would be without any leg's current (cell, sample). ways: what each way adds at fixed
    volts, {way: (cell, sample)}.
    """

    leg: int
    first: int
    last: int
    wave: Array
    amps: Array
    by_drive: Array
    ways: dict[int, Array]


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
    reservoir only discharges. load: what the load takes off a cell's volts (sample,)."""

    end: Array
    mean: Array
    values: Array
    slopes: Array
    stretches: list[Stretch]
    load: Array


def series_current(p: Problem, leg: int, drive: Array, wanted: Along) -> tuple[Array, Array, Array, Array, Array]:
    """Current of a leg at ``drive`` (emf less what it works against) through its ohms and the charging ohms; slope by the
    drive; by ohms, scale and limit where ``wanted`` has them (else rubbish). drive: (cell, sample)."""
    ohms, scale, limit = p.ohms[leg] + p.beta, p.scale[leg], p.limit[leg]
    if p.sense is not None:
        drive = p.sense[leg] * drive
    if p.junction[leg]:
        i, m = junction_series(drive, ohms, scale, limit)
        by_ohms = m if wanted.ohms is None else -m * i
        by_scale = m if wanted.scale is None else (ohms * i - np.maximum(drive, 0.0)) * (m / scale)
        by_limit = m if wanted.limit is None else (1.0 - ohms * m) * i / limit
    else:
        i, m, at = limited_series(drive, ohms, scale, limit)
        by_ohms = m if wanted.ohms is None else -m * i
        by_scale = m if wanted.scale is None else at.by_perveance(scale)
        by_limit = m if wanted.limit is None else at.by_limit()
    if p.leak is not None:
        back = 1.0 / (ohms + p.leak[leg])
        reverse = np.minimum(drive, 0.0) * back
        i, m, by_ohms = i + reverse, m + back * (drive < 0.0), by_ohms - reverse * back
    if p.sense is not None:
        s = p.sense[leg]
        return s * i, m, s * by_ohms, s * by_scale, s * by_limit
    return i, m, by_ohms, by_scale, by_limit


def wanted_slopes(along: Sequence[Along]) -> Along:
    """Which inputs move in any of the directions."""
    return Along(*(next((v for w in along if (v := getattr(w, n)) is not None), None) for n in _INPUTS))


def flows(p: Problem, state: Array, along: Sequence[Along]) -> list[Flow]:
    """The legs' currents in the cells where they may conduct. Where two legs conduct in one cell the second works against
    what the first has already charged (operator splitting, exact where they do not overlap)."""
    volts, amps = state[:-1], state[-1]
    against = p.keep * volts
    against += p.beta * (p.drain * p.volts - amps)
    wanted = wanted_slopes(along)
    everywhere = p.leak is not None or p.sense is not None or p.dent is not None or against.min() < 0.0
    out: list[Flow] = []
    for leg, rows in _turns(p, everywhere):
        phase = p.phase[leg]
        wave = (phase * WAVE[: p.cells])[:, None]
        if p.dent is not None:
            wave = wave - phase * p.dent[: p.cells]
        drive = wave[rows] * p.emf[leg]
        drive -= against[rows]
        for other in out:
            for mine, theirs in _overlap(rows.start, rows.stop, other):
                drive[mine] -= p.beta * other.amps[theirs]
        if p.leak is None:
            top = (drive if p.sense is None else p.sense[leg] * drive).max(axis=1)
            busy = np.flatnonzero(top > 0.0)
            if not busy.size:
                continue
            drive = drive[busy[0] : busy[-1] + 1]
            rows = slice(rows.start + int(busy[0]), rows.start + int(busy[-1]) + 1)
        i, m, *by = series_current(p, leg, drive, wanted)
        flow = Flow(leg, rows.start, rows.stop, wave[rows], i, m, {})
        _sources(p, flow, by, along)
        for other in out:
            _split(p, flow, other)
        out.append(flow)
    return out


def _turns(p: Problem, everywhere: bool) -> list[tuple[int, slice]]:
    """(leg, cells) in the order in which they are let at the reservoir. Where it is too small to hold its volts from one leg
    to the next, legs may conduct against their own emf: first each in its own half cycle, so that the one with the larger emf
    takes the load over, then what is left of the others."""
    if not everywhere:
        return [(leg, _positive(phase, p.cells)) for leg, phase in enumerate(p.phase)]
    if p.cells < CELLS or len(set(p.phase)) < 2:
        return [(leg, slice(0, p.cells)) for leg in range(len(p.phase))]
    halves = slice(0, CELLS // 2), slice(CELLS // 2, CELLS)
    own = [(leg, halves[phase < 0]) for leg, phase in enumerate(p.phase)]
    return own + [(leg, halves[phase > 0]) for leg, phase in enumerate(p.phase)]


def _positive(phase: int, cells: int) -> slice:
    """Cells where the emf of a leg of this phase is positive."""
    half = CELLS // 2
    return slice(1, half) if phase > 0 else slice(min(half + 1, cells), cells)


def _overlap(first: int, last: int, other: Flow) -> list[tuple[slice, slice]]:
    """Where cells first .. last are cells of ``other`` too: the same cells counted from either's first; at most one pair."""
    low, high = max(first, other.first), min(last, other.last)
    return [(slice(low - first, high - first), slice(low - other.first, high - other.first))] if low < high else []


def _sources(p: Problem, f: Flow, by: Sequence[Array], along: Sequence[Along]) -> None:
    """What every way does to a leg's current at given volts."""
    for k, way in enumerate(along):
        terms = [] if way.emf is None else [f.by_drive * (f.wave * way.emf[f.leg])]
        moves = (way.ohms, way.scale, way.limit)
        terms += [slope * move[f.leg] for slope, move in zip(by, moves, strict=True) if move is not None]
        if terms:
            f.ways[FIRST + k] = sum(terms[1:], terms[0])


def _split(p: Problem, f: Flow, other: Flow) -> None:
    """``f`` works against what ``other`` has charged in the same cells: its slopes there."""
    for mine, theirs in _overlap(f.first, f.last, other):
        share = p.beta * f.by_drive[mine]
        for way, source in other.ways.items():
            f.ways.setdefault(way, np.zeros_like(f.amps))[mine] -= share * source[theirs]
        f.by_drive[mine] -= share * other.by_drive[theirs]


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
    found = flows(p, state, along)
    wide = FIRST + len(along)
    walk = _Walk(p, state, wide)
    parts = stretches(found, wide)
    for part in parts:
        walk.rest(part.first)
        walk.through(part)
    walk.rest(p.cells)
    end, mean = walk.finish()
    values, slopes = _results(p, found, parts, wide, 3 if heat else 2)
    return Sweep(end, mean, values, slopes, parts, walk.load)


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
        ways = {**part.ways, MEAN: -free}
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
    new = np.empty_like(state)
    new[-1] = state[-1] + step[1]
    load = done.load - p.beta * step[1]
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
        rows = part.volts[: last - part.first]
        new[part.first : last] = state[part.first : last] + rows[:, MISS]
        new[part.first : last] += rows[:, START] * step[0]
        new[part.first : last] += rows[:, MEAN] * step[1]
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
    after = new[cell + 1 : until]
    after[:] = 1.0 - lose
    np.cumprod(after, axis=0, out=after)
    after *= new[cell] - final
    after += final
