"""A rectifier into a choke: the cycle with continuous or broken current, the volts behind the choke held.

Between the rectifier and its first capacitor stands a choke. Below the critical current it runs empty in every half cycle
and the dc volts climb from 0.9 of the rms towards the crest. Cell by cell (implicit midpoint rule, as in ``cycle``) the
leg with the larger emf feeds the choke: to it the choke is wL over the cell's angle, in ohms, that only add to its own, and
a pull below the capacitor's volts by what the choke carries already. In the few cells near the crossing both legs share the
choke: the hot joint's volts are solved for. The unknowns are the choke's current as each cell begins; that each cell ends where
the next begins, and the last where the first does, fixes them (Newton, all cells of a pass at once). From nothing, or where
that does not settle (a starved cathode throws it about), the cycle is walked cell after cell, and the one current at its
beginning sought between bounds.

Inputs, slopes and results are those of ``averaged``; ``volts`` is hot minus return BEHIND the choke where ``choke_ohms`` is
given, before it (mean) where the choke's resistance is a part of its own. farads, esr, drain and dent are not used: the
capacitor behind the choke counts as a battery (its ripple is under a tenth of what the choke takes).
"""

from collections.abc import Sequence
from dataclasses import replace
from math import pi, sin

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.averaged import Averaged, Cell, Inputs, every_way, prepare
from firstglow.solver.cells import CELLS, ROOT2, WAVE, Along, Problem
from firstglow.solver.choke_cells import LEAST, Currents, Role, around

Array = NDArray[np.float64]

PASSES = 60
SETTLED = 1e-8
"""Last change of the current, over what the winding could drive, after which the results' own correction leaves its square."""
SOURCE_OHMS = 200.0
"""Ohms against which a choke is too small for a cell's step (0.1 H is, 2 H is not)."""
SMALLEST_HENRIES = 1e-6
SHARING_STEPS = 40
"""Newton steps of the hot joint's volts where two legs share; halved between bounds where emission bends the law over."""
SHARED = 1e-8
"""Last step of these, as a part of the volts, after which the next would be rounding (Newton's steps square)."""
NEARBY = 0.03
"""Last change of the walked current at the cycle's beginning, over the same, from where all cells at once go on from: a pass of
theirs costs what a few cells of the walk do."""
FREE_PASSES = 12
"""Passes of all cells at once before the cycle is walked instead."""
MISS, VOLTS, FIRST = 0, 1, 2


def choke_input(
    cell: Cell, x: Inputs, henries: Array | float, choke_ohms: Array | float = 0.0, start: Array | None = None,
    passes: int = PASSES, along: Sequence[Along] | None = None, heat: bool = True,
) -> Averaged:  # fmt: skip
    """Solve the cycle of legs into a choke of ``henries`` [H] (sample,).

    start, passes, along, heat and the result: as for ``averaged``. state: the choke's current as each cell begins, then its
    mean [A] (cell + 1, sample).
    """
    return choke_cycle(cell, x, henries, choke_ohms, start, passes, along, heat)[0]


def choke_cycle(
    cell: Cell, x: Inputs, henries: Array | float, choke_ohms: Array | float = 0.0, start: Array | None = None,
    passes: int = PASSES, along: Sequence[Along] | None = None, heat: bool = True, drain: Array | float = 0.0,
) -> tuple[Averaged, Array]:  # fmt: skip
    """``choke_input``, and the volts before the choke that the legs work against in each cell (cell, sample). drain:
    conductance [S] (sample,) that takes its part of the ripple there; what flows in it on average counts with the choke's
    current.
    """
    p = prepare(cell, replace(x, farads=np.ones_like(np.asarray(x.volts, dtype=float)), esr=0.0, dent=None))
    ways = every_way(p.emf.shape) if along is None else along
    inertia = CELLS * np.asarray(x.hertz, dtype=float) * np.maximum(henries, SMALLEST_HENRIES)  # wL over a cell [ohm]
    stiff = SOURCE_OHMS / inertia
    theta = 0.5 + 0.5 * stiff / (stiff + 6.0) if p.sense is None and p.leak is None else np.ones_like(stiff)
    # beside the choke a drain takes its part: the joint moves less, and the choke with it
    ohms = np.asarray(choke_ohms, dtype=float)
    beside = np.asarray(drain, dtype=float)
    slack = 1.0 / (1.0 + beside * (inertia / theta + ohms))
    kept = slack + (1.0 - slack) * ohms / (inertia / theta + ohms)
    empty = inertia / (1.0 + beside * (inertia + ohms))
    choke = _Choke(p, slack * inertia / theta, slack * ohms, slack / theta, kept / theta, (empty, beside * empty), ways)
    size = np.abs(p.emf).max(axis=0) * ROOT2 / (inertia + p.ohms.min(axis=0)) + 1e-6
    trace = choke.walked(np.zeros_like(p.volts), size, passes, NEARBY) if start is None else np.array(start[: p.cells])
    for done in range(1, min(passes, FREE_PASSES) + 1):
        moved = choke.chain(trace)
        unsettled = np.abs(moved[:, MISS]).max(axis=0) / size
        if done == passes or unsettled.max(initial=0.0) < SETTLED:
            break
        trace = trace + moved[:, MISS]
    else:
        first = trace[0] + moved[0, MISS]
        walked = choke.walked(np.where(np.isfinite(first), first, 0.0), size, passes, SETTLED)
        trace = np.where(unsettled < SETTLED, trace, walked)
        moved = choke.chain(trace)
        unsettled = np.abs(moved[:, MISS]).max(axis=0) / size
    ends = trace + moved[:, MISS]
    (amps, d_amps), (in_phase, d_in_phase), (square, d_square) = choke.results(moved, heat)
    carried = np.maximum(ends, 0.0) if choke.cuts_off else ends
    state = np.concatenate([carried, (amps.sum(axis=0) * (2.0 if cell.equal else 1.0))[None]])
    found = Averaged(cell, p.emf, amps, in_phase, square, d_amps, d_in_phase, d_square, state, unsettled)
    return found, choke.joint


class _Choke:
    """The cells of a period. inertia: wL over a cell's angle and theta [ohm]. back: 1/theta; both times what a drain before the
    choke leaves. lose: what the choke's own current counts in a cell, ``back`` unless a drain lies before its ohms. idle: the
    same two where a cell ends what the one before has overrun.

    A cell's rule runs past the moment at which the choke is empty; the next cell, in which nobody conducts, brings the current
    back to nothing with the volts that takes, so that the joint's mean stays what it is. (Cut off at nothing instead, the mean
    was up to 0.7 % of itself too low.)

    With equal legs the half cycle is theirs in turn, and the leg modelled stands for the pair: near the crossing both
    conduct, and what the other one takes is this one's at the other end of the half cycle.
    """

    def __init__(
        self, p: Problem, inertia: Array, ohms: Array, back: Array, lose: Array, idle: tuple[Array, Array],
        along: Sequence[Along],
    ) -> None:  # fmt: skip
        self.equal = p.cells < CELLS
        if self.equal:
            p = replace(
                p, phase=(p.phase[0], -p.phase[0]), junction=p.junction * 2,
                emf=_twice(p.emf), ohms=_twice(p.ohms), scale=_twice(p.scale), limit=_twice(p.limit),
                leak=None if p.leak is None else _twice(p.leak), sense=None if p.sense is None else _twice(p.sense),
            )  # fmt: skip
        self.beta, self.ways = np.zeros_like(p.volts) + inertia + ohms, len(along)
        self.p = p = replace(p, beta=self.beta)
        self.inertia, self.back, self.lose, self.idle = inertia, back, lose, idle
        self.cuts_off = p.sense is None and p.leak is None
        # the leg with the larger emf first; in the cell of the crossing the one that conducts already
        angle = np.array([sin(2.0 * pi * (cell - 0.01) / CELLS) for cell in range(p.cells)])
        self.turns = np.argsort(-np.array(p.phase)[:, None] * angle, axis=0, kind="stable")  # (role, cell)
        self.roles = [Role.of(p, legs, along, self.equal) for legs in self.turns]
        self.flows: list[Currents] = []
        self.joint = np.zeros((p.cells, *p.volts.shape))

    def chain(self, trace: Array) -> Array:
        """From the choke's current as each cell begins (cell, sample): what makes good that a cell does not end where the next
        begins, to the first order, and how the currents move with volts and each way (cell, MISS VOLTS ways, sample)."""
        self.flows = self._flows(self.roles, self.p.volts - self.inertia * trace)
        by_empty, after, slope, self.joint, over = self._after(trace, self.flows)
        rows = np.empty((FIRST + self.ways, *trace.shape))
        rows[VOLTS] = self.back * by_empty
        for k in range(self.ways):
            rows[FIRST + k] = self.back * sum(f.by_ways[k] for f in self.flows)
        rows[:, over] = 0.0
        rows[MISS] = after - np.roll(trace, -1, axis=0)
        return around(slope, rows)

    def walked(self, amps: Array, size: Array, passes: int, near: float) -> Array:
        """The choke's current as each cell begins (cell, sample), by the current at the beginning alone, from ``amps`` (sample,),
        until that changes by no more than ``near`` of ``size``."""
        cells = [[role.cell(c) for role in self.roles] for c in range(self.p.cells)]
        low, high, far = np.full_like(amps, -np.inf), np.full_like(amps, np.inf), np.ones_like(amps, dtype=bool)
        for done in range(1, passes + 1):
            trace, gain = [amps], np.ones_like(amps)
            for roles in cells:
                now = trace[-1][None]
                _, after, slope, _, _ = self._after(now, self._flows(roles, self.p.volts - self.inertia * now))
                trace.append(after[0])
                gain = gain * slope[0]
            miss = trace[-1] - amps
            old, amps = amps, amps + miss / np.where(1.0 - gain > LEAST, 1.0 - gain, LEAST)
            # the choke ends higher than it began below the answer, lower above it: a starved cathode cannot throw it about
            low, high = np.where(miss > 0.0, old, low), np.where(miss < 0.0, old, high)
            between = (
                np.isfinite(low) & np.isfinite(high) & ((amps < low) | (amps > high) | (far & (done > FREE_PASSES)))
            )
            amps = np.where(between, 0.5 * (np.where(between, low, 0.0) + np.where(between, high, 0.0)), amps)
            far = np.abs(amps - old) > near * size
            if not far.any():
                break
        return np.array(trace[:-1])

    def _after(self, trace: Array, flows: list[Currents]) -> tuple[Array, Array, Array, Array, NDArray[np.bool_]]:
        """From the current as cells begin (cell, sample): what flows in them by what stands there if nobody conducts, the current
        as they end, its slope by the one as they began, the joint's volts, and which only end what was overrun."""
        none = np.zeros(trace.shape)
        node, by_empty = sum((f.amps for f in flows), none), sum((f.by_empty for f in flows), none)
        after = trace * (1.0 - self.lose) + self.back * node
        slope = 1.0 - self.lose - self.back * self.inertia * by_empty
        joint = self.p.volts - self.inertia * trace + self.beta * node
        over = (trace < 0.0) & (node <= 0.0) & self.cuts_off
        if over.any():
            after, slope = np.where(over, self.idle[1] * trace, after), np.where(over, self.idle[1], slope)
            joint = np.where(over, self.p.volts - self.idle[0] * trace, joint)
        return by_empty, after, slope, joint, over

    def _flows(self, roles: list[Role], empty: Array) -> list[Currents]:
        """Of each role in these cells; ``empty``: the hot joint's volts if nobody conducted. One works against what those before
        it have made of the joint."""
        ways = range(len(roles[0].moved))
        against, by_empty, by_ways = empty, np.ones_like(empty), [np.zeros_like(empty) for _ in ways]
        out: list[Currents] = []
        both = np.zeros(empty.shape, dtype=bool)
        alone = empty
        for n, role in enumerate(roles):
            drive = role.drive - against
            if n and self.cuts_off:
                none = np.zeros_like(empty)
                now = Currents(none, np.array(none), [np.array(none) for _ in ways])
            else:
                found = role.law(drive)
                sources = role.ways(found)
                now = Currents(
                    found[0], -found[1] * by_empty, [s - found[1] * w for s, w in zip(sources, by_ways, strict=True)]
                )
            out.append(now)
            both |= (drive > 0.0) & (n > 0)
            against, by_empty = against + self.beta * now.amps, by_empty + self.beta * now.by_empty
            by_ways = [w + self.beta * s for w, s in zip(by_ways, now.by_ways, strict=True)]
            alone = against if n == 0 else alone
        if both.any():
            self._share(roles, np.nonzero(both), empty, alone, out)
        return out

    def _share(
        self, roles: list[Role], at: tuple[NDArray[np.int64], ...], empty: Array, alone: Array, out: list[Currents]
    ) -> None:
        """Into ``out``, in cells where more than one leg conducts: the hot joint's volts solved for, from those of the first one
        ``alone``."""
        legs = Role.together(roles, at)
        siemens = 1.0 / np.broadcast_to(self.beta, empty.shape)[at]
        e, u = empty[at], alone[at]
        low, high = u, np.maximum(u, legs.drive.max(axis=0))
        for _ in range(SHARING_STEPS):
            amps, slope = legs.flow(legs.drive - u)
            miss = siemens * (e - u) + amps.sum(axis=0)
            low, high = np.where(miss > 0.0, u, low), np.where(miss < 0.0, u, high)
            old, u = u, u + miss / (siemens + slope.sum(axis=0))
            near = np.asarray(np.abs(u - old) < SHARED * (1.0 + np.abs(old)), dtype=bool)
            # back on a bound is round in a circle: one leg conducts on this side of it alone
            u = np.where(near | ((u > low) & (u < high)), u, 0.5 * (low + high))
            if near.all():
                break
        found = legs.law(legs.drive - u)
        sources = legs.ways(found)
        whole = siemens + found[1].sum(axis=0)
        moved = [source.sum(axis=0) / whole for source in sources]
        for n, role in enumerate(out):
            role.amps[at], role.by_empty[at] = found[0][n], -found[1][n] * siemens / whole
            for way, source, m in zip(role.by_ways, sources, moved, strict=True):
                way[at] = source[n] - found[1][n] * m

    def results(self, moved: Array, heat: bool) -> list[tuple[Array, Array]]:
        """Of each result its mean over the cycle (leg, sample) and slopes by volts and ways (leg, cause, sample), what ``moved``
        (see ``chain``) makes good in it."""
        d_empty = -self.inertia * moved
        d_empty[:, VOLTS] += 1.0
        amps = np.array([f.amps for f in self.flows])  # (role, cell, sample)
        slopes = np.array([f.by_empty[:, None] * d_empty for f in self.flows])  # (role, cell, row, sample)
        for n, f in enumerate(self.flows):
            for k, way in enumerate(f.by_ways):
                slopes[n, :, FIRST + k] += way
        cells = np.arange(self.p.cells)
        of = np.argsort(self.turns, axis=0)  # (leg, cell): which role it has
        amps, slopes = amps[of, cells], slopes[of, cells]
        wave = (np.array(self.p.phase)[:, None] * WAVE[: self.p.cells])[..., None]
        out = []
        for value, gain in ((amps, np.ones_like(wave)), (wave * amps, wave), (amps * amps, 2.0 * amps)):
            mean, by = self._mean(value), self._mean(gain[:, :, None] * slopes)
            out.append((mean + by[:, MISS], by[:, VOLTS:]))
        if not heat:
            out[2] = np.zeros_like(out[2][0]), np.zeros_like(out[2][1])
        return out

    def _mean(self, values: Array) -> Array:
        """Over the cycle, of (leg, cell, ..., sample). The pair's currents in one half cycle are one leg's own over the whole."""
        mean = values.sum(axis=1) / self.p.cells
        return np.asarray(0.5 * mean.sum(axis=0, keepdims=True) if self.equal else mean)


def _twice(rows: Array) -> Array:
    """The one leg's row for both of a pair."""
    return np.repeat(rows, 2, axis=0)
