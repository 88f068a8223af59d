"""Bands that learn: what the readings taken so far leave of a reading's band.

Every reading is nearly a straight line of the same parts, so those before it say where it must lie (``given.py``: the
joint normal of the ladder, conditioned). A learned band only ever lies inside the sheet's own; stop limits do not move
with it; and what did not fit its own band is no ground for anything that follows, so no fault is learned away. At the end
of a rung they are asked together, too (``one_cause.py``).
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite
from typing import TYPE_CHECKING

from firstglow.readings.expected import ExpectedLadder, ExpectedReading

if TYPE_CHECKING:
    from firstglow.readings.verdict import Verdict


@dataclass(frozen=True, slots=True)
class Learned:
    """A reading with what is left of its band. grounds: how many readings before it say so; 0: the sheet's own band.

    lead: (low, high) that they lead to, where that lies outside the band altogether and nothing is left of it [SI].
    """

    reading: ExpectedReading
    grounds: int = 0
    lead: tuple[float, float] | None = None


def learned(ladder: ExpectedLadder, name: str, taken: Mapping[str, float]) -> Learned:
    """One reading as the accepted readings before it leave it.

    taken: reading id -> value as the ladder's meter shows it at the ladder's mains [SI], of readings that were go on.
    """
    reading, given = ladder.by_id[name], ladder.given
    if given is None or reading.on is None or reading.note_only or reading.low is None or reading.high is None:
        return Learned(reading)
    before = given.before(name, taken)
    if not before or not isinstance(reading.expected, float):
        return Learned(reading)
    middle, low, high = given.narrowed(before, name)
    low = max(reading.low, reading.on.rounded(low, -1))
    high = min(reading.high, reading.on.rounded(high, 1))
    if low > high:
        # what came before leads outside the band: nothing is learned, and nothing inside it fits
        return Learned(reading, 0, given.narrowed(before, name)[1:])
    middle = min(max(reading.on.rounded(middle), low), high)
    return Learned(replace(reading, expected=middle, low=low, high=high), len(before))


def second_look(ladder: ExpectedLadder, judged: "Sequence[Verdict]") -> "list[Verdict]":
    """Verdicts in the order of the ladder, with ``look first`` where a reading does not fit the ones before it, or leans with them
    like one part that is off: of each such part once, and of none once a reading is in doubt, which is looked at first."""
    out: list[Verdict] = []
    taken: dict[str, float] = {}
    told: set[str] = set()
    in_doubt = False
    for v in judged:
        after = doubted(v, learned(ladder, v.id, taken), ladder.by_id[v.id])
        if after.verdict == "go on" and v.compared is not None and isfinite(v.compared):
            taken[v.id] = v.compared
        in_doubt |= after.verdict in ("look first", "switch off now")
        if not in_doubt and v.id in taken:
            after = leaning(after, ladder, taken, told)
            told.update(after.leans)
        out.append(after)
    return out


def leaning(v: "Verdict", ladder: ExpectedLadder, taken: Mapping[str, float], told: Collection[str]) -> "Verdict":
    """The verdict on a reading, ``look first`` where it would go on and with those before it leans like one part that is off.

    taken: accepted readings as ``learned`` has them, this one among them. told: parts that this was said of before: no more of
    them.
    """
    lean = None if v.verdict != "go on" or ladder.cause is None else ladder.cause.at(v.id, taken)
    if lean is None or lean.parts[0] in told:
        return v
    reading = ladder.by_id[v.id]
    said = reading.text(taken[v.id])
    why = (
        f"{said} is inside its band, and so is what was accepted before it; but together they lean the way they would with "
        f"{' or '.join(lean.parts)} far from what is drawn, further than healthy ones do"
    )
    return replace(v, verdict="look first", why=why, check_first=lean.checks, leans=lean.parts)


def doubted(v: "Verdict", known: Learned, reading: ExpectedReading) -> "Verdict":
    """The verdict on ``reading``, ``look first`` where it would go on and the readings before it lead elsewhere."""
    low, high = known.reading.low, known.reading.high
    if known.lead is not None:
        low, high = known.lead
    elif not known.grounds:
        return v
    if v.verdict != "go on" or v.compared is None or low is None or high is None:
        return v
    if low <= v.compared <= high:
        return v
    why = (
        f"{reading.text(v.compared)} is inside its band, but does not fit the readings before it: "
        f"by those it reads {reading.text(low)} to {reading.text(high)}"
    )
    return replace(v, verdict="look first", why=why, check_first=known.reading.checks(v.compared))
