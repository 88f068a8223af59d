"""A ladder document with numbers from the paper physics: enough for the walk and the schema, never a check value."""

from paper import PaperPhysics

from firstglow.amplifier.model import Amplifier
from firstglow.ladder.frame import Frame
from firstglow.ladder.gear import Gear
from firstglow.ladder.ladder import document
from firstglow.ladder.plan import frame_of, plan_frame
from firstglow.readings.expected import ExpectedLadder, ExpectedReading, ExpectedRung, Stop
from firstglow.readings.meters import meter_named
from firstglow.readings.probe import PlannedReading, PlannedRung

METER = meter_named("digital", {})


def numbers(frame: Frame, rung: PlannedRung, r: PlannedReading) -> ExpectedReading:
    """Volts from the paper; anything else a figure of its kind."""
    kind = r.probe.kind
    if kind in ("look", "lamp"):
        word = r.expect_word or "dark"
        return ExpectedReading(r, rung.id, expected=word, words=(word,))
    if r.probe.quantity == "open ohms":
        return ExpectedReading(r, rung.id, METER.of_kind("ohms")[-1], None, 1e6)
    value = 100.0
    if kind in ("dc volts", "ac volts"):
        place = 0 if kind == "dc volts" else 1
        joints = frame.physics.joints(r.situation) if r.situation.mains_volts else {}
        red, black = (joints.get(j, (0.0, 0.0))[place] for j in (r.probe.red, r.probe.black))
        value = red - black
    if r.probe.quantity == "gain ratio":
        value = 1 / 1.2
    on = METER.range_for(kind, value)
    above = Stop(value + abs(value) + 1.0, "paper") if r.stops else None
    return ExpectedReading(r, rung.id, on, value, value - 0.1 * abs(value), value + 0.1 * abs(value), stop_above=above)


def expected_of(frame: Frame, rungs: tuple[PlannedRung, ...]) -> ExpectedLadder:
    """All rungs with such numbers."""
    made = tuple(ExpectedRung(rung, tuple(numbers(frame, rung, r) for r in rung.readings)) for rung in rungs)
    by_id = {r.id: r for rung in made for r in rung.readings}
    a = frame.amplifier
    return ExpectedLadder(a.name, a.digest, frame.gear.mains_now, METER, made, by_id=by_id)


def ladder_on_paper(amplifier: Amplifier, gear: Gear | None = None) -> tuple[Frame, dict[str, object]]:
    """(frame, document)."""
    frame = frame_of(amplifier, gear or Gear(amplifier.mains_volts), PaperPhysics(amplifier))
    return frame, document(frame, expected_of(frame, plan_frame(frame)))
