"""What a reading means beside another one: a warm winding by its own cold ohms, one leg of a winding by the other."""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from firstglow.readings.expected import ExpectedLadder, ExpectedReading
from firstglow.readings.warm import COPPER_PER_KELVIN, MOST_KELVIN, rise

if TYPE_CHECKING:
    from firstglow.readings.verdict import Verdict

# A winding that reads this many kelvin colder than cold: leads or meter (an ohmmeter's 1 % is 3 K; common practice).
WARM_DOUBT = 5.0
# Counts of the meter that come to more than this part of the most it may warm by: the two readings cannot tell.
BLIND = 1 / 3
# Halves of one winding: within 2 % of each other in turns, more than this is a fault (common practice). The file's spread of a
# winding's volts says how far its print may be off, both halves together, and not how far one may be from the other.
LEGS = 0.05
_LEG = re.compile(r" leg ([12])/")


def against_cold(ladder: ExpectedLadder, warm: "Verdict", judged: "Sequence[Verdict]") -> "Verdict":
    """A warm winding is judged by its own cold reading, where that was taken; without it nothing can."""
    reading = ladder.by_id[warm.id]
    if reading.planned.probe.quantity != "warm ohms" or warm.compared is None:
        return warm
    ends = (reading.planned.probe.red, reading.planned.probe.black)
    cold = next((v for v in judged if _is_cold(ladder.by_id[v.id], ends) and v.compared), None)
    if cold is None or cold.compared is None:
        return warm
    kelvin = rise(cold.compared, warm.compared)
    said = f"{reading.text(warm.compared)} over {reading.text(cold.compared)} cold is {kelvin:.0f} K warmer"
    counts = 0.0 if reading.on is None else reading.on.offset_limit
    spare = (counts / cold.compared + counts / abs(warm.compared)) * warm.compared / cold.compared / COPPER_PER_KELVIN
    if spare > MOST_KELVIN * BLIND and -WARM_DOUBT - spare < kelvin < MOST_KELVIN + spare:
        why = f"{said}, give or take {spare:.0f} K by this meter's last digits: so few ohms cannot tell; by nose and by volts, then"
        return replace(warm, verdict="note only", why=why)
    if kelvin > MOST_KELVIN:
        why = f"{said}: more than the {MOST_KELVIN:.0f} K that its insulation may take"
        return replace(warm, verdict="switch off now", why=why, check_first=reading.checks())
    if kelvin < -WARM_DOUBT:
        why = f"{said}: colder than cold; read both again with the same leads"
        return replace(warm, verdict="look first", why=why, check_first=reading.checks())
    return replace(warm, verdict="go on", why=f"{said}, of {MOST_KELVIN:.0f} K at most")


def _is_cold(reading: ExpectedReading, ends: tuple[str, str]) -> bool:
    p = reading.planned.probe
    return p.quantity == "ohms" and (p.red, p.black) == ends and not reading.planned.situation.switches_open


def other_leg(name: str) -> str:
    """The reading of the other half of a tapped winding; "" for any other reading."""
    return _LEG.sub(lambda m: f" leg {3 - int(m[1])}/", name) if _LEG.search(name) else ""


def legs_alike(ladder: ExpectedLadder, judged: "Sequence[Verdict]") -> "list[Verdict]":
    """The verdicts, ``look first`` for a second leg that would go on and is too far from the first."""
    good = {v.id: v.compared for v in judged if v.verdict == "go on" and v.compared is not None}
    order = [v.id for v in judged]
    out: list[Verdict] = []
    for v in judged:
        first = other_leg(v.id)
        before = good.get(first)
        later = before is not None and order.index(first) < order.index(v.id)
        out.append(uneven(ladder, v, first, before) if later and before is not None else v)
    return out


def uneven(ladder: ExpectedLadder, v: "Verdict", first: str, before: float) -> "Verdict":
    """The verdict on one leg, ``look first`` where it would go on and is too far from the other, which read ``before`` [V]."""
    one, reading = ladder.by_id[first], ladder.by_id[v.id]
    if v.verdict != "go on" or v.compared is None:
        return v
    share, most = _apart(one, reading, before, v.compared)
    if share <= most:
        return v
    why = (
        f"{reading.text(v.compared)} is inside its band, but {100.0 * share:.1f} % apart from {one.planned.what}, "
        f"which read {reading.text(before)}: halves of one winding are within 2 %, {100.0 * LEGS:.0f} % at most"
    )
    checks = ("the mains, read again for each leg (type mains and the volts)", *reading.checks(v.compared))
    return replace(v, verdict="look first", why=why, check_first=checks)


def _apart(one: ExpectedReading, two: ExpectedReading, before: float, now: float) -> tuple[float, float]:
    """(how far two legs are from the ratio that the drawing gives them, the most that goes) as fractions: LEGS, and what the
    meter's counts and half its step may be wrong by on each (its gain, on one range, is common to both)."""
    a, b, on = one.expected, two.expected, two.on
    if not (isinstance(a, float) and isinstance(b, float) and a and b and before) or on is None or one.on != on:
        return 0.0, LEGS
    return abs(now / before * a / b - 1.0), LEGS + 2.0 * (on.offset_limit + on.step / 2.0) / abs(b)
