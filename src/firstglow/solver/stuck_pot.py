"""Presets of which one does nothing for its valve: a grid shorted to its cathode, a leak or a wiper open.

Turned all at once, the one that finds nothing swings between its ends and drags the others along, over the bias or HT that they share.
Here each in turn stands at its end, either one, and the others are turned; where its own valve misses its idle on the same side at both
ends, no place between would have reached it, and the nearer end is where it stays.
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.frame import Array
from firstglow.solver.idle import Idle, cathode_amps, result, turned_to
from firstglow.solver.standing import Standing

if TYPE_CHECKING:
    from firstglow.solver.circuit import Circuit


def one_at_its_end(
    circuit: "Circuit", laid: Array, made: Idle, valves: Mapping[str, list[str]], amps: Mapping[str, Array],
    lost: NDArray[np.intp],
) -> Idle:  # fmt: skip
    """``made`` with those of its ``lost`` samples put right that one stuck preset explains. laid: the amplifier before anything was
    turned (parameter, sample). valves: pot -> valves that it sets; amps: valve -> target (sample,), NaN where its pot is left alone."""
    p, x, settled = np.array(made.standing.values), np.array(made.standing.x), np.array(made.standing.settled)
    far = np.array([_over(made.standing, names, amps)[lost] for names in valves.values()])
    most = np.abs(np.nan_to_num(far)).argmax(axis=0)  # whose valve is farthest from its idle
    for k, (pot, names) in enumerate(valves.items()):
        own = lost[most == k]
        if not len(own):
            continue
        here = {v: a[own] for v, a in amps.items()}
        ends = [_turned_with(circuit, laid[:, own], valves, here, pot, end) for end in (0.0, 1.0)]
        over = np.array([_over(standing, names, here) for standing, _ in ends])
        good = ends[0][1] & ends[1][1] & (over[0] * over[1] > 0.0)
        nearer = np.abs(over).argmin(axis=0)
        for end, (standing, _) in enumerate(ends):
            take = good & (nearer == end)
            p[:, own[take]], x[:, own[take]], settled[own[take]] = standing.values[:, take], standing.x[:, take], True
    return result(Standing(x, p, settled, made.standing.steps, circuit), valves, amps)


def _over(standing: Standing, names: Sequence[str], amps: Mapping[str, Array]) -> Array:
    """By how much the valves that one pot sets are over their target together [A] (sample,)."""
    return np.asarray(sum(cathode_amps(standing, v) - amps[v] for v in names))


def _turned_with(
    circuit: "Circuit",
    laid: Array,
    valves: Mapping[str, Sequence[str]],
    amps: Mapping[str, Array],
    pot: str,
    end: float,
) -> tuple[Standing, NDArray[np.bool_]]:
    """The others turned while ``pot`` stands at ``end``, and where that came to rest."""
    p = np.array(laid)
    p[circuit.column[f"{pot} position"]] = end
    others = {v: np.full_like(a, np.nan) if v in valves[pot] else a for v, a in amps.items()}
    named = {name: list(own) for name, own in valves.items()}
    q, x, rest = turned_to(circuit, p, circuit.solve(p, None, strict=False).x, named, others)
    standing = circuit.solve(q, x, strict=False)
    told = result(standing, named, others)  # an idle missed for no reason does not count
    return told.standing, rest & told.standing.settled
