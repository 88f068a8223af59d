"""What readings say together: one part that is off leans many of them, each too little to be seen by itself.

What the readings before it leave of each reading (``given.innovations``) is compared with what they leave of the lean that
this part, off by one standard deviation, would give it: the likelihood ratio of one gross error at a known place (data
snooping in a geodetic network: W. Baarda, A Testing Procedure for Use in Geodetic Networks, 1968; S. Narasimhan and R. S. H.
Mah, AIChE Journal 33 (1987) 1514, for process plants; both from memory). It is asked at the last reading of each rung under
power, of its readings and those of the rungs before it; what the unplugged ohms say, each says by itself. An amplifier that
leans is looked at; nothing is ever stopped by this, and nothing outside a band is ever passed by it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.readings.given import Given, fitted, folds, heavy, innovations
from firstglow.readings.tails import may_fail

Array = NDArray[np.float64]

COVERAGE = 0.997
CONFIDENCE = 0.95
# What the readings leave of a part's lean is nothing where its square is below this [their own standard deviations]: such a
# part would have to be off by hundreds of its own before they told it.
LEAST_TOLD = 1e-4
# A healthy amplifier's lean of this standard deviation is none: nothing before that gate tells of that part.
NOTHING = 1e-6
# What is done with a part of each kind that they lean like. The few ohms of a switch, a fuse or a plug are no explanation of anything
# that a winding's are not.
TO_LOOK_AT = {
    "resistor": "{}: made safe, its ohms against the drawing",
    "pot": "{}: made safe, its ohms against the drawing",
    "choke": "{}: made safe, its ohms against the drawing",
    "transformer": "{}: made safe, its windings' ohms, and its taps against the drawing",
    "output transformer": "{}: made safe, its windings' ohms, and its taps against the drawing",
    "capacitor": "{}: made safe and emptied, one lead off: its capacitance, and its leakage",
    "valve": "{}: made safe, another of its type in its place",
    "heater": "{}: made safe, another valve of its type in its place",
    "rectifier": "{}: made safe, another of its type in its place",
    "diode": "{}: made safe, out of the circuit: both ways on the diode range",
    "gas tube": "{}: made safe, another of its type in its place",
}
# Parts that explain it this nearly as well as the best one are named beside it, as many as these at most.
AS_WELL, MOST_NAMED = 0.85, 3


@dataclass(frozen=True, slots=True)
class Lean:
    """What the readings of a rung and those before it lean like. parts: the one that explains most of it first, then those that
    explain it nearly as well; checks: what is done with each."""

    parts: tuple[str, ...]
    checks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OneCause:
    """What each part's being off does to all readings together.

    given: whose readings these are. parts: (cause,) name and kind of whose value moves. moves: (reading, cause) standardised
    readings, by one standard deviation of the cause. powered: (reading,). gates: numbers of the last reading of each rung under power.
    reach: (gate, cause) standard deviation of a healthy amplifier's lean, more where its tail runs further than a normal's.
    score: the most of a healthy one, in these.
    """

    given: Given
    parts: tuple[tuple[str, str], ...]
    moves: Array
    powered: NDArray[np.bool_]
    gates: tuple[int, ...]
    reach: Array
    score: float

    def at(self, name: str, read: Mapping[str, float]) -> Lean | None:
        """What readings lean like after ``name``, of those read so far [SI]; None where they lean like nothing, and within a rung."""
        ids = self.given.ids
        number = ids.index(name) if name in ids else -1
        if number not in self.gates:
            return None
        used = np.array([i for i, one in enumerate(ids[: number + 1]) if one in read])
        t = np.array([(read[ids[i]] - self.given.middle[i]) / self.given.sigma[i] for i in used])
        among = self.given.covariance[np.ix_(used, used)]
        left = innovations(among, self.moves[used]), innovations(among, t[:, None])
        lean = next(leans(*left, self.powered[used], [len(used) - 1]))
        size = np.abs(lean[:, 0]) / self.reach[self.gates.index(number)]
        if not (size > self.score).any():
            return None
        order = np.argsort(-size)
        near = dict.fromkeys(self.parts[c] for c in order if size[c] >= AS_WELL * size[order[0]])
        first = list(near)[:MOST_NAMED]
        checks = tuple(TO_LOOK_AT[kind].format(name) for name, kind in first)
        return Lean(tuple(name for name, _ in first), checks)

    def leaning(self, t: Array, sound: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(gate, sample): which amplifiers lean like one part. t: standardised readings (reading, sample). sound: those that are in
        their bands and fit those before them. Once one is not, nothing is said: what it is off by would be laid to other parts."""
        out = np.zeros((len(self.gates), t.shape[1]), dtype=bool)
        among = self.given.covariance
        left = innovations(among, self.moves), innovations(among, np.where(sound, t, 0.0))
        for g, lean in enumerate(leans(*left, self.powered, self.gates)):
            out[g] = (np.abs(lean) > self.score * self.reach[g][:, None]).any(axis=0)
            out[g] &= sound[: self.gates[g] + 1].all(axis=0)
        return out

    def only(self, rows: NDArray[np.bool_]) -> "OneCause":
        """The same of some readings alone (reading,), each gate at the last of its rung among them."""
        ids = [name for name, kept in zip(self.given.ids, rows, strict=True) if kept]
        gates = last_of_rungs(ids, self.powered[rows])
        rung = [self.given.ids[gate].split("/", 1)[0] for gate in self.gates]
        at = [rung.index(ids[gate].split("/", 1)[0]) for gate in gates]
        return OneCause(
            self.given.only(rows),
            self.parts,
            self.moves[rows],
            self.powered[rows],
            tuple(gates),
            self.reach[at],
            self.score,
        )


def leans(w: Array, z: Array, powered: NDArray[np.bool_], gates: Sequence[int]) -> Iterator[Array]:
    """Leans (cause, sample) at each gate, from what is left of the causes' moves ``w`` (reading, cause) and of the readings
    ``z`` (reading, sample); those read under power only."""
    w = np.where(powered[:, None], w, 0.0)
    above, told, first = np.zeros((w.shape[1], z.shape[1])), np.zeros(w.shape[1]), 0
    for gate in gates:
        here = slice(first, gate + 1)
        above += w[here].T @ z[here]
        told += (w[here] ** 2).sum(axis=0)
        yield _ratio(above, told)
        first = max(first, gate + 1)


def last_of_rungs(ids: Sequence[str], powered: NDArray[np.bool_]) -> list[int]:
    """Numbers of the last reading under power of each rung."""
    return sorted({name.split("/", 1)[0]: i for i, name in enumerate(ids) if powered[i]}.values())


def _ratio(above: Array, told: Array) -> Array:
    enough = told > LEAST_TOLD
    return np.where(enough[:, None], above / np.sqrt(np.where(enough, told, 1.0))[:, None], 0.0)


def one_cause(
    given: Given, parts: Sequence[tuple[str, str]], moves: Array, values: Array, powered: NDArray[np.bool_]
) -> OneCause:
    """From sampled healthy amplifiers: ``values`` (reading, sample) as shown, in the order of ``given``.

    moves: (reading, cause) [SI] by one standard deviation of the cause. powered: (reading,).
    """
    gates = last_of_rungs(given.ids, powered)
    fold = folds(values.shape[1])
    reach = np.empty((2, len(gates), len(parts)))
    worst = []
    for k in range(2):
        # what one half says is tried on the other: covariance, reach and all
        middle, sigma, covariance = fitted(values[:, fold != k])
        w, z = (innovations(covariance, x / sigma[:, None]) for x in (moves, values - middle[:, None]))
        fits = (np.abs(z) <= (given.score * given.heavy)[:, None]).all(axis=0)
        tried = (fold == k) & fits  # the others are looked at anyway
        size = np.zeros(int(tried.sum()))
        for g, lean in enumerate(leans(w, z, powered, gates)):
            reach[k, g] = _reach(lean[:, fold != k])
            size = np.maximum(size, (np.abs(lean[:, tried]) / reach[k, g][:, None]).max(axis=0, initial=0.0))
        worst.append(size)
    every = np.sort(np.concatenate(worst))
    score = float(every[max(len(every) - 1 - may_fail(len(every), COVERAGE, CONFIDENCE), 0)])
    return OneCause(given, tuple(parts), moves / given.sigma[:, None], powered, tuple(gates), reach.mean(axis=0), score)


def _reach(lean: Array) -> Array:
    """Standard deviation (cause,) of healthy amplifiers' leans (cause, sample), more where they run further than a normal's. Never
    less than 1, which it is in the model: with some readings left out it comes near that, whatever it is of all of them."""
    own = lean.std(axis=1)
    told = own > NOTHING
    return np.where(told, np.maximum(1.0, own * heavy(np.abs(lean) / np.where(told, own, 1.0)[:, None])), np.inf)
