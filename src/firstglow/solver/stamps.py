"""How the parts' currents and slopes become residuals and a Jacobian: two sparse tables of signs, made once.

A *term* is one current (or one side of an equation); it leaves some rows and enters others. A *slope* is the derivative
of a term by a difference of unknowns. Both are computed for all samples by the part groups; what is left is a product
with a constant sparse matrix.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
Signs = Mapping[int, float]


def merge(*pairs: tuple[int, float]) -> dict[int, float]:
    """Signs by row or column; an index that comes twice is added (a part with both leads on one joint cancels)."""
    out: dict[int, float] = {}
    for index, sign in pairs:
        out[index] = out.get(index, 0.0) + sign
    return {k: v for k, v in out.items() if v != 0.0}


@dataclass(slots=True)
class Plan:
    """Collects terms and slopes while a circuit is compiled. ``ground`` is the index that has no row."""

    ground: int
    terms: list[dict[int, float]] = field(default_factory=list)
    slopes: list[tuple[int, dict[int, float]]] = field(default_factory=list)

    def term(self, rows: Signs) -> int:
        """A new term that leaves (+1) and enters (-1) these rows."""
        self.terms.append({r: s for r, s in rows.items() if r != self.ground})
        return len(self.terms) - 1

    def slope(self, term: int, columns: Signs) -> int:
        """A new slope: d term / d (signed sum of unknowns)."""
        self.slopes.append((term, {c: s for c, s in columns.items() if c != self.ground}))
        return len(self.slopes) - 1

    def entries(self, slope: int) -> dict[tuple[int, int], float]:
        """(row, column) of the Jacobian that a slope adds to, with its sign."""
        term, columns = self.slopes[slope]
        return {(r, c): a * b for r, a in self.terms[term].items() for c, b in columns.items()}

    def pattern(self) -> set[tuple[int, int]]:
        """Every entry of the Jacobian that some slope can touch."""
        return {entry for k in range(len(self.slopes)) for entry in self.entries(k)}


def incidence(plan: Plan, size: int) -> Any:
    """Sparse (unknown, term): residual = incidence @ terms."""
    from scipy.sparse import csr_array

    triples = [(r, t, s) for t, rows in enumerate(plan.terms) for r, s in rows.items()]
    return _sparse(csr_array, triples, (size, len(plan.terms)))


def scatter(plan: Plan, slot: Mapping[tuple[int, int], int], slots: int, chosen: Sequence[int]) -> Any:
    """Sparse (slot, slope) for the slopes in ``chosen``: Jacobian slots = scatter @ slopes."""
    from scipy.sparse import csr_array

    triples = [(slot[e], k, s) for k, q in enumerate(chosen) for e, s in plan.entries(q).items()]
    return _sparse(csr_array, triples, (slots, len(chosen)))


def _sparse(make: Any, triples: list[tuple[int, int, float]], shape: tuple[int, int]) -> Any:
    rows, columns, signs = (np.array(part) for part in zip(*triples, strict=True)) if triples else ([], [], [])
    return make((np.asarray(signs, dtype=float), (rows, columns)), shape=shape)
