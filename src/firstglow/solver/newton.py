"""Newton's rule for a batch: undamped first, then damped where that does not settle, then up a mains ramp.

Damping is affine invariant: a step is taken when the next simplified step (same factors, new residual) is shorter
(natural monotonicity test: P. Deuflhard, "Newton Methods for Nonlinear Problems", Springer 2004, section 2.1; from
memory). Settled samples leave the batch.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.elimination import Factors
from firstglow.solver.equations import Equations, Prepared
from firstglow.solver.frame import Array

LONGEST = 0.5
"""Most that a joint's dc may move in one undamped step, as a part of the circuit's highest volts: the whole step is shortened.
Without it a fifth of healthy amplifiers, their dc started from nothing, run into the thousands of volts, where every
cathode is saturated and no slope leads back."""
SETTLED = 1e-8
"""Largest |dx|/(unit+|x|) of a step after which a sample counts as settled (Newton doubles the digits with each step)."""
NEAR, NEARLY, ROUNDING = 1e-2, 1e-7, 1e-13
"""A step below ``NEARLY`` after one below ``NEAR`` is the last one where the next, as these two foretell it, is below
``ROUNDING``."""
FLOATING = 1e-5
ROUNDING_AMPS = 1e-10
"""A joint that only insulation holds never meets ``SETTLED``: its step is the rounding of an ampere through a contact (2e-16 A)
over some 1e-11 S, for ever (a 5 V heater winding that rides on a choke input: 3e-6). A step below ``FLOATING`` will do when the
residual is down to the rounding of a contact's current [A]. The proof has the last word."""
INNER = 1e-6
"""Last change of a rectifier's cycle, as a part of its emf, that may be left: the next one would be its square."""
CHUNK = 4000
PLAIN_STEPS, SOON = 14, 4
"""Most undamped steps, and how many before it is asked whether only what floats still moves."""
DAMPED_STEPS = 80
RAMP_STEPS = 12
LEAST_DAMPING = 1e-4
DROP = 0.25
"""Settled samples are dropped when they are this part of the batch."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """x: (unknown, sample). settled: (sample,). steps: (sample,) Newton steps taken. moved: (sample,) of one that has not
    settled, the unknown whose last step was largest, relative to its size."""

    x: Array
    settled: NDArray[np.bool_]
    steps: NDArray[np.int64]
    moved: NDArray[np.int64]


Start = Callable[[Array, NDArray[np.int64]], Array]
"""(parameters of some samples, which samples they are) -> first guess (unknown, sample)."""
First = Callable[[Array, Prepared], Array]
"""(parameters of some samples, their coefficients) -> first guess; the rectifiers' state may be set in the coefficients."""


def newton(
    equations: Equations,
    p: Array,
    start: Start,
    ramp: Callable[[Array, float], Array],
    thorough: bool = True,
    first_guess: First | None = None,
) -> Outcome:
    """Solve f(x) = 0 for every column of p (parameter, sample).

    start: see ``Start``. ramp: (parameters, share) -> parameters with that share of the mains. thorough: False leaves
    the ramp out, by far the dearest part, for batches that may well hold states that do not exist. first_guess: where the
    undamped steps begin instead of ``start``.
    """
    n = p.shape[1]
    x = np.empty((equations.size, n))
    settled = np.zeros(n, dtype=bool)
    steps = np.zeros(n, dtype=np.int64)
    moved = np.zeros(n, dtype=np.int64)

    def take(which: Array, found: Outcome) -> None:
        x[:, which], settled[which], moved[which] = found.x, found.settled, found.moved
        steps[which] += found.steps

    with np.errstate(all="ignore"):
        for first in range(0, n, CHUNK):
            part = np.arange(first, min(first + CHUNK, n))
            q = p[:, part]
            at = equations.prepare(q)
            x0 = start(q, part) if first_guess is None else first_guess(q, at)
            take(part, _iterate(equations, at, x0, PLAIN_STEPS, False))
        for again in (damped, climb)[: 2 if thorough else 1]:
            for left in _chunks(np.flatnonzero(~settled)):
                take(left, again(equations, p[:, left], partial(_from, start, left), ramp))
    return Outcome(x, settled, steps, moved)


def foretold(size: Array, before: Array) -> NDArray[np.bool_]:
    """Which samples' undamped step of this ``size``, after one of ``before``, is as good as the last: each step is the square
    of the one before but for a factor, which these two tell, so that the next is size^3 / before^2."""
    return np.asarray((before < NEAR) & (size < NEARLY) & (size**3 < ROUNDING * before**2))


def only_floats(size: Array, residual: Array) -> NDArray[np.bool_]:
    """Which samples' last step of this ``size`` moved nothing but joints that float, by rounding: ``residual`` (unknown, sample)
    is what it was made from."""
    return np.asarray((size < FLOATING) & (np.abs(residual).max(axis=0) < ROUNDING_AMPS))


def _from(start: Start, which: NDArray[np.int64], p: Array) -> Array:
    return start(p, which)


def _chunks(which: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    return [which[k : k + CHUNK] for k in range(0, len(which), CHUNK)]


def damped(equations: Equations, p: Array, start: Callable[[Array], Array], ramp: object = None) -> Outcome:
    """Damped steps from the start."""
    return _iterate(equations, equations.prepare(p), start(p), DAMPED_STEPS, True)


def climb(
    equations: Equations, p: Array, start: Callable[[Array], Array], ramp: Callable[[Array, float], Array]
) -> Outcome:
    """From a small part of the mains to all of it, each rung from the last one's solution."""
    steps = np.zeros(p.shape[1], dtype=np.int64)
    x = start(ramp(p, 1.0 / RAMP_STEPS))
    for k in range(1, RAMP_STEPS + 1):
        q = ramp(p, k / RAMP_STEPS)
        found = _iterate(equations, equations.prepare(q), x, DAMPED_STEPS, True)
        x = np.where(np.isfinite(found.x), found.x, start(q))
        steps += found.steps
    return Outcome(found.x, found.settled, steps, found.moved)


def _iterate(equations: Equations, at: Prepared, x: Array, most: int, damp: bool) -> Outcome:
    n = x.shape[1]
    out = np.array(x)
    settled = np.zeros(n, dtype=bool)
    steps = np.full(n, most, dtype=np.int64)
    moved = np.zeros(n, dtype=np.int64)
    live = np.arange(n)
    x = np.array(x)
    share = np.ones(n)
    unit, longest = equations.unit[:, None], LONGEST * equations.highest
    if damp:
        for c in at.coefficients:
            c["exact"] = np.array(True)
    before = np.zeros(n)
    for k in range(1, most + 1):
        residual, slots = equations.evaluate(x, at)
        factors = equations.elimination.factored(slots)
        dx = -residual
        factors.solve(dx)
        there = x + dx
        np.abs(there, out=there)
        there += unit
        change = np.abs(dx)
        change /= there
        size = change.max(axis=0)
        done = size < SETTLED
        if not damp:
            done |= foretold(size, before)
            before = size
        if (damp or k > SOON) and not done.all():
            done |= only_floats(size, residual)
        for c in at.coefficients:
            if "unsettled" in c:
                done &= c["unsettled"] < INNER
        if damp and not done.all():
            dx, share = _natural(equations, at, factors, x, dx, np.where(done, 1.0, share), done)
        if not damp:
            far = np.abs(dx[: equations.joints]).max(axis=0, initial=0.0)
            if (far > longest).any():
                dx *= np.minimum(1.0, longest / far)
        x += dx
        lost = ~np.isfinite(size)
        open_ = ~settled[live]
        done &= open_
        gone = done | lost | ~open_
        if done.any():
            settled[live[done]] = True
            steps[live[done]] = k
        astray = open_ & ~done if k == most else lost & open_
        if astray.any():
            moved[live[astray]] = change[:, astray].argmax(axis=0)
        ends = np.flatnonzero(done | astray)
        out[:, live[ends]] = x.take(ends, axis=1)
        if gone.all():
            break
        # one that has lost its numbers goes at once: it must not touch its neighbours
        if gone.mean() >= DROP or lost.any():
            stay = ~gone
            live, x, at, share, before = live[stay], x.compress(stay, axis=1), at.keep(stay), share[stay], before[stay]
    return Outcome(out, settled, steps, moved)


def _natural(
    equations: Equations, at: Prepared, factors: Factors, x: Array, dx: Array, share: Array, done: NDArray[np.bool_]
) -> tuple[Array, Array]:
    """The part of each sample's step that passes the natural monotonicity test (``done``: not asked), and that part."""
    scale = 1.0 / (equations.unit[:, None] + np.abs(x))
    size = np.sqrt(np.mean((dx * scale) ** 2, axis=0))
    share = np.minimum(1.0, share * 4.0)
    tried = done.copy()
    for _ in range(14):
        residual, _ = equations.evaluate(x + share * dx, at)
        ahead = -residual
        factors.solve(ahead)
        new = np.sqrt(np.mean((ahead * scale) ** 2, axis=0))
        tried |= (new <= (1.0 - share / 4.0) * size) | (share <= LEAST_DAMPING)
        if tried.all():
            break
        share = np.where(tried, share, np.maximum(share / 2.0, LEAST_DAMPING))
    return share * dx, share
