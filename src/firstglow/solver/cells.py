"""What the legs conduct in the cells of a mains cycle: each by its law, through its ohms, against what the reservoir stands at.

In a cell of 7.5 degrees the currents are constant and solve ``i = law(e - v - (ohms + charging ohms) i ...)``: the
reservoir's own charging only adds to the leg's ohms, so a cell costs one evaluation of the series law. ``cycle`` walks the
reservoir through the cells, ``choke_input`` a choke.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import cos, pi

import numpy as np
from numpy.typing import NDArray

from firstglow.devices.rectifier import SMALLEST_PERVEANCE, limited_series
from firstglow.devices.semiconductor import junction_series

Array = NDArray[np.float64]

CELLS = 48
"""Cells in a mains cycle: 7.5 degrees each, one of them centred on each crest."""
ROOT2 = 2.0**0.5
WAVE = np.array([ROOT2 * cos(2.0 * pi * k / CELLS - pi / 2.0) for k in range(CELLS)])
"""Emf of a leg of phase +1 over its rms, cell by cell from the zero before its crest."""
MISS, START, MEAN, FIRST = range(4)


@dataclass(frozen=True, slots=True)
class Along:
    """A direction in which slopes are wanted: how fast each input moves; None where it does not. Each (leg, sample);
    mutual (leg, leg, sample)."""

    emf: Array | None = None
    ohms: Array | None = None
    scale: Array | None = None
    limit: Array | None = None
    mutual: Array | None = None


_INPUTS = tuple(f.name for f in fields(Along))


@dataclass(frozen=True, slots=True)
class Problem:
    """Inputs of a batch, broadcast, and what follows from them. (leg, sample) or (sample,).

    phase: +1 or -1 a leg; junction: yes or no a leg; cells: how many make the period (half of them where two equal legs
    alternate). esr, leak, sense, dent: None where there is none anywhere. mutual (leg, leg, sample): where legs are solved
    together, see ``averaged.Inputs``. ohms: esr included. ramp, drop: of a pump, whose charge the other rectifier takes all at once
    as cell ``drop`` begins: the volts of a steadily drained one plus the mean current times ``ramp`` [ohm] (CELLS, sample), and the
    given volts are those in the middle between before and after; None where there is none. keep, beta, back: a cell's reservoir
    volts are node = keep v + beta (currents in), next v = v + back (node - v).
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
    ramp: Array | None = None
    drop: int = 0


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
    """The legs' currents in the cells where they may conduct. Where two legs conduct in one cell the second works against
    what the first has already charged (operator splitting, exact where they do not overlap)."""
    volts, amps = state[:-1], state[-1]
    against = p.keep * volts
    against += p.beta * (p.drain * p.volts - amps)
    if p.ramp is not None:
        against += p.ramp * amps
    wanted = wanted_slopes(along)
    everywhere = p.leak is not None or p.sense is not None or p.dent is not None or against.min() < 0.0
    out: list[Flow] = []
    for leg, rows in _turns(p, everywhere):
        if _pulled(p, leg):
            continue
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
        sources(flow, leg, by, along)
        if p.ramp is not None:
            flow.ways[MEAN] = -m * p.ramp[rows]
        for other in out:
            _split(p, flow, m, other)
        out.append(flow)
    return out


def _pulled(p: Problem, leg: int) -> bool:
    """Is the leg's rectifier out of its socket in every sample? All its cells would be worked through for nothing."""
    return p.leak is None and not p.junction[leg] and bool(p.scale[leg].max() <= 2.0 * SMALLEST_PERVEANCE)


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


def sources(f: Flow, leg: int, by: Sequence[Array], along: Sequence[Along]) -> None:
    """What every way does to a leg's current at given volts."""
    for k, way in enumerate(along):
        terms = [] if way.emf is None else [f.by_drive * (f.wave * way.emf[leg])]
        moves = (way.ohms, way.scale, way.limit)
        terms += [slope * move[leg] for slope, move in zip(by, moves, strict=True) if move is not None]
        if terms:
            f.ways[FIRST + k] = sum(terms[1:], terms[0])


def _split(p: Problem, f: Flow, own: Array, other: Flow) -> None:
    """``f`` works against what ``other`` has charged in the same cells: its slopes there, ``own`` by what drives it."""
    for mine, theirs in _overlap(f.first, f.last, other):
        share = p.beta * own[mine]
        for way, source in other.ways.items():
            f.ways.setdefault(way, np.zeros_like(f.amps))[mine] -= share * source[theirs]
        if f.by_drive is own:
            f.by_drive = own.copy()
        f.by_drive[mine] -= share * other.by_drive[theirs]
