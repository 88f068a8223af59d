"""Rectifiers without a reservoir, a choke behind them: the choke's current is all that carries on from cell to cell.

What ``averaged`` solves with the volts of a capacitor as its state is solved here by ``choke_cycle``, with what else hangs on
the joint (a bleeder) beside the choke. Current that the rest of the load takes steadily counts as the choke's own: they add
up to no less than nothing, as rectifiers conduct one way only. The result's state is that of ``averaged``, the joint's volts
cell by cell and the mean current, so that ripple, waves and the proof read both alike.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from firstglow.solver.averaged import Array, Averaged, Cell, Inputs, apart, averaged, prepare
from firstglow.solver.cells import CELLS, WAVE, Along, series_current
from firstglow.solver.choke_input import choke_cycle

BEHIND = 8
"""Most steps of the volts behind the choke; a twentieth of the first is left after one, and Newton's rule squares that."""
NEAR_VOLTS = 1e-12
LEAST_OHMS = 1e-3


def held(cell: Cell, x: Inputs, start: Array | None, passes: int, along: Sequence[Along] | None) -> Averaged:
    """``averaged``, or where ``x.henries`` has a choke in the reservoir's place that."""
    if x.henries is None or not x.henries.any():
        return averaged(cell, x, start, passes, along)
    into = x.henries > 0.0
    if into.all():
        return _choked(cell, x, start, along)
    return apart(cell, x, into, start, along, lambda here, s, ways: held(cell, here, s, passes, ways))


def _choked(cell: Cell, x: Inputs, start: Array | None, along: Sequence[Along] | None) -> Averaged:
    """By the choke's current. Behind the choke stands what its own ohms leave of the mean volts."""
    henries, own = np.asarray(x.henries, dtype=float), np.maximum(x.choke_ohms, LEAST_OHMS)
    # counted over all amps: a drain takes its part of what the choke's ohms drop
    ohms = own / (1.0 + own * np.asarray(x.drain))
    inertia = CELLS * np.asarray(x.hertz) * henries  # volts that move the choke by an amp in a cell [ohm]
    first, behind = None, np.array(x.volts, dtype=float)
    if start is not None:
        behind = x.volts - ohms * start[-1]
        first = _current(start[:-1] - behind, start[-1] * ohms / own, inertia, own)
    for _ in range(BEHIND):
        found, volts = choke_cycle(cell, replace(x, volts=behind), henries, own, first, along=along, drain=x.drain)
        slope = found.stands_for * found.d_amps[:, 0].sum(axis=0)
        step = (x.volts - behind - ohms * found.amps) / (1.0 + ohms * slope)
        first, behind = found.state, behind + step
        if np.all(np.abs(step) < NEAR_VOLTS * (1.0 + np.abs(x.volts))):
            break
    found = _before(found, step, ohms, slope)
    return replace(found, state=np.concatenate([volts, found.amps[None]]))


def _current(over: Array, mean: Array, inertia: Array, ohms: Array) -> Array:
    """The choke's current as each cell begins [A] (cell, sample), from what its volts are in each (cell, sample) and its mean."""
    keep, gain = (inertia - 0.5 * ohms) / (inertia + 0.5 * ohms), 1.0 / (inertia + 0.5 * ohms)
    of_first, rest = [np.ones_like(mean)], [np.zeros_like(mean)]
    for volts in over[:-1]:
        of_first.append(keep * of_first[-1])
        rest.append(keep * rest[-1] + gain * volts)
    first = np.maximum((mean - np.mean(rest, axis=0)) / np.mean(of_first, axis=0), 0.0)
    return np.asarray(np.array(of_first) * first + np.array(rest))


def _before(found: Averaged, step: Array, ohms: Array, slope: Array) -> Averaged:
    """Results and slopes at given volts BEFORE the choke, from those at given volts behind it, which ``step`` still misses:
    behind = before - ohms x amps."""
    amps_by = found.stands_for * found.d_amps.sum(axis=0) / (1.0 + ohms * slope)
    moved = -ohms * amps_by
    moved[0] += 1.0  # volts behind by volts before; the other ways move them too
    out: dict[str, Any] = {}
    for name in ("amps", "in_phase", "square"):
        value, d = getattr(found, f"each_{name}"), getattr(found, f"d_{name}")
        by_behind = d[:, :1]
        rows = np.concatenate([np.zeros_like(by_behind), d[:, 1:]], axis=1) + by_behind * moved
        out |= {f"each_{name}": value + by_behind[:, 0] * step, f"d_{name}": rows}
    return replace(found, **out)


def choked_waves(cell: Cell, x: Inputs, state: Array) -> Array:
    """Amps of each leg (leg, CELLS, sample) at the joint's volts: each by its own law alone."""
    p = replace(prepare(cell, x), beta=np.zeros_like(x.volts))
    return np.array(
        [
            series_current(p, n, (leg.phase * WAVE[: p.cells])[:, None] * p.emf[n] - state[:-1], Along())[0]
            for n, leg in enumerate(cell.legs)
        ]
    )
