"""What the rules of the safety walk look at: one printed ladder, and each of its situations worked out again."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from firstglow.amplifier import situation_from_json
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.role_types import Roles
from firstglow.amplifier.situation import Situation
from firstglow.ladder.questions import Physics

LIVE_RAIL = 60.0  # V: from here a rail counts as HT (the trade's limit again, on its own)

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Violation:
    """One step that could hurt. rule: short name. rung, reading: where ("" for the whole ladder). text: what."""

    rule: str
    rung: str
    reading: str
    text: str


@dataclass(frozen=True)
class Walk:
    """What the rules look at. rungs: (rung, its situation). meter_volts, lead_volts: ratings [V]."""

    document: Document
    amplifier: Amplifier
    roles: Roles
    physics: Physics
    most_volts: float

    @property
    def rungs(self) -> list[Mapping[str, Any]]:
        """Rungs in order."""
        return list(self.document["rungs"])

    def situation(self, rung: Mapping[str, Any], reading: Mapping[str, Any] | None = None) -> Situation:
        """The situation a rung, or one of its readings, is printed with."""
        data = dict(rung["situation"])
        data.update({k: v for k, v in (reading or {}).get("situation", {}).items() if k != "text"})
        return situation_from_json(data)

    def every(self) -> Iterator[tuple[Mapping[str, Any], Mapping[str, Any] | None, Situation]]:
        """Every printed situation in order: the rung's, then each reading's."""
        for rung in self.rungs:
            yield rung, None, self.situation(rung)
            for reading in rung["readings"]:
                yield rung, reading, self.situation(rung, reading)


Rule = Callable[[Walk], Iterator[Violation]]


def say(rule: str, rung: Mapping[str, Any], reading: Mapping[str, Any] | None, text: str) -> Violation:
    return Violation(rule, str(rung["id"]), str(reading["id"]) if reading else "", text)


def ht_is_on(on: Walk, at: Situation) -> bool:
    if at.mains_volts == 0.0:
        return False
    joints = on.physics.joints(at)
    rails = [s for s in on.roles.supplies if s.use == "ht"]
    return any(abs(joints.get(s.joint, (0.0, 0.0))[0] - joints.get(s.ret, (0.0, 0.0))[0]) > LIVE_RAIL for s in rails)


def outputs_in(on: Walk, at: Situation) -> set[str]:
    glass = {v.valve: on.amplifier.parts[v.valve].envelope or v.valve for v in on.roles.outputs}
    return {v for v, envelope in glass.items() if envelope not in at.out} if at.mains_volts > 0 else set()
