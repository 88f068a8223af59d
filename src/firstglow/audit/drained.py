"""The bleeders that the order list buys: across what nothing drawn drains, or what a switch or fuse parts from its drain."""

from collections.abc import Mapping

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import supplies
from firstglow.audit.parted import partings
from firstglow.audit.pieces import Item, resistor
from firstglow.audit.stored import at_worst
from firstglow.quantities import show
from firstglow.readings.bleeder import Bleeder
from firstglow.solver.discharge import way_between, way_out
from firstglow.solver.standing import SolveError


def drains(amplifier: Amplifier) -> dict[str, Item]:
    """Capacitor -> what is bought across it: the same that ``firstglow discharge`` proposes. Empty for what stands on no mains, and
    where its volts could not be worked out."""
    if not amplifier.of_kind("inlet") or _drained(amplifier):
        return {}
    try:
        kept = at_worst(amplifier)
    except SolveError:
        return {}
    mine = {n: b for n, b in kept.bleeders.items() if n in kept.never or n in kept.behind}
    return {n: _item(amplifier, b, kept.behind) for n, b in mine.items()}


def _drained(amplifier: Amplifier) -> bool:
    """Has every HT supply a way drawn that empties it, and nothing inside that could part one from it? Then no volts are asked for."""
    at = Situation(0.0)
    if any(True for _ in partings(amplifier)):
        return False
    return all(
        way_between(amplifier, at, s.joint, s.ret)
        or all(way_out(amplifier, at, c) for c in (s.reservoirs or (s.reservoir,)) if c)
        for s in supplies(amplifier)
        if s.use == "ht"
    )


def _item(amplifier: Amplifier, b: Bleeder, behind: Mapping[str, str]) -> Item:
    one, two = amplifier.parts[b.across].leads.values()
    several = f"{b.count} in series, " if b.count > 1 else ""
    part = behind.get(b.across)
    why = f"with {part} open nothing drains it" if part else "nothing drawn drains it"
    note = (
        f"{several}a bleeder across {b.across}, {one} to {two}: {why} once it is off; below 60 V in {b.seconds:.0f} s then, "
        f"{show(b.each_volts, 'V', 2)} on each"
    )
    return Item(b.count, resistor(b.each_ohms, b.each_watts), note, "across it", b.count, for_part=b.across)
