"""Bands that hold together: a healthy amplifier passes the whole ladder, not each reading by itself.

Every reading gets the same normal score: the one that lets 99 % of healthy amplifiers through everything, proved on
samples that did not make the band (a distribution-free tolerance limit: S. S. Wilks, Ann. Math. Statist. 12 (1941)
91). Sampled values give middle and scale on either side; what the reading is made of gives the shape of its tail.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.readings.tails import may_fail, tail_shape

Array = NDArray[np.float64]

# The whole ladder is to pass 99 % of healthy amplifiers. Bands take half of what may fail, what readings say about each
# other (given.py) three tenths, and the rest is for laws that are not quite ours.
COVERAGE = 0.995
CONFIDENCE = 0.95
FOLDS = 2
# Levels at which a side's scale is taken: far enough out to feel a bend, near enough for a few thousand samples.
LEVELS = np.array([0.90, 0.97, 0.99])
# Normal scores at which tail shapes are tabulated.
SCORES = np.array([0.5, 1.0, 1.2816, 1.8808, 2.3263, 2.75, 3.0, 3.25, 3.5, 3.75, 4.0, 4.25, 4.5, 5.0, 5.5, 6.0, 8.0])
_AT_LEVELS = slice(2, 5)
# A reading whose own samples reach past this score at the rank where a normal one would reach 3.2 has a heavier tail
# than its contributions explain; its scale is widened until it does not.
_HEAVY_RANK, _HEAVY_SCORE = 4, 3.4
# No scale is below this part of the reading or this value [SI]: a reading nothing moves still has a step.
_LEAST = 1e-12


@dataclass(frozen=True, slots=True)
class Marginals:
    """Middle and both tails of every reading.

    middle: (reading,). below, above: scales [SI per standard deviation], (reading,). shape: (score, reading), deviation
    in standard deviations at ``SCORES``.
    """

    middle: Array
    below: Array
    above: Array
    shape: Array

    def scores(self, values: Array) -> Array:
        """Normal score, in size, of each value, (reading, sample)."""
        away = values - self.middle[:, None]
        scaled = np.where(away < 0, -away / self.below[:, None], away / self.above[:, None])
        out = np.empty_like(scaled)
        for r in range(len(scaled)):
            reach = self.shape[:, r]
            out[r] = np.interp(scaled[r], reach, SCORES)
            past = scaled[r] > reach[-1]
            # past the end of the table a score grows with the distance, so that it still ranks
            out[r, past] = SCORES[-1] * scaled[r, past] / reach[-1]
        return out

    def band(self, score: float) -> tuple[Array, Array]:
        """(low, high) of every reading at one common normal score."""
        reach = np.array([np.interp(score, SCORES, self.shape[:, r]) for r in range(len(self.middle))])
        return self.middle - self.below * reach, self.middle + self.above * reach


def marginals(values: Array, shape: Array, groups: Sequence[int]) -> Marginals:
    """Middle and tails of every reading from sampled ``values`` (reading, sample).

    groups: readings of one number are twins: their samples are pooled, so twins get the same band to the last figure.
    """
    readings = len(values)
    middle, below, above = (np.empty(readings) for _ in range(3))
    for group in sorted(set(groups)):
        rows = [r for r in range(readings) if groups[r] == group]
        pooled = values[rows].ravel()
        reach = shape[:, rows].mean(axis=1)
        middle[rows], below[rows], above[rows] = _one(pooled, reach)
    return Marginals(middle, below, above, shape)


def _one(values: Array, reach: Array) -> tuple[float, float, float]:
    """(middle, scale below, scale above) of one reading."""
    middle = float(np.median(values))
    sides = []
    for sign in (-1.0, 1.0):
        away = np.sort(sign * (values - middle))
        at = np.quantile(away, LEVELS)
        scale = float(np.max(at / reach[_AT_LEVELS]))
        rank = max(1, round(_HEAVY_RANK * len(values) / 4096))
        far = float(np.interp(_HEAVY_SCORE, SCORES, reach))
        scale = max(scale, away[-rank] / far, _LEAST)
        sides.append(scale)
    return middle, sides[0], sides[1]


def common_score(values: Array, shape: Array, groups: Sequence[int], coverage: float = COVERAGE) -> float:
    """The normal score at which ``coverage`` of healthy amplifiers pass every reading, found on held-out samples.

    values: (reading, sample) as the meter shows them. Half the samples make the marginals and the other half is
    scored, then the other way round.
    """
    samples = values.shape[1]
    worst = np.empty(samples)
    fold = np.arange(samples) % FOLDS
    for k in range(FOLDS):
        fitted = marginals(values[:, fold != k], shape, groups)
        worst[fold == k] = fitted.scores(values[:, fold == k]).max(axis=0)
    allowed = may_fail(samples, coverage, CONFIDENCE)
    return float(np.sort(worst)[max(samples - 1 - allowed, 0)])


def shapes(sigmas: Array, uniform: NDArray[np.bool_], groups: Sequence[int]) -> Array:
    """Tail shapes (score, reading) of all readings, twins alike; see ``tails.tail_shape``."""
    shape = tail_shape(sigmas, uniform, SCORES)
    shape = np.maximum.accumulate(shape + 1e-9 * SCORES[:, None], axis=0)
    numbers = np.asarray(groups)
    for group in set(groups):
        rows = np.flatnonzero(numbers == group)
        shape[:, rows] = shape[:, rows].mean(axis=1, keepdims=True)
    return shape
