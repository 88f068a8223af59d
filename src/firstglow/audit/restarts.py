"""Off for some seconds and on again, from one warm moment: several times off side by side."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.slow import Course, Moment, Slow, Stretch

Array = NDArray[np.float64]
OFF_SECONDS = (2.0, 5.0, 10.0)
"""How long the plug is out before a hot restart [s]."""


def restarts(
    slow: Slow, warm: Moment, on: Array, off: Array, offs: Sequence[float], seconds: float
) -> tuple[tuple[Course, ...], Course]:
    """(with the plug out, one after the other from ``warm``; on again for so many seconds, a sample for each time off). offs:
    rising [s]. on, off: parameters (parameter, 1). Raises SolveError."""
    gone: list[Course] = []
    now = warm
    for wait in np.diff([0.0, *offs]):
        gone.append(slow.run([Stretch(float(wait), off)], now))
        now = gone[-1].end
    together = _side_by_side([course.end for course in gone])
    return tuple(gone), slow.run([Stretch(seconds, np.repeat(on, len(gone), axis=1))], together)


def _side_by_side(moments: Sequence[Moment]) -> Moment:
    """Each ended at its own time: counted on from the first."""
    x, held, heat = (np.concatenate([getattr(m, name) for m in moments], axis=-1) for name in ("x", "held", "heat"))
    return Moment(moments[0].at, x, held, heat)
