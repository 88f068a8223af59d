"""What readings say about each other: a reading inside its own band may still not fit those before it.

Every reading is nearly a straight line of the same parts, so the readings before it narrow what it may be; what
is left is its innovation, the joint normal's prediction error (T. W. Anderson, An Introduction to Multivariate
Statistical Analysis, 2.5). An amplifier whose own readings do not fit together is looked at; nothing is ever
stopped by this, and nothing outside a band is ever passed by it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.readings.tails import may_fail

Array = NDArray[np.float64]

COVERAGE = 0.997
CONFIDENCE = 0.95
# No reading is predicted better than this part of its own standard deviation: the laws behind the bands are only laws.
DISCREPANCY = 0.15
# Levels of the size of an innovation at which its tail is compared with a normal's, and the normal's scores there.
HEAVY_LEVELS = np.array([0.99, 0.998])
HEAVY_SCORES = np.array([2.576, 3.090])
# A reading whose third largest innovation is past this many standard deviations is no normal's.
WILD_RANK, WILD = 3, 7.0


@dataclass(frozen=True, slots=True)
class Given:
    """The joint normal of a ladder's readings.

    ids: (reading,). middle, sigma: (reading,) [SI]. covariance: (reading, reading) of the standardised readings,
    discrepancy on its diagonal. score: innovation, in its own standard deviations, past which a reading does not fit;
    heavy: (reading,) by how much that is more for readings whose innovations run further than a normal's.
    """

    ids: tuple[str, ...]
    middle: Array
    sigma: Array
    covariance: Array
    score: float
    heavy: Array

    def predict(self, i: int, used: Sequence[int], seen: Sequence[float]) -> tuple[float, float]:
        """(expected, standard deviation) of reading ``i``, standardised, given others at their standardised values."""
        own = float(self.covariance[i, i])
        if not used:
            return 0.0, own**0.5
        among = self.covariance[np.ix_(used, used)]
        across = self.covariance[used, i]
        weights = np.linalg.solve(among, across)
        variance = own - float(weights @ across)
        return float(weights @ np.array(seen)), max(variance, 1e-12) ** 0.5

    def only(self, rows: NDArray[np.bool_]) -> "Given":
        """The same of some readings alone, (reading,)."""
        ids = tuple(name for name, kept in zip(self.ids, rows, strict=True) if kept)
        among = self.covariance[np.ix_(rows, rows)]
        return Given(ids, self.middle[rows], self.sigma[rows], among, self.score, self.heavy[rows])

    def misfits(self, t: Array, sound: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Which readings do not fit those before them, (reading, sample), as ``learn.second_look`` goes through them.

        t: standardised readings (reading, sample). sound: those that are in their own bands: no others are grounds.
        """
        from scipy.linalg import cholesky, solve_triangular

        root, most = cholesky(self.covariance, lower=True), self.score * self.heavy
        own = solve_triangular(root, np.where(sound, t, 0.0), lower=True)
        out = sound & (np.abs(own) > most[:, None])
        for k in np.flatnonzero((~sound | out).any(axis=0)):
            first = int(np.argmax(~sound[:, k] | out[:, k]))
            out[first:, k] = self._one_by_one(root, t[:, k], own[:first, k], sound[:, k], most)
        return np.asarray(out)

    def _one_by_one(
        self, root: Array, t: Array, own: Array, sound: NDArray[np.bool_], most: Array
    ) -> NDArray[np.bool_]:
        """The same for one amplifier from its first doubtful reading on, whose factor grows by what fits."""
        from scipy.linalg import solve_triangular

        first, count = len(own), len(t)
        grown, z, used = np.zeros_like(root), np.empty(count), list(range(first))
        grown[:first, :first], z[:first] = root[:first, :first], own
        out = np.zeros(count - first, dtype=bool)
        for i in range(first, count):
            k = len(used)
            w = (
                solve_triangular(grown[:k, :k], self.covariance[used, i], lower=True, check_finite=False)
                if k
                else z[:0]
            )
            spread = max(float(self.covariance[i, i] - w @ w), 1e-12) ** 0.5
            z[k] = (t[i] - w @ z[:k]) / spread
            out[i - first] = sound[i] and abs(z[k]) > most[i]
            if sound[i] and not out[i - first]:
                grown[k, :k], grown[k, k] = w, spread
                used.append(i)
        return out

    def before(self, name: str, taken: Mapping[str, float]) -> dict[str, float]:
        """Those of ``taken`` that come before a reading on the ladder; none for a reading it does not know."""
        number = {one: i for i, one in enumerate(self.ids)}
        here = number.get(name, 0)
        return {one: value for one, value in taken.items() if number.get(one, here) < here}

    def narrowed(self, read: Mapping[str, float], wanted: str) -> tuple[float, float, float]:
        """(expected, low, high) of one reading given what has been read [SI]."""
        number = {name: i for i, name in enumerate(self.ids)}
        used = [number[name] for name in read]
        seen = [(read[self.ids[i]] - self.middle[i]) / self.sigma[i] for i in used]
        i = number[wanted]
        predicted, spread = self.predict(i, used, seen)
        reach = self.score * self.heavy[i] * spread
        middle, low, high = (float(self.middle[i] + self.sigma[i] * (predicted + d)) for d in (0.0, -reach, reach))
        return middle, low, high


def innovations(covariance: Array, t: Array) -> Array:
    """Innovations of standardised readings (reading, sample), each in its own standard deviations."""
    from scipy.linalg import cholesky, solve_triangular

    root = cholesky(covariance, lower=True)
    return np.asarray(solve_triangular(root, t, lower=True))


def joint(ids: Sequence[str], values: Array, coverage: float = COVERAGE) -> Given:
    """The joint normal from sampled ``values`` (reading, sample), as shown, in the order of the ladder.

    A reading that a few healthy amplifiers bring far from where the others lead (a loop round a stage that starves) is no
    straight line of anything: it is left out, keeps its own band, and the others theirs.
    """
    size = np.empty(values.shape)
    samples = values.shape[1]
    fold = folds(samples)
    for k in range(2):
        middle, sigma, covariance = fitted(values[:, fold != k])
        t = (values[:, fold == k] - middle[:, None]) / sigma[:, None]
        size[:, fold == k] = np.abs(innovations(covariance, t))
    far = np.partition(size, -WILD_RANK, axis=1)[:, -WILD_RANK]
    if far.max() > WILD:
        # one at a time: what follows a wild reading is only led astray by it
        keep = np.arange(len(ids)) != int(np.argmax(far))
        return joint([name for name, k in zip(ids, keep, strict=True) if k], values[keep], coverage)
    runs = np.empty((2, len(values)))
    worst = np.empty(samples)
    for k in range(2):
        runs[k] = heavy(size[:, fold != k])
        worst[fold == k] = (size[:, fold == k] / runs[k][:, None]).max(axis=0)
    allowed = may_fail(samples, coverage, CONFIDENCE)
    score = float(np.sort(worst)[max(samples - 1 - allowed, 0)])
    middle, sigma, covariance = fitted(values)
    return Given(tuple(ids), middle, sigma, covariance, score, runs.mean(axis=0))


def folds(samples: int) -> NDArray[np.int64]:
    """Which half each sample belongs to, (sample,): what one half says is tried on the other."""
    return np.arange(samples) % 2


def heavy(size: Array) -> Array:
    """By how much each reading's innovations (reading, sample) run further than a normal's: 1 and more."""
    found = np.quantile(size, HEAVY_LEVELS, axis=1)
    return np.asarray(np.maximum(1.0, (found / HEAVY_SCORES[:, None]).max(axis=0)))


def fitted(values: Array) -> tuple[Array, Array, Array]:
    """Of sampled values (reading, sample): (middle, sigma, covariance of the standardised readings)."""
    middle, sigma = values.mean(axis=1), np.maximum(values.std(axis=1), 1e-12)
    t = (values - middle[:, None]) / sigma[:, None]
    covariance = t @ t.T / values.shape[1]
    covariance[np.diag_indices(len(covariance))] += DISCREPANCY**2
    return middle, sigma, covariance
