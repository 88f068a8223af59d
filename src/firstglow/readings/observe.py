"""What stands between two probe points in thousands of amplifiers at once, before any meter touches them.

Every situation of a ladder is a block of columns; the blocks are solved together. What is no part of the standing
solution (power-off ohms, signal, ripple, discharge) is asked of its own solution with the same amplifiers.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.readings.others import Others
from firstglow.readings.probe import PlannedReading
from firstglow.readings.spreads import unit_column

Array = NDArray[np.float64]

STANDING = frozenset({"volts", "mains amps", "lamp"})
RESTING = frozenset({"ohms", "bond ohms", "open ohms", "warm ohms", "turns volts", "look"})
COLD = frozenset({"ohms", "bond ohms", "open ohms", "warm ohms"})
# Fewer columns than this are answers of their own: one that would not settle is an error, not a lost sample.
MANY = 16
# Copper: +0.39 % a kelvin (IEC 60028); a transformer after hours is at most 60 K over cold (LADDER row 44).
COPPER_PER_KELVIN = 0.0039
WARM_KELVIN = 60.0


def key_of(situation: Situation) -> str:
    """A text that two situations share if and only if they are the same."""
    data = {k: sorted(v) if isinstance(v, frozenset) else v for k, v in asdict(situation).items() if k != "meter"}
    return json.dumps(data, sort_keys=True, default=dict)


@dataclass(frozen=True, slots=True)
class Block:
    """One situation and the readings taken in it."""

    key: str
    situation: Situation
    readings: tuple[PlannedReading, ...]


def blocks(readings: Iterable[PlannedReading]) -> tuple[Block, ...]:
    """Readings by situation, in the order they first come."""
    found: dict[str, tuple[Situation, list[PlannedReading]]] = {}
    for r in readings:
        found.setdefault(key_of(r.situation), (r.situation, []))[1].append(r)
    return tuple(Block(k, s, tuple(rs)) for k, (s, rs) in found.items())


@dataclass(slots=True)
class Seen:
    """What was found.

    values, source_ohms: by reading id, (sample,) [SI]. unsettled: by reading id, (sample,), where some did not settle.
    short_of_idle: by situation key, valve -> (sample,) bool: its pot ran out of travel.
    idle_pots: by situation key, pot -> (sample,) where it was turned to.
    watts: by (reading id, valve, "plate" or "screen"), (sample,) [W], for readings that a dissipation rule stops.
    """

    values: dict[str, Array] = field(default_factory=dict)
    source_ohms: dict[str, Array] = field(default_factory=dict)
    unsettled: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    short_of_idle: dict[str, dict[str, NDArray[np.bool_]]] = field(default_factory=dict)
    idle_pots: dict[str, dict[str, Array]] = field(default_factory=dict)
    watts: dict[tuple[str, str, str], Array] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Cast:
    """Which amplifiers stand in the columns.

    values: (parameter, sample). setting: valve -> (sample,), how far its idle is set from the target (fraction).
    each: faults of each column, or () for none. of, numbers: the columns are these members of a population of ``of``,
        so that what chance gives a member (a junction's opening, a peak's share) stays its own; 0: all of it.
    level: what chance gives every column instead, 0..1.
    """

    values: Array
    setting: Mapping[str, Array] = field(default_factory=dict)
    each: tuple[tuple[Fault, ...], ...] = ()
    of: int = 0
    numbers: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    level: float | None = None

    @property
    def samples(self) -> int:
        """Columns."""
        return int(self.values.shape[1])

    def chance(self, name: str, middle: float) -> Array:
        """Each column's own number in (0, 1); ``middle`` for a few columns that are answers of their own."""
        if self.level is not None:
            return np.full(self.samples, self.level)
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


@dataclass(frozen=True, slots=True)
class Near:
    """A solved point and how it moves, from which amplifiers near it start.

    standing: one column. rows: parameters; by_row: d unknown / d parameter, (unknown, row).
    """

    standing: Any
    rows: tuple[int, ...] = ()
    by_row: Array = field(default_factory=lambda: np.zeros((0, 0)))

    def start(self, laid: Array) -> Array:
        """First guess (unknown, sample) for laid parameters (parameter, sample)."""
        x: Array = np.repeat(self.standing.x, laid.shape[1], axis=1)
        if not self.rows:
            return x
        rows = list(self.rows)
        moved: Array = x + self.by_row @ (laid[rows] - self.standing.values[rows])
        return moved


class Observer:
    """One amplifier, asked in any situation, with any values, with any faults."""

    def __init__(self, amplifier: Amplifier, circuit: Any = None) -> None:
        self.amplifier = amplifier
        self._circuit = circuit
        self._near: dict[str, Near] = {}

    @cached_property
    def circuit(self) -> Any:
        """The compiled circuit."""
        if self._circuit is not None:
            return self._circuit
        from firstglow.solver.circuit import compile_circuit

        return compile_circuit(self.amplifier)

    @property
    def nominal(self) -> Array:
        """Every parameter at its nominal, (parameter, 1)."""
        return np.array([[p.nominal] for p in self.circuit.parameters])

    def see(
        self,
        wanted: Sequence[Block],
        cast: Cast,
        ohms_for: Callable[[PlannedReading], bool] | None = None,
        remember: int | None = None,
    ) -> Seen:
        """All readings of all blocks.

        ohms_for: for which readings the Thevenin ohms are wanted. remember: the column from which later calls start.
        """
        seen = Seen()
        together = self._stand_together(wanted, cast) if cast.samples < MANY and not cast.each else {}
        for block in wanted:
            standing = together.get(block.key)
            if standing is None and needs_standing(block):
                standing = self._stand(block, cast, seen)
            if standing is not None and remember is not None and bool(standing.settled[remember]):
                self._near[block.key] = Near(columns_of(standing, slice(remember, remember + 1)))
            self._read_cold(block, cast, seen)
            self._read_standing(block, standing, cast, ohms_for, seen)
            self._read_others(block, standing, cast, seen)
        return seen

    def _stand_together(self, wanted: Sequence[Block], cast: Cast) -> dict[str, Any]:
        """A few columns in many situations: all of them in one solution, by situation key. Idle ones are left out."""
        blocks_in = [b for b in wanted if needs_standing(b) and not b.situation.idle]
        if len(blocks_in) < 2:
            return {}
        laid = np.concatenate([cast.laid(self.circuit, b.situation) for b in blocks_in], axis=1)
        standing = self.circuit.solve(laid)
        n = cast.samples
        return {b.key: columns_of(standing, slice(k * n, (k + 1) * n)) for k, b in enumerate(blocks_in)}

    def near(self, block: Block, rows: Sequence[int] = (), by_row: Array | None = None) -> Near:
        """The solved nominal point of a block; with ``rows`` and ``by_row``, how it moves is kept for later calls."""
        known = self._near.get(block.key)
        if known is None:
            laid = self.circuit.apply(self.nominal, block.situation)
            known = Near(self.circuit.solve(laid))
        if by_row is not None:
            known = Near(known.standing, tuple(rows), by_row)
        self._near[block.key] = known
        return known

    def _stand(self, block: Block, cast: Cast, seen: Seen) -> Any:
        """The standing solution of one block; idle brought to its targets where the situation asks for it."""
        laid = cast.laid(self.circuit, block.situation)
        near = None if cast.each else self._near.get(block.key)
        start = None if near is None else near.start(laid)
        strict = cast.samples < MANY and not cast.each
        if not block.situation.idle:
            return self.circuit.solve(laid, start, strict=strict)
        # each pot turned, amplifier by amplifier, until its valve's idle is where a person leaves it
        still = np.zeros(cast.samples)
        targets = {v: amps * (1.0 + cast.setting.get(v, still)) for v, amps in block.situation.idle.items()}
        found = self.circuit.solve_idle(laid, targets, start, strict=strict)
        seen.short_of_idle[block.key] = {v: np.asarray(short) for v, short in found.out_of_travel.items()}
        seen.idle_pots[block.key] = {p: np.asarray(at) for p, at in found.pots.items()}
        return found.standing

    def _read_standing(
        self,
        block: Block,
        standing: Any,
        cast: Cast,
        ohms_for: Callable[[PlannedReading], bool] | None,
        seen: Seen,
    ) -> None:
        """What the standing solution answers by itself."""
        for r in block.readings:
            if r.probe.quantity in STANDING:
                seen.values[r.id] = np.broadcast_to(standing.row(r.probe), (cast.samples,))
                if r.probe.quantity == "volts" and ohms_for is not None and ohms_for(r):
                    seen.source_ohms[r.id] = standing.source_ohms(r.probe.red, r.probe.black)
            if standing is None:
                continue
            if not bool(np.all(standing.settled)):
                seen.unsettled[r.id] = ~np.asarray(standing.settled)
            for rule in r.stops:
                if rule.rule in {"dissipation", "screen dissipation"}:
                    row = standing.part(rule.part)
                    for electrode in ("plate", "screen"):
                        if f"{electrode}_watts" in row:
                            seen.watts[r.id, rule.part, electrode] = np.asarray(row[f"{electrode}_watts"])

    def _read_others(self, block: Block, standing: Any, cast: Cast, seen: Seen) -> None:
        """What starts from the standing solution; column by column where each has its own faults."""
        wanted = [r for r in block.readings if r.probe.quantity not in STANDING | COLD | {"look"}]
        if not wanted:
            return
        if not cast.each:
            made = Others(self.amplifier, self.circuit, block.situation, standing, cast)
            for r in wanted:
                seen.values[r.id] = np.broadcast_to(made.read(r.probe, r.id), (cast.samples,))
            return
        for r in wanted:
            seen.values[r.id] = np.full(cast.samples, np.nan)
        for k in range(cast.samples):
            alone = None if standing is None else columns_of(standing, slice(k, k + 1))
            made = Others(self.amplifier, self.circuit, block.situation, alone, cast.one(k))
            for r in wanted:
                seen.values[r.id][k] = made.read(r.probe, r.id)[0]

    def _read_cold(self, block: Block, cast: Cast, seen: Seen) -> None:
        """Power-off ohms; a rectifier junction that the meter may or may not open counts anywhere between."""
        cold = [r for r in block.readings if r.probe.quantity in COLD]
        if not cold:
            return
        if cast.each:
            parts = [self._cold(block.situation, cold, cast.one(k)) for k in range(cast.samples)]
            blocked, passing = (np.concatenate([p[n] for p in parts], axis=1) for n in (0, 1))
        else:
            blocked, passing = self._cold(block.situation, cold, cast)
        for r, high, low in zip(cold, blocked, passing, strict=True):
            # how far this meter's test volts open a junction is not known: anywhere between, evenly in the logarithm
            share = cast.chance(f"junction {r.id}", 0.0)
            ohms = np.broadcast_to(high ** (1.0 - share) * low**share, (cast.samples,))
            if r.probe.quantity == "warm ohms":
                ohms = ohms * (1.0 + COPPER_PER_KELVIN * WARM_KELVIN * cast.chance(f"warm {r.id}", 0.5))
            seen.values[r.id] = ohms

    def _cold(self, situation: Situation, readings: Sequence[PlannedReading], cast: Cast) -> tuple[Array, Array]:
        """(junctions blocking, junctions passing), (reading, sample) [ohm]."""
        from firstglow.solver.cold import cold_ohms

        pairs = [(r.probe.red, r.probe.black) for r in readings]
        named = self.named(cast.values)
        blocked = cold_ohms(self.amplifier, situation, pairs, named, cast.faults)
        passing = cold_ohms(self.amplifier, situation, pairs, named, cast.faults, "conducting")
        return np.asarray(blocked), np.asarray(passing)

    def named(self, values: Array) -> dict[str, Array]:
        """Parameter name -> (sample,), for the solutions that take values by name; shapes as in ``values``."""
        return {p.name: values[row] for row, p in enumerate(self.circuit.parameters)}


def needs_standing(block: Block) -> bool:
    """Does anything in this block start from the standing solution?"""
    return any(r.probe.quantity not in RESTING for r in block.readings)


def columns_of(standing: Any, which: slice) -> Any:
    """Some columns of a standing solution, as one of their own."""
    return replace(
        standing,
        x=standing.x[:, which],
        values=standing.values[:, which],
        settled=standing.settled[which],
        steps=standing.steps[which],
    )
