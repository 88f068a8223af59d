"""How far the tail of a reading reaches, from what it is made of.

A reading is nearly a sum of many small contributions, rectangles and normals. A sum that one rectangle dominates
ends where the rectangle ends; one of many parts runs on like a normal. No sample of a few thousand shows a tail of
one in a hundred thousand, but the sum's cumulant function is known exactly, and its saddlepoint gives the tail:
H. E. Daniels, Ann. Math. Statist. 25 (1954) 631; r* of O. E. Barndorff-Nielsen, Biometrika 73 (1986) 307.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Contributions kept one by one; what is left over is many small ones and goes in as one normal.
KEPT = 24
# Tilts, in 1 / standard deviation: the largest reaches 99.8 % of the way to the end of a single rectangle.
_TILTS = np.geomspace(0.05, 400.0, 96)


def tail_shape(sigmas: Array, uniform: NDArray[np.bool_], z: Array) -> Array:
    """Deviation, in standard deviations of the sum, that is exceeded with probability Phi(-z).

    sigmas: (contribution, reading) standard deviations [any unit]; uniform: (contribution, reading) or
    (contribution, 1), True for rectangles. z: (level,) positive normal scores. Returns (level, reading);
    z itself where the sum is normal or nothing moves the reading.
    """
    total = np.sqrt((sigmas**2).sum(axis=0))
    moved = total > 0
    share = np.divide(sigmas, total, out=np.zeros_like(sigmas), where=moved)
    flat = np.where(uniform, share, 0.0)
    if len(flat) > KEPT:
        flat = np.sort(flat, axis=0)[-KEPT:]
    normal = np.sqrt(np.maximum(1.0 - (flat**2).sum(axis=0), 0.0))
    out = np.empty((len(z), sigmas.shape[1]))
    for r in range(sigmas.shape[1]):
        if not moved[r] or not flat[:, r].any():
            out[:, r] = z
            continue
        scores, reach = _saddlepoint(flat[:, r] * 3**0.5, normal[r])
        out[:, r] = np.interp(z, np.concatenate(([0.0], scores)), np.concatenate(([0.0], reach)))
    return out


def may_fail(samples: int, coverage: float, confidence: float) -> int:
    """How many of ``samples`` may fall outside while, with this confidence, less than 1 - coverage of all do.

    The distribution-free tolerance limit of S. S. Wilks, Ann. Math. Statist. 12 (1941) 91: a binomial tail.
    """
    from scipy.special import bdtr

    few = np.arange(max(2, int(2 + samples * (1.0 - coverage))))
    return max(0, int(np.searchsorted(bdtr(few, samples, 1.0 - coverage), 1.0 - confidence)) - 1)


def _saddlepoint(half_widths: Array, normal: float) -> tuple[Array, Array]:
    """(normal score, deviation) along the tilts, for rectangles of ``half_widths`` and one normal, total variance 1."""
    a = half_widths[half_widths > 0][:, None]
    u = a * _TILTS
    small = u < 1e-2
    u = np.maximum(u, 1e-9)
    log_mean = np.where(small, u * u / 6, u - np.log(2 * u) + np.log1p(-np.exp(-2 * u)))
    first = np.where(small, u / 3, 1 / np.tanh(u) - 1 / u)
    inverse = 1 / np.sinh(np.minimum(u, 300.0))
    second = np.where(small, 1 / 3 - u * u / 15, 1 / u**2 - inverse**2)
    cumulant = log_mean.sum(axis=0) + 0.5 * (normal * _TILTS) ** 2
    x = (a * first).sum(axis=0) + normal**2 * _TILTS
    bend = (a * a * second).sum(axis=0) + normal**2
    w = np.sqrt(np.maximum(2 * (_TILTS * x - cumulant), 1e-12))
    v = _TILTS * np.sqrt(np.maximum(bend, 1e-300))
    score = w + np.log(v / w) / w
    return np.maximum.accumulate(np.maximum(score, 0.0)), x
