"""From what an amplifier's parts may be to thousands of amplifiers: one column a spread, all drawn together.

A Latin hypercube (M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979) 239) whose every column is
drawn from its own name. So a column never depends on which other columns there are, in what order, or how far a
ladder is printed: measuring one part changes what that part moves and nothing else, and the same amplifier
written in another order gets the same bands.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.readings.meters import Range

Array = NDArray[np.float64]

SEED = 20
# No part is drawn below a twentieth of its nominal: a wide normal spread must not reach zero ohms or a dead valve.
LEAST_OF_NOMINAL = 0.05
MAINS = "mains volts"


@dataclass(frozen=True, slots=True)
class Column:
    """One spread.

    name, part: of the circuit's parameter. row: its place in the parameter vector. nominal, width [SI]: ``width`` is
    the half width of a rectangle or one standard deviation of a normal. shape: "uniform" or "normal".
    """

    name: str
    part: str
    row: int
    nominal: float
    width: float
    shape: str

    @property
    def sigma(self) -> float:
        """One standard deviation [SI] (a rectangle's is half width / sqrt 3, JCGM 100:2008, 4.3.7)."""
        return self.width / 3**0.5 if self.shape == "uniform" else self.width


def columns(circuit: Any, mains_width: float) -> tuple[Column, ...]:
    """The circuit's parameters that have a spread.

    mains_width: half width of the mains as a fraction: where they are read at the same moment as the reading, what is
        left is that reading's own uncertainty (``mains_read_width``); else the socket's variation.
    """
    made = []
    for row, p in enumerate(circuit.parameters):
        width, shape = p.sigma * (3**0.5 if p.shape == "uniform" else 1.0), p.shape
        if p.name == MAINS:
            width, shape = mains_width * p.nominal, "uniform"
        if width > 0.0 and shape != "exact":
            made.append(Column(p.name, p.part, row, p.nominal, width, shape))
    return tuple(made)


def mains_read_width(mains: float, mains_range: Range, drift: float = 0.003) -> float:
    """Half width, as a fraction, of the mains at the moment of a reading, read on ``mains_range``.

    drift: what the mains move between reading them and reading the joint (common practice: a volt or less).
    """
    return mains_range.limits(mains) / mains + drift


def unit_column(name: str, samples: int, seed: int = SEED) -> Array:
    """``samples`` numbers in (0, 1), one in each of as many equal slices, in an order that ``name`` decides."""
    key = int.from_bytes(blake2b(f"{seed}\0{name}".encode(), digest_size=8).digest(), "little")
    rng = np.random.default_rng(key)
    column: Array = (rng.permutation(samples) + rng.random(samples)) / samples
    return column


def deviates(column: Column, samples: int, seed: int = SEED) -> Array:
    """Deviations of one column in its own standard deviations, (sample,); truncated where the part would not exist."""
    from scipy.special import ndtr, ndtri

    u = unit_column(column.name, samples, seed)
    if column.shape == "uniform":
        scores: Array = (2.0 * u - 1.0) * 3**0.5
    else:
        floor = (LEAST_OF_NOMINAL - 1.0) * column.nominal / column.width if column.nominal > 0 else -np.inf
        lowest = ndtr(floor)
        scores = ndtri(lowest + u * (1.0 - lowest))
    if column.nominal > 0:
        np.maximum(scores, (LEAST_OF_NOMINAL - 1.0) * column.nominal / column.sigma, out=scores)
    return scores


@dataclass(frozen=True, slots=True)
class Draws:
    """Thousands of amplifiers.

    columns: the spreads. scores: (column, sample) in standard deviations. values: (parameter, sample) [SI].
    """

    columns: tuple[Column, ...]
    scores: Array
    values: Array
    seed: int

    @property
    def samples(self) -> int:
        """How many amplifiers."""
        return int(self.values.shape[1])


def draw(circuit: Any, samples: int, mains_width: float, seed: int = SEED, law: bool = True) -> Draws:
    """``samples`` amplifiers from the circuit's spreads, all drawn together.

    law: False leaves every valve type's law as it is: parts and valves alone, for trials with another law.
    """
    cols = columns(circuit, mains_width)
    if not law:
        cols = tuple(c for c in cols if not c.name.startswith("type "))
    nominal = np.array([p.nominal for p in circuit.parameters])
    values = np.repeat(nominal[:, None], samples, axis=1)
    scores = np.empty((len(cols), samples))
    for i, column in enumerate(cols):
        scores[i] = deviates(column, samples, seed)
        values[column.row] += column.sigma * scores[i]
    return Draws(cols, scores, values, seed)


class MeterErrors:
    """What one meter is wrong by, amplifier by amplifier: one error of gain for each range, one of counts for each
    reading, both rectangles (JCGM 100:2008, 4.3.7)."""

    def __init__(self, meter: str, samples: int, seed: int = SEED) -> None:
        self.meter, self.samples, self.seed = meter, samples, seed

    def gain(self, on: Range) -> Array:
        """Fraction of the reading, the same for every reading on this range, (sample,)."""
        u = unit_column(f"meter {self.meter} {on.kind} {on.full:g}", self.samples, self.seed)
        return on.gain_limit * (2.0 * u - 1.0)

    def offset(self, on: Range, reading: str) -> Array:
        """[SI], this reading's own, (sample,)."""
        u = unit_column(f"counts {self.meter} {reading}", self.samples, self.seed)
        return on.offset_limit * (2.0 * u - 1.0)

    def shown(self, values: Array, on: Range, reading: str) -> Array:
        """What the meter shows for true ``values`` (sample,), on its step [SI]."""
        return on_meter(values, self.gain(on), self.offset(on, reading), on)


def on_meter(values: Array, gain: Array, offset: Array, on: Range) -> Array:
    """What stands on the meter for true ``values``, on its step [SI]; ohms and ac are never less than nothing."""
    shown: Array = np.round((values * (1.0 + gain) + offset) / on.step) * on.step
    return shown if on.signed else np.maximum(shown, 0.0)


def settings(targets: Mapping[str, float], samples: int, seed: int = SEED) -> dict[str, Array]:
    """How far each idle is set from its target, as a fraction (valve: half width) -> (valve: (sample,))."""
    return {v: w * (2.0 * unit_column(f"setting {v}", samples, seed) - 1.0) for v, w in targets.items()}


def parts_of(cols: Sequence[Column]) -> tuple[str, ...]:
    """The part that each column belongs to."""
    return tuple(c.part or c.name for c in cols)
