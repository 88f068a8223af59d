"""Legs that conduct in the same cell of a cycle, solved together: a bad rectifier beside a sound one.

Sound legs take turns, and ``cells.flows`` lets one after the other at the reservoir. A shorted, leaking or reversed rectifier
conducts in its neighbour's half cycle too: each then works against what the other charges, and against what the other drops
in the windings and the mains side that both share, ``i_j = law_j(drive_j - sum (beta + esr + mutual_jk) i_k)``. The
resistances are those of real parts, so the answer is the lowest point of a convex potential: Newton's steps find it, and after
every few of them each leg in its own right (Gauss and Seidel, always downhill) leads them on where a law bends.

Only samples with such a rectifier come here: it costs some ten times as much, and legs that take turns have no use for it.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.cells import (
    FIRST,
    MISS,
    WAVE,
    Along,
    Flow,
    Problem,
    series_current,
    sources,
    wanted_slopes,
)

Array = NDArray[np.float64]
Index = NDArray[np.intp]

AT_ONCE = 1e-13
"""What legs solved together may still miss, as a part of what drives them."""
MOST_STEPS = 60
TURN = 4
"""Every so many steps the legs are solved one by one first."""
_ALONE = Along()
_INPUTS = ("emf", "ohms", "scale", "limit")


def flows_together(p: Problem, state: Array, along: Sequence[Along]) -> list[Flow]:
    """The legs' currents as ``cells.flows`` gives them, all legs at once in every cell of the cycle. Needs ``p.mutual``."""
    assert p.mutual is not None
    volts, amps = state[:-1], state[-1]
    against = p.keep * volts + p.beta * (p.drain * p.volts - amps)
    wanted = wanted_slopes(along)
    pull = p.mutual + (p.beta if p.esr is None else p.beta + p.esr)
    legs = range(len(p.phase))
    pull[legs, legs] = 0.0
    out, drives = [], []
    for leg in legs:
        wave = (p.phase[leg] * WAVE[: p.cells])[:, None]
        if p.dent is not None:
            wave = wave - p.phase[leg] * p.dent[: p.cells]
        drives.append(wave * p.emf[leg] - against)
        i, m, *by = series_current(p, leg, drives[-1], wanted)
        out.append(Flow(leg, 0, p.cells, wave, i, m, {}))
        sources(out[-1], leg, by, along)
    drive = np.array(drives)
    left = drive - np.einsum("jkn,kcn->jcn", pull, np.array([f.amps for f in out]))
    sense = 1.0 if p.sense is None else p.sense[:, None]
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
    samples = at[1]
    rows = {n: getattr(p, n)[:, samples] for n in ("ohms", "scale", "limit")}
    rows |= {n: None if (v := getattr(p, n)) is None else v[:, samples] for n in ("leak", "sense")}
    q = replace(p, beta=p.beta[samples], **rows)

    def law(k: int, amps: Array, wanted: Along) -> tuple[Array, Array, Array, Array, Array]:
        return series_current(q, k, drive[k] - (pull[k] * amps).sum(axis=0), wanted)

    amps = _balance(
        law, np.array([f.amps[at] for f in out]), pull, (q.ohms + q.beta) / (1e-3 + np.abs(drive).max(axis=0))
    )
    laws = [law(k, amps, wanted) for k in range(len(out))]
    slope = np.array([found[1] for found in laws])
    moves = [None if w.mutual is None else w.mutual[:, :, samples] for w in along]
    own = [Along(*(None if (v := getattr(w, name)) is None else v[:, samples] for name in _INPUTS)) for w in along]
    right = np.zeros((len(out), FIRST + len(along), drive.shape[1]))
    right[:, MISS] = slope
    for k, (f, found) in enumerate(zip(out, laws, strict=True)):
        here = Flow(k, 0, 1, np.broadcast_to(f.wave, f.amps.shape)[at], found[0], found[1], {})
        sources(here, k, found[2:], own)
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


def overlap(one: Flow, other: Flow) -> tuple[slice, slice] | None:
    """The cells that both flows have: counted from either's first."""
    low, high = max(one.first, other.first), min(one.last, other.last)
    return (
        (slice(low - one.first, high - one.first), slice(low - other.first, high - other.first)) if low < high else None
    )
