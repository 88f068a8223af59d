"""Where thousands of amplifiers start in a situation: as far beyond the straight line as they were found to stand in others.

The same amplifiers stand in every situation of a ladder. What bends in one (a lamp, a cathode, a rectifier) bends much alike
in one that differs by a valve or a pot. How much of it, unknown by unknown, a few of the amplifiers say, which are solved first.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PILOT = 128
"""Amplifiers solved first: every other one to find by how much, the rest to see whether it helps."""
HELPS = 0.5
"""Share of the squares that may be left to those."""
WORTH = 6
"""So many times as many must follow, or it does not pay."""
OTHERS = 3
"""Situations that are asked, the most alike ones."""
LITTLE = 1e-9
"""Of an unknown's own square, what a coefficient must explain at least; keeps the least squares from dividing nothing by it."""


class Beyond:
    """What the amplifiers of one cast were found beyond their straight lines, (unknown, sample) each, by situation."""

    def __init__(self) -> None:
        self._known: list[tuple[Array, Array]] = []

    def start(self, laid: Array, line: Array, solve: Callable[[slice], Any]) -> Array:
        """Where to begin (unknown, sample).

        laid: the situation laid over the amplifiers, (parameter, sample). line: the straight line's end. solve: the standing
        solution of some of the amplifiers from there.
        """
        if not self._known or laid.shape[1] < WORTH * PILOT:
            return line
        some = slice(0, PILOT)
        pilot = solve(some)
        good = np.asarray(pilot.settled)
        there = np.where(good, pilot.x - line[:, some], 0.0)
        near = sorted(self._known, key=lambda k: np.count_nonzero(k[0] != laid[:, 0]))[:OTHERS]
        theirs = np.stack([beyond for _, beyond in near], axis=1)  # (unknown, other, sample)
        few = np.where(good, theirs[..., some], 0.0)
        fit, check = slice(0, PILOT, 2), slice(1, PILOT, 2)
        square = few[..., fit] @ few[..., fit].swapaxes(1, 2)
        own = np.einsum("ukk->uk", square)
        own += LITTLE * own.sum(axis=1, keepdims=True) + 1e-30
        part = np.linalg.solve(square, np.einsum("ukp,up->uk", few[..., fit], there[:, fit])[..., None])[..., 0]
        left = there - np.einsum("uk,ukp->up", part, few)
        part[(left[:, check] ** 2).sum(axis=1) > HELPS * (there[:, check] ** 2).sum(axis=1)] = 0.0
        return line + np.einsum("uk,ukn->un", part, theirs)

    def learn(self, laid: Array, line: Array, found: Any) -> None:
        """They were found there (a standing solution); their straight line ended at ``line``."""
        self._known.append((laid[:, 0].copy(), np.where(np.asarray(found.settled), found.x - line, 0.0)))
