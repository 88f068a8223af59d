"""What the transformer may carry, what it may draw alone, and how warm it got: guesses with their room said."""

from math import sqrt

from firstglow.amplifier.transformers import DC_TO_AC, regulation
from firstglow.readings.warm import COPPER_PER_KELVIN

CORE_ROOM, COPPER_ROOM = 0.35, 0.6  # either way, as a fraction (common practice)
NO_LOAD = (0.05, 0.15)  # of full-load amps (common practice); twice the upper is refused


def core_volt_amps(limb: float, stack: float, hertz: float) -> float:
    """VA from the section of the middle limb [m x m]: net cm2 = 1.15 sqrt(VA) at 50 Hz and 1.2 T (common practice)."""
    return float((0.95 * limb * stack * 1e4 / 1.15) ** 2 * hertz / 50.0)


def copper_volt_amps(volts: float, ohms: float) -> float:
    """VA at which half the usual regulation falls across the primary's ohms: VA = 0.5 regulation V^2 / R."""
    found = 100.0
    for _ in range(30):
        found = 0.5 * regulation(found, "EI") * volts**2 / ohms
    return found


def winding_amps(volts: float, ohms: float, volt_amps: float, rectified: bool) -> float:
    """Amps at which half the usual regulation falls across these ohms; dc where the winding feeds a rectifier."""
    return 0.5 * regulation(volt_amps, "EI") * volts / ohms / (DC_TO_AC if rectified else 1.0)


def volt_amps(core: float | None, copper: float) -> tuple[float, float]:
    """(VA, room either way as a fraction) from both guesses."""
    return (copper, COPPER_ROOM) if core is None else (sqrt(core * copper), CORE_ROOM)


def most_no_load(va: float, volts: float, percent: float) -> tuple[float, float, float]:
    """(least, most, refused above) amps with nothing connected, at that percent of the mains."""
    full = va / volts * percent / 100.0
    return NO_LOAD[0] * full * percent / 100.0, NO_LOAD[1] * full, 2 * NO_LOAD[1] * full


def rise(cold: float, warm: float, before: float, after: float) -> float:
    """Kelvin over the room, by copper (IEC 60028; resistance method of IEC 61558-1)."""
    return (warm / cold - 1.0) * (1.0 / COPPER_PER_KELVIN - 20.0 + before) - (after - before)
