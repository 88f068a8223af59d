"""An idle current that still moves: the last of its readings is held against the one before it.

Valves and bias supply are warm to the end when the last ten minutes move it by less than 2 % (common practice). Until then it
is neither right nor wrong: it is read again ten minutes later, against its own last figure. HT that sinks is no such thing:
it is switched off (``readings.pairs``).
"""

from dataclasses import replace
from typing import TYPE_CHECKING

from firstglow.readings.expected import ExpectedLadder
from firstglow.readings.pairs import STEPS

if TYPE_CHECKING:
    from firstglow.readings.verdict import Verdict

MOST = 0.02  # of itself
STILL = "still drifting"


def before(ladder: ExpectedLadder, name: str) -> str | None:
    """The reading of the same point, minutes earlier on the same rung, where ``name`` is the last of such a series."""
    one = ladder.by_id[name].planned
    if not one.settle_seconds or one.beside is not None:
        return None
    rung = ladder.by_id[name].rung
    same = [
        r
        for r in ladder.readings()
        if r.rung == rung and r.planned.settle_seconds
        and (r.planned.probe, r.planned.situation) == (one.probe, one.situation)
    ]  # fmt: skip
    if len(same) < 3 or same[-1].id != name:  # two are a warm-up; of three the last is to be steady
        return None
    return same[-2].id


def drifting(ladder: ExpectedLadder, v: "Verdict", was: float | None, since: str = "") -> "Verdict":
    """The verdict, ``look first`` where it would go on and moved by more than 2 % since ``was`` [SI]; since: when that was, where
    it was not the row before."""
    earlier = before(ladder, v.id) if v.verdict == "go on" and v.compared is not None else None
    reading = ladder.by_id[v.id]
    if earlier is None or v.compared is None or not was or reading.on is None:
        return v
    moved = v.compared - was
    if abs(moved) <= max(MOST * abs(was), STEPS * reading.on.step):
        return v
    minutes = ladder.by_id[earlier].planned.settle_seconds / 60.0
    why = (
        f"{STILL}: {reading.text(v.compared)} is {100.0 * abs(moved / was):.1f} % "
        f"{'over' if abs(v.compared) > abs(was) else 'under'} {reading.text(was)} at {since or f'{minutes:.0f} min'}, and "
        f"{100.0 * MOST:.0f} % in ten minutes is the most. Ten minutes more, and read it again"
    )
    checks = ("the mains, read again: they may have moved (type mains and the volts)", *reading.checks(v.compared))
    return replace(v, verdict="look first", why=why, check_first=checks)
