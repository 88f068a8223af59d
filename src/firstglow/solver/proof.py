"""The proof that every solution carries: currents at every joint, power in and out, and slopes that are slopes.

Kirchhoff: ``bookkeeping`` works out each part's currents again from the solved volts; at every joint they must add up to
nothing, to 1 nA and a billionth of what flows there. The cores' amp-turns, the rectifiers' drive and the lamp's ohms are
held to the same.

Power: what the mains and supplies give against the heat of every part, each by its own law (a resistance I^2 R, a valve
its volts times amps, a core its loss). Averaged: a rectifier, whose cost is what it takes from the windings' ac less what
it gives as dc; that it is never less than nothing is part of the balance, and so is the power of its cycle, too much and
too little alike (``pulse_power``; a choke input's is not held to it). Everything else is exact.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.bookkeeping import Books, joint_sums
from firstglow.solver.equations import Equations, Prepared
from firstglow.solver.frame import Array

NANOAMP = 1e-9
PART_OF_FLOW = 1e-9
PART_OF_POWER = 1e-8
"""Largest power that may be missing, as a part of what goes in: a nanoamp at every joint's volts is far less."""
TRACE_WATTS = 1e-6
SLOPE_ERROR = 1e-3
"""Largest difference between a slope and a difference quotient, as a part of the term's movement. Nearly all are right to
1e-7; a rectifier plate near its emission limit stops its own Newton steps early: 4.5e-4 by its heater volts (measured)."""


@dataclass(frozen=True, slots=True)
class Proof:
    """residual_amps: largest sum at any joint (sample,). power_balance: |in - out|/in (sample,). holds: (sample,).
    worst: (sample,) the joint with the largest sum beyond its allowance."""

    residual_amps: Array
    power_balance: Array
    holds: NDArray[np.bool_]
    worst: tuple[str, ...]


def prove(books: Books, known: Collection[str]) -> Proof:
    """Add up. known: the unknowns' names."""
    net, gross = joint_sums(books, known)
    names = [*net, *books.misses]
    size = np.array([np.abs(net[n]) for n in net] + list(books.misses.values()))
    allowed = [NANOAMP + PART_OF_FLOW * gross[n] for n in net] + [
        np.full_like(m, NANOAMP) + PART_OF_FLOW * _flow_of(books, m) for m in books.misses.values()
    ]
    over = size / np.array(allowed)
    worst = over.argmax(axis=0)
    given = np.asarray(books.given_watts) + np.zeros(size.shape[1])
    out = sum(flow.watts for flow in books.flows.values()) + books.core_watts
    missing = np.abs(given - out) + books.cycle_watts
    balance = np.where(given > TRACE_WATTS, missing / np.maximum(given, TRACE_WATTS), 0.0)
    holds = (over.max(axis=0) <= 1.0) & ((missing <= PART_OF_POWER * np.abs(given)) | (missing < TRACE_WATTS))
    return Proof(size.max(axis=0), balance, holds, tuple(names[k] for k in worst))


def _flow_of(books: Books, like: Array) -> Array:
    """Amps that flow on the mains side: what a core's or the lamp's miss is measured by."""
    lamp = books.flows.get("lamp")
    return np.zeros_like(like) if lamp is None else np.asarray(lamp.row.get("amps_rms", np.zeros_like(like)))


def slope_errors(equations: Equations, x: Array, at: Prepared, seed: int = 1) -> Array:
    """How far each term's slopes are from a difference quotient along a random direction, as a part of the term's
    movement there: (term, sample). A wrong derivative shows as something near 1, rounding as 1e-6 or less."""
    rng = np.random.default_rng(seed)
    way = rng.uniform(0.5, 1.0, (x.shape[0], 1)) * rng.choice([-1.0, 1.0], (x.shape[0], 1))
    step = 1e-5
    for c in at.coefficients:
        c["exact"] = np.array(True)
    up, _, _ = equations.terms(x + step * way, at)
    down, _, _ = equations.terms(x - step * way, at)
    moved = (up - down) / (2.0 * step)
    _, slopes, order = equations.terms(x, at)
    wide = np.concatenate([way, np.zeros((1, 1))])
    predicted = np.zeros_like(moved)
    size = np.zeros_like(moved)
    for value, k in zip(slopes, order, strict=True):
        term, columns = equations.plan.slopes[k]
        along = sum(sign * wide[c, 0] for c, sign in columns.items())
        predicted[term] += value * along
        size[term] += np.abs(value * along)
    # rounding of the difference quotient itself
    noise = 1e-10 * np.maximum(np.abs(up), np.abs(down)) / step
    return np.asarray(np.abs(moved - predicted) / (size + noise + 1e-12))
