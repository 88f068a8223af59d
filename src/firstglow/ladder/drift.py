"""An idle current that still moves (``readings.drift``), as the climb stands: held against its own last figure once that drifted."""

from typing import TYPE_CHECKING

from firstglow.readings import drift
from firstglow.readings.verdict import Verdict

if TYPE_CHECKING:
    from firstglow.ladder.here import Here
    from firstglow.ladder.ladder import Ladder
    from firstglow.records.record import Record

AGAIN = 600.0  # s


def drifting(verdict: Verdict, ladder: "Ladder", place: "Here", name: str) -> Verdict:
    """The verdict, ``look first`` where it would go on and moved by more than 2 % since the figure before it."""
    earlier = drift.before(ladder.expected, name)
    tried = drifted(place, name)
    record = tried or (place.taken.get(earlier) if earlier else None)
    was = None if record is None else record.data.get("compared")
    since = "the last time" if tried else ""
    return drift.drifting(ladder.expected, verdict, float(was), since) if isinstance(was, int | float) else verdict


def drifted(place: "Here", name: str) -> "Record | None":
    """The last answer to this reading, where that was "still drifting"."""
    tried = place.tried
    return tried if tried is not None and tried.reading == name and tried.why.startswith(drift.STILL) else None
