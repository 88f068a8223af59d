"""What holds an output valve back where its current comes before its bias: HT that has yet to come, a cathode that is not as warm as it
works, or neither of them."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from firstglow.audit.bias_holds import Hottest
from firstglow.solver.slow import Course

MORE = 1.02
"""Times its idle from which on an output valve is said to draw more."""
THERE = 0.9
"""Part of its HT from which on HT is said to be there."""

Holds = Literal["nothing", "cathode", "ht", "bias"]


@dataclass(frozen=True, slots=True)
class Late:
    """One output valve between its first current and its bias. amps: the most that its cathode gives; warm: the most that a cathode
    at its working temperature would, at the volts of each moment; idle [A]. ht: the most of its HT that is there, over what it
    settles at."""

    amps: float
    warm: float
    idle: float
    ht: float

    @property
    def by(self) -> Holds:
        """What keeps it at its idle: nothing, its cathode, HT that is slower than the bias; or "bias": only a hotter valve of its
        type would be past its watts on the bias that stands so far."""
        if self.amps > MORE * self.idle:
            return "nothing"
        if self.warm > MORE * self.idle:
            return "cathode"
        return "ht" if self.ht < THERE else "bias"


def before_its_bias(
    hottest: Hottest, course: Course, k: int, conducts: float, holds: float | None, idle: float
) -> Late:
    """Sample ``k`` of a course from ``conducts`` until ``holds`` [s]; None: to the end."""
    t = course.seconds - course.seconds[0]
    till = float(t[-1]) if holds is None else holds
    valve = hottest.output.valve
    share = hottest.ht(course, k)

    def most(of: NDArray[np.float64]) -> float:
        inside = of[(t >= conducts) & (t <= till)]
        return float(max(np.interp(conducts, t, of), np.interp(till, t, of), inside.max(initial=-np.inf)))

    return Late(
        most(course.cathode_amps(valve)[:, k]), most(course.cathode_amps(valve, warm=True)[:, k]), idle, most(share)
    )
