"""What stands between two probe points in thousands of amplifiers at once, before any meter touches them.

Every situation of a ladder is a block of columns; the blocks are solved together. What is no part of the standing
solution (power-off ohms, signal, ripple, discharge) is asked of its own solution with the same amplifiers.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.readings.asked import COLD, MANY, STANDING, Block, Cast, cost, key_of, needs_standing
from firstglow.readings.expected import MAINS_STEPS
from firstglow.readings.others import Others, cold_cathodes
from firstglow.readings.points import Point, points, together
from firstglow.readings.probe import PlannedReading
from firstglow.readings.seen import Found, Seen, columns_of, merged
from firstglow.readings.side_by_side import shared_out, side_by_side
from firstglow.readings.spreads import MAINS
from firstglow.readings.warm import COPPER_PER_KELVIN, MOST_KELVIN

Array = NDArray[np.float64]

COLD_KEY = "cold cathodes "
MIDDLE = MAINS_STEPS.index(1.0)


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
        self._ahead: dict[str, Found] = {}
        self._cold_networks: dict[str, Any] = {}
        self._cold_ends: dict[tuple[str, str, str], tuple[float, float]] = {}

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

    @cached_property
    def mains_steps(self) -> Array:
        """The nominal amplifier at MAINS_STEPS of its mains, (parameter, step)."""
        values = np.repeat(self.nominal, len(MAINS_STEPS), axis=1)
        values[self.circuit.column[MAINS]] *= MAINS_STEPS
        return values

    # -- nominal points ---------------------------------------------------------------------------------------
    def learn(self, wanted: Sequence[Block], rows: Sequence[int]) -> None:
        """Solve the nominal amplifier in every situation, with slopes by the parameters in ``rows``."""
        new = {b.dc_key: b for b in wanted if needs_standing(b)}
        known = {k: self._points[k].standing if k in self._points else self._solved[k]
                 for k in new if k in self._points or k in self._solved}  # fmt: skip
        missing = [b for k, b in new.items() if k not in known]
        nominal = Cast(self.nominal)
        found = {k: f.standing for k, f in self._stand_together([(b, nominal) for b in missing]).items()}
        self._learn({k: b.situation for k, b in new.items()}, {**known, **found}, rows)
        for key, block in new.items():
            if any(r.probe.quantity == "peak volts" for r in block.readings):
                self._learn_cold(key, block.situation, rows)

    def stand_ahead(self, read: Sequence[Situation], beside: Sequence[Situation]) -> list[Any]:
        """Solve the nominal amplifier at ``mains_steps`` in each situation of ``read``, which ``see`` then knows, and in the
        same batches as it stands in each of ``beside``: their standing solutions, one column each."""
        steps, alone = Cast(self.mains_steps), Cast(self.nominal)
        blocks = [Block("", at, ()) for at in (*beside, *read)]
        casts = [alone] * len(beside) + [steps] * len(read)
        jobs = {b.dc_key: (b, cast) for b, cast in zip(blocks, casts, strict=True)}
        found = self._stand_together(list(jobs.values()))
        self._ahead |= {key: found[key] for key, (_, cast) in jobs.items() if cast is steps}
        standings = [found[b.dc_key].standing for b in blocks[: len(beside)]]
        return [columns_of(s, slice(MIDDLE, MIDDLE + 1)) if s.samples > 1 else s for s in standings]

    def _learn(self, situations: Mapping[str, Situation], standings: Mapping[str, Any], rows: Sequence[int]) -> None:
        keys = list(situations)
        if keys:
            found = points(list(situations.values()), [standings[k] for k in keys], rows)
            self._points.update(zip(keys, found, strict=True))
            for k in keys:
                self._near.pop(k, None)

    def _learn_cold(self, key: str, situation: Situation, rows: Sequence[int]) -> None:
        """The same with every cathode but the rectifiers' cold, pots where they stand warm."""
        standing = self._solved.get(COLD_KEY + key)
        if standing is None or not standing.settled.all():
            standing = self.circuit.solve(
                cold_cathodes(self.amplifier, self.circuit, self._points[key].standing.values)
            )
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
        ready: dict[str, Found] = {}
        if few:
            asked = {k: bs[0] for k, bs in by_key.items() if any(map(needs_standing, bs))}
            ready = {k: f for k, f in self._ahead.items() if k in asked} if cast.values is self.mains_steps else {}
            ready |= self._stand_together([(b, cast) for k, b in asked.items() if k not in ready])
        ohms = {} if ohms_for is None else _ohms_together(ready, by_key, ohms_for)
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
                self._read_standing(block, standing, cast, ohms_for, ohms.get(key, {}), seen)
                self._read_others(block, standing, cast, seen, shared, predict)
            if remember is not None and "cold cathodes" in shared:
                self._solved[COLD_KEY + key] = columns_of(shared["cold cathodes"], slice(remember, remember + 1))
        return seen

    def see_side_by_side(
        self, wanted: Sequence[Block], cast: Cast, ohms_for: Callable[[PlannedReading], bool] | None = None
    ) -> Seen:
        """The same, the situations shared out over the processors."""
        by_key: dict[str, list[Block]] = {}
        for block in wanted:
            by_key.setdefault(block.dc_key, []).append(block)
        shares = shared_out(by_key.values(), cost)
        pieces = [partial(self.see, [b for same in share for b in same], cast, ohms_for) for share in shares]
        return merged(side_by_side(pieces))

    def _stand_together(self, wanted: Sequence[tuple[Block, Cast]]) -> dict[str, Found]:
        """A few columns in many situations, by situation: one solution for all that set an idle, one for all others."""
        out: dict[str, Found] = {}
        idle = [(block, cast) for block, cast in wanted if block.situation.idle]
        for same in ([(block, cast) for block, cast in wanted if not block.situation.idle], *self._side_by_side(idle)):
            if not same:
                continue
            laid = np.concatenate([cast.laid(self.circuit, b.situation) for b, cast in same], axis=1)
            targets = [self._targets(b.situation, cast) for b, cast in same]
            valves = list(dict.fromkeys(v for t in targets for v in t))
            if not valves:
                found = Found(self.circuit.solve(laid))
            else:
                alone = [np.full(cast.samples, np.nan) for _, cast in same]
                every = {v: np.concatenate([t.get(v, a) for t, a in zip(targets, alone, strict=True)]) for v in valves}
                idles = self.circuit.solve_idle(laid, every)
                found = Found(idles.standing, dict(idles.out_of_travel), dict(idles.pots))
            first = 0
            for (block, cast), own in zip(same, targets, strict=True):
                out[block.dc_key] = found.columns(slice(first, first + cast.samples)).only(own, self._pots_of(own))
                first += cast.samples
        return out

    def _side_by_side(self, wanted: Sequence[tuple[Block, Cast]]) -> list[list[tuple[Block, Cast]]]:
        """Those whose idles one solution can set: where a pot sets several valves, it sets the same ones in all of a group."""
        groups: list[tuple[dict[str, list[str]], list[tuple[Block, Cast]]]] = []
        for block, cast in wanted:
            own = self._pots_of(block.situation.idle)
            for pots, same in groups:
                if all(pots.get(pot, valves) == valves for pot, valves in own.items()):
                    pots.update(own)
                    same.append((block, cast))
                    break
            else:
                groups.append((dict(own), [(block, cast)]))
        return [same for _, same in groups]

    def _pots_of(self, idle: Iterable[str]) -> dict[str, list[str]]:
        """The pots that set these valves, each with its valves."""
        from firstglow.solver.idle import pots_of

        return pots_of(self.circuit, idle)

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
        ohms: Mapping[tuple[str, str], Array],
        seen: Seen,
    ) -> None:
        """What the standing solution answers by itself. ohms: Thevenin ohms by pair where they are known already."""
        for r in block.readings:
            if r.probe.quantity in STANDING:
                seen.values[r.id] = np.broadcast_to(standing.row(r.probe), (cast.samples,))
                if r.probe.quantity == "volts" and ohms_for is not None and ohms_for(r):
                    pair = r.probe.red, r.probe.black
                    seen.source_ohms[r.id] = ohms[pair] if pair in ohms else standing.source_ohms(*pair)
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

    def cold_network(self, situation: Situation) -> Any:
        """The nominal amplifier's power-off network (``solver.cold.ColdNetwork``), made once a situation."""
        key = key_of(situation)
        if key not in self._cold_networks:
            from firstglow.solver.cold import ColdNetwork
            from firstglow.solver.passive import passives

            resting = passives(self.amplifier, situation, self.named(self.nominal))
            self._cold_networks[key] = ColdNetwork(resting)
        return self._cold_networks[key]

    def _cold(self, situation: Situation, readings: Sequence[PlannedReading], cast: Cast) -> tuple[Array, Array]:
        """(junctions blocking, junctions passing), (reading, sample) [ohm]; one column where all are the same."""
        from firstglow.solver.cold import cold_ends, ends_of

        pairs = [(r.probe.red, r.probe.black) for r in readings]
        if not self._is_nominal(cast):
            return cold_ends(self.amplifier, situation, pairs, self.named(cast.values), cast.faults)
        key, known = key_of(situation), self._cold_ends
        if new := [pair for pair in dict.fromkeys(pairs) if (key, *pair) not in known]:
            high, low = ends_of(self.cold_network(situation), new)
            known |= {(key, *pair): (float(high[k, 0]), float(low[k, 0])) for k, pair in enumerate(new)}
        table = np.array([known[key, red, black] for red, black in pairs])
        return table[:, :1], table[:, 1:]

    def _is_nominal(self, cast: Cast) -> bool:
        """Are all columns the nominal amplifier, whatever its mains?"""
        same = cast.values == self.nominal
        same[self.circuit.column[MAINS]] = True
        return not cast.faults and bool(same.all())

    def named(self, values: Array) -> dict[str, Array]:
        """Parameter name -> (sample,), for the solutions that take values by name; shapes as in ``values``."""
        return {p.name: values[row] for row, p in enumerate(self.circuit.parameters)}


def _ohms_together(
    ready: Mapping[str, Found], by_key: Mapping[str, Sequence[Block]], ohms_for: Callable[[PlannedReading], bool]
) -> dict[str, dict[tuple[str, str], Array]]:
    """Thevenin ohms (sample,) by situation and pair of joints: every situation that was solved, from one factored table."""
    pairs = {
        key: [(r.probe.red, r.probe.black) for b in by_key[key] for r in b.readings
              if r.probe.quantity == "volts" and ohms_for(r)]
        for key in ready
    }  # fmt: skip
    every = list(dict.fromkeys(pair for some in pairs.values() for pair in some))
    if not every:
        return {}
    found = together([f.standing for f in ready.values()]).tangent.ohms_of(every)
    out: dict[str, dict[tuple[str, str], Array]] = {}
    first = 0
    for key, f in ready.items():
        here = slice(first, first + f.standing.samples)
        out[key] = {pair: found[every.index(pair), here] for pair in pairs[key]}
        first = here.stop
    return out
