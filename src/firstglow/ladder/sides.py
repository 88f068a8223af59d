"""Side by side: left against right, one valve of a pair against the other, one HT leg against the other.

What the two have in common (HT, the meter's own gain on one range) drops out of their difference, so two readings that
each lie in their own band may still be further apart than any healthy pair. Only a look first, never a stop: what the
sheet stops at is in ``readings.pairs``.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from firstglow.readings.expected import ExpectedReading
from firstglow.readings.spreads import MAINS
from firstglow.readings.verdict import Verdict

if TYPE_CHECKING:
    from firstglow.ladder.here import Here
    from firstglow.ladder.ladder import Ladder

SIDE = 3**0.5  # half width of a rectangle in its standard deviations
LOPSIDED = 0.2  # of a band: by how much more of it lies on one side of what is expected
ABOVE = 20.0  # of the meter's counts: below that a difference is the meter's


@dataclass(frozen=True, slots=True)
class Apart:
    """The difference of two readings, the second minus the first [SI]. low, high: what healthy ones show."""

    first: str
    second: str
    low: float
    high: float


def others(ladder: "Ladder", name: str) -> tuple[str, ...]:
    """Readings of the same point on the other side: other channel, other valve of the pair, other HT leg."""
    by_id, planned = ladder.expected.by_id, ladder.expected.by_id[name].planned
    found = [planned.twin] if planned.twin else []
    found += [planned.beside.id] if planned.beside is not None and planned.beside.rule == "halves" else []
    rung, middle, side = name.split("/", 2)
    for v in ladder.frame.roles.outputs:
        if v.partner and middle.split(" ")[0] == _short(ladder, v.valve):
            found.append(f"{rung}/{_short(ladder, v.partner)}{middle[len(_short(ladder, v.valve)) :]}/{side}")
    return tuple(n for n in dict.fromkeys(found) if n in by_id and n != name)


def _short(ladder: "Ladder", valve: str) -> str:
    """A valve's name as the ids of its readings have it: without its channel."""
    part = ladder.frame.amplifier.parts[valve]
    return valve.removeprefix(f"{part.channel} ") if part.channel else valve


def apart(ladder: "Ladder", first: str, second: str) -> Apart | None:
    """What two readings may differ by; None where one of them has no band, or where they are not read alike."""
    by_id, sheet = ladder.expected.by_id, ladder.sheet
    one, two = by_id[first], by_id[second]
    if not _alike(one, two):
        return None
    number = {r.id: i for i, r in enumerate(sheet.readings)}
    found = sheet.found
    a, b = found.sigmas[:, number[first]], found.sigmas[:, number[second]]
    # the mains are read again for each, and nothing rounds or counts twice alike
    own = np.array([n in (MAINS, "meter counts", "meter rounding") for n in found.names])
    each = np.where(own, np.hypot(a, b), b - a)
    score = ladder.expected.score
    flat = found.uniform
    whole = score * float(np.hypot.reduce(each))
    bounded = SIDE * float(np.abs(each[flat]).sum()) + score * float(np.hypot.reduce(each[~flat]))
    # a band wider than its straight lines say (tails, bends) widens the difference as much
    wider = max(1.0, *(_half(r) / (score * float(np.hypot.reduce(s))) for r, s in ((one, a), (two, b)) if s.any()))
    reach = min(whole, bounded) * wider
    assert isinstance(one.expected, float)
    assert isinstance(two.expected, float)
    middle = two.expected - one.expected
    assert one.on is not None
    reach += one.on.step  # each is rounded by the meter, half a step
    return Apart(first, second, middle - reach, middle + reach)


def _alike(one: ExpectedReading, two: ExpectedReading) -> bool:
    """Two figures under power with bands of their own, on one range, that a difference of straight lines can judge:
    well above nothing, and as far from one end of the band as from the other. Millivolts of a leak, and ohms that the
    junctions and electrolytics around them open and close, are none: chance is no straight line."""
    return one.on is not None and one.on == two.on and _straight(one) and _straight(two)


def _straight(r: ExpectedReading) -> bool:
    if r.low is None or r.high is None or not isinstance(r.expected, float) or r.on is None:
        return False
    noted = r.note_only or r.planned.note_only or r.hidden
    powered = r.planned.situation.mains_volts > 0.0 and r.kind in ("dc volts", "ac volts")
    lopsided = abs((r.high - r.expected) - (r.expected - r.low)) > LOPSIDED * (r.high - r.low)
    return not noted and powered and not lopsided and abs(r.expected) > ABOVE * r.on.offset_limit


def _half(r: ExpectedReading) -> float:
    assert r.low is not None
    assert r.high is not None
    return (r.high - r.low) / 2.0


def against_the_other(verdict: Verdict, ladder: "Ladder", place: "Here", name: str) -> Verdict:
    """The verdict, ``look first`` where it would go on and is further from the other side than healthy ones are."""
    if verdict.verdict != "go on" or verdict.compared is None:
        return verdict
    for other in others(ladder, name):
        record = place.taken.get(other)
        before = None if record is None or record.event != "go on" else record.data.get("compared")
        if not isinstance(before, int | float):
            continue
        found = apart(ladder, other, name)
        if found is None:
            continue
        off = verdict.compared - float(before)
        if found.low <= off <= found.high:
            continue
        reading = ladder.expected.by_id[name]
        most = found.high if off > found.high else found.low
        why = (
            f"{reading.text(verdict.compared)} is inside its band, but {reading.text(abs(off))} "
            f"{'over' if off > 0 else 'under'} {_named(ladder, other)}, which read {reading.text(float(before))}: "
            f"healthy ones are at most {reading.text(abs(most))} apart"
        )
        return _doubtful(verdict, why, reading)
    return verdict


def _named(ladder: "Ladder", other: str) -> str:
    planned = ladder.expected.by_id[other].planned
    side = planned.channel
    return f"{planned.what} ({side})" if side not in (None, "", "shared") else planned.what


def _doubtful(verdict: Verdict, why: str, reading: ExpectedReading) -> Verdict:
    assert verdict.compared is not None
    return replace(verdict, verdict="look first", why=why, check_first=reading.checks(verdict.compared))
