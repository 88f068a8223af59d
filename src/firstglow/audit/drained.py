"""The bleeders that the order list buys: across what nothing drawn drains, or what a switch or fuse parts from its drain."""

from collections.abc import Mapping

from firstglow.amplifier.model import Amplifier
from firstglow.audit.pieces import Item, resistor
from firstglow.audit.stored import at_worst
from firstglow.quantities import show
from firstglow.readings.bleeder import Bleeder
from firstglow.solver.standing import SolveError


def drains(amplifier: Amplifier) -> dict[str, Item]:
    """Capacitor -> what is bought across it: the same that ``firstglow discharge`` proposes. Empty for what stands on no mains, and
    where its volts could not be worked out."""
    if not amplifier.of_kind("inlet"):
        return {}
    try:
        kept = at_worst(amplifier)
    except SolveError:
        return {}
    mine = {n: b for n, b in kept.bleeders.items() if n in kept.never or n in kept.behind}
    return {n: _item(amplifier, b, kept.behind) for n, b in mine.items()}


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
