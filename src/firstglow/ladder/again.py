"""What is read again once hands were inside, beside the figures that a change moves: the way up, what was looked at, and what
the ohms range left behind."""

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

from firstglow.ladder.places import own_name
from firstglow.ladder.rung_cold import EMPTIED
from firstglow.readings.probe import PlannedReading

if TYPE_CHECKING:
    from firstglow.amplifier.model import Amplifier


def way_up(taken: Iterable[PlannedReading]) -> list[str]:
    """What is read again of the way up once hands were inside with solder: lamp, ammeter and the first seconds of every
    output valve, on each rung under power. The power comes back as it came the first time, each hold point signed."""
    return [p.id for p in taken if p.situation.mains_volts > 0.0 and _of_the_way_up(p)]


def _of_the_way_up(planned: PlannedReading) -> bool:
    first = planned.id.split("/")[1]
    return (
        planned.situation.lamp_watts is not None
        or planned.probe.quantity in ("lamp", "mains amps")
        or first.endswith(("cathode lamp out", "half primary drop"))
    )


def looked_at(amplifier: "Amplifier", taken: Iterable[PlannedReading], parts: Iterable[str]) -> list[str]:
    """What was looked at cold and names one of these parts: which end is plus, what a fuse says."""
    own = {own_name(amplifier.parts[part]) for part in parts if part in amplifier.parts}
    cold = [p for p in taken if p.probe.kind == "look" and not p.situation.mains_volts]
    return [p.id for p in cold if any(re.search(rf"\b{re.escape(name)}\b", p.what) for name in own)]


def emptied(taken: Iterable[PlannedReading], again: Iterable[PlannedReading]) -> list[str]:
    """The discharge after the ohms rows, where any of them is read again: ohms leave charge behind."""
    if not any(p.probe.kind == "ohms" and not p.situation.mains_volts for p in again):
        return []
    return [p.id for p in taken if p.id.split("/")[1] == EMPTIED]
