"""How every capacitor empties once the plug is out: times, energy, and which parts it empties through.

Mains off, valves not conducting: cathodes that are still hot only shorten the times, but a rectifier valve's, which may feed
one capacitor from another; it counts whichever way is slower. A diode blocks until what falls brings it into its forward
direction; from then on the capacitor behind it feeds what it follows (``following``). This is
arithmetic on the drawing, never a promise: a joint counts as discharged when a meter has read it.
"""

import heapq
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import ceil

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstglow.amplifier.model import Amplifier, Quantity
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.cold import ColdNetwork
from firstglow.solver.decay import Decay, Relaxation
from firstglow.solver.following import Either, Followed, Following, Later, emptying
from firstglow.solver.nodes import find_nodes
from firstglow.solver.passive import CHASSIS, Array, Branch, Passives, Values, passives
from firstglow.solver.pumps import pumped_joints

# 60 V dc: what an ordinary person may touch (IEC 62368-1 table 4, ES1); 10 V dc: the bench's own limit before hands
# go in (common practice).
HAZARD_VOLTS = 60.0
WORKING_VOLTS = 10.0
# Nobody waits longer than a day: slower than that is "never by itself".
NEVER_SECONDS = 86400.0
# A capacitor's leakage is a maker's upper figure, never a bleeder: the high bound counts only insulation.
NO_LEAK_OHMS = 1e15


@dataclass(frozen=True, slots=True)
class Tool:
    """A discharge resistor clipped from ``red`` to ``black``."""

    red: str
    black: str
    ohms: float


@dataclass(frozen=True, slots=True)
class CapacitorFall:
    """One capacitor after switch-off. Arrays are (sample,).

    start_volts: across it, + minus -. below_60_s, below_10_s: from when on its size stays below; inf for never by
    itself (longer than a day). joules: stored at the start. path: the parts of least resistance from its + to its -,
    in order; empty where nothing but leakage joins them.
    """

    part: str
    start_volts: Array
    below_60_s: Array
    below_10_s: Array
    joules: Array
    path: tuple[str, ...]


@dataclass(frozen=True)
class Discharge:
    """All capacitors after switch-off, and their volts at any time.

    relaxation: None where nothing holds charge. branches: the resistances they empty through.
    tool_watts, tool_joules: peak watts of the discharge resistor and all it takes up, (sample,); None without one.
    """

    relaxation: Relaxation | Following | Either | None
    branches: tuple[Branch, ...] = ()
    tool: Tool | None = None
    tool_watts: Array | None = None
    tool_joules: Array | None = None

    @cached_property
    def capacitors(self) -> tuple[CapacitorFall, ...]:
        """Every capacitor's row, in the amplifier's order."""
        if self.relaxation is None:
            return ()
        return tuple(_fall(self.relaxation, k, self.branches) for k in range(len(self.relaxation.stores)))

    def of(self, part: str) -> CapacitorFall:
        """One capacitor's row; KeyError for a part that is none."""
        numbers = {} if self.relaxation is None else {s.part: k for k, s in enumerate(self.relaxation.stores)}
        if self.relaxation is None or part not in numbers:
            raise KeyError(f"{part} is no capacitor of this discharge")
        return _fall(self.relaxation, numbers[part], self.branches)

    def below(self, volts: float) -> dict[str, Array]:
        """From when on each capacitor's size stays below ``volts``, by part (sample,) [s]; inf for never by itself."""
        if self.relaxation is None:
            return {}
        return {s.part: _or_never(self.relaxation.volts(k), volts) for k, s in enumerate(self.relaxation.stores)}

    def capacitor_volts(self, part: str, times: NDArray[np.float64]) -> Array:
        """Volts across a capacitor, (time, sample), times (time,) [s]."""
        numbers = {} if self.relaxation is None else {s.part: k for k, s in enumerate(self.relaxation.stores)}
        if self.relaxation is None or part not in numbers:
            raise KeyError(f"{part} is no capacitor of this discharge")
        return self.relaxation.volts(numbers[part]).at(times)

    def joint_volts(self, joint: str, times: NDArray[np.float64]) -> Array:
        """Volts of a joint to the chassis, (time, sample), times (time,) [s]."""
        if self.relaxation is None:
            return np.zeros((times.size, 1))
        return self.relaxation.between(joint, CHASSIS).at(times)

    def left(self, seconds: float, above: float = WORKING_VOLTS) -> dict[str, Array]:
        """What still stands on each capacitor at a time, for those whose size is above ``above`` in any sample."""
        out = {}
        for store in () if self.relaxation is None else self.relaxation.stores:
            volts = self.capacitor_volts(store.part, np.array([seconds]))[0]
            if (np.abs(volts) > above).any():
                out[store.part] = volts
        return out


def discharge(
    amplifier: Amplifier,
    situation: Situation,
    start_volts: Mapping[str, ArrayLike],
    faults: Sequence[Fault] = (),
    bleeder_open: frozenset[str] = frozenset(),
    values: Values | None = None,
    high: bool = False,
    tool: Tool | None = None,
) -> Discharge:
    """Every capacitor from switch-off on.

    start_volts: by capacitor (+ minus -) or by joint (to chassis), scalar or (sample,) [V]; a capacitor's own entry
        goes before its joints'. ValueError where a capacitor has neither: nothing is taken as empty.
    bleeder_open: resistors to be taken as open. values: parameter name -> (sample,).
    high: slow by tolerance: capacitance and resistance at the high end of their spreads, no help from leakage.
    tool: a discharge resistor put across two joints at switch-off.
    """
    assumed = (high_values(amplifier) if high else {}) | dict(values or {})
    opened = [Fault(name, "open") for name in sorted(bleeder_open)]
    resting = passives(amplifier, situation, assumed, [*faults, *opened])
    extra = [] if tool is None else [Branch("tool", tool.red, tool.black, np.full(1, tool.ohms), "tool")]
    if not resting.stores:
        return Discharge(None, tool=tool)
    network = ColdNetwork(resting, extra)
    charged = _charged(resting, start_volts)
    relaxation = emptying(resting, extra, network, charged)
    passed = frozenset() if isinstance(relaxation, Relaxation) else relaxation.passed
    ways = (Branch(j.part, j.anode, j.cathode, j.ohms) for j in resting.junctions if j.part in passed)
    branches = (*network.branches, *ways)
    if tool is None:
        return Discharge(relaxation, branches)
    across = relaxation.between(tool.red, tool.black)
    peak = across.at(np.zeros(1))[0] ** 2 / tool.ohms
    return Discharge(relaxation, branches, tool, peak, across.square_integral() / tool.ohms)


def way_out(amplifier: Amplifier, situation: Situation, capacitor: str) -> tuple[str, ...]:
    """Parts of least resistance from a capacitor's + to its -, as drawn; () where leakage alone empties it."""
    leads = amplifier.parts[capacitor].leads
    return way_between(amplifier, situation, leads["+"], leads["-"])


def way_between(amplifier: Amplifier, situation: Situation, red: str, black: str) -> tuple[str, ...]:
    """The same between two joints."""
    return least_path(ColdNetwork(passives(amplifier, situation, {}, []), []).branches, red, black)


def capacitor_starts(amplifier: Amplifier, mains_volts: float, dc: Callable[[str], Array]) -> dict[str, Array]:
    """Volts on every capacitor as it stands at switch-off, by capacitor (sample,): what ``discharge`` starts from.

    dc: dc volts of a joint (``Standing.dc``). A capacitor on the mains side may be left with the mains' peak. A small pump's
    is left by its two rectifiers with at most what stands between their far ends, whatever it swung to before.
    """
    mains_side = set(find_nodes(amplifier).mains)
    pumped = pumped_joints(amplifier)

    def left(joint: str) -> Array:
        """Where a joint stands once its winding is still; of a pump's, the steady joint that is further from chassis."""
        if joint not in pumped:
            return dc(joint)
        one, two = (dc(end) for end in pumped[joint])
        return np.asarray(np.where(np.abs(one) > np.abs(two), one, two))

    out = {}
    for part in amplifier.of_kind("capacitor"):
        plus, minus = part.leads["+"], part.leads["-"]
        if mains_side & {plus, minus}:
            out[part.name] = np.full(1, 2**0.5 * mains_volts)
        else:
            out[part.name] = left(plus) - left(minus)
    return out


def tool_ohms(volts: float) -> float:
    """Which discharge resistor: 10 kohm up to 600 V peak, 22 kohm above (common practice)."""
    return 10e3 if volts <= 600.0 else 22e3


TOOL_WATTS, TOOL_OVERLOAD = 10.0, 5.0
"""W, wirewound (common practice); how many times its watts it stands for the second or two that a discharge lasts (five times
for five seconds is the usual short-time overload of wirewounds, from memory)."""


def tool_watts(volts: float) -> float:
    """What the discharge resistor is made for [W], from the most volts that it meets: the one figure that every page tells."""
    return max(TOOL_WATTS, float(ceil(volts**2 / tool_ohms(volts) / TOOL_OVERLOAD)))


def resistors_across(amplifier: Amplifier, capacitor: str) -> tuple[str, ...]:
    """A capacitor's own bleeders: resistors that stand on the same two joints."""
    ends = set(amplifier.parts[capacitor].leads.values())
    return tuple(r.name for r in amplifier.of_kind("resistor") if set(r.leads.values()) == ends)


def high_values(amplifier: Amplifier) -> dict[str, float]:
    """Farads and ohms at the high end: a rectangle's edge, three standard deviations of a normal; no leakage."""
    out: dict[str, float] = {}
    for part in amplifier.parts.values():
        for attribute in ("ohms", "farads"):
            if attribute in part.values:
                out[f"{part.name} {attribute}"] = _high(part.values[attribute])
        if part.kind in {"capacitor", "diode"}:
            out[f"{part.name} leak_ohms"] = NO_LEAK_OHMS
        out |= {f"{part.name} {w.name} ohms": _high(w.ohms) for w in part.windings}
    return out


def _high(quantity: Quantity) -> float:
    reach = {"uniform": 1.0, "normal": 3.0, "exact": 0.0}[quantity.shape]
    return quantity.value * (1.0 + reach * quantity.spread)


def _charged(resting: Passives, start_volts: Mapping[str, ArrayLike]) -> Array:
    """Volts across each store, (store, sample)."""
    known = {name: np.atleast_1d(np.asarray(v, dtype=float)) for name, v in start_volts.items()}
    known.setdefault(CHASSIS, np.zeros(1))
    rows = []
    for store in resting.stores:
        if store.part in known:
            rows.append(known[store.part])
        elif store.a in known and store.b in known:
            rows.append(known[store.a] - known[store.b])
        else:
            raise ValueError(f"discharge: no start volts for {store.part} ({store.a} to {store.b})")
    return np.stack(np.broadcast_arrays(*rows))


def _fall(relaxation: Relaxation | Following | Either, number: int, branches: Sequence[Branch]) -> CapacitorFall:
    store = relaxation.stores[number]
    volts = relaxation.volts(number)
    start = volts.at(np.zeros(1))[0]
    times = [_or_never(volts, limit) for limit in (HAZARD_VOLTS, WORKING_VOLTS)]
    joules = 0.5 * store.farads * start**2
    return CapacitorFall(store.part, start, times[0], times[1], joules, least_path(branches, store.a, store.b))


def _or_never(volts: Decay | Followed | Later, limit: float) -> Array:
    seconds = volts.last_above(limit)
    return np.where(seconds > NEVER_SECONDS, np.inf, seconds)


def least_path(branches: Sequence[Branch], start: str, end: str) -> tuple[str, ...]:
    """Parts on the way of least resistance (first sample) between two joints; leakage and insulation are no way."""
    roads: dict[str, list[tuple[str, str, float]]] = {}
    for branch in branches:
        if branch.role in {"part", "tool"}:
            roads.setdefault(branch.a, []).append((branch.b, branch.part, float(branch.ohms[0])))
            roads.setdefault(branch.b, []).append((branch.a, branch.part, float(branch.ohms[0])))
    queue: list[tuple[float, str, tuple[str, ...]]] = [(0.0, start, ())]
    seen: set[str] = set()
    while queue:
        length, joint, path = heapq.heappop(queue)
        if joint == end:
            return path
        if joint in seen:
            continue
        seen.add(joint)
        for other, part, ohms in roads.get(joint, ()):
            way = path if path and path[-1] == part else (*path, part)
            heapq.heappush(queue, (length + ohms, other, way))
    return ()
