"""An idle current (or HT that sinks) that still moves: the last of its readings is held against the one before it.

Valves and bias supply are warm to the end when the last ten minutes move it by less than 2 % (common practice). Until then it
is neither right nor wrong: it is read again ten minutes later, against its own last figure.
"""

from dataclasses import replace
from typing import TYPE_CHECKING

from firstglow.readings.verdict import Verdict

if TYPE_CHECKING:
    from firstglow.ladder.here import Here
    from firstglow.ladder.ladder import Ladder
    from firstglow.records.record import Record

MOST, AGAIN = 0.02, 600.0  # of itself; s
STILL = "still drifting"
_STEPS = 2.0  # of the meter: below that it is its last digit that moves


def before(ladder: "Ladder", name: str) -> str | None:
    """The reading of the same point, minutes earlier on the same rung, where ``name`` is the last of such a series."""
    one = ladder.expected.by_id[name]
    if not one.planned.settle_seconds:
        return None
    same = [
        r
        for r in ladder.expected.readings()
        if r.rung == one.rung and r.planned.settle_seconds
        and (r.planned.probe, r.planned.situation) == (one.planned.probe, one.planned.situation)
    ]  # fmt: skip
    if len(same) < 3 or same[-1].id != name:  # two are a warm-up; of three the last is to be steady
        return None
    return same[-2].id


def drifting(verdict: Verdict, ladder: "Ladder", place: "Here", name: str) -> Verdict:
    """The verdict, ``look first`` where it would go on and moved by more than 2 % since the figure before it."""
    earlier = before(ladder, name) if verdict.verdict == "go on" and verdict.compared is not None else None
    if earlier is None or verdict.compared is None:
        return verdict
    tried = drifted(place, name)
    record = tried or place.taken.get(earlier)
    was = None if record is None else record.data.get("compared")
    reading = ladder.expected.by_id[name]
    if record is None or not isinstance(was, int | float) or not was or reading.on is None:
        return verdict
    moved = verdict.compared - float(was)
    rises = abs(verdict.compared) > abs(float(was))
    if abs(moved) <= max(MOST * abs(float(was)), _STEPS * reading.on.step) or (rises and _ht(ladder, name)):
        return verdict
    minutes = ladder.expected.by_id[earlier].planned.settle_seconds / 60.0
    since = "the last time" if tried else f"{minutes:.0f} min"
    why = (
        f"{STILL}: {reading.text(verdict.compared)} is {100.0 * abs(moved / float(was)):.1f} % "
        f"{'over' if rises else 'under'} {reading.text(float(was))} at {since}, and "
        f"{100.0 * MOST:.0f} % in ten minutes is the most. Ten minutes more, and read it again"
    )
    checks = (
        "the mains, read again: they may have moved (type mains and the volts)",
        *reading.checks(verdict.compared),
    )
    return replace(verdict, verdict="look first", why=why, check_first=checks)


def _ht(ladder: "Ladder", name: str) -> bool:
    """HT itself: it creeps up while leakage falls and the rectifier warms, and only a fall is a finding."""
    joints = {n for s in ladder.frame.supplies("ht") for n in (s.joint, *s.nodes)}
    return ladder.expected.by_id[name].planned.probe.red in joints


def drifted(place: "Here", name: str) -> "Record | None":
    """The last answer to this reading, where that was "still drifting"."""
    tried = place.tried
    return tried if tried is not None and tried.reading == name and tried.why.startswith(STILL) else None
