"""What resistances and capacitors do when left alone, solved exactly: sums of exponentials.

C dv/dt + G v = 0. The unknowns are capacitor volts (a spanning forest of the capacitors), and what is decomposed is
not G but its inverse, the resistances that the capacitors look into: the slow time constants, the ones a person waits
for, are its large eigenvalues, and come out to 1e-15 of the slowest while the fast ones lose nothing that matters.
The resistance matrix R = F'F is never formed: the time constants are the squared singular values of F L, C = L L'.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.cold import ColdNetwork
from firstglow.solver.laplacian import through
from firstglow.solver.passive import Array, Store

GRID = 500
DECADES = 10.0
TIMES = np.concatenate([[0.0], np.logspace(-DECADES, 0.0, GRID)])
CUTS, CUT = 6, 127
PARTS = np.arange(1, CUT + 1) / (CUT + 1)
"""Inner points of a bracket that is cut in 128."""
# Exponentials that are taken in one array; more go mode by mode, for the memory's sake.
AT_ONCE = 200_000


@dataclass(frozen=True, slots=True)
class Decay:
    """A function of time, a1 exp(-t/tau1) + a2 exp(-t/tau2) + ...; both (mode, sample), tau [s]."""

    amplitudes: Array
    taus: Array

    def at(self, times: NDArray[np.float64]) -> Array:
        """Values (time, sample) at times (time,) or (time, sample) [s]."""
        t = times if times.ndim == 2 else times[:, None]
        if t.shape[0] * self.taus.size < AT_ONCE:
            return np.asarray((self.amplitudes * np.exp(-t[:, None, :] / self.taus)).sum(axis=1))
        out = np.zeros((t.shape[0], self.taus.shape[1]))
        for amplitude, tau in zip(self.amplitudes, self.taus, strict=True):
            out += amplitude * np.exp(-t / tau)
        return out

    def square_integral(self) -> Array:
        """Integral of the square over all time, (sample,) [unit^2 s]."""
        s, t = self.taus[:, None, :], self.taus[None, :, :]
        total: Array = np.einsum("ms,ns,mns->s", self.amplitudes, self.amplitudes, s * t / (s + t))
        return total

    def last_above(self, limit: float) -> Array:
        """When the size falls below ``limit`` for good, (sample,) [s]; 0 where it never stands above.

        Bracketed on 500 points over ten decades of time, a twentieth of a factor e apart (no mode bends faster than
        that on a logarithmic axis), then cut in 128 six times (a part in 4e12 of that).
        """
        most = np.abs(self.amplitudes).sum(axis=0)
        if (most <= limit).all():
            return np.zeros(most.shape)
        end = self.taus.max(axis=0) * np.log(np.maximum(most / limit, 1.0 + 1e-9))
        grid = TIMES[:, None] * end
        above = np.abs(self.at(grid)) > limit
        last = GRID - np.argmax(above[::-1], axis=0)
        sample = np.arange(above.shape[1])
        low, high = grid[last, sample], grid[np.minimum(last + 1, GRID), sample]
        for _ in range(CUTS):
            part = low + PARTS[:, None] * (high - low)
            still = np.abs(self.at(part)) > limit
            last = CUT - np.argmax(still[::-1], axis=0)
            # where none of the inner points still stands above, the first part holds it
            last = np.where(still.any(axis=0), last, 0)
            low, high = (
                np.where(last > 0, part[last - 1, sample], low),
                np.where(last < CUT, part[last % CUT, sample], high),
            )
        return np.where(above.any(axis=0), high, 0.0)


class Relaxation:
    """A resting network with charged capacitors.

    charged: volts across each of ``stores`` at the start, (store, sample). Capacitors in parallel or in a loop that
    disagree share their charge at once, as they would.
    """

    def __init__(self, network: ColdNetwork, stores: Sequence[Store], charged: Array) -> None:
        self.network, self.stores = network, tuple(stores)
        self.samples = max(network.samples, charged.shape[1], *(s.farads.size for s in stores))
        self.states = _forest([(network.joint(s.a), network.joint(s.b)) for s in stores])
        index = {joint: k for k, (joint, _) in enumerate(self.states)}
        self._incidence = np.zeros((len(stores), len(self.states)))
        for row, store in zip(self._incidence, stores, strict=True):
            for joint, sign in ((network.joint(store.a), 1.0), (network.joint(store.b), -1.0)):
                if joint in index:
                    row[index[joint]] += sign
        farads = np.stack([np.broadcast_to(s.farads, self.samples) for s in stores])
        matrix = np.einsum("kp,ks,kq->spq", self._incidence, farads, self._incidence)
        charge = np.einsum("kp,ks->sp", self._incidence, farads * charged)
        self._root = np.linalg.cholesky(matrix)  # (sample, state, state), lower
        rows = np.stack(
            [network.laplacian.root_rows(through(joint, base, network.samples)) for joint, base in self.states]
        )  # (state, joint, network sample)
        looks = np.broadcast_to(rows.transpose(2, 1, 0), (self.samples, rows.shape[1], rows.shape[0]))
        self._left, roots, right = np.linalg.svd(looks @ self._root, full_matrices=False)
        self._right = right.transpose(0, 2, 1)  # (sample, state, mode)
        self._roots = roots
        self.taus: Array = np.maximum(roots.T**2, 1e-300)
        start = np.linalg.solve(self._root, charge[..., None])
        self._start = (right @ start)[..., 0]  # (sample, mode)

    def volts(self, number: int) -> Decay:
        """Volts across one of the stores."""
        states = np.linalg.solve(self._root.transpose(0, 2, 1), self._right)  # (sample, state, mode)
        row = np.einsum("p,spm->sm", self._incidence[number], states)
        return Decay((row * self._start).T, self.taus)

    def between(self, a: str, b: str) -> Decay:
        """Volts from joint ``a`` to joint ``b``, driven by the currents that the capacitors give up."""
        joints = self.network.joint(a), self.network.joint(b)
        row = self.network.laplacian.root_rows(through(*joints, self.network.samples))
        across = np.einsum("js,sjm->sm", np.broadcast_to(row, (row.shape[0], self.samples)), self._left)
        return Decay((across * self._start / np.maximum(self._roots, 1e-150)).T, self.taus)


def _forest(edges: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """(joint, base) of every joint that capacitors tie to a base: the chassis (-1) or the group's first joint."""
    group: dict[int, int] = {}
    for a, b in edges:
        for joint in (a, b):
            group.setdefault(joint, joint)
    for a, b in edges:
        old, new = group[a], group[b]
        if old == new:
            continue
        if -1 in (old, new):
            old, new = max(old, new), -1
        for joint, base in group.items():
            if base == old:
                group[joint] = new
    return [(joint, base) for joint, base in group.items() if joint != base]
