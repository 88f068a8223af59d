"""Which joints carry dc, which carry the windings' ac, and which belong to the mains side: the unknowns of a circuit."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from firstglow.amplifier.model import Amplifier, Part

CHASSIS = "chassis"
GROUNDED = frozenset({CHASSIS, "earth"})
"""Joints at 0 V ac. ``earth`` is bonded to chassis; the mains neutral is earthed at the supply."""
SERIES = ("wire", "fuse", "switch", "resistor", "heater", "lamp")
"""Kinds that carry the mains or a winding's ac on to the next joint."""
QUIET_FARADS = 1e-7
"""A joint with at least this to another one carries no winding's volts any further [F]: 0.1 uF is 32 kohm at 50 Hz."""


@dataclass(frozen=True, slots=True)
class Nodes:
    """dc, ac: joints with an unknown, in order. mains: joints on the mains side, with an in-phase and a quadrature one.

    at: (part, lead) -> node, which is the joint it stands on, or the free end of a link ("left feedback free end").
    """

    dc: tuple[str, ...]
    ac: tuple[str, ...]
    mains: tuple[str, ...]
    at: Mapping[tuple[str, str], str]

    def lead(self, part: Part, lead: str) -> str:
        """The node that a lead stands on."""
        return self.at[part.name, lead]


def free_end(link: str) -> str:
    """Name of the node that a liftable lead ends on."""
    return f"{link} free end"


def find_nodes(amplifier: Amplifier) -> Nodes:
    """Sort the joints. A link with a tie gets a node of its own, its free end."""
    found: Nodes = amplifier.once("find_nodes", _find_nodes)
    return found


def _find_nodes(amplifier: Amplifier) -> Nodes:
    at = {(p.name, lead): joint for p in amplifier.parts.values() for lead, joint in p.leads.items()}
    for link in amplifier.links.values():
        if link.tie is not None:
            at[link.part, link.lead] = free_end(link.name)
    mains = _mains_side(amplifier, at)
    ac = _alternating(amplifier, at, mains)
    everything = dict.fromkeys([*amplifier.joints, *at.values()])
    dc = tuple(j for j in everything if j != CHASSIS and j not in mains)
    return Nodes(dc, ac, mains, at)


def spread(start: Iterable[str], edges: list[tuple[str, str]], barred: frozenset[str] | set[str]) -> tuple[str, ...]:
    """Everything that ``start`` reaches over ``edges`` without passing through a ``barred`` joint (which is reached)."""
    near: dict[str, list[str]] = {}
    for a, b in edges:
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    found = dict.fromkeys(start)
    todo = list(found)
    while todo:
        here = todo.pop()
        if here in barred:
            continue
        for there in near.get(here, ()):
            if there not in found:
                found[there] = None
                todo.append(there)
    return tuple(found)


def series_edges(amplifier: Amplifier, at: Mapping[tuple[str, str], str]) -> list[tuple[str, str]]:
    """Pairs of nodes that parts in series join, links included."""
    edges = []
    for part in amplifier.of_kind(*SERIES):
        ends = [at[part.name, lead] for lead in part.leads]
        edges += [(ends[0], other) for other in ends[1:]]
    for link in amplifier.links.values():
        if link.tie is not None:
            edges.append((free_end(link.name), amplifier.joint_of(link.part, link.lead)))
    return edges


def _mains_side(amplifier: Amplifier, at: Mapping[tuple[str, str], str]) -> tuple[str, ...]:
    start = [at[p.name, lead] for p in amplifier.of_kind("inlet") for lead in ("line", "neutral")]
    edges = series_edges(amplifier, at)
    for part in amplifier.of_kind("transformer"):
        edges += [(at[part.name, w.start], at[part.name, w.end]) for w in part.windings if w.role == "primary"]
    found = spread(start, edges, GROUNDED)
    return tuple(j for j in found if j not in GROUNDED)


def _alternating(amplifier: Amplifier, at: Mapping[tuple[str, str], str], mains: tuple[str, ...]) -> tuple[str, ...]:
    start = [
        at[part.name, lead]
        for part in amplifier.of_kind("transformer")
        for w in part.windings
        if w.role != "primary"
        for lead in (w.start, w.end)
    ]
    start += [at[p.name, lead] for p in amplifier.of_kind("supply") if p.value("hertz") > 0 for lead in ("+", "-")]
    quiet = set(GROUNDED)
    for part in amplifier.of_kind("capacitor"):
        if part.value("farads") >= QUIET_FARADS:
            quiet |= {at[part.name, "+"], at[part.name, "-"]}
    edges = series_edges(amplifier, at)
    for part in amplifier.of_kind("pot"):
        ends = [at[part.name, lead] for lead in ("end 1", "wiper", "end 2")]
        edges += [(ends[0], ends[1]), (ends[1], ends[2])]
    found = spread(start, edges, quiet)
    found = (*found, *_rows(amplifier, at, found))
    return tuple(j for j in found if j not in GROUNDED and j not in mains)


def _rows(amplifier: Amplifier, at: Mapping[tuple[str, str], str], found: tuple[str, ...]) -> list[str]:
    """The joints between capacitors in series that alone hold a joint which ac reaches: without them its ac would hang on nothing."""
    joined: dict[str, set[str]] = {}
    for part in amplifier.of_kind("capacitor"):
        if part.value("farads") >= QUIET_FARADS:
            one, two = at[part.name, "+"], at[part.name, "-"]
            joined.setdefault(one, set()).add(two)
            joined.setdefault(two, set()).add(one)
    still, out = {*found, *GROUNDED}, []
    for joint in found:
        if joint in GROUNDED or joined.get(joint, set()) & GROUNDED:
            continue
        for way in _to_ground(joint, joined, still):
            out += [j for j in way if j not in out]
    return out


def _to_ground(joint: str, joined: Mapping[str, set[str]], still: set[str]) -> list[list[str]]:
    """From a joint over new ones to one at rest, along capacitors that follow each other."""
    ways = []
    for first in joined.get(joint, set()) - still:
        way, here = [first], first
        while not joined[here] & GROUNDED:
            onward = joined[here] - still - {joint, *way}
            if len(onward) != 1:
                break
            here = onward.pop()
            way.append(here)
        if joined[here] & GROUNDED:
            ways.append(way)
    return ways
