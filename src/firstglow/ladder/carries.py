"""What an output valve carries, by what was read: milliamperes over the resistor as measured, and the watts of its plate.

Ohm's law and P = (plate - cathode) x (cathode current - screen current), the screen's share by the drawing. A remark beside a
reading that is judged by its own band and stop; it judges nothing.
"""

from firstglow.amplifier.role_types import OutputValve
from firstglow.ladder.here import Here
from firstglow.ladder.ladder import Ladder
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.rated import section_of
from firstglow.records.record import Record


def carries(ladder: Ladder, place: Here, name: str) -> str:
    """In words, for an accepted reading of an output valve's cathode or plate; "" for any other."""
    reading, record = ladder.expected.by_id[name], place.taken.get(name)
    if record is None or not _plain(reading):
        return ""
    red = reading.planned.probe.red
    for v in ladder.frame.roles.outputs:
        ohms = _ohms(ladder, place, v)
        if ohms is None or v.envelope in reading.planned.situation.out:
            continue
        if red == v.cathode:
            return f"{_si(record) / ohms * 1e3:.1f} mA"
        if red == v.plate and sum(o.plate == red for o in ladder.frame.roles.outputs) == 1:
            return _at_the_plate(ladder, place, reading, v, ohms)
    return ""


def _at_the_plate(ladder: Ladder, place: Here, reading: ExpectedReading, v: OutputValve, ohms: float) -> str:
    """Current and watts, where its cathode was read in the same state of the same rung."""
    rows = [
        r.id
        for r in ladder.expected.readings()
        if r.rung == reading.rung and r.planned.situation == reading.planned.situation
        and _plain(r) and r.planned.probe.red == v.cathode and r.id in place.taken
    ]  # fmt: skip
    if not rows:
        return ""
    cathode = _si(place.taken[rows[-1]])
    amps = cathode / ohms
    watts = (_si(place.taken[reading.id]) - cathode) * (amps - _screen_amps(ladder, reading, v))
    most = section_of(ladder.frame.part(v.valve)).limits.plate_watts
    return f"{amps * 1e3:.1f} mA, plate {watts:.1f} W" + (f" of {most:g} W" if most else "")


def _screen_amps(ladder: Ladder, reading: ExpectedReading, v: OutputValve) -> float:
    """What the screen takes of it by the drawing [A]; 0 where it has no resistor of its own to say so (the watts are then
    those of plate and screen, never too few)."""
    if v.screen is None or v.screen_resistor is None or v.screen_joint is None:
        return 0.0
    joints = ladder.frame.physics.joints(reading.planned.situation)
    drop = joints[v.screen_joint][0] - joints[v.screen][0]
    return max(0.0, drop / ladder.frame.part(v.screen_resistor).value("ohms"))


def _ohms(ladder: Ladder, place: Here, v: OutputValve) -> float | None:
    """Of the one resistor from this valve's own cathode to chassis: as read cold, else as drawn."""
    part = v.sense or v.cathode_resistor
    if part is None or v.shares_cathode or set(ladder.frame.part(part).leads.values()) != {v.cathode, "chassis"}:
        return None
    for r in ladder.expected.readings():
        ends = {r.planned.probe.red, r.planned.probe.black}
        if r.kind == "ohms" and ends == {v.cathode, "chassis"} and r.id in place.taken:
            return _si(place.taken[r.id]) or None
    return ladder.frame.part(part).value("ohms")


def _plain(reading: ExpectedReading) -> bool:
    """Dc volts of one joint to chassis, under power."""
    probe = reading.planned.probe
    return (
        probe.kind == "dc volts"
        and probe.quantity == "volts"
        and probe.black == "chassis"
        and not probe.series_ohms
        and reading.planned.situation.mains_volts > 0.0
    )


def _si(record: Record) -> float:
    si = record.data.get("si")
    return float(si) if isinstance(si, int | float) else 0.0
