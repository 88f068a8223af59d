"""Straight-line sparse elimination: one order for a circuit, then the same few multiply-adds for every sample.

The order is found once by minimum degree (Markowitz's count on the diagonal: H. M. Markowitz, "The elimination form
of the inverse and its application to linear programming", Management Science 3, 1957) and written down as a list of
operations on slots. The batch is the last axis, so each operation is one numpy call over all samples. Pivots stay on
the diagonal: nodal equations with insulation at every joint have one. The caller checks the residual afterwards.
Where the compiled library is there, it runs the same list.
"""

import contextlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.compiled import elimination as compiled

Array = NDArray[Any]

DENSE_GAIN = 4_000.0
"""What a full elimination by LAPACK does, in multiply-adds, while one numpy call on a few samples only gets under way: a
microsecond each (measured; the time of a call hardly depends on what the machine does otherwise)."""
FEW = 8
"""Columns, a sample and a right side each, up to which plain numbers are quicker than numpy's calls."""


@dataclass(frozen=True, slots=True)
class Pivot:
    """One step: ``row`` is eliminated from the rows below it and into the columns right of it.

    diagonal: its slot. below: (row, slot) of the multipliers. right: (column, slot) of what is left of its row.
    updates: (target, multiplier, factor) slots: target -= multiplier * factor.
    """

    row: int
    diagonal: int
    below: tuple[tuple[int, int], ...]
    right: tuple[tuple[int, int], ...]
    updates: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, slots=True)
class Elimination:
    """The program for one sparsity pattern.

    size: unknowns. slot: (row, column) -> slot; the pattern's own slots come first, in sorted order, then the fill.
    entries: number of the pattern's own slots. pivots: in elimination order. program: the same for the compiled library.
    """

    size: int
    slot: dict[tuple[int, int], int]
    entries: int
    pivots: tuple[Pivot, ...]
    program: compiled.Program

    @property
    def slots(self) -> int:
        """All slots, fill included."""
        return len(self.slot)

    @property
    def multiply_adds(self) -> int:
        """Multiply-adds and divisions of one factorisation (the dense count is about size^3 / 3)."""
        return sum(len(p.updates) + len(p.below) + 1 for p in self.pivots)

    def factored(self, slots: Array, pivoting: bool = True) -> "Factors":
        """Factors of a batch of matrices (slot, sample), which are used up. pivoting: LAPACK, which pivots, may have a few samples,
        for it has them done before the straight line's calls are made."""
        n = slots.shape[1]
        if compiled.serves(slots):
            return Factors(self, slots, compiled=True)
        if pivoting and n * self.size**3 / 3.0 < DENSE_GAIN * self.multiply_adds:
            matrix = np.zeros((n, self.size, self.size), dtype=slots.dtype)
            rows, columns = np.array(list(self.slot)[: self.entries]).T
            matrix[:, rows, columns] = slots[: self.entries].T
            return Factors(self, slots, matrix)
        self.factor(slots)
        return Factors(self, slots)

    def factor(self, slots: Array) -> None:
        """Factor (slot, sample) in place: afterwards pivots hold their reciprocals, the slots below hold multipliers."""
        if slots.shape[1] <= FEW:
            columns = slots.T.tolist()
            with contextlib.suppress(ZeroDivisionError):  # numpy says it with an infinity
                for column in columns:
                    self.factor_one(column)
                slots[:] = np.transpose(columns)
                return
        a, spare = list(slots), np.empty(slots.shape[1], dtype=slots.dtype)
        multiply, subtract, reciprocal = np.multiply, np.subtract, np.reciprocal
        for p in self.pivots:
            r = a[p.diagonal]
            reciprocal(r, out=r)
            for _, l in p.below:
                multiply(a[l], r, out=a[l])
            for t, l, u in p.updates:
                multiply(a[l], a[u], out=spare)
                subtract(a[t], spare, out=a[t])

    def solve(self, slots: Array, b: Array) -> None:
        """Replace ``b`` (unknown, ..., sample) by the solution, from the factors ``slots``."""
        if b[0].size <= FEW:
            sides = b.reshape(len(b), -1, b.shape[-1])  # a view, or a copy that is put back
            for sample in range(b.shape[-1]):
                factors = slots[:, sample].tolist()
                for side in range(sides.shape[1]):
                    column = sides[:, side, sample].tolist()
                    self.solve_one(factors, column)
                    sides[:, side, sample] = column
            b[:] = sides.reshape(b.shape)
            return
        a, spare = list(slots), np.empty(b.shape[1:], dtype=b.dtype)
        multiply, subtract = np.multiply, np.subtract
        for p in self.pivots:
            known = b[p.row]
            for i, l in p.below:
                multiply(known, a[l], out=spare)
                subtract(b[i], spare, out=b[i])
        for p in reversed(self.pivots):
            x = b[p.row]
            for j, u in p.right:
                multiply(b[j], a[u], out=spare)
                subtract(x, spare, out=x)
            multiply(x, a[p.diagonal], out=x)

    def factor_one(self, a: list[Any]) -> None:
        """``factor`` for one sample in plain numbers: a numpy call on a single number costs ten times its arithmetic.
        ZeroDivisionError for a pivot that is nothing."""
        for p in self.pivots:
            r = a[p.diagonal] = 1.0 / a[p.diagonal]
            for _, l in p.below:
                a[l] *= r
            for t, l, u in p.updates:
                a[t] -= a[l] * a[u]

    def solve_one(self, a: Sequence[Any], b: list[Any]) -> None:
        """``solve`` for one sample and one right side in plain numbers."""
        for p in self.pivots:
            known = b[p.row]
            if known:
                for i, l in p.below:
                    b[i] -= known * a[l]
        for p in reversed(self.pivots):
            x = b[p.row]
            for j, u in p.right:
                x -= b[j] * a[u]
            b[p.row] = x * a[p.diagonal]

    def solve_transposed(self, slots: Array, b: Array) -> None:
        """Replace ``b`` (unknown, ..., sample) by the solution of the TRANSPOSED system, from the factors ``slots``."""
        a, spare = list(slots), np.empty(b.shape[1:], dtype=b.dtype)
        multiply, subtract = np.multiply, np.subtract
        for p in self.pivots:
            x = b[p.row]
            multiply(x, a[p.diagonal], out=x)
            for j, u in p.right:
                multiply(x, a[u], out=spare)
                subtract(b[j], spare, out=b[j])
        for p in reversed(self.pivots):
            x = b[p.row]
            for i, l in p.below:
                multiply(b[i], a[l], out=spare)
                subtract(x, spare, out=x)


@dataclass(slots=True)
class Factors:
    """A batch of factored matrices (slot, sample). Full matrices (sample, unknown, unknown) for LAPACK, and the entries as they
    were for the compiled library, are eliminated anew for each right side: to write factors down and read them again costs more."""

    program: Elimination
    slots: Array
    matrix: Array | None = None
    compiled: bool = False

    def solve(self, b: Array, transposed: bool = False) -> None:
        """Replace ``b`` (unknown, sample) or (unknown, side, sample) by the solution; ``transposed``: of the transposed system,
        which full matrices are not asked for."""
        if self.compiled and b.flags.c_contiguous and b.dtype == self.slots.dtype:
            compiled.solve(self.program.program, self.slots, b, transposed)
            return
        if self.compiled:
            whole = np.ascontiguousarray(b, dtype=np.result_type(b, self.slots))
            compiled.solve(self.program.program, self.slots.astype(whole.dtype), whole, transposed)
            b[:] = whole
            return
        if self.matrix is not None:
            sides = b[:, None] if b.ndim == 2 else b  # a view
            try:
                sides[:] = np.linalg.solve(self.matrix, sides.transpose(2, 0, 1)).transpose(1, 2, 0)
            except np.linalg.LinAlgError:  # one of them is singular to the last digit: each by itself, then
                self.matrix = None
                self.program.factor(self.slots)
            else:
                return
        (self.program.solve_transposed if transposed else self.program.solve)(self.slots, b)


def plan_elimination(size: int, pattern: Iterable[tuple[int, int]]) -> Elimination:
    """Find the order and write the program. pattern: (row, column) of every entry that can be non-zero; the diagonal is
    always added. Ties go to the lowest row, so the same circuit always gets the same program (the last few are kept)."""
    return _planned(size, tuple(sorted(set(pattern) | {(i, i) for i in range(size)})))


@lru_cache(maxsize=128)
def _planned(size: int, entries: tuple[tuple[int, int], ...]) -> Elimination:
    slot = {entry: k for k, entry in enumerate(entries)}
    rows: list[set[int]] = [set() for _ in range(size)]
    columns: list[set[int]] = [set() for _ in range(size)]
    for i, j in entries:
        if i != j:
            rows[i].add(j)
            columns[j].add(i)
    left = set(range(size))
    pivots = []
    while left:
        k = min(left, key=lambda n: (len(rows[n]) * len(columns[n]), len(rows[n]) + len(columns[n]), n))
        left.remove(k)
        below, right = sorted(columns[k]), sorted(rows[k])
        updates = []
        for i in below:
            rows[i].remove(k)
            for j in right:
                target = slot.setdefault((i, j), len(slot))
                updates.append((target, slot[i, k], slot[k, j]))
                if i != j:
                    rows[i].add(j)
                    columns[j].add(i)
        for j in right:
            columns[j].remove(k)
        pivots.append(
            Pivot(
                k, slot[k, k],
                tuple((i, slot[i, k]) for i in below),
                tuple((j, slot[k, j]) for j in right),
                tuple(updates),
            )
        )  # fmt: skip
    return Elimination(size, slot, len(entries), tuple(pivots), compiled.program_of(pivots))
