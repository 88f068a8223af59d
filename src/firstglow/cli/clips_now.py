"""Whose clip is whose at a set-up, for its card, and what its ammeter may show: a meter has one black and one red."""

from firstglow.ladder.climb import Climb
from firstglow.ladder.frame import Frame
from firstglow.ladder.steps import Stage
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.probe import PlannedReading
from firstglow.sheets.figures import counted_from


def meters(climb: Climb, stage: Stage) -> tuple[tuple[str, str], ...]:
    """(black, red) of each meter of a set-up; red "" where it stays a sheathed probe in one hand."""
    if not stage.powered:
        return ()
    mine = [climb.ladder.expected.by_id[name].planned for name in stage.readings]
    clipped = dict.fromkeys((r.black_at, f"{r.red_at}{_through(r)}") for r in mine if r.contact == "clip")
    held = dict.fromkeys((r.black_at, "") for r in mine if r.contact == "one hand")
    return (*clipped, *held)


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
    """The most that the bench's ammeter may show while the dial goes up for a reading; "" where its rung reads none."""
    at = reading.planned.situation.mains_volts
    rows = [r for r in climb.rung(reading.rung).readings if r.planned.probe.quantity == "mains amps"]
    found = next((r for r in rows if r.planned.situation.mains_volts >= at), None)
    return "" if found is None or found.stop_above is None else found.text(found.stop_above.limit)
