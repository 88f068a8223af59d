"""Radau's collocation with three places in a step: weights, and how its error is estimated.

In a step from 0 to h the course goes as the cubic through where it stood and three places, the last of which is the step's end;
at each place it obeys its equations. Order 5, and stiff parts die out at once (E. Hairer and G. Wanner, "Solving Ordinary
Differential Equations II", Springer 1996, chapter IV.8; from memory; the weights are worked out here and tested against it).
"""

from math import sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PLACES = np.array([(4.0 - sqrt(6.0)) / 10.0, (4.0 + sqrt(6.0)) / 10.0, 1.0])
"""Of the step: Radau's three places."""
COUNT = len(PLACES)
NODES = np.concatenate([[0.0], PLACES])
"""Where the step starts, and its places."""


def through(nodes: Array, at: Array) -> Array:
    """(place, node): what the polynomial through the nodes is at each place, as a sum over what stands at the nodes."""
    out = np.ones((len(at), len(nodes)))
    for k, own in enumerate(nodes):
        for j, other in enumerate(nodes):
            if j != k:
                out[:, k] *= (at - other) / (own - other)
    return out


HALFWAY = through(NODES, np.array([0.5]))[0]


def _rates() -> Array:
    """(place, node): its derivative at each place, times the step."""
    powers = np.vander(NODES, increasing=True)
    slopes = np.array([[k * c ** (k - 1) if k else 0.0 for k in range(len(NODES))] for c in PLACES])
    return np.asarray(slopes @ np.linalg.inv(powers))


RATES = _rates()
FROM_START, AMONG = RATES[:, 0], RATES[:, 1:]
ESTIMATE = np.array([-13.0 - 7.0 * sqrt(6.0), -13.0 + 7.0 * sqrt(6.0), -1.0]) / 3.0
"""The error is (FILTER - h J)^-1 (h rate at the start + what each place moved by, times these)."""
FILTER = 3.0 + 3.0 ** (2.0 / 3.0) - 3.0 ** (1.0 / 3.0)


def ahead(nodes: Array, h: float, longer: float) -> Array:
    """nodes: (..., place and start, sample), as a step of h left them. The cubic led on into the next, ``longer`` seconds long:
    (..., place, sample)."""
    return np.asarray(np.einsum("ij,...jn->...in", through(h * NODES, h + longer * PLACES), nodes))
