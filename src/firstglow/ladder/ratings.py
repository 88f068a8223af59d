"""No reading past what meter and leads are rated for: the reading is left out, or the ladder ends before it. None across a
capacitor, or nearly so, without that one's working volts among its stops."""

from collections.abc import Sequence
from dataclasses import replace

from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung

MARGIN = 1.10  # healthy amplifiers differ, and mains move (common practice)
VOLTS = ("dc volts", "ac volts")
FOOT = 1e3  # ohm: the resistor a feedback loop comes in on, under a cathode's own, is no larger (common practice)


def volts_across(frame: Frame, reading: PlannedReading) -> float:
    """The most that a reading puts across the meter, nominal [V]."""
    if reading.situation.mains_volts == 0.0 or reading.probe.kind not in VOLTS:
        return 0.0
    joints = frame.physics.joints(reading.situation)
    red, black = (joints.get(j, (0.0, 0.0)) for j in (reading.probe.red, reading.probe.black))
    return max(abs(red[0] - black[0]), abs(red[1]) + abs(black[1]))


def within_ratings(frame: Frame, rungs: Sequence[PlannedRung]) -> list[PlannedRung]:
    """Rungs whose every reading the meter stands.

    With HT off a winding past the rating is read only on the rung with the low dial. With HT on nothing stands in for
    a reading: the ladder ends before that rung and says which meter it takes.
    """
    most = frame.gear.most_volts / MARGIN
    made: list[PlannedRung] = []
    for rung in rungs:
        past = [r for r in rung.readings if volts_across(frame, r) > most]
        if past and rung.id[0] in "23":
            keep = tuple(r for r in rung.readings if r not in past)
            note = frame.words.text("rung.note.left_out", what=", ".join(r.what for r in past))
            gone = {r.id for r in past}
            hold = replace(rung.hold, needs=tuple(n for n in rung.hold.needs if n not in gone))
            made.append(replace(rung, readings=keep, before=(*rung.before, note), hold=hold))
        elif past:
            volts = max(volts_across(frame, r) for r in past)
            text = frame.words.text("rung.note.meter", volts=f"{volts:.0f}", rating=f"{frame.gear.most_volts:.0f}")
            made[-1] = replace(made[-1], hold=Hold(False, text, made[-1].hold.needs))
            return made
        else:
            made.append(rung)
    return made


def within_capacitors(frame: Frame, rungs: Sequence[PlannedRung]) -> list[PlannedRung]:
    """Every reading that puts the meter across a capacitor of known volts is stopped at them, whatever it is read for; so is one
    whose black is on the other side of a small resistor than the capacitor's other end."""
    return [replace(rung, readings=tuple(_stopped(frame, r) for r in rung.readings)) for rung in rungs]


def _stopped(frame: Frame, reading: PlannedReading) -> PlannedReading:
    if reading.situation.mains_volts == 0.0 or reading.probe.kind != "dc volts" or reading.probe.quantity != "volts":
        return reading
    told = {rule.part for rule in reading.stops if rule.rule in ("capacitor volts", "surge volts")}
    red, black = reading.probe.red, reading.probe.black
    across = [name for name in frame.rated if name not in told and _across(frame, name, red, black)]
    return replace(reading, stops=(*reading.stops, *(stops.rating(name) for name in across)))


def _across(frame: Frame, capacitor: str, red: str, black: str) -> bool:
    """Is one end of it on the red joint, and the other on the black one or a small resistor away from it?"""
    ends = set(frame.part(capacitor).leads.values())
    return red in ends and any(end == black or _joined(frame, end, black) for end in ends - {red})


def _joined(frame: Frame, one: str, other: str) -> bool:
    resistors = frame.amplifier.of_kind("resistor")
    return any(set(r.leads.values()) == {one, other} and r.value("ohms") <= FOOT for r in resistors)
