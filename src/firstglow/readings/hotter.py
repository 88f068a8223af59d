"""A valve driven ever hotter along a path, and where along it a limit is reached."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# A valve is driven hotter by up to this much less bias [V] to find where it reaches its limit, in so many steps.
DRIVE_VOLTS, DRIVE_STEPS = 30.0, 16
# One that has not reached it by then is driven on, in so many steps, until none of its bias is left.
FURTHER_STEPS = 8


def drive() -> Array:
    """Volts by which a valve is driven hotter along a path, (DRIVE_STEPS,)."""
    return np.asarray(DRIVE_VOLTS * np.linspace(0.0, 1.0, DRIVE_STEPS) ** 2)


def further(bias: float) -> Array:
    """The same on from DRIVE_VOLTS, for one that has ``bias`` volts still left there, (FURTHER_STEPS,)."""
    return np.asarray(DRIVE_VOLTS + bias * np.arange(1, FURTHER_STEPS + 1) / FURTHER_STEPS)


def crossing(shown: Array, watts: Array, most: float) -> float | None:
    """Shown value where ``watts`` first reaches ``most`` along a path, both (step,); None where it never does."""
    over = np.flatnonzero(watts >= most)
    if not len(over):
        return None
    k = int(over[0])
    if k == 0:
        return float(shown[0])
    share = (most - watts[k - 1]) / (watts[k] - watts[k - 1])
    return float(shown[k - 1] + share * (shown[k] - shown[k - 1]))


def reading_at(shown: Array, watts: Array, most: float) -> float | None:
    """The same, never none where the valve draws at all: one that nothing on the path takes to its limit is told in proportion
    from its hottest step (the rated watts over the plate volts that stand there)."""
    here = crossing(shown, watts, most)
    k = int(np.argmax(watts)) if len(watts) else 0
    if here is None and len(watts) and watts[k] > 0.0 and shown[k] > 0.0:
        return float(shown[k] * most / watts[k])
    return here
