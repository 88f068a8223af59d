"""The nominal amplifier in every situation of a ladder, solved together; how each point moves with every spread.

From these points everything near starts: the readings' slopes, and the thousands of amplifiers of a band. Where a
situation sets an idle, the points move with the pots turned after them: d x = x_p dp + x_pot d pot, with d pot from
keeping every cathode current at its target (the implicit function theorem on the idle equations).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.situation import Situation

Array = NDArray[np.float64]

# Relative change of a valve's own parameter for its cathode current at fixed volts.
STEP = 1e-5


@dataclass(frozen=True, slots=True)
class Point:
    """One solved nominal point.

    standing: one column. rows: parameters whose slopes are known. by_row: d unknown / d parameter, (unknown, row);
    by_setting: d unknown / d (fraction of an idle target), (unknown, valve) in the order of ``valves``.
    pot_rows: parameter rows of the pots that follow an idle; pots_by_row, pots_by_setting: d position.
    """

    standing: Any
    rows: NDArray[np.int64]
    by_row: Array
    valves: tuple[str, ...] = ()
    by_setting: Array = field(default_factory=lambda: np.zeros((0, 0)))
    pot_rows: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    pots_by_row: Array = field(default_factory=lambda: np.zeros((0, 0)))
    pots_by_setting: Array = field(default_factory=lambda: np.zeros((0, 0)))

    def start(self, laid: Array, setting: Mapping[str, Array]) -> tuple[Array, Array]:
        """(first guess (unknown, sample), ``laid`` with the pots where they probably end)."""
        away = laid[self.rows] - self.standing.values[self.rows]
        x = self.standing.x + self.by_row @ away
        if not len(self.pot_rows):
            return x, laid
        turned = laid.copy()
        pots = self.standing.values[self.pot_rows] + self.pots_by_row @ away
        if any(v in setting for v in self.valves):
            still = np.zeros(laid.shape[1])
            s = np.array([setting.get(v, still) for v in self.valves])
            x = x + self.by_setting @ s
            pots = pots + self.pots_by_setting @ s
        turned[self.pot_rows] = np.clip(pots, 0.0, 1.0)
        return x, turned


def together(standings: Sequence[Any]) -> Any:
    """Standing solutions of one circuit, column by column, as one."""
    first = standings[0]
    return type(first)(
        np.concatenate([s.x for s in standings], axis=1),
        np.concatenate([s.values for s in standings], axis=1),
        np.concatenate([s.settled for s in standings]),
        np.concatenate([s.steps for s in standings]),
        first.circuit,
    )


def points(situations: Sequence[Situation], standings: Sequence[Any], rows: Sequence[int]) -> list[Point]:
    """Slopes of every unknown at each solved point (one column each), for the parameters in ``rows``."""
    circuit = standings[0].circuit
    pots = {p.name: circuit.column[f"{p.name} position"] for p in circuit.amplifier.of_kind("pot")}
    every = np.array([*rows, *(r for r in pots.values() if r not in set(rows))], dtype=np.int64)
    joined = together(standings)
    tangent = joined.tangent
    moves = (
        -tangent.solve(tangent.residual_slopes(list(every)))
        if len(every)
        else np.zeros((len(joined.x), 0, joined.samples))
    )
    known = np.array(list(rows), dtype=np.int64)
    # numpy multiplies every other column of a table one by one; a copy goes to the linear algebra library
    moved = [np.ascontiguousarray(moves[:, :, k]) for k in range(len(standings))]
    out = [
        Point(standing, known, np.ascontiguousarray(by[:, : len(rows)]))
        for standing, by in zip(standings, moved, strict=True)
    ]
    for k, (groups, amps) in _idle_slopes(situations, standings, every, moved).items():
        out[k] = _at_idle(out[k], situations[k], groups, every, moved[k], amps)
    return out


def _idle_slopes(
    situations: Sequence[Situation], standings: Sequence[Any], every: NDArray[np.int64], moved: Sequence[Array]
) -> dict[int, tuple[dict[str, list[str]], list[Array]]]:
    """By number of a situation that sets an idle: its pots, each with its valves, and how far each parameter moves their
    cathode current."""
    from firstglow.solver.idle import pots_of

    circuit = standings[0].circuit
    groups = {k: pots_of(circuit, {v: np.zeros(1) for v in at.idle}) for k, at in enumerate(situations) if at.idle}
    jobs = [(k, names) for k, pots in groups.items() for names in pots.values()]
    found = iter(_cathode_slopes([(standings[k], names, moved[k]) for k, names in jobs], every) if jobs else ())
    return {k: (pots, [next(found) for _ in pots]) for k, pots in groups.items() if pots}


def _at_idle(
    point: Point, situation: Situation, groups: Mapping[str, Sequence[str]], every: NDArray[np.int64], by: Array,
    amps: Sequence[Array],
) -> Point:  # fmt: skip
    """The same point with its pots following the idle targets. groups: each pot's valves; amps: their slopes."""
    circuit = point.standing.circuit
    pot_rows = np.array([circuit.column[f"{pot} position"] for pot in groups])
    where = [int(np.flatnonzero(every == r)[0]) for r in pot_rows]
    count = len(point.rows)
    slope = np.array(amps)  # (pot, row of every)
    matrix = slope[:, where]
    position = point.standing.values[pot_rows, 0]
    held = (position <= 0.0) | (position >= 1.0) | (np.abs(np.diag(matrix)) < 1e-12)
    matrix = np.where(held[:, None], np.eye(len(held)), matrix)
    targets = np.array(
        [[situation.idle[v] if v in names else 0.0 for v in situation.idle] for names in groups.values()]
    )
    right = np.where(held[:, None], 0.0, np.hstack([-slope[:, :count], targets]))
    turn: Array = np.asarray(np.linalg.solve(matrix, right), dtype=float)
    follow = by[:, where]
    return Point(
        point.standing, point.rows, point.by_row + follow @ turn[:, :count], tuple(situation.idle),
        follow @ turn[:, count:], pot_rows, turn[:, :count], turn[:, count:],
    )  # fmt: skip


def _cathode_slopes(jobs: Sequence[tuple[Any, Sequence[str], Array]], rows: NDArray[np.int64]) -> list[Array]:
    """d (sum of cathode currents) / d parameter, pots held, (row,) [A per unit], of each job, all worked out together.

    jobs: (standing solution of one column, valves, how its unknowns move by ``rows``).
    """
    from firstglow.solver.idle import Cathode

    circuit = jobs[0][0].circuit
    cathodes = {v: Cathode(circuit.equations, v) for _, valves, _ in jobs for v in valves}
    own = [_own_rows(circuit, valves, rows) for _, valves, _ in jobs]
    xs, ps, steps = [], [], []
    for (standing, _, _), mine in zip(jobs, own, strict=True):
        values = np.repeat(standing.values[:, :1], 1 + 2 * len(mine), axis=1)
        step = np.array([STEP * (abs(values[rows[k], 0]) or 1.0) for k in mine])
        for n, k in enumerate(mine):
            values[rows[k], 1 + 2 * n] += step[n]
            values[rows[k], 2 + 2 * n] -= step[n]
        xs.append(np.repeat(standing.x[:, :1], values.shape[1], axis=1))
        ps.append(values)
        steps.append(step)
    with np.errstate(all="ignore"):
        at = circuit.equations.prepare(np.concatenate(ps, axis=1))
        terms, slopes = circuit.equations.fill(np.concatenate(xs, axis=1), at)
    out, first = [], 0
    for (_, valves, by), mine, step in zip(jobs, own, steps, strict=True):
        here = slice(first, first + 1)
        total = np.sum([cathodes[v].moves(slopes[:, here], by[:, :, None])[:, 0] for v in valves], axis=0)
        amps = np.sum([cathodes[v].amps(terms[:, first + 1 : first + 1 + 2 * len(mine)]) for v in valves], axis=0)
        direct = np.zeros(len(rows))
        direct[mine] = (amps[0::2] - amps[1::2]) / (2.0 * step)
        out.append(np.asarray(total + direct))
        first += 1 + 2 * len(mine)
    return out


def _own_rows(circuit: Any, valves: Sequence[str], rows: NDArray[np.int64]) -> list[int]:
    """Which of ``rows`` are the valves' own or their types': what moves their current at fixed volts."""
    types = {f"type {circuit.amplifier.parts[v].type}" for v in valves}
    return [
        k for k, row in enumerate(rows)
        if circuit.parameters[row].part in valves or any(circuit.parameters[row].name.startswith(f"{t} ") for t in types)
    ]  # fmt: skip
