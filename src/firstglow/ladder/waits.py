"""What a reading still waits for: "after 10 min" is taken ten minutes after the power came on, and not before.

Between two set-ups of one rung it is off for minutes: insulation, electrolytics and iron keep most of their warmth, so
the times under power on a rung are added up (common practice), and nobody waits an hour for every pair of clips.
"""

from collections.abc import Iterable
from datetime import datetime

from firstglow.amplifier.situation import Situation
from firstglow.devices.catalogue import valve_type
from firstglow.ladder.frame import Frame
from firstglow.readings.probe import PlannedReading, PlannedRung
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


def to_cool(records: Iterable[Record], planned: PlannedReading, now: datetime) -> float:
    """Seconds that it still stays off before the power that a reading is read from: the plug is in by then and its switch is
    not, so they are counted from when the plug last came out; 0 where it never was in."""
    out: datetime | None = None
    since: datetime | None = None
    for record in records:
        if record.event in ("pulled", "unplugged"):
            out = record.moment
        elif record.event == "power":
            since = out
    return 0.0 if since is None else max(0.0, planned.off_seconds - (now - since).total_seconds())


def to_fall(pulled: str, planned: PlannedReading, now: datetime) -> float:
    """Seconds after the plug came out that a reading which begins with it still waits."""
    return max(0.0, planned.probe.seconds - (now - datetime.fromisoformat(pulled)).total_seconds())


def begins_with_the_plug(planned: PlannedReading) -> bool:
    """Is it read so many seconds after the plug came out?"""
    return planned.probe.quantity == "volts after"


# Read from the first moment on: they are what tells that it must be switched off again.
AT_ONCE = ("lamp", "ac amps", "look")
# Of what is read from the moment on at which the plug comes out: everything warm before it (common practice).
WARM = 60.0  # s
# The highest of a cold start is over before the last cathode is warm.
PEAK = "peak volts"


def advised(frame: Frame, rung: PlannedRung, planned: PlannedReading) -> tuple[float, str]:
    """Seconds after the power came on before a reading is worth taking, and why, where nothing of it counts the minutes.

    A rung's own wait belongs to its readings "after minutes" where it has any; there the others wait for warm cathodes
    alone, and heaters for nothing. (0, "") for what is read at once.
    """
    at = planned.situation
    if (
        planned.probe.kind in AT_ONCE
        or planned.probe.quantity == PEAK
        or planned.settle_seconds
        or at.mains_volts == 0.0
    ):
        return 0.0, ""
    warm = warm_seconds(frame, at) if planned.probe.kind == "dc volts" or planned.probe.quantity != "volts" else 0.0
    found = (warm, "cathodes warm") if warm else (0.0, "")
    if any(r.settle_seconds for r in rung.readings):
        return found
    return max((rung.wait_seconds, rung.wait_why), found) if rung.wait_seconds else found


def still_advised(
    frame: Frame, rung: PlannedRung, planned: PlannedReading, on_for: float, powered: float
) -> tuple[float, str]:
    """Seconds that a reading is still advised to wait, and why: cathodes cool in every make safe, a rung's own wait is added up.

    on_for: seconds since the power came on. powered: those under power on the rung in all.
    """
    wanted, why = advised(frame, rung, planned)
    return max(0.0, wanted - (powered if why and why == rung.wait_why else on_for)), why


def warm_seconds(frame: Frame, at: Situation) -> float:
    """How long until every valve that is in a situation carries all its current [s]."""
    return max((warm_up(frame, name) for name in valves_in(frame, at)), default=0.0)


def valves_in(frame: Frame, at: Situation) -> list[str]:
    """The glass that is in, by name."""
    return sorted((frame.small_envelopes | frame.output_envelopes | frame.ht_rectifiers) - at.out)


def warm_up(frame: Frame, envelope: str) -> float:
    """Warm-up time of one glass [s], its type's."""
    part = next(p for p in frame.amplifier.parts.values() if envelope in (p.envelope, p.name) and p.type)
    return valve_type(part.type or "").warmup_s
