"""What stands between two probe points in thousands of amplifiers at once, before any meter touches them.

Every situation of a ladder is a block of columns; the blocks are solved together. What is no part of the standing
solution (power-off ohms, signal, ripple, discharge) is asked of its own solution with the same amplifiers.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
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


class Observer:
    """One amplifier, asked in any situation, with any values, with any faults."""

    def __init__(self, amplifier: Amplifier, circuit: Any = None) -> None:
        self.amplifier = amplifier
        self._circuit = circuit
        self._starts: dict[str, Array] = {}

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
        values: Array,
        faults: Sequence[Fault] = (),
        setting: Mapping[str, Array] | None = None,
        ohms_for: Callable[[PlannedReading], bool] | None = None,
        remember: int | None = None,
    ) -> Seen:
        """All readings of all blocks.

        values: (parameter, sample). setting: valve -> (sample,), how far its idle is set from the target (fraction).
        ohms_for: for which readings the Thevenin ohms are wanted. remember: the sample from which later calls start.
        """
        seen = Seen()
        for block in wanted:
            standing = None
            if any(r.probe.quantity not in COLD | {"look"} for r in block.readings):
                standing = self._stand(block, values, faults, setting, seen)
                if remember is not None and bool(standing.settled[remember]):
                    self._starts[block.key] = np.array(standing.x[:, remember : remember + 1])
            self._read(block, standing, values, faults, ohms_for, seen)
        return seen

    def _stand(
        self,
        block: Block,
        values: Array,
        faults: Sequence[Fault],
        setting: Mapping[str, Array] | None,
        seen: Seen,
    ) -> Any:
        """The standing solution of one block; idle brought to its targets where the situation asks for it."""
        samples = values.shape[1]
        start = self._starts.get(block.key) if not faults else None
        if start is not None:
            start = np.repeat(start, samples, axis=1)
        if block.situation.idle:
            return self._stand_at_idle(block, values, faults, setting or {}, seen, start)
        laid = self.circuit.apply(values, block.situation, faults)
        return self.circuit.solve(laid, start, strict=samples < MANY)

    def _read(
        self,
        block: Block,
        standing: Any,
        values: Array,
        faults: Sequence[Fault],
        ohms_for: Callable[[PlannedReading], bool] | None,
        seen: Seen,
    ) -> None:
        """Every reading of a block into ``seen``."""
        samples = values.shape[1]
        self._read_cold(block, values, faults, seen)
        others = Others(self.amplifier, self.circuit, block.situation, standing, values, faults)
        for r in block.readings:
            quantity = r.probe.quantity
            if quantity == "look" or quantity in COLD:
                continue
            if quantity in STANDING:
                seen.values[r.id] = np.broadcast_to(standing.row(r.probe), (samples,))
                if quantity == "volts" and ohms_for is not None and ohms_for(r):
                    seen.source_ohms[r.id] = standing.source_ohms(r.probe.red, r.probe.black)
            else:
                seen.values[r.id] = np.broadcast_to(others.read(r.probe, r.id), (samples,))
            for rule in r.stops:
                if rule.rule == "dissipation" and standing is not None:
                    row = standing.part(rule.part)
                    for electrode in ("plate", "screen"):
                        if f"{electrode}_watts" in row:
                            seen.watts[r.id, rule.part, electrode] = np.asarray(row[f"{electrode}_watts"])
            if standing is not None and not bool(np.all(standing.settled)):
                seen.unsettled[r.id] = ~np.asarray(standing.settled)

    def _stand_at_idle(
        self,
        block: Block,
        values: Array,
        faults: Sequence[Fault],
        setting: Mapping[str, Array],
        seen: Seen,
        start: Array | None,
    ) -> Any:
        """Each pot turned, amplifier by amplifier, until its valve's idle is where a person leaves it."""
        targets = {
            valve: np.broadcast_to(amps * (1.0 + setting.get(valve, np.zeros(1))), (values.shape[1],))
            for valve, amps in block.situation.idle.items()
        }
        found = self.circuit.solve_idle(values, block.situation, targets, faults, start)
        seen.short_of_idle[block.key] = {v: np.asarray(short) for v, short in found.out_of_travel.items()}
        seen.idle_pots[block.key] = {p: np.asarray(at) for p, at in found.pots.items()}
        return found.standing

    def _read_cold(self, block: Block, values: Array, faults: Sequence[Fault], seen: Seen) -> None:
        """Power-off ohms; a rectifier junction that the meter may or may not open counts anywhere between."""
        from firstglow.solver.cold import cold_ohms

        cold = [r for r in block.readings if r.probe.quantity in COLD]
        if not cold:
            return
        named = self.named(values)
        pairs = [(r.probe.red, r.probe.black) for r in cold]
        blocked = cold_ohms(self.amplifier, block.situation, pairs, named, faults)
        passing = cold_ohms(self.amplifier, block.situation, pairs, named, faults, "conducting")
        samples = values.shape[1]
        for r, high, low in zip(cold, blocked, passing, strict=True):
            # how far this meter's test volts open a junction is not known: anywhere between, evenly in the logarithm
            share = unit_column(f"junction {r.id}", samples) if samples >= MANY else np.zeros(1)
            ohms = np.broadcast_to(high ** (1.0 - share) * low**share, (samples,))
            if r.probe.quantity == "warm ohms":
                warm = unit_column(f"warm {r.id}", samples) if samples >= MANY else np.full(1, 0.5)
                ohms = ohms * (1.0 + COPPER_PER_KELVIN * WARM_KELVIN * warm)
            seen.values[r.id] = ohms

    def named(self, values: Array) -> dict[str, Array]:
        """Parameter name -> (sample,), for the solutions that take values by name; shapes as in ``values``."""
        return {p.name: values[row] for row, p in enumerate(self.circuit.parameters)}
