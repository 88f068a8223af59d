"""Networks of resistances, solved without a single subtraction of conductances.

A nodal matrix of an amplifier spans thirteen decades, from a 10 milliohm wire to 100 Gohm of insulation: the
insulation is lost in the rounding of the diagonal. Eliminating a joint by turning its star into a mesh only adds
and multiplies positive numbers, so every conductance keeps its full relative accuracy, however small.

Source: star-mesh transformation, A. Rosen, J. IEE 62 (1924) 916; elimination of diagonally dominant M-matrices
from their off-diagonals and row excesses, W. K. Grassmann, M. I. Taksar, D. P. Heyman, Operations Research 33
(1985) 1107. Papers cited from memory; the tests check the numbers against exact fractions.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Injection = Mapping[int, Array]


@dataclass(frozen=True, slots=True)
class Pivot:
    """One eliminated joint: its total conductance [S] (sample,) and the share of its current that each remaining
    neighbour takes, (joint, (sample,))."""

    joint: int
    total: Array
    shares: tuple[tuple[int, Array], ...]


class Laplacian:
    """Conductances between joints and from each joint to one reference, eliminated once, solved often.

    joints: how many, the reference not counted.
    edges: pairs of joint numbers; the reference is -1. conductance: (edge, sample) [S], not negative.
    Every joint must have some path to the reference.
    """

    def __init__(self, joints: int, edges: Sequence[tuple[int, int]], conductance: Array) -> None:
        self.joints = joints
        self.samples = conductance.shape[1]
        mesh: list[dict[int, Array]] = [{} for _ in range(joints)]
        ground = [np.zeros(self.samples) for _ in range(joints)]
        for (a, b), g in zip(edges, conductance, strict=True):
            if a == b:
                continue
            if a < 0 or b < 0:
                ground[max(a, b)] = ground[max(a, b)] + g
            else:
                mesh[a][b] = mesh[b][a] = mesh[a].get(b, 0.0) + g
        self.pivots = _eliminate(mesh, ground, _order(joints, tuple(edges)))
        self._roots = np.empty((joints, self.samples))
        for pivot in self.pivots:
            self._roots[pivot.joint] = pivot.total
        np.sqrt(self._roots, out=self._roots)

    def forward(self, injection: Injection) -> Array:
        """Currents that reach each joint's turn in the elimination, (joint, sample) [A]."""
        y = np.zeros((self.joints, self.samples))
        touched = set(injection)
        for joint, amps in injection.items():
            y[joint] = amps
        for pivot in self.pivots:
            if pivot.joint in touched:
                for other, share in pivot.shares:
                    y[other] += share * y[pivot.joint]
                    touched.add(other)
        return y

    def volts(self, injection: Injection) -> Array:
        """Joint volts to the reference for injected amps, (joint, sample)."""
        v = self.forward(injection)
        for pivot in reversed(self.pivots):
            total = v[pivot.joint] / pivot.total
            for other, share in pivot.shares:
                total = total + share * v[other]
            v[pivot.joint] = total
        return v

    def root_rows(self, injection: Injection) -> Array:
        """The injection as (joint, sample) [sqrt ohm]; the inner product of two of them is a transfer resistance."""
        y = self.forward(injection)
        y /= self._roots
        return y

    def ohms(self, a: int, b: int) -> Array:
        """Resistance between two joints (the reference is -1), (sample,) [ohm]: a sum of squares, nothing cancels."""
        rows = self.root_rows(through(a, b, self.samples))
        ohms: Array = (rows * rows).sum(axis=0)
        return ohms


def through(a: int, b: int, samples: int) -> dict[int, Array]:
    """One ampere into joint ``a`` and out of joint ``b``; the reference (-1) needs no entry."""
    out: dict[int, Array] = {}
    if a == b:
        return out
    if a >= 0:
        out[a] = np.ones(samples)
    if b >= 0:
        out[b] = -np.ones(samples)
    return out


@lru_cache(maxsize=256)
def _order(joints: int, edges: tuple[tuple[int, int], ...]) -> tuple[int, ...]:
    """The joint with fewest neighbours first (minimum degree): of the drawing alone, so found once for all its values."""
    near: list[set[int]] = [set() for _ in range(joints)]
    for a, b in edges:
        if a != b and a >= 0 and b >= 0:
            near[a].add(b)
            near[b].add(a)
    left, order = set(range(joints)), []
    while left:
        k = min(left, key=lambda j: (len(near[j]), j))
        left.remove(k)
        order.append(k)
        for other in near[k]:
            near[other] |= near[k]
            near[other] -= {k, other}
    return tuple(order)


def _eliminate(mesh: list[dict[int, Array]], ground: list[Array], order: Sequence[int]) -> tuple[Pivot, ...]:
    """Star to mesh, joint by joint in this order."""
    pivots = []
    for k in order:
        star = list(mesh[k].items())
        total = ground[k]
        for _, g in star:
            total = total + g
        shares = tuple((other, g / total) for other, g in star)
        pivots.append(Pivot(k, total, shares))
        for position, (other, share) in enumerate(shares):
            del mesh[other][k]
            ground[other] = ground[other] + share * ground[k]
            for third, h in star[position + 1 :]:
                mesh[other][third] = mesh[third][other] = mesh[other].get(third, 0.0) + share * h
        mesh[k] = {}
    return tuple(pivots)
