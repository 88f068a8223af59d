"""Readings at which a valve takes what its plate or its screen is rated for."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Part
from firstglow.readings.hotter import crossing, reading_at
from firstglow.readings.limit import Limit
from firstglow.readings.rated import section_of

Array = NDArray[np.float64]

# What a design-centre rating of watts became when the same valve was rated design-maximum: 12 to 14 W (6V6GT), 35 to 42 W
# (6550), both in the makers' sheets of the valve data. The first is for the average valve on its marked mains and leaves
# room for the spread, the second is for the hottest (IEC 60134).
DESIGN_MAXIMUM = 14.0 / 12.0

# The reading at which watts along a path reach a limit.
At = Callable[[Array, Array, float], float | None]


def at_watts(part: Part, electrode: str, shown: Array, watts: Array, hot: float) -> list[Limit]:
    """Limits on the size of a reading for the "plate" or the "screen" of one valve.

    shown, watts: (step,) size of the reading and watts of the valve as drawn, driven ever hotter. hot: how much more the
    hottest healthy one takes behind the same reading.
    """
    limits = section_of(part).limits
    most = {"plate": limits.plate_watts, "screen": limits.screen_watts}[electrode]
    if most is None:
        return []
    said = f"{most:g} W at its {electrode}"
    # a plate is never without its limit; a screen that nothing on the path takes to its own stands
    at = reading_at if electrode == "plate" else crossing
    found = _rated(part, said, shown, watts, hot, most, at)
    if not str(limits.rating_system).startswith("design-centre"):
        return found
    # a limit for the average valve gives way to what healthy ones read, as far as the hottest takes the design-maximum
    why = f"{part.name}: past what healthy ones read; {said} is for the average {part.type} (design-centre)"
    soft = [replace(limit, physical=False, yielded=why) for limit in found]
    full = at(shown, watts * hot, most * DESIGN_MAXIMUM)
    if full is None or watts[0] * hot >= most * DESIGN_MAXIMUM:  # as drawn already: nothing is left to stop at
        return soft
    over = f"{100 * (DESIGN_MAXIMUM - 1):.0f} % over the {said}"
    return [*soft, Limit("above", full, f"{part.name}: the hottest {part.type} of the spread then takes {over}")]


def _rated(part: Part, said: str, shown: Array, watts: Array, hot: float, most: float, at: At) -> list[Limit]:
    """The reading at which the hottest valve of the spread takes ``most``. Where that one takes it already behind what
    is expected, the reading at which the valve as drawn does; where the drawing itself runs past it (a finding says
    so), no rating is left to stop at, only the band."""
    here = at(shown, watts * hot, most)
    if here is None:
        return []
    if watts[0] * hot < most:
        return [Limit("above", here, f"{part.name}: the hottest {part.type} of the spread then takes {said}")]
    here = at(shown, watts, most)
    if here is None:
        return []
    if watts[0] < most:
        hottest = f"the hottest {part.type} of the spread does already where healthy ones read"
        return [Limit("above", here, f"{part.name} as drawn then takes {said}; {hottest}")]
    why = f"{part.name} takes {said} as drawn: past its rating before anything is wrong, and this is more"
    return [Limit("above", here, why, physical=False)]
