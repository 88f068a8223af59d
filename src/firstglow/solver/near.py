"""Thousands of amplifiers near a solved one: the same Newton rule, without the care that strangers need.

They start where the solved point's own slopes put them, so undamped steps settle all but a few at once: no sample is
dropped on the way and no step is tried twice. What has not settled after a few steps is handed to the full solution.
The equations' proof is made at the solved point; a sample's own is there for the asking (``Standing.proof``).
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.equations import Prepared
from firstglow.solver.frame import Array
from firstglow.solver.idle import Care, Idle, Turning, pots_of, result
from firstglow.solver.pulses import Pulses
from firstglow.solver.standing import Standing

if TYPE_CHECKING:
    from firstglow.solver.circuit import Circuit

CHUNK = 1000
STEPS = 6
"""Steps before a sample counts as not near at all."""
CATCH_UP = 2
"""The step before which the rectifiers' inner solution gets a pass of its own."""
SETTLED = 1e-6
"""Last step, relative, after which a sample counts as settled: Newton doubles the digits, so some 1e-12 is left."""


class Near:
    """What stands around one solved point.

    standing: one column. The rectifiers' inner state there is where the samples' begins.
    """

    def __init__(self, standing: Standing) -> None:
        self.circuit: Circuit = standing.circuit
        self.equations = standing.circuit.equations
        at = self.equations.prepare(standing.values[:, :1])
        with np.errstate(all="ignore"):
            self.equations.fill(standing.x[:, :1], at)
        self.states = [c.get("state") for c in at.coefficients]

    def prepare(self, p: Array) -> Prepared:
        """Coefficients of a batch, the rectifiers started from the solved point's state."""
        at = self.equations.prepare(p)
        for c, state in zip(at.coefficients, self.states, strict=True):
            if state is not None:
                c["state"] = np.repeat(state, p.shape[1], axis=-1)
        return at

    def catch_up(self, x: Array, at: Prepared) -> None:
        """One pass of the rectifiers' inner solution by itself: a step later it would lag the others by just that."""
        wide = np.concatenate([x, np.zeros((1, x.shape[1]))])
        for g, c in zip(self.equations.groups, at.coefficients, strict=True):
            if isinstance(g, Pulses):
                g.flows(wide, c, np.empty((g.terms, x.shape[1])), np.empty((g.slopes, x.shape[1])))

    def solve(self, laid: Array, start: Array) -> Standing:
        """The standing solution of every column of ``laid`` (parameter, sample) from ``start`` (unknown, sample)."""
        x, n = np.array(start), laid.shape[1]
        settled = np.zeros(n, dtype=bool)
        steps = np.zeros(n, dtype=np.int64)
        with np.errstate(all="ignore"):
            for first in range(0, n, CHUNK):
                part = slice(first, first + CHUNK)
                x[:, part], settled[part], steps[part] = self._run(laid[:, part], x[:, part])
        left = np.flatnonzero(~settled)
        if len(left):
            full = self.circuit.solve(laid[:, left], None, strict=False)
            x[:, left], settled[left], steps[left] = full.x, full.settled, full.steps
        return Standing(x, laid, settled, steps, self.circuit)

    def _run(self, p: Array, x: Array) -> tuple[Array, NDArray[np.bool_], int]:
        e = self.equations
        at = self.prepare(p)
        unit = e.unit[:, None]
        good, k = np.zeros(x.shape[1], dtype=bool), 0
        while k < STEPS and not good.all():
            k += 1
            if k == CATCH_UP:
                self.catch_up(x, at)
            residual, slots = e.evaluate(x, at)
            dx = -residual
            e.elimination.factored(slots).solve(dx)
            x = x + dx
            good = np.asarray((np.abs(dx) <= SETTLED * (unit + np.abs(x))).all(axis=0))
        return x, good, k

    def _near(self, at: Prepared) -> Care:
        return Care(at, SETTLED, STEPS, lambda step, x: self.catch_up(x, at) if step == CATCH_UP else None)

    def solve_idle(self, laid: Array, targets: Mapping[str, Array], start: Array) -> Idle:
        """The same with pots turned to their targets; ``laid`` holds the positions where they probably end."""
        p, x, n = np.array(laid), np.array(start), laid.shape[1]
        valves = pots_of(self.circuit, targets)
        amps = {v: np.broadcast_to(np.asarray(t, dtype=float), (n,)) for v, t in targets.items()}
        rest = np.zeros(n, dtype=bool)
        turn = Turning(self.circuit, valves)
        for first in range(0, n, CHUNK):
            part = slice(first, first + CHUNK)
            wanted = np.array([sum(amps[v][part] for v in names) for names in valves.values()])
            at = self.prepare(p[:, part])
            p[:, part], x[:, part], rest[part] = turn.run(p[:, part], x[:, part], wanted, self._near(at))
        left = np.flatnonzero(~rest)
        if len(left):
            full = self.circuit.solve_idle(laid[:, left], {v: a[left] for v, a in amps.items()}, None, strict=False)
            p[:, left], x[:, left], rest[left] = full.standing.values, full.standing.x, full.standing.settled
        return result(Standing(x, p, rest, np.full(n, STEPS), self.circuit), valves, amps)
