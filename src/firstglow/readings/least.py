"""The least that healthy ohms may show: a junction in the way opens for one meter and not for another."""

import numpy as np

from firstglow.readings.asked import Block, Cast
from firstglow.readings.observe import Observer
from firstglow.readings.probe import PlannedReading

# What chance gives a junction, from one end to the other.
CHANCES = np.linspace(0.0005, 0.9995, 41)


def least_ohms(observer: Observer, block: Block, r: PlannedReading) -> float:
    """Of the amplifier as drawn, whatever the meter does to its junctions [ohm]. block: the one that ``r`` is in."""
    values = np.repeat(observer.nominal, len(CHANCES), axis=1)
    own = [Block(block.key, block.situation, (r,))]
    return float(observer.see(own, Cast(values, level=CHANCES)).values[r.id].min())
