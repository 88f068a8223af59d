"""What the legs conduct in the cells of a mains cycle: each by its law, through its ohms, against what the reservoir stands at.

In a cell of 7.5 degrees the currents are constant and solve ``i = law(e - v - (ohms + charging ohms) i ...)``: the
reservoir's own charging only adds to the leg's ohms, so a cell costs one evaluation of the series law. ``cycle`` walks the
reservoir through the cells, ``choke_input`` a choke.

Legs that conduct in the same cell are solved together: each works against what the others charge, and where they share
windings or the mains side against what the others drop there, ``i_j = law_j(drive_j - sum (beta + mutual_jk) i_k)``. The
resistances are those of real parts, so the answer is the lowest point of a convex potential: Newton's steps find it, and
after every few of them each leg in its own right (Gauss and Seidel, always downhill) leads them on where a law bends.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from math import cos, pi

import numpy as np
from numpy.typing import NDArray

from firstglow.devices.rectifier import limited_series
from firstglow.devices.semiconductor import junction_series

Array = NDArray[np.float64]
Index = NDArray[np.intp]

CELLS = 48
"""Cells in a mains cycle: 7.5 degrees each, one of them centred on each crest."""
ROOT2 = 2.0**0.5
WAVE = np.array([ROOT2 * cos(2.0 * pi * k / CELLS - pi / 2.0) for k in range(CELLS)])
"""Emf of a leg of phase +1 over its rms, cell by cell from the zero before its crest."""
MISS, START, MEAN, FIRST = range(4)
AT_ONCE = 1e-13
"""What legs solved together may still miss, as a part of what drives them."""
MOST_STEPS = 60
TURN = 4
"""Every so many steps the legs are solved one by one first."""


@dataclass(frozen=True, slots=True)
class Along:
    """A direction in which slopes are wanted: how fast each input moves; None where it does not. Each (leg, sample);
    mutual (leg, leg, sample)."""

    emf: Array | None = None
    ohms: Array | None = None
    scale: Array | None = None
    limit: Array | None = None
    mutual: Array | None = None


_ALONE = Along()
_INPUTS = tuple(f.name for f in fields(Along))


@dataclass(frozen=True, slots=True)
class Problem:
    """Inputs of a batch, broadcast, and what follows from them. (leg, sample) or (sample,).

    phase: +1 or -1 a leg; junction: yes or no a leg; cells: how many make the period (half of them where two equal legs
    alternate). esr, leak, sense, dent, mutual (see ``averaged.Inputs``): None where there is none. ohms:
    esr included. keep, beta, back: a cell's
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
    mutual: Array | None = None


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
    """The legs' currents in the cells where they may conduct."""
    volts, amps = state[:-1], state[-1]
    against = p.keep * volts
    against += p.beta * (p.drain * p.volts - amps)
    wanted = wanted_slopes(along)
    everywhere = p.leak is not None or p.sense is not None or p.dent is not None or against.min() < 0.0
    out: list[Flow] = []
    for legs, rows in _groups(p, everywhere):
        waves = [_wave(p, leg, rows) for leg in legs]
        drives = [wave * p.emf[leg] - against[rows] for leg, wave in zip(legs, waves, strict=True)]
        if len(legs) == 1:
            out += _alone(p, legs[0], rows.start, waves[0], drives[0], along, wanted)
        else:
            out += _at_once(p, legs, rows.start, np.array(waves), np.array(drives), along, wanted)
    return out


def _wave(p: Problem, leg: int, rows: slice) -> Array:
    """Emf of a leg over its rms in some cells (cell, 1), or where dented (cell, sample)."""
    wave = (p.phase[leg] * WAVE[rows])[:, None]
    return wave if p.dent is None else wave - p.phase[leg] * p.dent[rows]


def _groups(p: Problem, everywhere: bool) -> list[tuple[list[int], slice]]:
    """Legs that may conduct in the same cells, and which these are. Where the reservoir is too small to hold its volts from
    one leg to the next, legs may conduct against their own emf."""
    if everywhere:
        return [(list(range(len(p.phase))), slice(0, p.cells))]
    signs = dict.fromkeys(p.phase)
    return [([n for n, phase in enumerate(p.phase) if phase == sign], _positive(sign, p.cells)) for sign in signs]


def _alone(
    p: Problem, leg: int, start: int, wave: Array, drive: Array, along: Sequence[Along], wanted: Along
) -> list[Flow]:
    """A leg that shares its cells with no other; nothing where it never conducts."""
    if p.leak is None:
        top = (drive if p.sense is None else p.sense[leg] * drive).max(axis=1)
        busy = np.flatnonzero(top > 0.0)
        if not busy.size:
            return []
        rows = slice(int(busy[0]), int(busy[-1]) + 1)
        start, wave, drive = start + rows.start, wave[rows], drive[rows]
    i, m, *by = series_current(p, leg, drive, wanted)
    flow = Flow(leg, start, start + len(drive), wave, i, m, {})
    _sources(flow, leg, by, along)
    return [flow]


def _at_once(
    p: Problem, legs: Sequence[int], start: int, wave: Array, drive: Array, along: Sequence[Along], wanted: Along
) -> list[Flow]:
    """Several legs in the same cells. wave (leg, cell, 1 or sample); drive (leg, cell, sample): without any current."""
    count = len(legs)
    pull = np.zeros((count, count, *p.beta.shape)) + (p.beta if p.esr is None else p.beta + p.esr)
    if p.mutual is not None:
        pull += p.mutual[np.ix_(legs, legs)]
    pull[range(count), range(count)] = 0.0
    out = []
    for k, leg in enumerate(legs):
        i, m, *by = series_current(p, leg, drive[k], wanted)
        out.append(Flow(leg, start, start + len(i), wave[k], i, m, {}))
        _sources(out[-1], leg, by, along)
    left = drive - np.einsum("jkn,kcn->jcn", pull, np.array([f.amps for f in out]))
    sense = 1.0 if p.sense is None else p.sense[list(legs)][:, None]
    busy = (np.array([f.by_drive for f in out]) > 0.0) | (sense * left > 0.0)
    cells, samples = np.nonzero(busy.sum(axis=0) > 1)
    if cells.size:
        _join(p, out, (cells, samples), drive[:, cells, samples], pull[:, :, samples], along, wanted)
    return [f for f in out if f.by_drive.any()]


def _join(
    p: Problem, out: Sequence[Flow], at: tuple[Index, Index], drive: Array, pull: Array, along: Sequence[Along],
    wanted: Along,
) -> None:  # fmt: skip
    """Put currents and slopes into ``out`` in the cells ``at`` where several conduct. drive (leg, pair), pull (leg, leg,
    pair), a pair being a cell and a sample."""
    samples, legs = at[1], [f.leg for f in out]
    rows = {n: getattr(p, n)[:, samples] for n in ("ohms", "scale", "limit")}
    rows |= {n: None if (v := getattr(p, n)) is None else v[:, samples] for n in ("leak", "sense")}
    q = replace(p, beta=p.beta[samples], **rows)

    def law(k: int, amps: Array, wanted: Along) -> tuple[Array, Array, Array, Array, Array]:
        return series_current(q, legs[k], drive[k] - (pull[k] * amps).sum(axis=0), wanted)

    amps = _balance(
        law, np.array([f.amps[at] for f in out]), pull, (q.ohms[legs] + q.beta) / (1e-3 + np.abs(drive).max(axis=0))
    )
    laws = [law(k, amps, wanted) for k in range(len(out))]
    slope = np.array([found[1] for found in laws])
    moves = [None if w.mutual is None else w.mutual[np.ix_(legs, legs)][:, :, samples] for w in along]
    own = [Along(*(None if (v := getattr(w, name)) is None else v[:, samples] for name in _INPUTS[:4])) for w in along]
    right = np.zeros((len(out), FIRST + len(along), drive.shape[1]))
    right[:, MISS] = slope
    for k, (f, found) in enumerate(zip(out, laws, strict=True)):
        here = Flow(f.leg, 0, 1, np.broadcast_to(f.wave, f.amps.shape)[at], found[0], found[1], {})
        _sources(here, f.leg, found[2:], own)
        for way, source in here.ways.items():
            right[k, way] = source
        for way, move in enumerate(moves, FIRST):
            if move is not None:
                others = np.arange(len(out)) != k
                right[k, way] -= slope[k] * (move[k, others] * amps[others]).sum(axis=0)
    solved = _linear(slope, pull, right)
    for k, f in enumerate(out):
        f.amps[at], f.by_drive[at] = laws[k][0], solved[k, MISS]
        for way in range(FIRST, right.shape[1]):
            if way in f.ways or right[:, way].any():
                f.ways.setdefault(way, np.zeros_like(f.amps))[at] = solved[k, way]


def _balance(law: Callable[[int, Array, Along], Sequence[Array]], amps: Array, pull: Array, scale: Array) -> Array:
    """The currents (leg, pair) that all laws bear out, from a first guess. scale: [1/A] of what each may miss."""
    best, least = amps, np.full(amps.shape[1], np.inf)
    for step in range(MOST_STEPS):
        if step % TURN == 0:
            amps = np.array(amps)
            for k in range(len(amps)):
                amps[k] = law(k, amps, _ALONE)[0]
        laws = [law(k, amps, _ALONE) for k in range(len(amps))]
        miss = np.array([found[0] for found in laws]) - amps
        far = (np.abs(miss) * scale).max(axis=0)
        best, least = np.where(far < least, amps, best), np.minimum(far, least)
        if least.max() < AT_ONCE:
            break
        amps = amps + _linear(np.array([found[1] for found in laws]), pull, miss[:, None])[:, 0]
    return best


def _linear(slope: Array, pull: Array, right: Array) -> Array:
    """x of ``x_j + slope_j sum pull_jk x_k = right_j``. slope (leg, pair), pull (leg, leg, pair), right (leg, column, pair).

    Eliminated in order: a leg's slope is less than 1 over its own ohms, so every leading minor is positive.
    """
    count = len(slope)
    a, x = slope[:, None] * pull, np.array(right)
    a[range(count), range(count)] += 1.0
    for k in range(count):
        for j in range(k + 1, count):
            part = a[j, k] / a[k, k]
            a[j] -= part * a[k]
            x[j] -= part * x[k]
    for k in reversed(range(count)):
        for j in range(k + 1, count):
            x[k] -= a[k, j] * x[j]
        x[k] /= a[k, k]
    return x


def _positive(phase: int, cells: int) -> slice:
    """Cells where the emf of a leg of this phase is positive."""
    half = CELLS // 2
    return slice(1, half) if phase > 0 else slice(min(half + 1, cells), cells)


def overlap(one: Flow, other: Flow) -> tuple[slice, slice] | None:
    """The cells that both flows have: counted from either's first."""
    low, high = max(one.first, other.first), min(one.last, other.last)
    return (
        (slice(low - one.first, high - one.first), slice(low - other.first, high - other.first)) if low < high else None
    )


def _sources(f: Flow, leg: int, by: Sequence[Array], along: Sequence[Along]) -> None:
    """What every way does to a leg's current at given volts."""
    for k, way in enumerate(along):
        terms = [] if way.emf is None else [f.by_drive * (f.wave * way.emf[leg])]
        moves = (way.ohms, way.scale, way.limit)
        terms += [slope * move[leg] for slope, move in zip(by, moves, strict=True) if move is not None]
        if terms:
            f.ways[FIRST + k] = sum(terms[1:], terms[0])
