"""What stands between two probe points in thousands of amplifiers at once, before any meter touches them.

Every situation of a ladder is a block of columns; the blocks are solved together. What is no part of the standing
solution (power-off ohms, signal, ripple, discharge) is asked of its own solution with the same amplifiers.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.readings.others import Others, cold_cathodes
from firstglow.readings.points import Point, points
from firstglow.readings.probe import PlannedReading
from firstglow.readings.side_by_side import processors, side_by_side
from firstglow.readings.spreads import unit_column
from firstglow.readings.warm import COPPER_PER_KELVIN, MOST_KELVIN

Array = NDArray[np.float64]

STANDING = frozenset({"volts", "mains amps", "lamp"})
RESTING = frozenset({"ohms", "bond ohms", "open ohms", "warm ohms", "turns volts", "look"})
COLD = frozenset({"ohms", "bond ohms", "open ohms", "warm ohms"})
# Fewer columns than this are answers of their own: one that would not settle is an error, not a lost sample.
MANY = 16


COLD_KEY = "cold cathodes "


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


@dataclass(slots=True)
class Seen:
    """What was found.

    values, source_ohms: by reading id, (sample,) [SI]. unsettled: by reading id, (sample,), where some did not settle.
    short_of_idle: by dc key, valve -> (sample,) bool: its pot ran out of travel.
    idle_pots: by dc key, pot -> (sample,) where it was turned to.
    watts: by (reading id, valve, "plate" or "screen"), (sample,) [W], for readings that a dissipation rule stops.
    """

    values: dict[str, Array] = field(default_factory=dict)
    source_ohms: dict[str, Array] = field(default_factory=dict)
    unsettled: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    short_of_idle: dict[str, dict[str, NDArray[np.bool_]]] = field(default_factory=dict)
    idle_pots: dict[str, dict[str, Array]] = field(default_factory=dict)
    watts: dict[tuple[str, str, str], Array] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Found:
    """A standing solution, which valves fell short of their idle, and where the pots ended; by name, (sample,)."""

    standing: Any
    short: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    pots: dict[str, Array] = field(default_factory=dict)

    def columns(self, which: slice) -> "Found":
        """Some columns."""
        return Found(
            columns_of(self.standing, which),
            {v: s[which] for v, s in self.short.items()},
            {p: a[which] for p, a in self.pots.items()},
        )


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


class Observer:
    """One amplifier, asked in any situation, with any values, with any faults.

    What was once learnt of the nominal amplifier in a situation (its solved point, how it moves) is kept: thousands of
    amplifiers start from it.
    """

    def __init__(self, amplifier: Amplifier, circuit: Any = None) -> None:
        self.amplifier = amplifier
        self._circuit = circuit
        self._solved: dict[str, Any] = {}
        self._points: dict[str, Point] = {}
        self._near: dict[str, Any] = {}

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

    # -- nominal points ---------------------------------------------------------------------------------------
    def learn(self, wanted: Sequence[Block], rows: Sequence[int]) -> None:
        """Solve the nominal amplifier in every situation, with slopes by the parameters in ``rows``."""
        new = {b.dc_key: b for b in wanted if needs_standing(b)}
        known = {k: self._points[k].standing if k in self._points else self._solved[k]
                 for k in new if k in self._points or k in self._solved}  # fmt: skip
        missing = [b for k, b in new.items() if k not in known]
        found = {k: f.standing for k, f in self._stand_together(missing, Cast(self.nominal)).items()}
        self._learn({k: b.situation for k, b in new.items()}, {**known, **found}, rows)
        for key, block in new.items():
            if any(r.probe.quantity == "peak volts" for r in block.readings):
                self._learn_cold(key, block.situation, rows)

    def _learn(self, situations: Mapping[str, Situation], standings: Mapping[str, Any], rows: Sequence[int]) -> None:
        keys = list(situations)
        if keys:
            found = points(list(situations.values()), [standings[k] for k in keys], rows)
            self._points.update(zip(keys, found, strict=True))
            for k in keys:
                self._near.pop(k, None)

    def _learn_cold(self, key: str, situation: Situation, rows: Sequence[int]) -> None:
        """The same with every cathode but the rectifiers' cold, pots where they stand warm."""
        laid = cold_cathodes(self.amplifier, self.circuit, self._points[key].standing.values)
        standing = self.circuit.solve(laid)
        self._learn({COLD_KEY + key: situation.but(idle={})}, {COLD_KEY + key: standing}, rows)

    def point(self, block: Block) -> Point:
        """The nominal point of a block's situation, learnt now (without slopes) if it was not."""
        if block.dc_key not in self._points:
            self.learn([block], ())
        return self._points[block.dc_key]

    def predicted(self, block: Block, cast: Cast) -> Any:
        """Standing solutions by the slopes alone: right to the first order, for differences and shares."""
        point = self._points[block.dc_key]
        x, laid = point.start(cast.laid(self.circuit, block.situation), cast.setting)
        n = cast.samples
        return type(point.standing)(x, laid, np.ones(n, dtype=bool), np.zeros(n, dtype=np.int64), self.circuit)

    # -- seeing -----------------------------------------------------------------------------------------------
    def see(
        self,
        wanted: Sequence[Block],
        cast: Cast,
        ohms_for: Callable[[PlannedReading], bool] | None = None,
        predict: bool = False,
        remember: int | None = None,
    ) -> Seen:
        """All readings of all blocks.

        ohms_for: for which readings the Thevenin ohms are wanted. predict: by slopes instead of solutions.
        remember: the column that is the nominal amplifier, for ``learn``.
        """
        seen = Seen()
        by_key: dict[str, list[Block]] = {}
        for block in wanted:
            by_key.setdefault(block.dc_key, []).append(block)
        few = cast.samples < MANY and not cast.each and not predict
        ready = (
            self._stand_together([bs[0] for bs in by_key.values() if any(map(needs_standing, bs))], cast) if few else {}
        )
        for key, same in by_key.items():
            found = ready.get(key)
            if found is None and any(map(needs_standing, same)):
                found = Found(self.predicted(same[0], cast)) if predict else self._stand(same[0], cast)
            standing = None
            if found is not None:
                standing = found.standing
                seen.short_of_idle[key], seen.idle_pots[key] = found.short, found.pots
                if remember is not None:
                    self._solved[key] = columns_of(standing, slice(remember, remember + 1))
            shared: dict[str, Any] = {}
            for block in same:
                self._read_cold(block, cast, seen)
                self._read_standing(block, standing, cast, ohms_for, seen)
                self._read_others(block, standing, cast, seen, shared, predict)
        return seen

    def see_side_by_side(
        self, wanted: Sequence[Block], cast: Cast, ohms_for: Callable[[PlannedReading], bool] | None = None
    ) -> Seen:
        """The same, the situations shared out over the processors."""
        count = processors()
        by_key: dict[str, list[Block]] = {}
        for block in wanted:
            by_key.setdefault(block.dc_key, []).append(block)
        shares: list[list[Block]] = [[] for _ in range(count)]
        loads = [0.0] * count
        for same in sorted(by_key.values(), key=cost, reverse=True):
            least = loads.index(min(loads))
            shares[least] += same
            loads[least] += cost(same)
        pieces = [partial(self.see, share, cast, ohms_for) for share in shares if share]
        return merged(side_by_side(pieces))

    def _stand_together(self, wanted: Sequence[Block], cast: Cast) -> dict[str, Found]:
        """A few columns in many situations, by situation: one solution for all that set the same idles."""
        out: dict[str, Found] = {}
        n = cast.samples
        groups: dict[tuple[str, ...], list[Block]] = {}
        for block in wanted:
            groups.setdefault(tuple(block.situation.idle), []).append(block)
        for valves, same in groups.items():
            laid = np.concatenate([cast.laid(self.circuit, b.situation) for b in same], axis=1)
            if not valves:
                found = Found(self.circuit.solve(laid))
            else:
                parts = [self._targets(b.situation, cast) for b in same]
                targets = {v: np.concatenate([t[v] for t in parts]) for v in valves}
                idle = self.circuit.solve_idle(laid, targets)
                found = Found(idle.standing, dict(idle.out_of_travel), dict(idle.pots))
            for k, block in enumerate(same):
                out[block.dc_key] = found.columns(slice(k * n, (k + 1) * n))
        return out

    def _targets(self, situation: Situation, cast: Cast) -> dict[str, Array]:
        """Cathode amps to which each pot is turned, amplifier by amplifier."""
        still = np.zeros(cast.samples)
        return {v: amps * (1.0 + cast.setting.get(v, still)) for v, amps in situation.idle.items()}

    def _stand(self, block: Block, cast: Cast) -> Found:
        """The standing solution of one situation; idle brought to its targets where the situation asks for it."""
        laid = cast.laid(self.circuit, block.situation)
        point = None if cast.each else self._points.get(block.dc_key)
        targets = self._targets(block.situation, cast)
        if point is None:
            if not targets:
                return Found(self.circuit.solve(laid, strict=False))
            idle = self.circuit.solve_idle(laid, targets, strict=False)
        else:
            start, turned = point.start(laid, cast.setting)
            near = self._near_to(block.dc_key, point)
            if not targets:
                return Found(near.solve(turned, start))
            idle = near.solve_idle(turned, targets, start)
        return Found(idle.standing, dict(idle.out_of_travel), dict(idle.pots))

    def _near_to(self, key: str, point: Point) -> Any:
        if key not in self._near:
            from firstglow.solver.near import Near

            self._near[key] = Near(point.standing)
        return self._near[key]

    def _stand_cold(self, key: str, warm: Any, cast: Cast, predict: bool) -> Any:
        """The same amplifiers with every cathode but the rectifiers' cold, pots where they stand."""
        laid = cold_cathodes(self.amplifier, self.circuit, warm.values)
        point = None if cast.each else self._points.get(COLD_KEY + key)
        if point is None:
            return self.circuit.solve(laid, strict=False)
        start, _ = point.start(laid, {})
        if predict:
            n = cast.samples
            return type(warm)(start, laid, np.ones(n, dtype=bool), np.zeros(n, dtype=np.int64), self.circuit)
        return self._near_to(COLD_KEY + key, point).solve(laid, start)

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

    def _read_others(
        self, block: Block, standing: Any, cast: Cast, seen: Seen, shared: dict[str, Any], predict: bool
    ) -> None:
        """What starts from the standing solution; column by column where each has its own faults."""
        wanted = [r for r in block.readings if r.probe.quantity not in STANDING | COLD | {"look"}]
        if not wanted:
            return
        if not cast.each:
            made = self._others(block, wanted, standing, cast, shared, predict)
            for r in wanted:
                seen.values[r.id] = np.broadcast_to(made.read(r.probe, r.id), (cast.samples,))
            return
        for r in wanted:
            seen.values[r.id] = np.full(cast.samples, np.nan)
        for k in range(cast.samples):
            alone = None if standing is None else columns_of(standing, slice(k, k + 1))
            made = self._others(block, wanted, alone, cast.one(k), {}, predict)
            for r in wanted:
                seen.values[r.id][k] = made.read(r.probe, r.id)[0]

    def _others(
        self,
        block: Block,
        wanted: Sequence[PlannedReading],
        standing: Any,
        cast: Cast,
        shared: dict[str, Any],
        predict: bool,
    ) -> Others:
        return Others(
            self.amplifier, self.circuit, block.situation, [r.probe for r in wanted], standing, cast, shared,
            lambda: self._stand_cold(block.dc_key, standing, cast, predict),
        )  # fmt: skip

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
                ohms = ohms * (1.0 + COPPER_PER_KELVIN * MOST_KELVIN * cast.chance(f"warm {r.id}", 0.5))
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


def cost(same: Sequence[Block]) -> float:
    """Work in blocks of one standing solution, roughly, in ordinary solutions."""
    quantities = {r.probe.quantity for b in same for r in b.readings}
    alone = 0.3 if not any(map(needs_standing, same)) else 1.4 if same[0].situation.idle else 1.0
    return alone + 0.8 * len(quantities & {"ripple volts", "hum volts", "peak volts"})


def merged(parts: Sequence[Seen]) -> Seen:
    """What was seen in several parts, as one."""
    whole = Seen()
    for part in parts:
        for f in fields(Seen):
            getattr(whole, f.name).update(getattr(part, f.name))
    return whole


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
