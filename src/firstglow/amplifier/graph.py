"""The amplifier as a graph: branches inside parts, walks along them, and which joints are held still.

Nothing here knows what a part is for. Branch ohms are nominal, used only to prefer one way.
"""

import heapq
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from firstglow.amplifier.model import Amplifier, Part

Sort = Literal[
    "wire",
    "resistance",
    "choke",
    "winding",
    "source",
    "diode",
    "valve",
    "grid",
    "gas",
    "heater",
    "lamp",
    "load",
    "capacitor",
]

# What direct current passes either way. A valve passes it from plate or screen to cathode, a grid does not count.
OHMIC: frozenset[Sort] = frozenset({"wire", "resistance", "choke", "winding", "heater", "lamp", "source"})
CONDUCTING: frozenset[Sort] = OHMIC | {"diode", "valve", "grid", "gas", "load"}

# A capacitor from here up holds a joint still at mains frequency; below, it couples or suppresses [F].
# Reservoirs were never under 1 uF, coupling and snubber capacitors seldom over 0.47 uF (common practice).
HOLDS_FARADS = 0.6e-6


@dataclass(frozen=True, slots=True)
class Branch:
    """One way through a part, from lead ``lead_a`` on joint ``a`` to ``lead_b`` on joint ``b``.

    sort: what kind of way. A "diode" conducts from a to b; a "valve" from a (plate, screen) to b (cathode); a
        "winding" has its phase dot at a.
    ohms: nominal dc ohms of this way, 0 where it has none of its own (a pot's at its drawn position).
    winding: the winding's name, else "".
    """

    part: str
    sort: Sort
    lead_a: str
    lead_b: str
    a: str
    b: str
    ohms: float = 0.0
    winding: str = ""

    def far(self, joint: str) -> str:
        """The joint at the other end."""
        return self.b if joint == self.a else self.a


Path = tuple[Branch, ...]


@dataclass(frozen=True, slots=True)
class Net:
    """All branches of an amplifier, and the branches at each joint (a joint without any has an empty tuple)."""

    amplifier: Amplifier
    branches: tuple[Branch, ...]
    at: Mapping[str, tuple[Branch, ...]]


def branches_of(part: Part) -> tuple[Branch, ...]:
    """Every way through one part. Inlets, inputs and unknown kinds have none."""

    def way(sort: Sort, lead_a: str, lead_b: str, ohms: float = 0.0, winding: str = "") -> tuple[Branch, ...]:
        if lead_a not in part.leads or lead_b not in part.leads:
            return ()
        return (Branch(part.name, sort, lead_a, lead_b, part.leads[lead_a], part.leads[lead_b], ohms, winding),)

    match part.kind:
        case "resistor":
            return way("resistance", "1", "2", part.value("ohms"))
        case "pot":
            ohms, wiper, at = part.value("ohms"), part.value("wiper_ohms"), part.value("position")
            return way("resistance", "end 1", "wiper", ohms * at + wiper) + way(
                "resistance", "wiper", "end 2", ohms * (1 - at) + wiper
            )
        case "capacitor":
            return way("capacitor", "+", "-")
        case "choke":
            return way("choke", "1", "2", part.value("ohms"))
        case "wire" | "fuse" | "switch":
            return way("wire", "1", "2", part.value("ohms"))
        case "diode":
            return way("diode", "anode", "cathode")
        case "rectifier":
            return way("diode", "plate 1", "cathode") + way("diode", "plate 2", "cathode")
        case "gas tube":
            return way("gas", "anode", "cathode")
        case "valve":
            return (
                way("valve", "plate", "cathode")
                + way("valve", "screen", "cathode")
                + way("grid", "grid", "cathode")
                + way("grid", "suppressor", "cathode")
            )
        case "heater":
            volts, amps = part.value("volts"), part.value("amps")
            ohms = volts / amps if amps else 0.0
            if "ct" in part.leads:
                return way("heater", "1", "ct", ohms / 2) + way("heater", "ct", "2", ohms / 2)
            return way("heater", "1", "2", ohms)
        case "lamp":
            amps = part.value("amps")
            return way("lamp", "1", "2", part.value("volts") / amps if amps else 0.0)
        case "load":
            return way("load", "hot", "common", part.value("ohms"))
        case "supply":
            return way("source", "+", "-", part.value("ohms"))
        case "transformer" | "output transformer":
            ways: tuple[Branch, ...] = ()
            for w in part.windings:
                ways += way("winding", w.start, w.end, w.ohms.value, w.name)
            return ways
    return ()


def net_of(amplifier: Amplifier) -> Net:
    """The graph of an amplifier as drawn (switches closed, links fitted, valves in)."""
    found: Net = amplifier.once("net_of", _net_of)
    return found


def _net_of(amplifier: Amplifier) -> Net:
    branches = tuple(b for part in amplifier.parts.values() for b in branches_of(part))
    at: dict[str, list[Branch]] = {joint: [] for joint in amplifier.joints}
    for b in branches:
        at.setdefault(b.a, []).append(b)
        if b.b != b.a:
            at.setdefault(b.b, []).append(b)
    return Net(amplifier, branches, {joint: tuple(found) for joint, found in at.items()})


def reach(
    net: Net,
    starts: Iterable[str],
    may: Callable[[Branch, str], bool],
    stop: Collection[str] = (),
) -> dict[str, Path]:
    """Joints reached from ``starts`` along branches for which ``may(branch, joint left from)`` holds.

    Returns joint -> the fewest-branch path to it (empty for a start). Joints in ``stop`` are reached, never passed.
    """
    paths: dict[str, Path] = dict.fromkeys(starts, ())
    queue = list(paths)
    for joint in queue:
        if joint in stop and paths[joint]:
            continue
        for b in net.at.get(joint, ()):
            far = b.far(joint)
            if far not in paths and may(b, joint):
                paths[far] = (*paths[joint], b)
                queue.append(far)
    return paths


def least_ohms(
    net: Net,
    start: str,
    cost: Callable[[Branch, str], float | None],
    stop: Collection[str] = (),
) -> dict[str, tuple[float, Path]]:
    """Joints reached from ``start``, each with the cheapest (cost, path); ``cost`` None bars a branch.

    Joints in ``stop`` are reached, never passed.
    """
    best: dict[str, tuple[float, Path]] = {}
    heap: list[tuple[float, int, str, Path]] = [(0.0, 0, start, ())]
    count = 0
    while heap:
        total, _, joint, path = heapq.heappop(heap)
        if joint in best:
            continue
        best[joint] = (total, path)
        if joint in stop and path:
            continue
        for b in net.at.get(joint, ()):
            step = cost(b, joint)
            if step is not None and b.far(joint) not in best:
                count += 1
                heapq.heappush(heap, (total + step, count, b.far(joint), (*path, b)))
    return best


def joints_along(start: str, path: Path) -> tuple[str, ...]:
    """The joints of a path in order, ``start`` first."""
    joints = [start]
    for b in path:
        joints.append(b.far(joints[-1]))
    return tuple(joints)


def is_primary(net: Net, branch: Branch) -> bool:
    """Whether a winding branch is a primary of its transformer (the mains side, or the plate side)."""
    return any(w.name == branch.winding and w.role == "primary" for w in net.amplifier.parts[branch.part].windings)


def is_mains_secondary(net: Net, branch: Branch) -> bool:
    """A secondary of a mains transformer, or a bench supply that gives ac: what can feed a rectifier or a heater."""
    part = net.amplifier.parts[branch.part]
    if branch.sort == "source":
        return part.value("hertz") > 0
    return branch.sort == "winding" and part.kind == "transformer" and not is_primary(net, branch)


def holds(net: Net, branch: Branch) -> bool:
    """A capacitor large enough to hold its joints still, or a bench supply that gives dc."""
    part = net.amplifier.parts[branch.part]
    if branch.sort == "source":
        return part.value("hertz") == 0
    return branch.sort == "capacitor" and part.value("farads") >= HOLDS_FARADS


def clusters(net: Net) -> dict[str, frozenset[str]]:
    """Joints held still relative to each other by large capacitors: joint -> its cluster (itself alone if none)."""
    found: dict[str, frozenset[str]] = {}
    for joint in net.at:
        if joint not in found:
            group = frozenset(reach(net, [joint], lambda b, _: holds(net, b)))
            found.update(dict.fromkeys(group, group))
    return found


def quiet_joints(net: Net) -> frozenset[str]:
    """Joints with a steady voltage to chassis: chassis, and what large capacitors hold to it or to a joint that is.

    A cluster of capacitors that stands off chassis only by resistors or chokes (a reservoir whose minus is on a back
    bias resistor) is quiet too, unless a winding drives it (the pumped capacitor of a cascade doubler).
    """
    groups = clusters(net)
    quiet = set(groups.get("chassis", frozenset({"chassis"})))
    pending = {g for g in groups.values() if len(g) > 1 and not g & quiet and _supplied(net, g)}

    def ohms(b: Branch, _: str) -> float | None:
        if b.sort in {"wire", "resistance", "choke", "heater"}:
            return b.ohms + 1e-3
        return None

    while pending:
        nearest: tuple[float, frozenset[str]] | None = None
        for group in sorted(pending, key=sorted):
            if _driven(net, group, quiet):
                continue
            near = [c for j in group for k, (c, _) in least_ohms(net, j, ohms, quiet).items() if k in quiet]
            if near and (nearest is None or min(near) < nearest[0]):
                nearest = (min(near), group)
        if nearest is None:
            break
        quiet |= nearest[1]
        pending.remove(nearest[1])
    return frozenset(quiet)


def _supplied(net: Net, group: frozenset[str]) -> bool:
    """Whether a rectifier or a mains winding stands at this cluster, through fuses and small resistors at most.

    A large coupling capacitor is no reservoir.
    """
    near = reach(net, group, lambda b, _: b.sort == "wire" or (b.sort == "resistance" and b.ohms < 1e3), {"chassis"})
    return any(
        b.sort == "diode" or is_mains_secondary(net, b) for joint in near for b in net.at[joint] if joint != "chassis"
    )


def _driven(net: Net, group: frozenset[str], quiet: Collection[str]) -> bool:
    """Whether a mains-transformer winding joins this cluster to a quiet joint."""

    def may(b: Branch, _: str) -> bool:
        return b.sort == "wire" or (b.sort == "resistance" and b.ohms < 10e3) or is_mains_secondary(net, b)

    paths = reach(net, group, may, quiet)
    return any(j in quiet and any(b.sort in {"winding", "source"} for b in path) for j, path in paths.items())


def ac_joints(amplifier: Amplifier) -> frozenset[str]:
    """Joints that carry ac from a mains transformer: winding ends and what hangs on them before any rectifier.

    Joints held still (chassis, reservoirs, a bypassed heater reference) are not among them; a heater line is.
    """
    net = net_of(amplifier)
    quiet = quiet_joints(net)
    starts = {j for b in net.branches if is_mains_secondary(net, b) for j in (b.a, b.b)} - quiet
    sorts = {"wire", "resistance", "winding", "heater", "lamp", "source"}
    found = reach(
        net, starts, lambda b, _: b.sort in sorts and (b.sort != "winding" or is_mains_secondary(net, b)), quiet
    )
    return frozenset(found) - quiet
