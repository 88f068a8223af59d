"""Thousands of amplifiers near a solved one: the same Newton rule, without the care that strangers need.

They start where the solved point's own slopes put them, so undamped steps settle all but a few at once, and no step is
tried twice. What has not settled after a few steps is handed to the full solution.
The equations' proof is made at the solved point; a sample's own is there for the asking (``Standing.proof``).
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.equations import Prepared
from firstglow.solver.frame import Array
from firstglow.solver.idle import Care, Idle, Turning, pots_of, result
from firstglow.solver.newton import INNER, only_floats
from firstglow.solver.standing import Standing

if TYPE_CHECKING:
    from firstglow.solver.circuit import Circuit

CHUNK = 2000
STEPS = 6
"""Steps before a sample counts as not near at all."""
TOGETHER = 2
"""Steps that all take; after that those go on that are not settled."""
MOST = 0.25
"""Share of a batch that must be settled before the others go on alone: to cut them out costs as much as a third of a step."""
NEAR = 0.1
"""Size of a step from which on the next can be foretold: its square but for a factor."""
SETTLED = 1e-7
"""Last step, relative, after which a sample counts as settled: Newton doubles the digits, so some 1e-12 is left."""
LEFT = 1e-14
"""What the next step may come to, as the last two foretell it, where none is taken any more. The foretelling is rough: of 36,000
samples none was found to have more than 3e-10 left, nor 1e-9 A of residual."""


def foretold(size: Array, before: Array) -> NDArray[np.bool_]:
    """Which samples' step of this ``size``, after one of ``before``, leaves less than ``LEFT`` for the next: each step is the
    square of the one before but for a factor, which these two tell."""
    return np.asarray((before < NEAR) & (size**3 < LEFT * before**2))


def inner_settled(at: Prepared) -> NDArray[np.bool_]:
    """Which samples' rectifier cycles went with the last step (sample,)."""
    left = [c["unsettled"] for c in at.coefficients if "unsettled" in c]
    return np.asarray(np.max(left, axis=0, initial=0.0) < INNER)


def relative(dx: Array, x: Array, unit: Array) -> Array:
    """The largest of a step's parts over its unknown's size (sample,); ``dx`` is used up."""
    room: Array = np.abs(x)
    room += unit
    np.abs(dx, out=dx)
    dx /= room
    return np.asarray(dx.max(axis=0))


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

    def _run(self, p: Array, x: Array) -> tuple[Array, NDArray[np.bool_], NDArray[np.int64]]:
        """Unknowns, which samples are settled, and the steps of each: all go together until most are there."""
        e, at, n = self.equations, self.prepare(p), x.shape[1]
        unit = e.unit[:, None]
        out, settled, steps = np.empty_like(x), np.zeros(n, dtype=bool), np.zeros(n, dtype=np.int64)
        live, before = np.arange(n), np.full(n, np.inf)
        for step in range(1, STEPS + 1):
            residual, slots = e.evaluate(x, at)
            dx = -residual
            e.elimination.factored(slots).solve(dx)
            x = x + dx
            size = relative(dx, x, unit)
            good = (size <= SETTLED) | (foretold(size, before) & inner_settled(at))
            if not good.all():
                good |= only_floats(size, residual)
            last = step == STEPS or bool(good.all())
            if last or (step >= TOGETHER and good.mean() >= MOST):
                out[:, live], settled[live], steps[live] = x, good, step
                if last:
                    break
                stay = ~good
                x, at, live, size = x.compress(stay, axis=1), at.keep(stay), live[stay], size[stay]
            before = size
        return out, settled, steps

    def _near(self, at: Prepared) -> Care:
        return Care(at, SETTLED, STEPS, TOGETHER, MOST, foretold)

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
