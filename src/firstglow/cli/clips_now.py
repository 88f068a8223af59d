"""Whose clip is whose at a set-up, for its card, and what its ammeter may show: a meter has one black and one red."""

from firstglow.ladder.climb import Climb
from firstglow.ladder.dialling import amps_text, most_amps
from firstglow.ladder.frame import Frame
from firstglow.ladder.live import LIVE_AC, LIVE_DC
from firstglow.ladder.steps import Stage
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.probe import PlannedReading
from firstglow.sheets.figures import counted_from


def meters(climb: Climb, stage: Stage) -> tuple[tuple[str, str], ...]:
    """(black, red) of each meter of a set-up; red "" where it stays a sheathed probe in one hand."""
    if not stage.powered:
        return ()
    mine = [climb.ladder.expected.by_id[name].planned for name in stage.readings]
    clipped = dict.fromkeys((_black(climb, r), f"{r.red_at}{_through(r)}") for r in mine if r.contact == "clip")
    held = dict.fromkeys((_black(climb, r), "") for r in mine if r.contact == "one hand")
    return (*clipped, *held)


def _black(climb: Climb, planned: PlannedReading) -> str:
    """Where black goes, with the volts that the lead then carries to its meter where those are dangerous."""
    dc, ac = climb.ladder.frame.physics.joints(planned.situation).get(planned.probe.black, (0.0, 0.0))
    volts, kind = (abs(dc), "") if abs(dc) > LIVE_DC else (abs(ac), " ac")
    live = abs(dc) > LIVE_DC or abs(ac) > LIVE_AC
    return f"{planned.black_at}, {volts:.0f} V{kind} on this lead" if live else planned.black_at


def _through(planned: PlannedReading) -> str:
    ohms = planned.probe.series_ohms
    return f", {Frame.ohms_text(ohms)} in this red clip" if ohms else ""


def pins(climb: Climb, stage: Stage) -> str:
    """How the pins of its sockets are counted, in words; "" where no clip and no probe goes to one."""
    mine = [climb.ladder.expected.by_id[name].planned for name in stage.readings]
    bases = dict.fromkeys(r.pin[0] for r in mine if r.pin and r.contact in ("clip", "one hand") and stage.powered)
    ways = list(dict.fromkeys(way for base in bases if (way := counted_from(base))))
    return f"seen from below, counted clockwise from {', '.join(ways)}" if ways else ""


def ammeter_limit(climb: Climb, reading: ExpectedReading) -> str:
    """The most that the bench's ammeter may show while the mains come up for a reading: the limit of its rung's own row where
    it has one, else twice what is computed; "" where the lamp in the line lets no more through anyway."""
    at = reading.planned.situation
    rows = [r for r in climb.rung(reading.rung).readings if r.planned.probe.quantity == "mains amps"]
    found = next((r for r in rows if r.planned.situation.mains_volts >= at.mains_volts), None)
    if found is not None and found.stop_above is not None:
        return found.text(found.stop_above.limit)
    most = most_amps(climb.ladder.frame, at)
    return "" if most is None else amps_text(most)
