"""Small valves: loads, leaks, what drives what, and which sections share dc and go in together."""

from collections.abc import Iterable

from firstglow.amplifier.grids import direct_sources, grid_network
from firstglow.amplifier.look import Look
from firstglow.amplifier.role_types import Duty, OutputValve, SmallValve
from firstglow.amplifier.roles_output import BYPASS_FARADS, cathode_path


def small_valves(look: Look, outputs: tuple[OutputValve, ...]) -> tuple[SmallValve, ...]:
    """Every section that is no output valve, in the amplifier's order."""
    names = [p.name for p in look.amplifier.of_kind("valve") if p.name not in look.plates]
    groups = chains(look)
    drives = {name: _drives(look, name) for name in names}
    return tuple(_small(look, name, groups, drives[name], outputs) for name in names)


def _small(
    look: Look,
    name: str,
    groups: tuple[tuple[str, ...], ...],
    drives: tuple[str, ...],
    outputs: tuple[OutputValve, ...],
) -> SmallValve:
    part = look.part(name)
    grid = grid_network(look, name)
    load, feed = _plate_load(look, name)
    path = cathode_path(look, name)
    resistor = next((b.part for b in path if b.sort == "resistance"), None)
    chain = next((g for g in groups if name in g), (name,))
    return SmallValve(
        name,
        part.envelope or name,
        part.channel,
        part.leads["plate"],
        part.leads["grid"],
        part.leads["cathode"],
        part.leads.get("screen"),
        load,
        feed,
        grid.leak,
        grid.leak_joint,
        resistor,
        _bypass(look, name),
        _duty(look, name, load, drives),
        tuple(s for s in chain if s != name),
        tuple(s for s in grid.direct if s not in look.plates),
        drives,
        tuple(v.valve for v in outputs if v.driver == name),
        part.twin,
    )


def _plate_load(look: Look, name: str) -> tuple[tuple[str, ...], str | None]:
    """(resistors or chokes from the plate, the rail joint they end on)."""
    plate = look.part(name).leads["plate"]
    if plate in look.positive:
        return (), plate
    stop = {*look.positive, *(set(look.electrodes) - {plate})}
    found = look.ohmic(plate, stop, ("wire", "resistance", "choke", "winding"))
    ends = [(c, j) for j, (c, _) in found.items() if j in look.positive]
    if not ends:
        return (), None
    joint = min(ends)[1]
    parts = (b.part for b in found[joint][1] if b.sort in {"resistance", "choke"})
    return tuple(dict.fromkeys(parts)), joint


def _bypass(look: Look, name: str) -> str | None:
    """Large capacitor from the cathode, or from a joint of its path, to chassis or further down."""
    path = cathode_path(look, name)
    joint = look.part(name).leads["cathode"]
    joints = [joint]
    for b in path:
        joint = b.far(joint)
        joints.append(joint)
    across = [
        b.part
        for above in joints[:-1]
        for b in look.net.at[above]
        if b.sort == "capacitor"
        and b.far(above) in {*joints, "chassis"}
        and look.part(b.part).value("farads") >= BYPASS_FARADS
    ]
    return across[0] if across else None


def _drives(look: Look, name: str) -> tuple[str, ...]:
    """Sections that take their signal from this one's plate or cathode."""
    others = [p.name for p in look.amplifier.of_kind("valve") if p.name != name]
    return tuple(o for o in others if name in grid_network(look, o).sources)


def _duty(look: Look, name: str, load: tuple[str, ...], drives: tuple[str, ...]) -> Duty:
    leads = look.part(name).leads
    plate, cathode = leads["plate"], leads["cathode"]
    if _pair(look, name):
        return "long-tailed pair"
    if any(s != name for s in look.at(plate, "cathode")) or any(s != name for s in look.at(cathode, "plate")):
        return "cascode"
    if plate in look.positive:
        return "follower"
    from_cathode = [o for o in drives if _takes(look, o, cathode, plate)]
    from_plate = [o for o in drives if _takes(look, o, plate, cathode)]
    if load and from_cathode and from_plate:
        return "split load"
    return "gain" if load else "stage"


def _takes(look: Look, section: str, joint: str, other: str) -> bool:
    """Whether a section's grid hangs on ``joint`` rather than ``other``, through capacitors and resistors."""
    network = grid_network(look, section)
    if joint == "chassis":
        return False
    barrier = {*look.quiet, *(set(look.electrodes) - {joint, network.drive, network.grid}), other}
    found = look.walk([network.drive], ("resistance", "wire", "capacitor"), barrier)
    return joint in found and joint not in look.quiet


def _pair(look: Look, name: str) -> bool:
    """A section whose cathode current shares an unbypassed tail with another small section that has a plate load."""
    tail = _tail(look, name)
    cathode = look.part(name).leads["cathode"]
    if not tail or cathode == "chassis" or cathode in look.quiet:
        return False
    return any(o != name and tail & _tail(look, o) for o in _small_names(look))


def _tail(look: Look, name: str) -> frozenset[str]:
    """Resistors in the cathode path of a section."""
    return frozenset(b.part for b in cathode_path(look, name) if b.sort == "resistance")


def _small_names(look: Look) -> Iterable[str]:
    return (p.name for p in look.amplifier.of_kind("valve") if p.name not in look.plates)


def chains(look: Look) -> tuple[tuple[str, ...], ...]:
    """Groups of two or more small sections that share dc: direct coupling, a common tail, one standing on another."""
    names = list(_small_names(look))
    groups = {name: {name} for name in names}

    def join(a: str, b: str) -> None:
        if a in groups and b in groups and groups[a] is not groups[b]:
            groups[a] |= groups[b]
            for member in groups[b]:
                groups[member] = groups[a]

    for name in names:
        for other in direct_sources(look, name):
            join(name, other)
        for other in names:
            if other != name and _tail(look, name) & _tail(look, other):
                join(name, other)
        for other in _standing_on(look, name):
            join(name, other)
    unique = {id(g): g for g in groups.values()}
    return tuple(tuple(n for n in names if n in g) for g in unique.values() if len(g) > 1)


def _standing_on(look: Look, name: str) -> tuple[str, ...]:
    """Sections on whose plate this one's cathode stands, directly or through a resistor."""
    cathode = look.part(name).leads["cathode"]
    if cathode in look.quiet:
        return ()
    stop = {*look.quiet, *look.positive, *(set(look.electrodes) - {cathode})}
    found = look.walk([cathode], ("resistance", "wire"), stop)
    return tuple(
        s for j in found if j not in look.quiet for s in look.at(j, "plate") if s != name and s not in look.plates
    )
