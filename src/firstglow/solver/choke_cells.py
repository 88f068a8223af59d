"""The legs of a choke input in every cell of a period at once, in the order in which their turns come."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.cells import WAVE, Along, Problem, series_current, wanted_slopes

Array = NDArray[np.float64]
LEAST = 1e-12
"""Of its current a choke loses in a period, at least, or it is taken to: nothing settles otherwise."""
INPUTS = ("emf", "ohms", "scale", "limit", "leak", "sense")
Law = tuple[Array, Array, Array, Array, Array]
"""Amps, and their slopes by the drive, by ohms, scale and limit."""


@dataclass(frozen=True, slots=True)
class Currents:
    """Amps of a role, their slope by what the hot joint's volts would be if nobody conducted, and by each way; all (cell, sample)."""

    amps: Array
    by_empty: Array
    by_ways: list[Array]


@dataclass(frozen=True, slots=True)
class Role:
    """A turn: of each cell the leg that has it. wave: emf over its rms (cell, 1) or (chosen cell,). drive: emf in the cell; what
    each way moves, (emf, ohms, scale, limit) or None. problem: one leg whose inputs go from cell to cell, and its ``beta`` the ohms
    that what it feeds adds to its own."""

    problem: Problem
    wave: Array
    drive: Array
    moved: list[tuple[Array | None, ...]]
    wanted: Along

    @classmethod
    def of(cls, p: Problem, legs: NDArray[np.int64], along: Sequence[Along], equal: bool) -> "Role":
        """legs: whose turn it is (cell,). equal: whether one leg's ways stand for all."""
        at: dict[str, Any] = {name: None if v is None else v[legs][None] for name in INPUTS for v in [getattr(p, name)]}
        one = replace(p, phase=(1,), junction=p.junction[:1], **at)
        wave = (np.array(p.phase)[legs] * WAVE[: len(legs)])[:, None]
        rows = np.zeros_like(legs) if equal else legs
        moved = [
            tuple(None if m is None else m[rows] for m in (way.emf, way.ohms, way.scale, way.limit)) for way in along
        ]
        return cls(one, wave, wave * p.emf[legs], moved, wanted_slopes(along))

    def law(self, drive: Array) -> Law:
        """Its current at a drive."""
        return series_current(self.problem, 0, drive, self.wanted)

    def flow(self, drive: Array) -> tuple[Array, Array]:
        """Its current at a drive and the slope by that, no others."""
        return series_current(self.problem, 0, drive, Along())[:2]

    def ways(self, found: Law) -> list[Array]:
        """What each way does to its current at given volts."""
        slopes = (self.wave * found[1], *found[2:])
        none = np.zeros_like(found[0])
        return [sum((s * m for s, m in zip(slopes, way, strict=True) if m is not None), none) for way in self.moved]

    def cell(self, number: int) -> "Role":
        """One cell of it, (1, sample), and no ways."""
        at: dict[str, Any] = {
            name: None if value is None else value[:, number : number + 1] for name, value in self._inputs()
        }
        return Role(
            replace(self.problem, **at), self.wave[number : number + 1], self.drive[number : number + 1], [], Along()
        )

    def _inputs(self) -> list[tuple[str, Array | None]]:
        return [(name, getattr(self.problem, name)) for name in INPUTS]

    @classmethod
    def together(cls, roles: Sequence["Role"], at: tuple[NDArray[np.int64], ...]) -> "Role":
        """All of them in chosen cells of chosen samples, (role, chosen) each, the hot joint's volts held."""
        here: dict[str, Any] = {
            name: None if value is None else np.array([getattr(role.problem, name)[0][at] for role in roles])[None]
            for name in INPUTS
            for value in [getattr(roles[0].problem, name)]
        }
        moved = [
            tuple(None if way[0] is None else np.array([m[at] for m in way]) for way in zip(*ways, strict=True))
            for ways in zip(*(role.moved for role in roles), strict=True)
        ]
        wave = np.array([np.broadcast_to(role.wave, role.drive.shape)[at] for role in roles])
        problem = replace(roles[0].problem, beta=np.zeros(()), **here)
        return cls(problem, wave, np.array([role.drive[at] for role in roles]), moved, roles[0].wanted)


def around(slope: Array, rows: Array) -> Array:
    """x of a period that closes, x[c + 1] = slope[c] x[c] + rows[:, c] and the last one's next the first: (cell, row, sample)."""
    count, cells, size = rows.shape
    out, gain = np.empty((cells, count, size)), np.empty((cells, size))
    at, by = np.zeros((count, size)), np.ones(size)
    for c in range(cells):
        out[c], gain[c] = at, by
        at = slope[c] * at + rows[:, c]
        by = by * slope[c]
    short = 1.0 - by
    out += gain[:, None] * (at / np.where(np.abs(short) > LEAST, short, LEAST))
    return out
