"""A grid and what is on it: stopper, leak, coupling, and which valves it takes signal or dc from."""

from dataclasses import dataclass

from firstglow.amplifier.graph import Branch
from firstglow.amplifier.look import Look

STOPPER_OHMS = 150e3  # a resistor above this in a grid lead is a leak or an attenuator (common practice) [ohm]


@dataclass(frozen=True, slots=True)
class GridNetwork:
    """What surrounds one grid.

    drive: joint the signal arrives at (the grid itself without a stopper). leak: part from drive or grid to
    ``leak_joint``. coupling: capacitors on drive that lead to another valve. sources: sections the signal comes from.
    direct: sections whose plate or cathode sets this grid's dc.
    """

    grid: str
    drive: str
    stopper: str | None
    leak: str | None
    leak_joint: str | None
    coupling: tuple[str, ...]
    sources: tuple[str, ...]
    direct: tuple[str, ...]


def grid_network(look: Look, section: str) -> GridNetwork:
    """Read the surroundings of a section's grid."""
    if section not in look.grids:
        look.grids[section] = _read(look, section)
    return look.grids[section]


def _read(look: Look, section: str) -> GridNetwork:
    grid = look.part(section).leads["grid"]
    drive, stopper = _drive(look, section, grid)
    leak = _leak(look, section, grid, drive, stopper)
    coupling = tuple(
        b.part
        for b in look.net.at[drive]
        if b.sort == "capacitor" and signal_sources(look, section, b.far(drive), {drive})
    )
    return GridNetwork(
        grid,
        drive,
        stopper,
        leak[0] if leak else None,
        leak[1] if leak else None,
        coupling,
        signal_sources(look, section, drive, set()),
        direct_sources(look, section),
    )


def _others(look: Look, section: str, joint: str) -> tuple[str, ...]:
    """Other sections with plate or cathode on a joint that does not hold this section's own cathode."""
    if joint == "chassis" or section in look.at(joint, "cathode"):
        return ()
    return tuple(s for s in look.at(joint, "plate", "cathode") if s != section)


def _arrives(look: Look, section: str, joint: str) -> bool:
    """Whether signal arrives at a joint: another valve's electrode, or a capacitor that leads to one."""
    if joint in look.quiet:
        return False
    if _others(look, section, joint):
        return True
    return any(
        b.sort == "capacitor"
        and b.far(joint) not in look.quiet
        and signal_sources(look, section, b.far(joint), {joint})
        for b in look.net.at[joint]
    )


def _drive(look: Look, section: str, grid: str) -> tuple[str, str | None]:
    """(joint where signal arrives, stopper between it and the grid)."""
    if _arrives(look, section, grid):
        return grid, None
    for b in sorted(look.net.at[grid], key=lambda b: b.ohms):
        if b.sort in {"resistance", "wire"} and b.ohms < STOPPER_OHMS and _arrives(look, section, b.far(grid)):
            return b.far(grid), b.part
    # nothing drives it (an input, a fragment): a stopper is a resistor whose far side carries the leak
    ways = [b for b in look.net.at[grid] if b.sort in {"resistance", "wire"}]
    if len(ways) == 1 and ways[0].ohms < STOPPER_OHMS:
        far = ways[0].far(grid)
        if not look.rail(far) and far not in look.quiet and not _is_pot(look, ways[0]):
            return far, ways[0].part
    return grid, None


def _is_pot(look: Look, b: Branch) -> bool:
    return look.part(b.part).kind == "pot"


def _leak(look: Look, section: str, grid: str, drive: str, stopper: str | None) -> tuple[str, str] | None:
    """(part, far joint) of the resistor that gives the grid its dc: the one with the least ohms to a reference."""
    best: tuple[float, str, str] | None = None
    for joint in dict.fromkeys((drive, grid)):
        for b in look.net.at[joint]:
            if b.sort != "resistance" or b.part == stopper:
                continue
            far = b.far(joint)
            cost = _to_reference(look, section, far, {grid, drive})
            if cost is not None and (best is None or b.ohms + cost < best[0]):
                best = (b.ohms + cost, b.part, far)
    return None if best is None else best[1:]


def _to_reference(look: Look, section: str, joint: str, passed: set[str]) -> float | None:
    """Ohms from a joint to chassis, a negative rail or HT minus, not past another valve's plate or cathode."""
    if joint == "chassis" or joint in look.negative or joint in look.minus:
        return 0.0
    if joint in look.positive or _others(look, section, joint):
        return None
    stop = {
        *passed,
        *look.negative,
        *look.minus,
        *look.positive,
        *(j for j in look.electrodes if _others(look, section, j)),
    }
    found = look.ohmic(joint, stop, ("wire", "resistance", "choke", "winding", "lamp"))
    ends = [c for j, (c, _) in found.items() if j == "chassis" or j in look.negative or j in look.minus]
    return min(ends) if ends else None


def signal_sources(look: Look, section: str, joint: str, passed: set[str]) -> tuple[str, ...]:
    """Sections whose plate or cathode a joint is coupled to through resistors, pots and capacitors, first met first."""
    if joint == "chassis" or joint in passed or joint in look.quiet:
        return ()
    if _others(look, section, joint):
        return _others(look, section, joint)
    if section not in look.at(joint, "grid") and look.electrodes.get(joint):
        return ()
    found = look.walk([joint], ("resistance", "wire", "capacitor"), {*passed, *look.quiet, *look.electrodes})
    hits = [s for j in found if j not in look.quiet and j not in passed for s in _others(look, section, j)]
    return tuple(dict.fromkeys(hits))


def direct_sources(look: Look, section: str) -> tuple[str, ...]:
    """Sections whose plate or cathode sets this grid's dc, through wires and resistors."""
    grid = look.part(section).leads["grid"]
    if grid in look.quiet:
        return ()
    if _others(look, section, grid):
        return _others(look, section, grid)
    stop = {*look.quiet, *look.positive, *look.negative, *(j for j in look.electrodes if j != grid)}
    found = look.walk([grid], ("resistance", "wire"), stop)
    hits = [s for j in found if j not in look.quiet for s in _others(look, section, j)]
    return tuple(dict.fromkeys(hits))
