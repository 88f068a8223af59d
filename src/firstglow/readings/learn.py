"""Bands that learn: what the readings taken so far leave of a reading's band.

Every reading is nearly a straight line of the same parts, so those before it say where it must lie (``given.py``: the
joint normal of the ladder, conditioned). A learned band only ever lies inside the sheet's own; stop limits do not move
with it; and what did not fit its own band is no ground for anything that follows, so no fault is learned away.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from firstglow.readings.expected import ExpectedLadder, ExpectedReading


@dataclass(frozen=True, slots=True)
class Learned:
    """A reading with what is left of its band. grounds: how many readings before it say so; 0: the sheet's own band."""

    reading: ExpectedReading
    grounds: int = 0


def learned(ladder: ExpectedLadder, name: str, taken: Mapping[str, float]) -> Learned:
    """One reading as the accepted readings before it leave it.

    taken: reading id -> value as the ladder's meter shows it at the ladder's mains [SI], of readings that were go on.
    """
    reading, given = ladder.by_id[name], ladder.given
    if given is None or reading.on is None or reading.note_only or reading.low is None or reading.high is None:
        return Learned(reading)
    before = given.before(name, taken)
    if not before or not isinstance(reading.expected, float):
        return Learned(reading)
    middle, low, high = given.narrowed(before, name)
    low = max(reading.low, reading.on.rounded(low, -1))
    high = min(reading.high, reading.on.rounded(high, 1))
    if low > high:
        return Learned(reading)  # what came before leads outside the band: nothing is learned from it
    middle = min(max(reading.on.rounded(middle), low), high)
    return Learned(replace(reading, expected=middle, low=low, high=high), len(before))
