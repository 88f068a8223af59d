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
_BOTH_SIDES = np.concatenate([SCORES[::-1], SCORES])
_OUTER = 1.605  # sqrt(0.99 x 0.01) / (density x score) of a normal at 0.99
# A reading whose own samples reach past this score at the rank where a normal one would reach 3.2 has a heavier tail
# than its contributions explain; its scale is widened until it does not.
_HEAVY_RANK, _HEAVY_SCORE = 4, 3.4
# A common score that is more than normal readings of any number need (0.5 % shared out over 2000 ends is 4.6) comes from
# some reading's own tail, which is made longer by this factor, so often at most.
MOST_SCORE, STRETCH, STRETCHES = 5.0, 1.5, 60
# No scale is below this part of the reading or this value [SI]: a reading nothing moves still has a step.
_LEAST = 1e-12


@dataclass(frozen=True, slots=True)
class Marginals:
    """Middle and both tails of every reading.

    middle: (reading,) [SI]. below, above: how far each tail reaches at ``SCORES``, (score, reading) [SI].
    """

    middle: Array
    below: Array
    above: Array

    def scores(self, values: Array) -> Array:
        """Normal score, in size, of each value, (reading, sample)."""
        away = values - self.middle[:, None]
        out = np.empty_like(away)
        for r, row in enumerate(away):
            out[r] = _score(row, self.below[:, r], self.above[:, r])
        return out

    def band(self, score: float) -> tuple[Array, Array]:
        """(low, high) of every reading at one common normal score."""
        below, above = (
            np.array([np.interp(score, SCORES, tail) for tail in side.T]) for side in (self.below, self.above)
        )
        return self.middle - below, self.middle + above


def _score(away: Array, below: Array, above: Array) -> Array:
    """Normal scores of distances to either side; past the ends of the tables they grow with the distance, so they rank."""
    reach = np.concatenate([-below[::-1], above])
    found = np.interp(away, reach, _BOTH_SIDES)
    past = np.flatnonzero((away < reach[0]) | (away > reach[-1]))
    found[past] = SCORES[-1] * away[past] / np.where(away[past] < 0.0, reach[0], reach[-1])
    return np.asarray(found)


def marginals(values: Array, shape: Array, groups: Sequence[int]) -> Marginals:
    """Middle and tails of every reading from sampled ``values`` (reading, sample).

    groups: readings of one number are twins: their samples are pooled, so twins get the same band to the last figure.
    """
    middle, below, above = np.empty(len(values)), np.empty_like(shape), np.empty_like(shape)
    numbers = np.asarray(groups)
    pools = [np.flatnonzero(numbers == group) for group in np.unique(numbers)]
    for size in {len(rows) for rows in pools}:
        same = np.array([rows for rows in pools if len(rows) == size])  # (pool, twin)
        pooled = np.sort(values[same].reshape(len(same), -1), axis=1)
        pooled[np.isnan(pooled[:, -1])] = np.nan
        own = shape[:, same].mean(axis=2)
        centre = np.median(pooled, axis=1)[:, None]
        middle[same] = centre
        below[:, same] = _tails(centre - pooled[:, ::-1], own)[:, :, None]
        above[:, same] = _tails(pooled - centre, own)[:, :, None]
    return Marginals(middle, below, above)


def _tails(away: Array, shape: Array) -> Array:
    """How far tails reach at ``SCORES``, (score, pool): the shape that the readings' parts give them, scaled to the
    samples, and bent where the samples bend more than chance would. away: (pool, sample), ascending."""
    samples = away.shape[1]
    at = shape[_AT_LEVELS]
    ratios = _quantiles(away) / at
    scale = np.maximum(ratios.max(axis=0), _LEAST)
    # a quantile's standard deviation over itself at the outermost level (H. A. David, Order Statistics, 1981, 2.5)
    chance = scale * _OUTER / samples**0.5
    bend = np.maximum(0.0, ratios[-1] - ratios[0] - 2.0 * chance) / (at[-1] - at[0])
    reach = shape * (scale + bend * np.maximum(shape - at[-1], 0.0))
    rank = max(1, round(_HEAVY_RANK * samples / 4096))
    far = np.array([np.interp(_HEAVY_SCORE, SCORES, tail) for tail in reach.T])
    heavy = np.maximum(1.0, away[:, -rank] / far)
    return np.asarray(np.maximum.accumulate(heavy * reach))


def _quantiles(ascending: Array) -> Array:
    """What lies at ``LEVELS``, (level, pool), between the two samples beside it in proportion."""
    place = LEVELS * (ascending.shape[1] - 1)
    low = place.astype(int)
    first, second = ascending[:, low].T, ascending[:, np.minimum(low + 1, ascending.shape[1] - 1)].T
    return np.asarray(first + (second - first) * (place - low)[:, None])


def common_score(values: Array, shape: Array, groups: Sequence[int], coverage: float = COVERAGE) -> tuple[float, Array]:
    """(the normal score at which ``coverage`` of healthy amplifiers pass every reading, found on held-out samples; the
    shapes that it holds for).

    values: (reading, sample) as the meter shows them. Half the samples make the marginals and the other half is
    scored, then the other way round. A reading that a few amplifiers bring further than its parts explain (a pair that
    starves, a grid that draws) is given a longer tail of its own, so that it does not widen every other's band.
    """
    samples = values.shape[1]
    fold = np.arange(samples) % FOLDS
    allowed = may_fail(samples, coverage, CONFIDENCE)
    numbers = np.asarray(groups)
    for turn in range(STRETCHES + 1):
        scores = np.empty(values.shape)
        for k in range(FOLDS):
            fitted = marginals(values[:, fold != k], shape, groups)
            scores[:, fold == k] = fitted.scores(values[:, fold == k])
        score = float(np.sort(scores.max(axis=0))[max(samples - 1 - allowed, 0)])
        if score <= MOST_SCORE or turn == STRETCHES:
            break
        far = numbers == numbers[int(np.argmax(scores.max(axis=1)))]
        shape = shape.copy()
        shape[:, far] = np.where(SCORES[:, None] > SCORES[_AT_LEVELS][-1], shape[_AT_LEVELS][-1, far]
                                 + STRETCH * (shape[:, far] - shape[_AT_LEVELS][-1, far]), shape[:, far])  # fmt: skip
    return score, shape


def shapes(sigmas: Array, uniform: NDArray[np.bool_], groups: Sequence[int]) -> Array:
    """Tail shapes (score, reading) of all readings, twins alike; see ``tails.tail_shape``."""
    shape = tail_shape(sigmas, uniform, SCORES)
    shape = np.maximum.accumulate(shape + 1e-9 * SCORES[:, None], axis=0)
    numbers = np.asarray(groups)
    for group in set(groups):
        rows = np.flatnonzero(numbers == group)
        shape[:, rows] = shape[:, rows].mean(axis=1, keepdims=True)
    return shape
