"""When the bias is there at a cold start, against HT and the output valves' current: slow time, several networks together."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.situation import Situation
from firstglow.audit.bias_found import Found
from firstglow.audit.bias_trial import Column, Trial
from firstglow.audit.cold_start import TENTH, THERE
from firstglow.solver.slow import Course, Slow, Stretch

Array = NDArray[np.float64]

SECONDS, STRETCH = 36.0, 12.0
"""How long a cold start is followed at most, and in what pieces it is looked at [s]."""
COARSE = 4e-3
"""Error let pass in a step: only moments are wanted (example a: 0.528 s for 0.535 s, 9.706 s for 9.709 s of steps 40 times
finer; a third fewer solutions than the default)."""
HALF = 0.5
"""Part of its warm volts from which on HT is said to be there."""


@dataclass(frozen=True, slots=True)
class Ready:
    """A cold start on the highest mains. bias: when every output grid has nine tenths of what it runs on [s]; ht: when HT
    has half of its warm volts [s]; current: when the first output valve draws a tenth of its idle [s]; None: never. lifted: a grid
    that had its nine tenths loses them again for a while before the current."""

    bias: float | None
    ht: float | None
    current: float | None
    lifted: bool = False

    @property
    def before_ht(self) -> float | None:
        """Seconds by which the bias leads HT; negative: HT first."""
        return None if self.bias is None or self.ht is None else self.ht - self.bias

    @property
    def before_current(self) -> float | None:
        """Seconds by which the bias leads the output valves' current; negative: current first."""
        return None if self.bias is None or self.current is None else self.current - self.bias


def ready(trial: Trial, found: Sequence[Found]) -> list[Ready]:
    """Bias, HT and current at a cold start on the highest mains, presets where the valves idle on nominal mains."""
    stands = [Column(k, Situation(trial.mains[-1], pots=f.positions)) for k, f in enumerate(found)]
    on = trial.laid([f.design for f in found], stands)
    slow = Slow(trial.circuit, tolerance=COARSE)
    course: Course | None = None
    seconds: list[Array] = []
    came: dict[str, list[Array]] = {}
    goals = _goals(trial, found)
    while sum(len(t) for t in seconds) == 0 or seconds[-1][-1] < SECONDS:
        course = slow.run([Stretch(STRETCH, on)], course.end if course else None)
        first = 1 if seconds else 0  # a course begins where the last one ended
        seconds.append(course.seconds[first:])
        for key, (of, goal) in goals.items():
            came.setdefault(key, []).append((of(course) - goal)[first:])
        if all((np.concatenate(x) >= 0.0).any(axis=0).all() for x in came.values()):
            break
    t = np.concatenate(seconds)
    over = {key: np.concatenate(x) for key, x in came.items()}
    grids, currents = ([x for key, x in over.items() if key.startswith(word)] for word in ("bias", "current"))
    return [
        Ready(
            _last([crossed(t, g[:, k]) for g in grids]), crossed(t, over["ht"][:, k]),
            min((c for g in currents if (c := crossed(t, g[:, k])) is not None), default=None),
            any(_lost(g[:, k]) for g in grids),
        )
        for k in range(len(found))
    ]  # fmt: skip


def _lost(over: Array) -> bool:
    """Does it fall under its goal again after it had reached it?"""
    reached = np.flatnonzero(over >= 0.0)
    return bool(reached.size and (over[reached[0] :] < 0.0).any())


def _goals(trial: Trial, found: Sequence[Found]) -> dict[str, tuple[Callable[[Any], Array], Array]]:
    """What is waited for: how to see it in a course (moment, sample), and from where it counts (sample,)."""
    out: dict[str, tuple[Callable[[Any], Array], Array]] = {}
    plate = trial.outputs[0].plate
    out["ht"] = (lambda c: np.asarray(c.dc(plate)), HALF * np.array([f.high[plate] for f in found]))
    for o in trial.outputs:
        settled = np.array([f.high[o.grid] for f in found])
        out[f"bias {o.valve}"] = (partial(_size, o.grid), -THERE * settled)
        idle = np.array([f.idle[o.valve].high for f in found])
        out[f"current {o.valve}"] = (partial(_amps, o.valve), TENTH * idle)
    return out


def _size(joint: str, course: Course) -> Array:
    """Volts below chassis."""
    return -course.dc(joint)


def _amps(valve: str, course: Course) -> Array:
    return course.cathode_amps(valve)


def _last(moments: Sequence[float | None]) -> float | None:
    known = [m for m in moments if m is not None]
    return max(known) if len(known) == len(moments) else None


def crossed(t: Array, over: Array) -> float | None:
    """When a quantity first is at or above nothing, straight between two moments [s]; None for never."""
    up = np.flatnonzero(over >= 0.0)
    if not up.size:
        return None
    k = max(int(up[0]), 1)
    return float(np.interp(0.0, over[k - 1 : k + 1], t[k - 1 : k + 1]))
