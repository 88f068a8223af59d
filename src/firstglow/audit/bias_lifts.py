"""Why a bias that held lets go again for a moment while HT rises: plates that rise charge the coupling capacitors, and that current
comes through the grid leaks. And what the output valves do once it is switched off, their cathodes hot.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.role_types import OutputValve
from firstglow.audit.bias_holds import Hottest
from firstglow.solver.slow import Course

Array = NDArray[np.float64]

MOST_OF_IT = 0.8
"""Part of a grid's lift that its coupling capacitor's current makes in the leak, from where on it is told as the cause."""
HALF = 0.5


@dataclass(frozen=True, slots=True)
class Lift:
    """One output valve's bias through a start. first: from when on it first held [s]; begin, end: when it lets go again, to hold
    for good [s]. past: watts of the hottest valve over what it may take at the worst moment, less 1, were all HT there; ht: part
    of its HT that is there then. volts: its grid above what feeds its leak; by, through: coupling capacitor and leak; amps: the
    capacitor's own current, farads times its volts' rise [A]; None where that does not make the lift."""

    first: float
    begin: float
    end: float
    past: float
    ht: float
    volts: float
    by: str | None
    through: str | None
    amps: float | None


def lift(hottest: Hottest, course: Course, k: int) -> Lift | None:
    """Of sample k of a start; None where the bias holds from its first moment on, or never."""
    o, t = hottest.output, course.seconds - course.seconds[0]
    over = hottest.over(course, k)
    bad = over > 0.0
    held = np.flatnonzero(~bad)
    if not held.size or bad[-1]:
        return None
    again = np.flatnonzero(bad[held[0] :]) + held[0]
    if not again.size:
        return None
    worst = int(again[over[again].argmax()])
    ends = [_crossed(t, over, n) for n in (held[0] - 1, again[0] - 1, again[-1])]
    volts = course.dc(o.grid)[:, k] - course.dc(o.bias_joint)[:, k]
    plate = course.dc(o.plate)[:, k]
    by = _charging(hottest, course, k, worst)
    return Lift(
        ends[0], ends[1], ends[2], float(over[worst]), float(plate[worst] / plate[-1]), float(volts[worst]), *by
    )  # fmt: skip


def _crossed(t: Array, over: Array, n: int) -> float:
    """When it passes nothing between two moments, straight [s]."""
    if n < 0:
        return float(t[0])
    share = over[n] / (over[n] - over[n + 1])
    return float(t[n] + share * (t[n + 1] - t[n]))


def _charging(hottest: Hottest, course: Course, k: int, at: int) -> tuple[str | None, str | None, float | None]:
    """The coupling capacitor whose current makes the lift, the leak that it comes through, and that current."""
    o, parts = hottest.output, hottest.circuit.amplifier.parts
    if o.grid_leak is None:
        return None, None, None
    p, column = course.values[int(course.stretch[at])][:, k], hottest.circuit.column
    lifted = float(course.dc(o.grid)[at, k] - course.dc(o.bias_joint)[at, k])
    for name in o.coupling:
        if name not in parts or name not in course.stores.names:
            continue
        farads = float(p[column[f"{name} farads"]])
        amps = farads * float(np.gradient(np.abs(course.across(name)[:, k]), course.seconds)[at])
        if amps * float(p[column[f"{o.grid_leak} ohms"]]) > MOST_OF_IT * lifted > 0.0:
            return name, o.grid_leak, amps
    return None, None, None


@dataclass(frozen=True, slots=True)
class Off:
    """One output valve switched off warm: the most it draws from then on [A] and when [s], what it idled at; when its bias and
    its HT are at half [s], None: not within what was followed, or no bias."""

    valve: str
    most: float
    at: float
    idle: float
    bias_half: float | None
    ht_half: float | None


def switched_off(courses: Sequence[Course], output: OutputValve, fixed: bool) -> Off:
    """From the courses with the plug out, one after the other, of which the first sample counts."""
    t = np.concatenate([c.seconds for c in courses]) - courses[0].seconds[0]
    amps = np.concatenate([c.cathode_amps(output.valve)[:, 0] for c in courses])
    grid, plate = (np.concatenate([c.dc(j)[:, 0] for c in courses]) for j in (output.grid, output.plate))
    after = amps[1:] if len(amps) > 1 else amps
    k = int(after.argmax())
    halves = [_half(t, np.abs(v)) for v in ((grid, plate) if fixed else (plate,))]
    return Off(output.valve, float(after[k]), float(t[1:][k]), float(amps[0]), halves[0] if fixed else None, halves[-1])


def _half(t: Array, size: Array) -> float | None:
    """When it first is at half of what it began with [s]."""
    below = np.flatnonzero(size <= HALF * size[0])
    return float(t[below[0]]) if below.size else None
