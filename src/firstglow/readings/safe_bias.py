"""Vsafe: the grid volts that hold the strongest output valve of the spread at its idle target (LADDER section 1).

With plate and screen at today's unloaded HT: the worst that a valve can meet at the moment it goes in. The strongest
valve is found where it is likeliest: the point at three standard deviations, in the direction in which perveance, mu,
contact potential, their laws' own uncertainty and the HT together ask for most bias (the design point of first-order
reliability, A. M. Hasofer and N. C. Lind, J. Eng. Mech. Div. ASCE 100 (1974) 111). One valve in 740 is stronger.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.devices.pentode import PentodeLaw, pentode_currents
from firstglow.devices.triode import triode_current

Array = NDArray[np.float64]

STRONGEST = 3.0
# Grid volts between which every output valve's idle lies.
_MOST_NEGATIVE, _LEAST_NEGATIVE = -400.0, 0.0
_HALVINGS = 50


@dataclass(frozen=True, slots=True)
class Spread:
    """One thing that makes a valve strong: ``of`` "perveance", "mu", "contact" or "ht"; sigma in its own unit:
    fractions, the contact potential in V."""

    of: str
    sigma: float


def cathode_amps(law: Any, plate: Array, screen: Array, grid: Array, factors: Mapping[str, Array]) -> Array:
    """Total cathode current [A]; volts to the cathode."""
    args = (factors["perveance"], factors["mu"], factors["contact"])
    if isinstance(law, PentodeLaw):
        ia, ig2, _ = pentode_currents(law, plate, screen, grid, *args)
        return np.asarray(ia + ig2)
    return np.asarray(triode_current(law, plate, grid, *args)[0])


def grid_volts(law: Any, amps: float, plate: Array, screen: Array, factors: Mapping[str, Array]) -> Array:
    """Grid volts to the cathode at which the cathode gives ``amps``, (sample,), by bisection."""
    low = np.full(np.shape(plate), _MOST_NEGATIVE)
    high = np.full(np.shape(plate), _LEAST_NEGATIVE)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        over = cathode_amps(law, plate, screen, middle, factors) > amps
        high = np.where(over, middle, high)
        low = np.where(over, low, middle)
    middle_of: Array = 0.5 * (low + high)
    return middle_of


def strongest(
    law: Any, amps: float, plate: float, screen: float, spreads: list[Spread], sigmas: float = STRONGEST
) -> float:
    """Vsafe to the CATHODE [V, negative] for ``plate`` and ``screen`` volts to the cathode and idle ``amps``."""
    names = ("perveance", "mu", "contact", "ht")

    def at(moves: Array) -> Array:
        """Grid volts for (spread, case) moves in standard deviations."""
        total = {n: np.zeros(moves.shape[1]) for n in names}
        for spread, row in zip(spreads, moves, strict=True):
            total[spread.of] = total[spread.of] + spread.sigma * row
        factors = {
            "perveance": np.maximum(1.0 + total["perveance"], 0.05),
            "mu": np.maximum(1.0 + total["mu"], 0.05),
            "contact": total["contact"],
        }
        ht = 1.0 + total["ht"]
        return grid_volts(law, amps, plate * ht, screen * ht, factors)

    middle, *moved = at(np.hstack([np.zeros((len(spreads), 1)), np.eye(len(spreads))])).tolist()
    slopes = np.array(moved) - middle
    size = float(np.sqrt((slopes**2).sum()))
    if size == 0.0:
        return float(middle)
    # more negative is more bias: against the slopes' own sign
    direction = -sigmas * slopes / size
    return float(at(direction[:, None])[0])
