"""A valve driven ever hotter along a path, and where along it a limit is reached."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# A valve is driven hotter by up to this much less bias [V] to find where it reaches its limit, in so many steps.
DRIVE_VOLTS, DRIVE_STEPS = 30.0, 16


def drive() -> Array:
    """Volts by which a valve is driven hotter along a path, (DRIVE_STEPS,)."""
    return np.asarray(DRIVE_VOLTS * np.linspace(0.0, 1.0, DRIVE_STEPS) ** 2)


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
