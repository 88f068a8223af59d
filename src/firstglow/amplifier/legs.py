"""Rectifier legs: each way that charging current takes, through windings and rectifiers, between steady joints.

A leg is a loop of one winding span and one or more rectifying stages. It starts and ends on joints with a steady
voltage; in between are winding ends, fuses, switches, series resistors. What the structure cannot be read from is
handed back, never dropped.
"""

import heapq
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from firstglow.amplifier.graph import Branch, Net, Path, clusters, holds, is_mains_secondary, joints_along, quiet_joints
from firstglow.amplifier.leg_types import Leg, Plate, WindingStep

__all__ = ["Leg", "Plate", "WindingStep", "find_legs"]

PUMPS_FARADS = 5e-9  # a smaller capacitor at a rectifier is a snubber (common practice) [F]

_WIRE, _STAGE = 1e-3, 1.0  # cost of a winding or wire, and of a rectifier, beside ohms: fewer of them win


@dataclass(frozen=True, slots=True)
class Drive:
    """What swings a joint that has no dc path to a winding: windings, capacitors and series parts on the way."""

    windings: tuple[WindingStep, ...]
    capacitors: tuple[str, ...]
    series: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Search:
    """Everything the walks need of one amplifier.

    stages: parallel rectifier branches by (anode joint, cathode joint). own_heat: winding branches that do nothing but
    heat a rectifier, through which HT may leave from a tap: they count as wire.
    """

    net: Net
    quiet: frozenset[str]
    stages: Mapping[tuple[str, str], tuple[Branch, ...]]
    own_heat: frozenset[Branch]
    drives: "dict[str, Drive]" = field(default_factory=dict)

    def is_winding(self, branch: Branch) -> bool:
        """A winding (or ac bench supply) that can drive a leg."""
        return is_mains_secondary(self.net, branch) and branch not in self.own_heat


def find_legs(net: Net) -> tuple[tuple[Leg, ...], tuple[Branch, ...]]:
    """(legs, rectifier branches on a winding's side that belong to no leg)."""
    search = _search(net)
    found: dict[tuple[tuple[str, str], ...], Leg] = {}
    left = [pair for pair in search.stages if pair[0] != pair[1]]
    for held in _held_sets(search):
        left = _take(search, left, held, found)
    if left:
        _pumped(search, left)
        left = _take(search, left, search.quiet | set(search.drives), found)
    if left:
        left = _take(search, left, search.quiet | _dc_ends(search), found)
    unknown = tuple(b for pair in left for b in search.stages[pair] if _on_winding(search, b))
    return _merge_plates(list(found.values())), unknown


def _search(net: Net) -> Search:
    stages: dict[tuple[str, str], tuple[Branch, ...]] = {}
    for b in net.branches:
        if b.sort == "diode":
            stages[b.a, b.b] = (*stages.get((b.a, b.b), ()), b)
    return Search(net, quiet_joints(net), stages, _own_heat(net))


def _own_heat(net: Net) -> frozenset[Branch]:
    """Windings whose ends carry a rectifier's heater and its cathode: HT leaves from them, they add no HT."""
    parts = net.amplifier.parts
    cathodes = {p.leads["cathode"] for p in parts.values() if p.kind == "rectifier"}
    heated = {j for p in parts.values() if p.kind == "heater" for j in p.leads.values()}
    own: set[Branch] = set()
    for b in net.branches:
        if is_mains_secondary(net, b) and b.sort == "winding":
            span = _span(net, b)
            ends = {j for w in span for j in (w.a, w.b)}
            if ends & cathodes & heated and not any(x.sort == "diode" and x.a in ends for j in ends for x in net.at[j]):
                own.update(span)
    return frozenset(own)


def _span(net: Net, branch: Branch) -> tuple[Branch, ...]:
    """All sides of the winding a branch belongs to: windings of one part that hang together by their leads."""
    same = [b for b in net.branches if b.part == branch.part and b.sort == "winding" and is_mains_secondary(net, b)]
    joints, found = {branch.a, branch.b}, {branch}
    grown = True
    while grown:
        grown = False
        for b in same:
            leads = {b.lead_a, b.lead_b}
            if b not in found and any(leads & {f.lead_a, f.lead_b} for f in found):
                found.add(b)
                joints |= {b.a, b.b}
                grown = True
    return tuple(found)


def _held_sets(search: Search) -> Iterator[frozenset[str]]:
    """Sets of joints that are still relative to each other: those quiet to chassis first, then floating ones."""
    yield search.quiet
    seen: set[frozenset[str]] = set()
    for group in clusters(search.net).values():
        if len(group) > 1 and not group & search.quiet and group not in seen and not _winding_side(search, group):
            seen.add(group)
            yield group


def _winding_side(search: Search, joints: Iterable[str]) -> bool:
    """Whether a winding ends on one of these joints, through wires and resistors at most."""
    for joint in joints:
        for far in _plain_reach(search.net, joint):
            if any(search.is_winding(b) for b in search.net.at[far]):
                return True
    return False


def _plain_reach(net: Net, joint: str) -> set[str]:
    """Joints joined to one by wires, fuses, switches and series resistors of up to 10 kohm, chassis not passed."""
    found, queue = {joint}, [joint]
    for here in queue:
        for b in net.at[here]:
            far = b.far(here)
            if (
                (b.sort == "wire" or (b.sort == "resistance" and b.ohms < 10e3))
                and far not in found
                and far != "chassis"
            ):
                found.add(far)
                queue.append(far)
    return found


def _on_winding(search: Search, branch: Branch) -> bool:
    """A rectifier branch that ought to be in a leg: a rectifier valve's, or one with an end on a winding."""
    if search.net.amplifier.parts[branch.part].kind == "rectifier":
        return True
    return _winding_side(search, [j for j in (branch.a, branch.b) if j not in search.quiet])


# -- walking one stage to both ends ------------------------------------------------------------------------------
def _take(
    search: Search,
    pairs: list[tuple[str, str]],
    held: Collection[str],
    found: dict[tuple[tuple[str, str], ...], Leg],
) -> list[tuple[str, str]]:
    """Find the legs through the given stages that start and end in ``held``; returns the stages left over."""
    left = []
    for pair in pairs:
        if any(pair in key for key in found):
            continue
        whole = _whole(search, pair, held)
        if whole is None:
            left.append(pair)
            continue
        start, path, end = whole
        found[tuple((b.a, b.b) for b in path if b.sort == "diode")] = _leg(search, start, path, end, held)
    return [pair for pair in left if not any(pair in key for key in found)]


def _whole(search: Search, pair: tuple[str, str], held: Collection[str]) -> tuple[str, Path, str] | None:
    """The cheapest leg through a stage: (start, branches in conduction order, end)."""
    stage = search.stages[pair][0]
    best: tuple[float, str, Path, str] | None = None
    backs = _ways(search, pair[0], held, forward=False)
    ons = _ways(search, pair[1], held, forward=True)
    for (start, wound_back), (cost_back, back) in backs.items():
        for (end, wound_on), (cost_on, on) in ons.items():
            if start == end or not (wound_back or wound_on or start in search.drives or end in search.drives):
                continue
            before = (*joints_along(pair[0], back),)
            after = (*joints_along(pair[1], on),)
            if set(before) & set(after) or len(set(before)) < len(before) or len(set(after)) < len(after):
                continue
            cost = cost_back + cost_on
            if best is None or cost < best[0]:
                best = (cost, start, (*reversed(back), stage, *on), end)
    return None if best is None else best[1:]


def _ways(
    search: Search, start: str, held: Collection[str], forward: bool
) -> dict[tuple[str, bool], tuple[float, Path]]:
    """Cheapest ways from a stage's end to held joints, with (True) and without a winding on them."""
    best: dict[tuple[str, bool], tuple[float, Path]] = {}
    heap: list[tuple[float, int, str, bool, Path]] = [(0.0, 0, start, False, ())]
    count = 0
    while heap:
        cost, _, joint, wound, path = heapq.heappop(heap)
        if (joint, wound) in best:
            continue
        best[joint, wound] = (cost, path)
        if joint in held:
            continue
        for b in search.net.at[joint]:
            step = _cost(search, b, joint, forward)
            if step is None or b in path:
                continue
            count += 1
            now = wound or search.is_winding(b)
            heapq.heappush(heap, (cost + step, count, b.far(joint), now, (*path, b)))
    return {key: way for key, way in best.items() if key[0] in held}


def _cost(search: Search, b: Branch, joint: str, forward: bool) -> float | None:
    """Cost of passing a branch from a joint, None where a leg cannot."""
    if b.sort == "diode":
        return _STAGE if (b.a == joint) == forward else None
    if b.sort in {"wire", "resistance", "choke"}:
        return b.ohms + _WIRE
    return _WIRE if search.is_winding(b) or b in search.own_heat else None


def _leg(search: Search, start: str, path: Path, end: str, held: Collection[str]) -> Leg:
    """A leg from its branches in conduction order."""
    joints = joints_along(start, path)
    last = max(i for i, b in enumerate(path) if b.sort == "diode")
    windings = [_step(b, joints[i]) for i, b in enumerate(path) if search.is_winding(b)]
    coupling: list[str] = []
    extra: list[str] = []
    for joint, factor in ((start, 1.0), (end, -1.0)):
        if joint in search.drives:
            drive = search.drives[joint]
            windings += [WindingStep(w.part, w.winding, w.sign * factor) for w in drive.windings]
            coupling += drive.capacitors
            extra += drive.series
    choke, beyond, choke_first = None, None, False
    first, stop = start, end
    for i, b in enumerate(path):
        if b.sort == "choke":
            choke = b.part
            if i > last:
                stop, beyond = joints[i], end
                break
            first, beyond, choke_first = joints[i + 1], start, True
    ac, dc = _series(search, path)
    return Leg(
        first,
        stop,
        tuple(windings),
        tuple(tuple(Plate(s.part, s.lead_a) for s in search.stages[b.a, b.b]) for b in path if b.sort == "diode"),
        tuple(dict.fromkeys([*ac, *extra])),
        tuple(dict.fromkeys(dc)),
        tuple(coupling),
        choke,
        beyond,
        choke_first,
        all(j in search.quiet or j in search.drives or _held_alone(search, j, held) for j in (start, end)),
        frozenset(b.part for i, b in enumerate(path) if b.sort in {"wire", "resistance"} and joints[i] == b.b),
    )


def _series(search: Search, path: Path) -> tuple[list[str], list[str]]:
    """Series parts of a leg on the winding's side and on the dc side: beyond a rectifier with no winding after it."""
    marks = [i for i, b in enumerate(path) if b.sort == "diode" or search.is_winding(b)]
    first, last = marks[0], marks[-1]
    ac: list[str] = []
    dc: list[str] = []
    for i, b in enumerate(path):
        if b.sort in {"wire", "resistance"}:
            outside = (i < first and path[first].sort == "diode") or (i > last and path[last].sort == "diode")
            (dc if outside else ac).append(b.part)
    return ac, dc


def _held_alone(search: Search, joint: str, held: Collection[str]) -> bool:
    """A joint of a floating cluster of capacitors."""
    return joint in held and len(clusters(search.net)[joint]) > 1


def _step(b: Branch, left: str) -> WindingStep:
    """A winding passed from joint ``left``: its emf helps when walked from its end to its dot."""
    return WindingStep(b.part, b.winding, 1.0 if left == b.b else -1.0)


# -- joints driven through a capacitor -----------------------------------------------------------------------------
def _pumped(search: Search, pairs: Iterable[tuple[str, str]]) -> None:
    """Fill ``search.drives``: joints of these stages that a capacitor couples to a winding."""
    parts = search.net.amplifier.parts
    for joint in {j for pair in pairs for j in pair} - search.quiet:
        for b in search.net.at[joint]:
            if b.sort != "capacitor" or parts[b.part].value("farads") < PUMPS_FARADS:
                continue
            far = b.far(joint)
            if (joint, far) in search.stages or (far, joint) in search.stages or far in search.quiet:
                continue
            drive = _drive(search, far, b)
            if drive is not None:
                search.drives[joint] = drive
                break


def _drive(search: Search, joint: str, through: Branch) -> Drive | None:
    """What moves a joint: windings from a quiet joint to it, else half the span to a bridge's other end."""
    ways = _undirected(search, joint)
    quiet = [path for (j, wound), (_, path) in ways.items() if wound and j in search.quiet]
    if quiet:
        return _drive_of(search, joint, min(quiet, key=lambda p: (sum(b.ohms for b in p), len(p))), 1.0, through)
    for (far, wound), (_, path) in ways.items():
        if wound and far != joint and any(b.sort == "diode" for b in search.net.at[far]):
            return _drive_of(search, joint, path, 0.5, through)
    return None


def _drive_of(search: Search, joint: str, path: Path, factor: float, through: Branch) -> Drive:
    """Windings along a path AWAY from ``joint`` as an emf AT it; ``through``: the capacitor at the driven joint."""
    joints = joints_along(joint, path)
    steps = [_step(b, joints[i]) for i, b in enumerate(path) if search.is_winding(b)]
    return Drive(
        tuple(WindingStep(s.part, s.winding, -s.sign * factor) for s in steps),
        (through.part, *(b.part for b in path if b.sort == "capacitor")),
        tuple(b.part for b in path if b.sort in {"wire", "resistance"}),
    )


def _undirected(search: Search, start: str) -> dict[tuple[str, bool], tuple[float, Path]]:
    """Cheapest ways from a joint through windings, wires, resistors and pumping capacitors; quiet joints stop it."""
    best: dict[tuple[str, bool], tuple[float, Path]] = {}
    heap: list[tuple[float, int, str, bool, Path]] = [(0.0, 0, start, False, ())]
    count = 0
    while heap:
        cost, _, joint, wound, path = heapq.heappop(heap)
        if (joint, wound) in best:
            continue
        best[joint, wound] = (cost, path)
        if joint in search.quiet:
            continue
        for b in search.net.at[joint]:
            pumps = b.sort == "capacitor" and holds(search.net, b)
            if b in path or not (pumps or b.sort in {"wire", "resistance"} or search.is_winding(b)):
                continue
            count += 1
            heapq.heappush(
                heap, (cost + b.ohms + _WIRE, count, b.far(joint), wound or search.is_winding(b), (*path, b))
            )
    return best


def _dc_ends(search: Search) -> frozenset[str]:
    """Joints on the dc side of a rectifier that no capacitor holds: a rectifier that feeds its load bare."""
    found = set()
    for pair in search.stages:
        for joint in pair:
            others = [
                b for b in search.net.at[joint] if b.sort not in {"diode", "capacitor"} and not _across(search, b)
            ]
            if others and not _winding_side(search, [joint]):
                found.add(joint)
    return frozenset(found)


def _across(search: Search, b: Branch) -> bool:
    """Whether a branch lies across one rectifier (equalising resistor)."""
    return (b.a, b.b) in search.stages or (b.b, b.a) in search.stages


# -- parallel plates with resistors of their own --------------------------------------------------------------------
def _merge_plates(legs: list[Leg]) -> tuple[Leg, ...]:
    """Join legs that differ only in a plate and its own resistor: they conduct together from the same windings."""
    merged: list[Leg] = []
    for leg in legs:
        same = next((m for m in merged if _parallel(m, leg)), None)
        if same is None:
            merged.append(leg)
            continue
        common = tuple(p for p in same.series_ac if p in leg.series_ac)
        stage = tuple(
            Plate(p.part, p.lead, p.series or tuple(s for s in one.series_ac if s not in common))
            for one in (same, leg)
            for p in one.stages[0]
        )
        joined = Leg(same.start, same.end, same.windings, (stage,), common, same.series_dc, same.coupling,
                     same.choke, same.beyond, same.choke_first, same.held,
                     same.backwards | leg.backwards)  # fmt: skip
        merged[merged.index(same)] = joined
    return tuple(merged)


def _parallel(a: Leg, b: Leg) -> bool:
    """One stage each, same joints, same windings the same way round."""
    return (
        len(a.stages) == len(b.stages) == 1
        and (a.start, a.end, a.windings, a.coupling, a.beyond) == (b.start, b.end, b.windings, b.coupling, b.beyond)
    )  # fmt: skip
