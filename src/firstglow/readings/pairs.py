"""What a reading means beside another one: a warm winding by its own cold ohms, one half of a winding by the other, HT by what it
was minutes before. What the sheet prints of a pair under STOP IF is judged here, for a readings file and for the climb alike."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import isfinite
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
# HT with nothing drawing that falls by more than this of itself from one row to the next at the same mains (common practice).
SUNK = 0.02
# Of the meter: below that it is its last digit that moved.
STEPS = 2.0


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


def beside_others(ladder: ExpectedLadder, judged: "Sequence[Verdict]", meters: Mapping[str, str]) -> "list[Verdict]":
    """The verdicts, each of a pair's second reading held to its first where one meter read both. meters: its name, by reading
    id."""
    out: list[Verdict] = []
    for v in judged:
        read = {
            one.id: one.compared
            for one in out
            if one.compared is not None and one.verdict != "switch off now" and meters.get(one.id) == meters.get(v.id)
        }
        out.append(held_to(ladder, v, read))
    return out


def held_to(ladder: ExpectedLadder, v: "Verdict", read: Mapping[str, float]) -> "Verdict":
    """The verdict on a reading, ``switch off now`` where it is by itself no stop and the one it stands beside makes it one.

    read: what others showed, brought to the ladder's meter and mains [SI], by id; of none that was itself past a stop.
    """
    reading = ladder.by_id[v.id]
    beside = reading.planned.beside
    before = None if beside is None else read.get(beside.id)
    if beside is None or before is None or not isfinite(before):
        return v
    if v.verdict not in ("go on", "look first") or v.compared is None or not isfinite(v.compared):
        return v
    one = ladder.by_id[beside.id]
    found = {"halves": _uneven, "sinks": _sunk, "side": _crossed}[beside.rule](one, reading, before, v.compared)
    if not found:
        return v
    mains = (
        ("the mains, read again for each of the two (type mains and the volts)",) if reading.planned.under_power else ()
    )
    itself = "" if v.verdict == "go on" else f"; by itself: {v.why}"
    checks = (*mains, *reading.checks(v.compared))
    return replace(
        v, verdict="switch off now", why=f"{reading.text(v.compared)} is {found}{itself}", check_first=checks
    )


def _uneven(one: ExpectedReading, two: ExpectedReading, before: float, now: float) -> str:
    """Two halves of one winding further from the ratio that the drawing gives them than LEGS, and than what the meter's counts
    and half its step may be wrong by on each (its gain, on one range, is common to both)."""
    a, b, on = one.expected, two.expected, two.on
    if not (isinstance(a, float) and isinstance(b, float) and a and b and before) or on is None or one.on != on:
        return ""
    share = abs(now / before * a / b - 1.0)
    if share <= LEGS + 2.0 * (on.offset_limit + on.step / 2.0) / abs(b):
        return ""
    return (
        f"{100.0 * share:.1f} % apart from {one.planned.what}, which read {two.text(before)}: "
        f"halves of one winding are within 2 %, {100.0 * LEGS:.0f} % at most"
    )


def _sunk(one: ExpectedReading, two: ExpectedReading, before: float, now: float) -> str:
    """Volts that fell by more than SUNK while nothing changed: what leaks on them leaks more the warmer it gets."""
    fell = abs(before) - abs(now)
    if two.on is None or fell <= max(SUNK * abs(before), STEPS * two.on.step):
        return ""
    return (
        f"{100.0 * fell / abs(before):.1f} % below the row before, {one.planned.what}, which read {two.text(before)}: more than "
        f"{100.0 * SUNK:.0f} % at the same mains is something that draws, and draws more the longer it is on"
    )


def _crossed(one: ExpectedReading, two: ExpectedReading, before: float, now: float) -> str:
    """Two readings of which the smaller should be the larger, where the meter can tell the two apart."""
    if not isinstance(one.expected, float) or not isinstance(two.expected, float) or two.on is None or one.on != two.on:
        return ""
    drawn = two.expected - one.expected
    if abs(drawn) <= 2.0 * two.on.offset_limit + two.on.step or (now - before) * drawn >= 0.0:
        return ""
    less, more = ("less", "more") if drawn > 0.0 else ("more", "less")
    return (
        f"{less} than {one.planned.what}, which read {two.text(before)}, where {more} is expected: the phase is wrong"
    )
