"""What the stop limits ask of the solver, all at once: it needs no band, so it is worked out while the bands are."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.readings.asked import Block
from firstglow.readings.dead import dead_ohms
from firstglow.readings.hotter import DRIVE_VOLTS, drive, further
from firstglow.readings.observe import Observer
from firstglow.readings.rated import section_of
from firstglow.readings.seen import columns_of
from firstglow.readings.vsafe import safe_bias, unloaded

Array = NDArray[np.float64]

# Rules that drive a valve until its plate or screen is at its limit.
_WATTS = frozenset({"dissipation", "screen dissipation", "grid drift"})


@dataclass(frozen=True, slots=True)
class StopPoints:
    """What stands where the rules of a ladder's stops look.

    paths: by (situation, valve) the valve driven ever hotter, from nominal on: unknowns and parameters
    (unknown or parameter, step) and which steps settled. safe: Vsafe of each output valve asked for [V], None where it has
    no idle target. dead: by reading id the ohms behind an electrode whose valve draws nothing.
    """

    paths: Mapping[tuple[str, str], tuple[Array, Array, NDArray[np.bool_]]]
    safe: Mapping[str, float | None]
    dead: Mapping[str, float]

    def path(self, circuit: Any, key: tuple[str, str]) -> Any:
        """The standing solutions of a path."""
        from firstglow.solver.standing import Standing

        x, values, settled = self.paths[key]
        return Standing(x, values, settled, np.zeros(len(settled), dtype=np.int64), circuit)


def stop_points(observer: Observer, wanted: Sequence[Block], socket: float, shown: frozenset[str]) -> StopPoints:
    """Of every rule of the blocks' readings. socket: mains today [V rms]. shown: readings that a meter shows."""
    asked = [(b, r, rule) for b in wanted for r in b.readings for rule in r.stops]
    paths = dict.fromkeys((b.dc_key, rule.part) for b, _, rule in asked if rule.rule in _WATTS)
    bias = dict.fromkeys(rule.part for _, _, rule in asked if rule.rule == "bias safe")
    supply = {r.id: r for _, r, rule in asked if rule.rule == "at supply" and r.id in shown}
    bare = unloaded(observer, socket) if bias else None
    return StopPoints(
        _paths(observer, {b.dc_key: b for b in wanted}, list(paths)) if paths else {},
        {valve: safe_bias(observer, valve, socket, bare=bare) for valve in bias},
        dead_ohms(observer, list(supply.values())),
    )


Path = tuple[Array, Array, NDArray[np.bool_]]


def _paths(
    observer: Observer, blocks: Mapping[str, Block], wanted: Sequence[tuple[str, str]]
) -> dict[tuple[str, str], Path]:
    """Each as far as any idle goes wrong; those that are cut off deeper than that, until they have no bias left."""
    points = {pair: observer.point(blocks[pair[0]]).standing for pair in wanted}
    found = _driven(observer, {pair: (points[pair], drive()) for pair in wanted})
    more = {}
    for pair, (x, values, settled) in found.items():
        end = columns_of(replace(points[pair], x=x, values=values, settled=settled, steps=settled), slice(-1, None))
        bias = _bias_left(observer, pair[1], end)
        if bias > 0.0:
            more[pair] = end, further(bias) - DRIVE_VOLTS
    for pair, path in (_driven(observer, more) if more else {}).items():
        one, two, good = (np.concatenate((a, b), axis=-1) for a, b in zip(found[pair], path, strict=True))
        found[pair] = one, two, good
    return found


def _bias_left(observer: Observer, valve: str, end: Any) -> float:
    """Volts that still hold a valve at the end of its path [V]; 0 where its plate is at its limit there."""
    row = {key: float(np.ravel(value)[0]) for key, value in end.part(valve).items()}
    most = section_of(observer.amplifier.parts[valve]).limits.plate_watts
    if most is None or row["plate_watts"] >= most or not bool(end.settled[0]):
        return 0.0
    return -(row["grid_volts"] + DRIVE_VOLTS)


def _driven(observer: Observer, wanted: Mapping[tuple[str, str], tuple[Any, Array]]) -> dict[tuple[str, str], Path]:
    """Paths from one standing solution each, hotter by so many volts, all solved together."""
    circuit = observer.circuit
    laid, start = [], []
    for (_, valve), (point, hotter) in wanted.items():
        values = np.repeat(point.values, len(hotter), axis=1)
        values[circuit.column[f"{valve} contact"]] += hotter
        laid.append(values)
        start.append(np.repeat(point.x, len(hotter), axis=1))
    found = circuit.solve(np.concatenate(laid, axis=1), np.concatenate(start, axis=1), strict=False, thorough=False)
    out, first = {}, 0
    for pair, (_, hotter) in wanted.items():
        own = columns_of(found, slice(first, first + len(hotter)))
        out[pair] = own.x, own.values, own.settled
        first += len(hotter)
    return out
