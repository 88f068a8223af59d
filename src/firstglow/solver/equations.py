"""Residual and Jacobian of a whole circuit, for a batch: the part groups' terms and slopes through two sparse tables."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.compiled import elimination as compiled
from firstglow.solver.elimination import plan_elimination
from firstglow.solver.frame import Array, Coefficients, Frame, Group
from firstglow.solver.stamps import incidence, scatter

UNITS = {"lamp harmonics": 1e-2, "core load": 1e-2}
"""What counts as a small number of an unknown that is not volts (A^2, A)."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """A batch whose parameters are set: each group's coefficients, and the part of the Jacobian that stays.

    fixed: (slot, sample). room: where ``evaluate`` works, kept from one step to the next (fresh memory costs as much as
    the arithmetic).
    """

    coefficients: tuple[Coefficients, ...]
    fixed: Array
    room: dict[str, Array] = field(default_factory=dict, compare=False, repr=False)

    def space(self, name: str, rows: int, like: Array) -> Array:
        """Room for (rows, sample); what stood in it is lost."""
        size = rows * like.shape[1]
        found = self.room.get(name)
        if found is None or found.size < size or found.dtype != like.dtype:
            found = self.room[name] = np.empty(size, dtype=like.dtype)
        return found[:size].reshape(rows, like.shape[1])

    @property
    def samples(self) -> int:
        """How many samples."""
        return int(self.fixed.shape[1])

    def keep(self, chosen: NDArray[np.bool_]) -> "Prepared":
        """Only the chosen samples."""
        n, which = self.samples, np.flatnonzero(chosen)

        def cut(a: Array) -> Array:
            return a.take(which, axis=-1) if a.ndim and a.shape[-1] == n else a  # half the time of a[..., chosen]

        # what a rectifier knows of its last step goes with the batch as it was
        kept = tuple({name: cut(a) for name, a in c.items() if name != "carry"} for c in self.coefficients)
        return Prepared(kept, cut(self.fixed), self.room)


class Equations:
    """What a solver needs of a circuit: f(x) = 0 and its slopes, laid out for one elimination program.

    joints: so many of the unknowns are joints' dc volts; they come first. highest: about the highest dc volts that can stand
    there [V], infinite while nobody has said.
    """

    def __init__(self, frame: Frame, groups: Sequence[Group]) -> None:
        self.size = len(frame.unknowns)
        self.groups = tuple(groups)
        self.unit = np.array(
            [next((u for n, u in UNITS.items() if name.startswith(n)), 1.0) for name in frame.unknowns]
        )
        self.joints = len(frame.nodes.dc)
        self.highest = np.inf
        plan = self.plan = frame.plan
        self.elimination = plan_elimination(self.size, plan.pattern())
        self.incidence = incidence(plan, self.size)
        self.term_spans = _spans([g.terms for g in groups])
        slope_spans = _spans([g.slopes for g in groups])
        slot, slots = self.elimination.slot, self.elimination.slots
        moving = [k for s, g in zip(slope_spans, groups, strict=True) if not g.constant for k in range(s.start, s.stop)]
        still = [k for s, g in zip(slope_spans, groups, strict=True) if g.constant for k in range(s.start, s.stop)]
        self.order = [*still, *moving]
        self.scatter_moving = scatter(plan, slot, slots, moving)
        self.scatter_still = scatter(plan, slot, slots, still)
        self.tables = compiled.table_of(self.incidence), compiled.table_of(self.scatter_moving)
        self.moving_spans = _spans([0 if g.constant else g.slopes for g in groups])
        self.still_spans = _spans([g.slopes if g.constant else 0 for g in groups])

    def prepare(self, p: Array) -> Prepared:
        """Set the parameters (parameter, sample)."""
        coefficients = tuple(g.prepare(p) for g in self.groups)
        still = [c["pull"] for g, c in zip(self.groups, coefficients, strict=True) if g.constant]
        return Prepared(coefficients, self.scatter_still @ (still[0] if len(still) == 1 else np.concatenate(still)))

    def evaluate(self, x: Array, at: Prepared) -> tuple[Array, Array]:
        """Residual (unknown, sample) and Jacobian slots (slot, sample) at x (unknown, sample)."""
        return self.assemble(*self.filled(x, at), at)

    def assemble(self, terms: Array, slopes: Array, at: Prepared) -> tuple[Array, Array]:
        """Residual and Jacobian slots from what ``fill`` gave."""
        moving = slopes[self.scatter_still.shape[1] :]
        if terms.dtype == np.float64 and compiled.serves(moving):
            jacobian = compiled.product(self.tables[1], moving, at.fixed)
            return compiled.product(self.tables[0], terms), jacobian
        jacobian = self.scatter_moving @ moving
        jacobian += at.fixed
        return self.incidence @ terms, jacobian

    def terms(self, x: Array, at: Prepared) -> tuple[Array, Array, list[int]]:
        """Every term (term, sample), every slope (slope, sample), and which slope of the plan each row is."""
        return *self.fill(x, at), self.order

    def filled(self, x: Array, at: Prepared) -> tuple[Array, Array]:
        """``fill`` in the batch's own room: what it gives lasts until the next step."""
        terms = at.space("terms", self.incidence.shape[1], x)
        slopes = at.space("slopes", self.scatter_still.shape[1] + self.scatter_moving.shape[1], x)
        self._fill(x, at, terms, slopes)
        return terms, slopes

    def fill(self, x: Array, at: Prepared) -> tuple[Array, Array]:
        """Terms, and slopes with those of the constant groups first."""
        n = x.shape[1]
        terms = np.empty((self.incidence.shape[1], n), dtype=x.dtype)
        slopes = np.empty((self.scatter_still.shape[1] + self.scatter_moving.shape[1], n), dtype=x.dtype)
        self._fill(x, at, terms, slopes)
        return terms, slopes

    def _fill(self, x: Array, at: Prepared, terms: Array, slopes: Array) -> None:
        wide = np.concatenate([x, np.zeros((1, x.shape[1]), dtype=x.dtype)])
        still = self.scatter_still.shape[1]
        spare, slopes_moving = slopes[:still], slopes[still:]
        spans = zip(self.groups, at.coefficients, self.term_spans, self.moving_spans, self.still_spans, strict=True)
        for g, c, t, s, k in spans:
            g.flows(wide, c, terms[t], spare[k] if g.constant else slopes_moving[s])


def _spans(sizes: Sequence[int]) -> list[slice]:
    ends = np.cumsum([0, *sizes])
    return [slice(int(a), int(b)) for a, b in zip(ends[:-1], ends[1:], strict=True)]
