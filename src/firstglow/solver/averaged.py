"""A rectifier and its reservoir, averaged over the mains cycle with the ripple solved inside.

What it is. Between two joints, ``hot`` and ``return``, stand a reservoir capacitor (with its series resistance) and one or
more LEGS: winding with its open-circuit emf, series ohms, diode(s), all in series from return to hot. Given the dc volts
hot minus return, the element gives the dc current that flows into hot, what the legs draw from their emfs, and every slope.

How. The cycle is cut into cells; in each the current is constant and solves, with the capacitor's own charging inside,
``i = law(e - v - (R + theta h/wC) i ...)``: the charging ohms only add to the leg's ohms, so a cell costs one evaluation of
the series law and nothing is iterated (implicit midpoint rule; ``theta`` moves from 1/2 to 1 where the capacitor is too
small for the step). Two numbers remain unknown, the capacitor's volts as the cycle begins and the mean current; periodicity
and the given mean volts fix them (Newton, a few passes; one when started from the last state).

Beyond the reservoir the load's ripple current is that of a conductance ``drain`` (slope of the load seen from the hot joint
at the ripple frequency: valves' plate conductances, a following R-C section is 1/R, a following choke nearly 0; what a choke
takes off the reservoir at the ripple frequency is a negative capacitance -1/(w^2 L)). An open reservoir is farads 0.

Mains side. THE PULSE DOES NOT SEE A SINE SOURCE: everything it flows through is in ``ohms``, instantaneously: winding, n^2
times (primary + lamp hot + variable transformer), in parallel with the heater load reflected the same way (see
``mains.thevenin``). The element hands back ``in_phase``: the fundamental of each leg's current, rms, in phase with its emf
(watts drawn = emf times in_phase). Other windings see the core's volts less what these fundamentals drop.

Shapes: ``sample`` is the batch, always last; ``leg`` before it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.devices.rectifier import SMALLEST_OHMS, limited, valve_series
from firstglow.devices.semiconductor import junction_series

Array = NDArray[np.float64]

CELLS = 48
"""Cells in a mains cycle: 7.5 degrees each, one of them centred on each crest."""
ROOT2 = 2.0**0.5
PASSES = 60
FREE_PASSES = 12
"""Passes before steps that still go far are shortened: a starved cathode and a missing reservoir can make them alternate."""
_TINY = 1e-300
SETTLED = 1e-11
"""Relative change at which the inner unknowns count as settled."""
SOURCE_SIEMENS = 2e-3
"""Conductance of a source [S] against which a capacitor is too small for a cell's step (2 uF is, 16 uF is not)."""
SMALLEST_DRAIN = 1e-9
"""Conductance that the load shows the ripple at least [S]: with no reservoir and nothing drawing, the volts stay defined."""


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

    legs: each leg, or ONE leg that stands for two equal legs of opposite phase where ``equal`` (centre-tapped winding with
    equal halves, or a bridge: two junctions in series, whole winding), which halves the work.
    """

    legs: tuple[Leg, ...]
    equal: bool = False


@dataclass(frozen=True, slots=True)
class Inputs:
    """What stands around a cell, sample by sample; scalars broadcast.

    volts: hot minus return, dc [V] (sample,). emf: open-circuit volts rms [V] (leg, sample). ohms: all series ohms of the
    pulse's path [ohm] (leg, sample). scale: perveance [A/V^1.5] or slope volts [V] (leg, sample). limit: emission limit of a
    valve leg [A], or start current I0 of a junction leg [A] (leg, sample). farads, esr, drain, hertz: reservoir [F], its series
    resistance [ohm], ripple conductance of the load [S], mains [Hz] (sample,). leak: ohms across the diode [ohm] (leg, sample):
    inf none; 0 is a shorted diode. sense: +1, or -1 for a reversed diode (leg, sample).
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


@dataclass(frozen=True, slots=True)
class Slopes:
    """Derivatives of one (sample,) result: by volts and drain (sample,), by emf, ohms, scale, limit of each leg (leg, sample)."""

    volts: Array
    emf: Array
    ohms: Array
    scale: Array
    limit: Array


@dataclass(frozen=True, slots=True)
class Averaged:
    """What a cell does; every field (sample,) unless said.

    amps: dc current out of the hot joint's side of the legs, into hot [A]. watts: mean power drawn from the legs' emfs [W]:
    over the core volts it is the in-phase fundamental that the primary carries for this cell [A rms]. heating: sum over the legs
    of (emf times rms current)^2 [V^2 A^2]: over the core volts squared, the mean square of the primary's share, harmonics
    included. amps_by, watts_by, heating_by: their slopes. state: (2, sample), hand it back as ``start``. unsettled: size of the
    last change of the state, relative to the emf.
    """

    amps: Array
    watts: Array
    heating: Array
    amps_by: Slopes
    watts_by: Slopes
    heating_by: Slopes
    state: Array
    unsettled: Array


def averaged(cell: Cell, x: Inputs, start: Array | None = None, passes: int = PASSES) -> Averaged:
    """Solve the cycle of a cell for a batch.

    start: a former result's ``state`` (2, sample). passes: at most this many Newton passes of the inner unknowns. With a
    ``start`` one pass is enough inside an outer Newton solution: the results carry the first-order correction of what the inner
    unknowns still miss, so outer and inner settle together (see ``unsettled``).
    """
    p = _prepare(cell, x)
    state = _first_guess(p) if start is None else start
    for done in range(1, passes + 1):
        run = _march(p, state)
        # unknowns (v0, mean current); residuals (periodic, mean volts): 2 x 2 by hand
        a, b, c, d = run.end[1][0], run.end[1][1], run.mean[1][0], run.mean[1][1]
        det = a * d - b * c
        det = np.where(np.abs(det) > _TINY, det, _TINY)
        f, g = run.end[0], run.mean[0]
        step = np.stack([(d * f - b * g), (a * g - c * f)]) / -det
        state = state + (step if done <= FREE_PASSES else step * np.where(unsettled > 0.01, 0.25 + 0.5 * (done % 2), 1.0))
        unsettled = np.abs(step[0]) / p.size + np.abs(step[1]) * p.charge / p.size
        if done == passes or unsettled.max(initial=0.0) < SETTLED:
            break
    return _close(p, run, step, (a, b, c, d, det), state, unsettled)


@dataclass(frozen=True, slots=True)
class _Problem:
    """Inputs broadcast, with what does not change over the cycle worked out."""

    cell: Cell
    volts: Array
    emf: Array
    ohms: Array
    scale: Array
    limit: Array
    leak: Array | None
    sense: Array | None
    esr: Array
    drain: Array
    charge: Array
    theta: Array
    beta: Array
    keep: Array
    size: Array


@dataclass(frozen=True, slots=True)
class _Run:
    """One pass: (value (sample,), slopes (parameter, sample)) of the periodicity and mean residuals and the three results."""

    end: tuple[Array, Array]
    mean: tuple[Array, Array]
    amps: tuple[Array, Array]
    watts: tuple[Array, Array]
    heating: tuple[Array, Array]


def _prepare(cell: Cell, x: Inputs) -> _Problem:
    legs = len(cell.legs)
    shape = np.broadcast_shapes(
        np.shape(x.volts), np.shape(x.farads), np.shape(x.hertz), np.shape(x.esr), np.shape(x.drain), np.shape(x.emf)[1:]
    )
    wide = (legs, *shape)

    def row(values: Array | float) -> Array:
        return np.ascontiguousarray(np.broadcast_to(np.asarray(values, dtype=float), shape))

    def rows(values: Array) -> Array:
        v = np.asarray(values, dtype=float)
        return np.ascontiguousarray(np.broadcast_to(v if v.ndim > 1 or not shape else v.reshape(v.shape + (1,) * (len(wide) - v.ndim)), wide))

    esr, drain = row(x.esr), np.maximum(row(x.drain), SMALLEST_DRAIN)
    emf, ohms = rows(x.emf), np.maximum(rows(x.ohms), SMALLEST_OHMS)
    hold = 2.0 * np.pi * row(x.hertz) * row(x.farads) * (CELLS / (2.0 * np.pi))  # wC/h [S]
    stiff = (drain + SOURCE_SIEMENS) / (hold + _TINY)
    theta = 0.5 + 0.5 * stiff / (stiff + 6.0)
    hold = hold / theta
    beta = 1.0 / (hold + drain)
    return _Problem(
        cell, row(x.volts), emf, ohms, rows(x.scale), rows(x.limit),
        None if x.leak is None else rows(x.leak), None if x.sense is None else rows(x.sense),
        esr, drain, beta, theta, beta, beta * hold, np.abs(emf).max(axis=0) * ROOT2 + np.abs(row(x.volts)) + 1e-3,
    )


def _first_guess(p: _Problem) -> Array:
    """Capacitor at the given mean volts, mean current from the crest's drive through the ohms alone."""
    drive = np.maximum(ROOT2 * np.abs(p.emf) - p.volts, 0.0)
    amps = (0.15 * drive / (p.ohms + 1.0)).sum(axis=0) * (2.0 if p.cell.equal else 1.0)
    return np.stack([p.volts, np.minimum(amps, 0.2 * p.size / p.beta)])


def _series(p: _Problem, leg: int, drive: Array, ohms: Array) -> tuple[Array, Array, Array, Array, Array] | None:
    """Current of a leg and its slopes by drive, ohms, scale and limit; None where no sample conducts."""
    if p.sense is not None:
        drive = p.sense[leg] * drive
    scale, limit, leak = p.scale[leg], p.limit[leg], None if p.leak is None else p.leak[leg]
    if leak is None and not drive.max(initial=0.0) > 0.0:
        return None
    if p.cell.legs[leg].law == "junction":
        i, m = junction_series(drive, ohms, scale, limit)
        by = -m * i, -(np.maximum(drive, 0.0) - ohms * i) / scale * m, (1.0 - ohms * m) * i / limit
    else:
        space, slope = valve_series(drive, ohms, scale)
        i, keep, by_limit = limited(space, limit)
        m = keep * slope
        by = -m * space, (2.0 / 3.0) * (np.maximum(drive, 0.0) - ohms * space) / scale * m, by_limit
    if leak is not None:
        back = 1.0 / (ohms + leak)
        reverse = np.minimum(drive, 0.0) * back
        i, m = i + reverse, m + back * (drive < 0.0)
        by = by[0] - reverse * back, by[1], by[2]
    if p.sense is not None:
        s = p.sense[leg]
        return s * i, m, s * by[0], s * by[1], s * by[2]
    return i, m, *by


def _march(p: _Problem, state: Array) -> _Run:
    """Once through the cycle (half of it where two equal legs alternate), with the slopes of everything."""
    legs, equal = len(p.cell.legs), p.cell.equal
    cells = CELLS // 2 if equal else CELLS
    n = 3 + 4 * legs  # parameters: v0, mean amps, volts, then emf, ohms, scale, limit of each leg
    size = state.shape[1]
    v, amps = state[0].copy(), state[1]
    dv = np.zeros((n, size))
    dv[0] = 1.0
    mean, d_mean = np.zeros(size), np.zeros((n, size))
    out = [(np.zeros(size), np.zeros((n, size))) for _ in range(3)]
    back = 1.0 / p.theta
    for cell in range(cells):
        cosine = float(np.cos(2.0 * np.pi * cell / CELLS - np.pi / 2.0)) * ROOT2
        v_new = p.keep * v + p.beta * (p.drain * p.volts - amps)
        dv_new = p.keep * dv
        dv_new[1] -= p.beta
        dv_new[2] += p.beta * p.drain
        for leg in range(legs):
            wave = p.cell.legs[leg].phase * cosine
            drive = wave * p.emf[leg] - v_new + p.esr * amps
            found = _series(p, leg, drive, p.ohms[leg] + p.esr + p.beta)
            if found is None:
                continue
            i, m, by_ohms, by_scale, by_limit = found
            di = -m * dv_new
            di[1] += m * p.esr
            at = 3 + 4 * leg
            di[at] += m * wave
            di[at + 1] += by_ohms
            di[at + 2] += by_scale
            di[at + 3] += by_limit
            v_new = v_new + p.beta * i
            dv_new = dv_new + p.beta * di
            e = wave * p.emf[leg]
            square = p.emf[leg] ** 2 * i
            for (value, slope), term, gain, by_emf in (
                (out[0], i, 1.0, 0.0),
                (out[1], e * i, e, wave * i),
                (out[2], square * i, 2.0 * square, 2.0 * p.emf[leg] * i * i),
            ):
                value += term
                slope += gain * di
                slope[at] += by_emf
        v_next = v + (v_new - v) * back
        dv_next = dv + (dv_new - dv) * back
        mean += 0.5 * (v + v_next)
        d_mean += 0.5 * (dv + dv_next)
        v, dv = v_next, dv_next
    dv[0] -= 1.0
    d_mean /= cells
    d_mean[2] -= 1.0
    share = 1.0 / cells
    results = [(value * share, slope * share) for value, slope in out]
    return _Run((v - state[0], dv), (mean / cells - p.volts, d_mean), *results)


def _close(p: _Problem, run: _Run, step: Array, jacobian: tuple[Array, ...], state: Array, unsettled: Array) -> Averaged:
    """Implicit function theorem: slopes at fixed parameters plus what the inner unknowns move."""
    a, b, c, d, det = jacobian
    by_end, by_mean = run.end[1][2:], run.mean[1][2:]
    move = np.stack([(d * by_end - b * by_mean), (a * by_mean - c * by_end)]) / -det

    def total(result: tuple[Array, Array]) -> tuple[Array, Slopes]:
        value, slope = result
        whole = slope[2:] + slope[0] * move[0] + slope[1] * move[1]
        legs = whole[1:].reshape(len(p.cell.legs), 4, -1)
        return value + slope[0] * step[0] + slope[1] * step[1], Slopes(whole[0], legs[:, 0], legs[:, 1], legs[:, 2], legs[:, 3])

    (amps, amps_by), (watts, watts_by), (heating, heating_by) = map(total, (run.amps, run.watts, run.heating))
    return Averaged(amps, watts, heating, amps_by, watts_by, heating_by, state, unsettled)
