"""Side by side: left against right, one valve of a pair against the other, one HT leg against the other.

What the two have in common (HT, the meter's own gain on one range) drops out of their difference, so two readings that
each lie in their own band may still be further apart than any healthy pair. Only a look first, never a stop.
"""

import re
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
# Halves of one winding: within 2 % of each other in turns, more than this is a fault (common practice). The file's spread of a
# winding's volts says how far its print may be off, both halves together, and not how far one may be from the other.
LEGS = 0.05
_LEG = re.compile(r" leg ([12])/")


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
    found += [_LEG.sub(lambda m: f" leg {3 - int(m[1])}/", name)] if _LEG.search(name) else []
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
        if _LEG.search(name):
            share, most = _legs(ladder, other, name, float(before), verdict.compared)
            if share > most:
                return _uneven(verdict, ladder, other, float(before), share)
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


def _legs(ladder: "Ladder", first: str, second: str, before: float, now: float) -> tuple[float, float]:
    """(how far two legs are from the ratio that the drawing gives them, the most that goes) as fractions: LEGS, and what the
    meter's counts and half its step may be wrong by on each (its gain, on one range, is common to both)."""
    one, two = ladder.expected.by_id[first], ladder.expected.by_id[second]
    a, b, on = one.expected, two.expected, two.on
    if not (isinstance(a, float) and isinstance(b, float) and a and b and before) or on is None or one.on != on:
        return 0.0, LEGS
    return abs(now / before * a / b - 1.0), LEGS + 2.0 * (on.offset_limit + on.step / 2.0) / abs(b)


def _uneven(verdict: Verdict, ladder: "Ladder", other: str, before: float, share: float) -> Verdict:
    assert verdict.compared is not None
    reading = ladder.expected.by_id[verdict.id]
    why = (
        f"{reading.text(verdict.compared)} is inside its band, but {100.0 * share:.1f} % apart from {_named(ladder, other)}, "
        f"which read {reading.text(before)}: halves of one winding are within 2 %, {100.0 * LEGS:.0f} % at most"
    )
    checks = ("the mains, read again for each leg (type mains and the volts)", *reading.checks(verdict.compared))
    return replace(verdict, verdict="look first", why=why, check_first=checks)


def _named(ladder: "Ladder", other: str) -> str:
    planned = ladder.expected.by_id[other].planned
    side = planned.channel
    return f"{planned.what} ({side})" if side not in (None, "", "shared") else planned.what


def _doubtful(verdict: Verdict, why: str, reading: ExpectedReading) -> Verdict:
    assert verdict.compared is not None
    return replace(verdict, verdict="look first", why=why, check_first=reading.checks(verdict.compared))
