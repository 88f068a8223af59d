"""What the stop limits ask of the solver, all at once: it needs no band, so it is worked out while the bands are."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.readings.asked import Block
from firstglow.readings.dead import dead_ohms
from firstglow.readings.hotter import DRIVE_STEPS, drive
from firstglow.readings.observe import Observer
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


def _paths(
    observer: Observer, blocks: Mapping[str, Block], wanted: Sequence[tuple[str, str]]
) -> dict[tuple[str, str], tuple[Array, Array, NDArray[np.bool_]]]:
    circuit, hotter = observer.circuit, drive()
    laid, start = [], []
    for key, valve in wanted:
        point = observer.point(blocks[key])
        values = np.repeat(point.standing.values, DRIVE_STEPS, axis=1)
        values[circuit.column[f"{valve} contact"]] += hotter
        laid.append(values)
        start.append(np.repeat(point.standing.x, DRIVE_STEPS, axis=1))
    found = circuit.solve(np.concatenate(laid, axis=1), np.concatenate(start, axis=1), strict=False, thorough=False)
    out = {}
    for k, pair in enumerate(wanted):
        own = columns_of(found, slice(k * DRIVE_STEPS, (k + 1) * DRIVE_STEPS))
        out[pair] = own.x, own.values, own.settled
    return out
