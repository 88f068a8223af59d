"""The last resort for samples whose proof does not hold: up the mains ramp once more, then Levenberg and Marquardt.

Two kinds come here, about one in 10,000 random states. Some "settle" on a point that is none (a rectifier's cycle that had
gone elsewhere): the ramp leads round it. Some would not settle: a cold valve's floating grid, held by insulation alone,
throws Newton to and fro between two slopes; scipy's ``root(method="lm")`` with our Jacobian finds it. The proof decides.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.equations import Equations
from firstglow.solver.frame import Array
from firstglow.solver.newton import climb

MOST = 24
"""How many samples of a batch are tried one by one; a batch with more of them holds states that do not exist."""
EVALUATIONS = 1500

Holds = Callable[[Array, Array], NDArray[np.bool_]]
"""(parameters, unknowns) -> which samples the proof bears out."""


def rescue(
    equations: Equations,
    p: Array,
    stopped: Array,
    settled: NDArray[np.bool_],
    start: Callable[[Array], Array],
    ramp: Callable[[Array, float], Array],
    holds: Holds,
) -> tuple[Array, NDArray[np.bool_]]:
    """Try each column of p (parameter, sample) again. stopped: where it stood (unknown, sample); settled: whether it was
    taken as settled there. Returns the unknowns and which samples are proved now."""
    x = np.array(stopped)
    good = np.zeros(p.shape[1], dtype=bool)
    with np.errstate(all="ignore"):
        false = np.flatnonzero(settled)
        if false.size:
            found = climb(equations, p[:, false], start, ramp).x
            good[false] = holds(p[:, false], found)
            x[:, false] = np.where(good[false], found, x[:, false])
        for k in np.flatnonzero(~good)[:MOST]:
            one = p[:, k : k + 1]
            for first in (start(one), stopped[:, k : k + 1]):
                found = levenberg(equations, one, first)
                if holds(one, found)[0]:
                    x[:, k], good[k] = found[:, 0], True
                    break
    return x, good


def levenberg(equations: Equations, p: Array, start: Array, evaluations: int = EVALUATIONS) -> Array:
    """scipy's Levenberg-Marquardt on one sample: p (parameter, 1), start and result (unknown, 1)."""
    from scipy.optimize import root

    at = equations.prepare(p)
    for c in at.coefficients:
        c["exact"] = np.array(True)
    entries = equations.elimination.entries
    rows, columns = np.array(list(equations.elimination.slot)[:entries]).T

    def both(x: Array) -> tuple[Array, Array]:
        residual, jacobian = equations.evaluate(x[:, None], at)
        dense = np.zeros((equations.size, equations.size))
        dense[rows, columns] = jacobian[:entries, 0]
        return np.nan_to_num(residual[:, 0]), np.nan_to_num(dense)

    limits = {"xtol": 1e-14, "ftol": 1e-14, "maxiter": evaluations}
    return np.asarray(root(both, start[:, 0], jac=True, method="lm", options=limits).x)[:, None]
