"""What a reading still waits for: "after 10 min" is taken ten minutes after the power came on, and not before.

Between two set-ups of one rung it is off for minutes: insulation, electrolytics and iron keep most of their warmth, so
the times under power on a rung are added up (common practice), and nobody waits an hour for every pair of clips.
"""

from collections.abc import Iterable
from datetime import datetime

from firstglow.readings.probe import PlannedReading
from firstglow.records.record import Record


def powered_for(records: Iterable[Record], rung: str, now: datetime) -> float:
    """Seconds under power on one rung, since it was last begun."""
    total, on = 0.0, None
    for record in records:
        if record.event == "power" and record.rung == rung:
            on = record.moment
        elif on is not None and record.event in ("switch off", "switch off now"):
            total, on = total + (record.moment - on).total_seconds(), None
        elif record.event == "repeat":
            total = 0.0
    return total if on is None else total + (now - on).total_seconds()


def to_settle(planned: PlannedReading, powered: float) -> float:
    """Seconds that a reading still waits, ``powered`` seconds after the power came on."""
    return max(0.0, planned.settle_seconds - powered)
