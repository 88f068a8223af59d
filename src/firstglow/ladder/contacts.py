"""Whether a probe may be held on a powered joint or is clipped on with the power off (LADDER 1), by the volts of every situation."""

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from firstglow.amplifier.situation import Situation
from firstglow.ladder.places import End
from firstglow.readings.asked import RESTING
from firstglow.readings.probe import Contact, PlannedReading, PlannedRung

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

HAND_DC = 60.0  # V: the most a sheathed probe is held on (IEC 62368-1 ES1, from memory)
HAND_AC = 30.0  # V rms, the same
HAND_SHARE = 0.85  # healthy amplifiers differ: a joint this close to the limit is clipped, not held (common practice)


def with_contacts(frame: "Frame", rungs: Iterable[PlannedRung]) -> list[PlannedRung]:
    """The rungs with "one hand" where the volts allow it. All situations are asked of the physics in one go."""
    rungs = list(rungs)
    readings = [r for rung in rungs for r in rung.readings]
    frame.physics.prepare(
        [r.situation for r in readings] + [rung.situation for rung in rungs],
        [r.situation for r in readings if r.probe.quantity not in RESTING],
    )
    return [replace(rung, readings=tuple(_touched(frame, r) for r in rung.readings)) for rung in rungs]


def _touched(frame: "Frame", reading: PlannedReading) -> PlannedReading:
    ends = frame.ends.get(reading.id)
    return reading if ends is None else replace(reading, contact=contact(frame, reading.situation, *ends))


def contact(frame: "Frame", situation: Situation, red: End, black: End) -> Contact:
    """Clip or one hand: by the volts at both ends and at every bare neighbour within a slip."""
    joints = frame.physics.joints(situation)
    both = [joints.get(end.joint, (0.0, 0.0)) for end in (red, black)]
    if _too_much(both[0][0] - both[1][0], abs(both[0][1]) + abs(both[1][1])):
        return "clip"
    near = (joint for end in (red, black) for joint in end.within_slip(frame.amplifier, frame.inside))
    return "clip" if any(_too_much(*joints.get(joint, (0.0, 0.0))) for joint in near) else "one hand"


def _too_much(dc: float, ac: float) -> bool:
    return abs(dc) > HAND_SHARE * HAND_DC or abs(ac) > HAND_SHARE * HAND_AC
