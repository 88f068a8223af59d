"""A rectifier and its reservoir, averaged over the mains cycle with the ripple solved inside.

What it is. Between two joints, ``hot`` and ``return``, stand a reservoir capacitor (with its series resistance) and one or
more LEGS: winding with its open-circuit emf, series ohms, diode(s), all in series from return to hot. Given the dc volts
hot minus return, the element gives the dc current into hot, what the legs draw from their emfs, and every slope asked for.

How. ``cycle.sweep`` takes a Newton step of the capacitor's volts round the cycle and of the mean current, which
periodicity and the given mean volts fix: a few passes from nothing, ONE from the last state inside an outer Newton
solution. The slopes follow by the implicit function theorem.

The load beyond the reservoir takes its mean current plus ``drain`` siemens times the ripple: plate conductances, 1/R of a
following R-C section, 0 of a following choke (what a choke takes at the ripple frequency w is -1/(w^2 L) farads). An open
reservoir is 0 farads: the current is then the load's own, the average of the rectified wave into its resistance.

Mains side. THE PULSE DOES NOT SEE A SINE SOURCE. Everything it flows through belongs in ``ohms``, instantaneously: winding
+ n^2 (primary + hot lamp + variable transformer, in parallel with the sine loads of the other windings, heaters above all).
``emf`` is the open-circuit volts behind those ohms. Back comes ``in_phase``, the part of each leg's fundamental that is in
phase with its emf: other windings see the core's volts less what these fundamentals drop. Where another rectifier's pulses
dent the crest that this one lives on (a bias winding beside an HT winding), hand their ``departure`` in as ``dent``.

Other circuits. Bridge: two junctions in series, the whole winding, both phases. Voltage doubler: two half-wave cells, one a
capacitor. Cascade doubler: the second cell's return is the first capacitor's far end, its reservoir both in series. Reversed
diode: ``sense`` -1. Open leg: ohms 1e9. Shorted diode: leak 0 ohms. Bias through a capacitor from one leg: ``pump``.

Shapes: the batch (``sample``) is always last, ``leg`` before it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache, cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.devices.rectifier import SMALLEST_OHMS
from firstglow.solver.cells import CELLS, FIRST, MEAN, MISS, ROOT2, START, Along, Problem
from firstglow.solver.compiled import cycle as compiled
from firstglow.solver.compiled.cycle import Moves
from firstglow.solver.cycle import Sweep, advance, carried, sweep

Array = NDArray[np.float64]

PASSES = 60
FREE_PASSES = 12
"""Passes before steps that still go far are shortened: a starved cathode and a missing reservoir can make them alternate."""
SETTLED = 1e-11
"""Change of the inner unknowns, as a fraction of the emf, at which they count as settled."""
SOURCE_SIEMENS = 2e-3
"""Conductance of a source [S] against which a capacitor is too small for a cell's step (2 uF is, 16 uF is not)."""
PUMP_SIEMENS = 1e-2
"""Of what charges a pump [S]: one with less than this in a cell follows its source within the cell."""
SMALLEST_DRAIN = 1e-9
"""Conductance that the load shows the ripple at least [S]: with no reservoir and nothing drawing, the volts stay defined."""
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Leg:
    """One leg's structure.

    phase: +1 or -1, the sign of the winding's emf at its diode's anode as the primary's dotted end is positive.
    law: "valve" (scale is perveance A/V^1.5) or "junction" (scale is the slope volts of all junctions in series).
    """

    phase: int
    law: str = "valve"


@dataclass(frozen=True, slots=True)
class Cell:
    """The legs that feed one reservoir.

    legs: each leg; or ONE leg that stands for two equal legs of opposite phase where ``equal`` (centre-tapped winding with
    equal halves, bridge), which halves the work; right as long as the reservoir never swings below 0 V.
    pumped: the one leg works on a pump capacitor, which another rectifier empties in the other half cycle (``Problem.ramp``).
    """

    legs: tuple[Leg, ...]
    equal: bool = False
    pumped: bool = False


@dataclass(frozen=True, slots=True)
class Inputs:
    """What stands around a cell, sample by sample; scalars broadcast.

    volts: hot minus return, dc [V] (sample,). emf: open-circuit volts rms [V] (leg, sample), not negative. ohms: all series
    ohms of the pulse's path, junctions' own included [ohm] (leg, sample). scale: perveance [A/V^1.5] or slope volts [V]
    (leg, sample). limit: emission limit of a valve leg, or start current I0 of a junction leg [A] (leg, sample).
    farads, hertz, esr, drain: reservoir [F], mains [Hz], reservoir's series resistance [ohm], ripple conductance of the load
    [S] (sample,). leak: ohms across the diode in reverse [ohm] (leg, sample), inf none, 0 a shorted diode. sense: +1, or -1
    for a reversed diode (leg, sample). dent: by how much the core's volts fall short of their fundamental, over its rms
    (CELLS, sample); see ``departure``. at_once: samples whose legs conduct at the same moments and are solved together
    (sample,), None for none; there ``mutual`` are the ohms by which one leg's current works against another in windings and
    mains side that both share, negative where their phases oppose (leg, leg, sample), the diagonal not used. henries: of a
    choke whose current is the load where there is no reservoir, 0 where there is one (sample,), None for none, and
    choke_ohms its resistance; see ``bare``.
    """

    volts: Array
    emf: Array
    ohms: Array
    scale: Array
    limit: Array
    farads: Array
    hertz: Array | float
    esr: Array | float = 0.0
    drain: Array | float = 0.0
    leak: Array | None = None
    sense: Array | None = None
    dent: Array | None = None
    at_once: NDArray[np.bool_] | None = None
    mutual: Array | None = None
    henries: Array | None = None
    choke_ohms: Array | float = 0.0


@dataclass(frozen=True, slots=True)
class Slopes:
    """Derivatives of one (sample,) result: by volts (sample,), by emf, ohms, scale and limit of each leg (leg, sample)."""

    volts: Array
    emf: Array
    ohms: Array
    scale: Array
    limit: Array


@dataclass(frozen=True, slots=True)
class Carry:
    """What the last pass knew of how the cycle goes with what stands around it. move: start volts and mean current by volts,
    then by each way (2, cause, sample)."""

    problem: Problem
    run: Sweep
    move: Array

    def state(self, state: Array, volts: Array, ways: Array) -> Array:
        """The settled ``state`` moved along with ``volts`` (sample,) and ``ways`` (way, sample): right to the first order."""
        step = self.move[:, 0] * volts + (self.move[:, 1:] * ways).sum(axis=1)
        return carried(self.problem, state, self.run, step, volts, ways)


@dataclass(frozen=True)
class Averaged:
    """What a cell does.

    For EACH leg (leg, sample), where a leg stands for two equal ones for one of them: each_amps its dc current [A];
    each_in_phase the part of its fundamental in phase with its emf [A rms]; each_square its mean square current [A^2].
    d_amps, d_in_phase, d_square: their slopes (leg, cause, sample); cause 0 is volts, then those asked for with ``along``, or
    without it emf of every leg, ohms of every leg, scale ..., limit ....
    state: capacitor volts as each cell begins, then the mean current (cell + 1, sample); hand it back as ``start``.
    unsettled: the last change of its volts over the emf (sample,).
    cross, d_cross: where legs are solved together, mean product of the currents of two different legs [A^2]
    (leg, leg, sample) and its slopes (leg, leg, cause, sample); else None.
    carry: to move ``state`` along with small moves of what stands around, None where it was put together of several.
    """

    cell: Cell
    emf: Array
    each_amps: Array
    each_in_phase: Array
    each_square: Array
    d_amps: Array
    d_in_phase: Array
    d_square: Array
    state: Array
    unsettled: Array
    cross: Array | None = None
    d_cross: Array | None = None
    carry: Carry | Moves | None = None

    @property
    def stands_for(self) -> float:
        """How many legs one row stands for."""
        return 2.0 if self.cell.equal else 1.0

    @cached_property
    def amps(self) -> Array:
        """Dc current of all legs together into hot [A] (sample,)."""
        return np.asarray(self.stands_for * self.each_amps.sum(axis=0))

    @cached_property
    def watts(self) -> Array:
        """Power drawn from the emfs [W] (sample,): over the core volts, the primary's in-phase fundamental [A rms]."""
        return np.asarray(self.stands_for * (self.emf * self.each_in_phase).sum(axis=0))

    @cached_property
    def heating(self) -> Array:
        """Sum over all legs of (emf times rms current)^2 [V^2 A^2] (sample,): over the core volts squared, the mean square of
        the primary's share, harmonics included."""
        return np.asarray(self.stands_for * (self.emf**2 * self.each_square).sum(axis=0))

    @cached_property
    def amps_by(self) -> Slopes:
        """Slopes of ``amps``; without ``along`` only, like the next two."""
        return self._slopes(self.d_amps.sum(axis=0), None)

    @cached_property
    def watts_by(self) -> Slopes:
        """Slopes of ``watts``."""
        return self._slopes((self.emf[:, None] * self.d_in_phase).sum(axis=0), self.each_in_phase)

    @cached_property
    def heating_by(self) -> Slopes:
        """Slopes of ``heating``."""
        return self._slopes((self.emf[:, None] ** 2 * self.d_square).sum(axis=0), 2.0 * self.emf * self.each_square)

    def _slopes(self, total: Array, by_emf: Array | None) -> Slopes:
        n = len(self.emf)
        if len(total) != 1 + 4 * n:
            raise ValueError("slopes by every leg's inputs need averaged() without along")
        rows = self.stands_for * total[1:].reshape(4, n, -1)
        if by_emf is not None:
            rows[0] += self.stands_for * by_emf
        return Slopes(self.stands_for * total[0], rows[0], rows[1], rows[2], rows[3])


def averaged(
    cell: Cell, x: Inputs, start: Array | None = None, passes: int = PASSES,
    along: Sequence[Along] | None = None, heat: bool = True,
) -> Averaged:  # fmt: skip
    """Solve the cycle of a cell for a batch.

    start: a former result's ``state``. passes: at most this many Newton passes of the inner unknowns. With a
    ``start`` one pass is enough inside an outer Newton solution: the results carry the first-order correction of what the
    inner unknowns still miss, so outer and inner settle together (watch ``unsettled``).
    along: directions in which slopes are wanted, besides volts; None: emf, ohms, scale and limit of every leg apart.
    heat: False leaves out the mean squares (zeros), when no lamp asks for them.
    """
    _keep_memory()
    if x.at_once is not None and not x.at_once.all():
        return apart(
            cell, x, x.at_once, start, along, lambda here, s, ways: averaged(cell, here, s, passes, ways, heat)
        )
    p = prepare(cell, x)
    ways = every_way(p.emf.shape) if along is None else along
    state = _first_guess(p) if start is None else start
    if compiled.serves(p):
        ran = compiled.run(p, state, passes, ways, heat)
        return _results(cell, p, ran.values, ran.slopes, ran.state, ran.unsettled, Moves(ran.carry))
    unsettled = np.full(p.volts.shape, np.inf)
    size = np.abs(p.emf).max(axis=0) * ROOT2 + np.abs(p.volts) + 1e-3
    for done in range(1, passes + 1):
        # only the last pass needs the caller's slopes; which one that is shows once the steps are small
        last = done == passes or unsettled.max(initial=0.0) < 1e-4
        run = sweep(p, state, ways if last else (), heat and last)
        step = _solve(run, run.end[MISS], run.mean[MISS])
        old, state = state, advance(p, state, run, step)
        if done > FREE_PASSES:
            state = old + (state - old) * np.where(unsettled > 0.01, 0.25 + 0.5 * (done % 2), 1.0)
        moved = [np.abs(state[s.first : s.last] - old[s.first : s.last]).max(axis=0) for s in run.stretches]
        unsettled = sum(moved, np.abs(step[0]) + np.abs(step[1]) * p.beta) / size
        if done == passes or (last and unsettled.max(initial=0.0) < SETTLED):
            break
    return _close(cell, p, run, step, state, unsettled)


def apart(
    cell: Cell, x: Inputs, these: NDArray[np.bool_], start: Array | None, along: Sequence[Along] | None,
    solve: Callable[[Inputs, Array | None, Sequence[Along] | None], Averaged],
) -> Averaged:  # fmt: skip
    """Some samples that are solved in one way (``these``), some in another: each kind by itself."""
    merged: dict[str, Any] = {}
    for which in (~these, these):
        here = columns(x, which)
        ways = None if along is None else [replace(way, **_some(way, which)) for way in along]
        found = solve(here, None if start is None else start[:, which], ways)
        for name in (f.name for f in fields(Averaged) if f.name not in {"cell", "carry"}):
            value = getattr(found, name)
            if value is not None:
                merged.setdefault(name, np.zeros((*value.shape[:-1], len(which))))[..., which] = value
    return Averaged(cell, **merged)


def columns(x: Inputs, which: NDArray[np.bool_]) -> Inputs:
    """Some samples of a batch's inputs; where none of them has its legs solved together, or a choke in the reservoir's place,
    it says so."""
    here = replace(x, **_some(x, which))
    if here.henries is not None and not here.henries.any():
        here = replace(here, henries=None)
    return here if here.at_once is None or here.at_once.any() else replace(here, at_once=None, mutual=None)


def _some(x: Inputs | Along, which: NDArray[np.bool_]) -> dict[str, Any]:
    """Those fields that have a value for each sample, some samples of them."""
    found = {f.name: getattr(x, f.name) for f in fields(x)}
    return {name: v[..., which] for name, v in found.items() if np.ndim(v) and np.shape(v)[-1] == len(which)}


@cache
def _keep_memory() -> None:
    """Once a process: free one large block, so that the C library keeps what the passes allocate and free over and over
    (glibc raises its mmap and trim thresholds to the largest block freed; mallopt(3)). Page faults were a third of the time."""
    np.empty(3_500_000)


def every_way(shape: tuple[int, ...]) -> tuple[Along, ...]:
    """Each input of each leg on its own: emf of every leg, then ohms, scale, limit."""
    legs = shape[0]
    one = [np.zeros(shape) for _ in range(legs)]
    for k, rows in enumerate(one):
        rows[k] = 1.0
    return tuple(Along(**{name: rows}) for name in ("emf", "ohms", "scale", "limit") for rows in one)


def prepare(cell: Cell, x: Inputs) -> Problem:
    """Broadcast the inputs and work out what does not change over the cycle."""
    shape = np.broadcast_shapes(
        *(np.shape(a) for a in (x.volts, x.farads, x.hertz, x.esr, x.drain)), np.shape(x.emf)[1:]
    )

    def row(values: Array | float) -> Array:
        return _fit(values, shape)

    def rows(values: Array) -> Array:
        v = np.asarray(values, dtype=float)
        return _fit(v.reshape(v.shape + (1,) * (1 + len(shape) - v.ndim)), (len(cell.legs), *shape))

    esr = None if np.ndim(x.esr) == 0 and x.esr == 0.0 else row(x.esr)
    ohms = rows(x.ohms) if esr is None else rows(x.ohms) + esr
    drain = np.maximum(row(x.drain), SMALLEST_DRAIN)
    hold = CELLS * row(x.hertz) * row(x.farads)  # w C over a cell's angle [S]
    stiff = (drain + SOURCE_SIEMENS) / (hold + _TINY)
    theta = 0.5 + 0.5 * stiff / (stiff + 6.0)
    if cell.pumped:  # a pump of a microfarad follows its source within a cell: no step beyond the crest
        quick = PUMP_SIEMENS / (hold + _TINY)
        theta = 0.5 + 0.5 * quick**2 / (quick**2 + 1.0)
    hold = hold / theta
    beta = 1.0 / (hold + drain)
    ramp, drop = None, 0
    if cell.pumped:
        drop = (
            3 * CELLS // 4 if cell.legs[0].phase > 0 else CELLS // 4
        )  # the crest of the other one: nothing flows here
        cells = ((np.arange(CELLS) - drop) % CELLS).reshape(-1, *(1,) * len(shape))
        ramp = ((cells + theta) / CELLS - 0.5) / (row(x.hertz) * row(x.farads))
    return Problem(
        tuple(leg.phase for leg in cell.legs), tuple(leg.law == "junction" for leg in cell.legs),
        CELLS // 2 if cell.equal else CELLS,
        row(x.volts), rows(x.emf), np.maximum(ohms, SMALLEST_OHMS), rows(x.scale), rows(x.limit),
        None if x.leak is None else rows(x.leak), None if x.sense is None else rows(x.sense), x.dent,
        esr, drain, beta * hold, beta, 1.0 / theta, None if x.at_once is None else x.mutual, ramp, drop,
    )  # fmt: skip


def _fit(values: Array | float, shape: tuple[int, ...]) -> Array:
    v = np.asarray(values, dtype=float)
    return v if v.shape == shape else np.broadcast_to(v, shape)


def _first_guess(p: Problem) -> Array:
    """Capacitor at the given mean volts, mean current from the crest's drive through the ohms alone."""
    size = np.abs(p.emf).max(axis=0) * ROOT2 + np.abs(p.volts) + 1e-3
    drive = np.maximum(ROOT2 * np.abs(p.emf) - p.volts, 0.0)
    amps = (0.15 * drive / (p.ohms + 1.0)).sum(axis=0) * (2.0 if p.cells < CELLS else 1.0)
    return np.concatenate([np.tile(p.volts, (p.cells, 1)), np.minimum(amps, 0.2 * size / p.beta)[None]])


def _solve(run: Sweep, end: Array, mean: Array) -> Array:
    """What the start volts and the mean current move by to make up for (end, mean): (2, ...)."""
    a, b, c, d = run.end[START], run.end[MEAN], run.mean[START], run.mean[MEAN]
    det = a * d - b * c
    inverse = -1.0 / np.where(np.abs(det) > _TINY, det, _TINY)
    return np.stack([(d * end - b * mean) * inverse, (a * mean - c * end) * inverse])


def _close(cell: Cell, p: Problem, run: Sweep, step: Array, state: Array, unsettled: Array) -> Averaged:
    """Implicit function theorem: slopes at fixed inner unknowns plus what these move."""
    # mean volts act on the cycle as -drain amperes of mean current, and on their own residual
    end = np.concatenate([[-p.drain * run.end[MEAN]], run.end[FIRST:]])
    mean_of_volts = run.mean[MEAN] if p.esr is None else run.mean[MEAN] - p.esr
    mean = np.concatenate([[-p.drain * mean_of_volts - 1.0], run.mean[FIRST:]])
    move = _solve(run, end, mean)

    def closed(value: Array, slope: Array) -> tuple[Array, Array]:
        """A result (..., sample) and its slopes (..., cause, sample) from its rows (..., way, sample)."""
        by_v, by_amps = slope[..., START, None, :], slope[..., MEAN, None, :]
        rows = np.concatenate([-p.drain * by_amps, slope[..., FIRST:, :]], axis=-2)
        rows += by_v * move[0]
        rows += by_amps * move[1]
        return value + slope[..., MISS, :] + slope[..., START, :] * step[0] + slope[..., MEAN, :] * step[1], rows

    values, rows = closed(run.values, run.slopes)
    found = _results(cell, p, values, rows, state, unsettled, Carry(p, run, move))
    if run.cross is None or run.d_cross is None:
        return found
    cross, d_cross = closed(run.cross, run.d_cross)
    return replace(found, cross=cross, d_cross=d_cross)


def _results(
    cell: Cell, p: Problem, values: Array, rows: Array, state: Array, unsettled: Array, carry: Carry | Moves
) -> Averaged:
    """values (result, leg, sample) and their slopes, the mean squares left out or not."""
    square, d_square = (values[2], rows[2]) if len(values) > 2 else (np.zeros_like(values[0]), np.zeros_like(rows[0]))
    return Averaged(
        cell, p.emf, values[0], values[1], square, rows[0], rows[1], d_square, state, unsettled, carry=carry
    )
