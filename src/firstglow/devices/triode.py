"""Plate current of a triode: space charge with a sharp cut-off, an amplification factor and a contact potential.

N. Koren, "Improved vacuum tube models", Glass Audio 8 (5), 1996, with the grid's contact potential added
(without one, a free exponent runs to 1.1 when fitted: a disguise, wrong outside the data).
"""

from dataclasses import dataclass

import numpy as np

from firstglow.devices.smooth import Values, positive_part, softplus


@dataclass(frozen=True, slots=True)
class TriodeLaw:
    """What tells one triode type from another. Fields are floats, or arrays that broadcast (``smooth.stack``).

    perveance: [A/V^exponent], of the effective drive volts (the paper's 2/kG).
    exponent: near 1.4; above 1.
    mu: amplification factor at high current [1].
    sharpness: of the cut-off [1] (the paper's kP).
    low_plate: how the amplification factor falls at low plate volts [V^2] (the paper's kVB).
    contact: contact potential of the grid [V], added to the grid volts.
    """

    perveance: Values
    exponent: Values
    mu: Values
    sharpness: Values
    low_plate: Values
    contact: Values


def triode_current(
    law: TriodeLaw, plate: Values, grid: Values, perveance: Values = 1.0, mu: Values = 1.0, contact: Values = 0.0
) -> tuple[Values, Values, Values]:
    """Plate current [A] and its partial derivatives by plate and by grid volts [S].

    plate, grid: volts to the cathode (directly heated: to the middle of the filament). perveance, mu: factors on the
    law (1: bogey); contact: offset [V]. All broadcast; the batch is the last axis.
    Never negative, 0 at plate volts below 0 (rounded over ``RETARDING_VOLTS``), increasing in both volts.
    """
    V, dV = positive_part(plate)
    square = V * V + law.low_plate
    root = np.sqrt(square)
    lean = (grid + (law.contact + contact)) / root
    value, slope = softplus(law.sharpness * (1.0 / (law.mu * mu) + lean))
    value = value / law.sharpness
    E = V * value
    # g = dI/dE / exponent: nothing divides by a drive that has underflowed to 0
    g = np.power(E, law.exponent - 1.0) * (law.perveance * perveance)
    current = g * E
    g = g * law.exponent
    # dE/dV = value + V slope d(lean)/dV with d(lean)/dV = -lean V / square; dE/dgrid = V slope / root
    slope = slope * V
    d_plate = (value - slope * (lean * V / square)) * g * dV
    return current, d_plate, slope * g / root
