"""What every question about roles looks up: rails by joint, electrodes by joint, walks that stop where they should."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from firstglow.amplifier.graph import Branch, Net, Path, least_ohms, net_of, quiet_joints, reach
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.supplies import Supply, supplies
from firstglow.amplifier.supply_nodes import supply_nodes

if TYPE_CHECKING:
    from firstglow.amplifier.grids import GridNetwork


@dataclass(frozen=True, slots=True)
class Electrode:
    """One electrode of a valve section."""

    section: str
    name: str


@dataclass(frozen=True, slots=True)
class Look:
    """One amplifier with its rails and electrodes.

    positive, negative: joints of the rails (reservoir, nodes, dc bench supply) -> name of the supply.
    sources: joints that a supply holds by itself: reservoirs' and bench supplies'. minus: HT return joints other than
    chassis -> name of the supply. electrodes: by joint. plates: output valve section -> (output transformer, half).
    grids: grid networks already read, by section.
    """

    net: Net
    quiet: frozenset[str]
    supplies: tuple[Supply, ...]
    positive: Mapping[str, str]
    negative: Mapping[str, str]
    sources: Mapping[str, int]
    minus: Mapping[str, str]
    electrodes: Mapping[str, tuple[Electrode, ...]]
    plates: Mapping[str, tuple[str, str]]
    grids: "dict[str, GridNetwork]" = field(default_factory=dict, compare=False, repr=False)

    @property
    def amplifier(self) -> Amplifier:
        """The amplifier looked at."""
        return self.net.amplifier

    def part(self, name: str) -> Part:
        """A part by name."""
        return self.net.amplifier.parts[name]

    def at(self, joint: str, *names: str) -> tuple[str, ...]:
        """Sections with one of the named electrodes on a joint."""
        return tuple(e.section for e in self.electrodes.get(joint, ()) if e.name in names)

    def rail(self, joint: str) -> bool:
        """A joint of any rail, or chassis."""
        return joint == "chassis" or joint in self.positive or joint in self.negative

    def ohmic(
        self, start: str, stop: Iterable[str], sorts: Iterable[str] = ("wire", "resistance", "choke")
    ) -> dict[str, tuple[float, Path]]:
        """Cheapest dc ways from a joint through resistors, wires and chokes; joints in ``stop`` are not passed."""
        allowed = frozenset(sorts)
        return least_ohms(
            self.net, start, lambda b, _: b.ohms + 1e-3 if b.sort in allowed else None, frozenset(stop) | {"chassis"}
        )

    def walk(self, starts: Iterable[str], sorts: Iterable[str], stop: Iterable[str]) -> dict[str, Path]:
        """Joints reached through branches of the given sorts; joints in ``stop`` and chassis are not passed."""
        allowed = frozenset(sorts)
        return reach(self.net, starts, lambda b, _: b.sort in allowed, frozenset(stop) | {"chassis"})


def look_at(amplifier: Amplifier) -> Look:
    """Gather what the questions need."""
    net = net_of(amplifier)
    quiet = quiet_joints(net)
    found = supplies(amplifier)
    positive: dict[str, str] = {}
    negative: dict[str, str] = {}
    sources: dict[str, int] = {}
    minus: dict[str, str] = {}
    for s in found:
        if s.use == "heater":
            continue
        rail = positive if s.sign > 0 else negative
        for joint in (*s.nodes, s.joint, s.rectified):
            if joint != "chassis":
                rail.setdefault(joint, s.name)
        if s.form == "full-wave doubler" and s.middle is not None:
            # half of the rail, which a winding's tap may well be drawn to feed from
            for joint in (s.middle, *supply_nodes(net, s.middle, s.ret, quiet)):
                if joint != "chassis":
                    rail.setdefault(joint, s.name)
        sources[s.joint] = s.sign
        if s.use == "ht":
            minus |= dict.fromkeys(_minus(net, s), s.name)
    for part in amplifier.of_kind("supply"):
        _bench(net, quiet, part, positive, negative, sources)
    electrodes: dict[str, tuple[Electrode, ...]] = {}
    for part in amplifier.of_kind("valve"):
        for lead, joint in part.leads.items():
            electrodes[joint] = (*electrodes.get(joint, ()), Electrode(part.name, lead))
    for joint in minus:
        positive.pop(joint, None)
        negative.pop(joint, None)
    return Look(net, quiet, found, positive, negative, sources, minus, electrodes, _plates(net))


def _minus(net: Net, supply: Supply) -> tuple[str, ...]:
    """Joints below chassis in an HT supply's return: its return joint, or the far end of a resistor from chassis that
    all of its charging current passes (a back bias resistor whose reservoir is on chassis all the same)."""
    if supply.ret != "chassis":
        return (supply.ret,)
    passed = [{*leg.series_ac, *leg.series_dc} for leg in supply.legs]
    common = [p for p in supply.series if all(p in one for one in passed)]
    resistors = [net.amplifier.parts[p] for p in common if net.amplifier.parts[p].kind == "resistor"]
    far = [{*p.leads.values()} - {"chassis"} for p in resistors if "chassis" in p.leads.values()]
    return tuple(j for joints in far for j in joints)


def _bench(
    net: Net,
    quiet: frozenset[str],
    part: Part,
    positive: dict[str, str],
    negative: dict[str, str],
    sources: dict[str, int],
) -> None:
    """A dc bench supply of a fragment: positive with its minus on chassis, negative with its plus there."""
    if part.value("hertz") > 0 or part.value("volts") == 0:
        return
    up, down = part.leads["+"], part.leads["-"]
    if part.value("volts") < 0:
        up, down = down, up
    if down == "chassis" or up != "chassis":
        rail, joint, sign = positive, up, 1
    else:
        rail, joint, sign = negative, down, -1
    sources[joint] = sign
    for node in (joint, *supply_nodes(net, joint, "chassis", quiet)):
        rail.setdefault(node, part.name)


def _plates(net: Net) -> dict[str, tuple[str, str]]:
    """Valve sections whose plate is on a plate lead of an output transformer, directly or through a small resistor."""
    parts = net.amplifier.parts
    leads = {
        p.leads[f"plate {half}"]: (p.name, half)
        for p in parts.values()
        if p.kind == "output transformer"
        for half in ("a", "b")
        if f"plate {half}" in p.leads
    }

    def small(b: Branch, _: str) -> bool:
        return b.sort == "wire" or (b.sort == "resistance" and b.ohms < 1e3)

    found: dict[str, tuple[str, str]] = {}
    for p in parts.values():
        if p.kind == "valve":
            near = reach(net, [p.leads["plate"]], small, {*leads, "chassis"})
            hit = next((j for j in near if j in leads), None)
            if hit is not None:
                found[p.name] = leads[hit]
    return found
