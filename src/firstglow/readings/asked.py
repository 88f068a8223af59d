"""What is asked of which amplifiers: readings by situation, and the amplifiers that stand in the columns."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.situation import Fault, Situation
from firstglow.readings.probe import PlannedReading
from firstglow.readings.spreads import unit_column

Array = NDArray[np.float64]

STANDING = frozenset({"volts", "mains amps", "lamp"})
RESTING = frozenset({"ohms", "bond ohms", "open ohms", "warm ohms", "turns volts", "look"})
COLD = frozenset({"ohms", "bond ohms", "open ohms", "warm ohms"})
# Fewer columns than this are answers of their own: one that would not settle is an error, not a lost sample.
MANY = 16


def key_of(situation: Situation) -> str:
    """A text that two situations share if and only if they are the same."""
    data = {f.name: getattr(situation, f.name) for f in fields(situation) if f.name != "meter"}
    return json.dumps(data, sort_keys=True, default=lambda v: sorted(v) if isinstance(v, frozenset) else dict(v))


@dataclass(frozen=True, slots=True)
class Block:
    """One situation and the readings taken in it."""

    key: str
    situation: Situation
    readings: tuple[PlannedReading, ...]

    @property
    def dc_key(self) -> str:
        """Key of the standing solution: what the generator does leaves it alone."""
        return key_of(self.situation.but(stimulus_volts=0.0, stimulus_hz=1000.0))


def blocks(readings: Iterable[PlannedReading]) -> tuple[Block, ...]:
    """Readings by situation, in the order they first come."""
    found: dict[str, tuple[Situation, list[PlannedReading]]] = {}
    for r in readings:
        found.setdefault(key_of(r.situation), (r.situation, []))[1].append(r)
    return tuple(Block(k, s, tuple(rs)) for k, (s, rs) in found.items())


def needs_standing(block: Block) -> bool:
    """Does anything in this block start from the standing solution?"""
    return any(r.probe.quantity not in RESTING for r in block.readings)


def cost(same: Sequence[Block]) -> float:
    """Work in blocks of one standing solution, roughly, in ordinary solutions."""
    quantities = {r.probe.quantity for b in same for r in b.readings}
    alone = 0.3 if not any(map(needs_standing, same)) else 1.4 if same[0].situation.idle else 1.0
    return alone + 0.8 * len(quantities & {"ripple volts", "hum volts", "peak volts"})


@dataclass(frozen=True, slots=True)
class Cast:
    """Which amplifiers stand in the columns.

    values: (parameter, sample). setting: valve -> (sample,), how far its idle is set from the target (fraction).
    each: faults of each column, or () for none. of, numbers: the columns are these members of a population of ``of``,
        so that what chance gives a member (a junction's opening, a peak's share) stays its own; 0: all of it.
    level: what chance gives the columns instead, (sample,) 0..1; levels: the same by name, before ``level``.
    """

    values: Array
    setting: Mapping[str, Array] = field(default_factory=dict)
    each: tuple[tuple[Fault, ...], ...] = ()
    of: int = 0
    numbers: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    level: Array | None = None
    levels: Mapping[str, Array] = field(default_factory=dict)

    @property
    def samples(self) -> int:
        """Columns."""
        return int(self.values.shape[1])

    def chance(self, name: str, middle: float) -> Array:
        """Each column's own number in (0, 1); ``middle`` for a few columns that are answers of their own."""
        if name in self.levels:
            return self.levels[name]
        if self.level is not None:
            return self.level
        if self.of:
            return unit_column(name, self.of)[self.numbers]
        return unit_column(name, self.samples) if self.samples >= MANY else np.full(self.samples, middle)

    def one(self, k: int) -> "Cast":
        """A single column."""
        numbers = self.numbers[k : k + 1] if self.of else np.array([k])
        setting = {v: s[k : k + 1] for v, s in self.setting.items()}
        return Cast(self.values[:, k : k + 1], setting, self.each[k : k + 1], self.of or self.samples, numbers)

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The faults of a single column."""
        return self.each[0] if self.each else ()

    def laid(self, circuit: Any, situation: Situation) -> Array:
        """The situation and each column's faults laid over the values, (parameter, sample)."""
        if not self.each:
            return np.asarray(circuit.apply(self.values, situation))
        columns = [circuit.apply(self.values[:, k : k + 1], situation, f) for k, f in enumerate(self.each)]
        return np.concatenate(columns, axis=1)
