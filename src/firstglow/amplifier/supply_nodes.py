"""The joints that one supply feeds: each large capacitor's, as far as its current goes on."""

from firstglow.amplifier.graph import Branch, Net, holds, least_ohms


def supply_nodes(net: Net, joint: str, ret: str, quiet: frozenset[str]) -> tuple[str, ...]:
    """Joints that large capacitors hold and ``joint`` feeds through resistors and chokes, nearest first.

    Bypassed cathodes, decoupled screens of a single small valve and a heater line's reference are not nodes.
    """
    stop = {"chassis", ret}

    def ohms(b: Branch, left: str) -> float | None:
        if b.sort not in {"wire", "resistance", "choke", "lamp"} or left in stop:
            return None
        if left != joint and not _passes(net, left, quiet):
            return None
        return b.ohms + 1e-3

    found = least_ohms(net, joint, ohms, stop)
    near = sorted((cost, j) for j, (cost, _) in found.items() if j not in stop)
    return tuple(j for _, j in near if j == joint or (j in quiet and is_node(net, j)))


def _passes(net: Net, joint: str, quiet: frozenset[str]) -> bool:
    """Supply current goes on through this joint: a node, or a joint where no valve's electrode stands."""
    electrodes = any(b.sort in {"valve", "grid"} for b in net.at[joint])
    return not electrodes or (joint in quiet and is_node(net, joint))


def is_node(net: Net, joint: str) -> bool:
    """A joint that a large capacitor holds and that feeds more than one small valve's own electrode."""
    at = net.at[joint]
    if not any(b.sort == "capacitor" and holds(net, b) for b in at):
        return False
    if any(b.sort == "heater" or (b.sort == "winding" and _mains_winding(net, b)) for b in at):
        return any(b.sort == "diode" for b in at)  # a rectifier's own heater on HT
    if any(b.sort in {"valve", "grid"} and joint == b.b and b.lead_b == "cathode" for b in at):
        return False
    if any(b.sort == "grid" for b in at):
        return False
    if any(b.sort == "diode" for b in at):
        return True
    screens = [b for b in at if b.sort == "valve" and b.lead_a == "screen"]
    ways = [b for b in at if b.sort in {"resistance", "choke", "wire", "winding"} and not _only_ties(net, b.far(joint))]
    if len(screens) == 1 and len(ways) <= 1 and not _output_plate(net, screens[0]):
        return False
    # one way is its own feed: a node feeds something besides
    return len(ways) + sum(b.sort in {"valve", "gas"} for b in at) > 1


def _only_ties(net: Net, joint: str) -> bool:
    """Chassis, or a heater line: a divider that ends here lifts heaters, it feeds nothing."""
    if joint == "chassis":
        return True
    at = net.at[joint]
    heats = any(b.sort == "heater" or (b.sort == "winding" and _mains_winding(net, b)) for b in at)
    return heats and not any(b.sort == "diode" for b in at)


def _mains_winding(net: Net, b: Branch) -> bool:
    return net.amplifier.parts[b.part].kind == "transformer"


def _output_plate(net: Net, screen: Branch) -> bool:
    """Whether the valve of this screen has its plate on an output transformer."""
    parts = net.amplifier.parts
    plate = parts[screen.part].leads.get("plate", "")
    return any(b.sort == "winding" and parts[b.part].kind == "output transformer" for b in net.at.get(plate, ()))
