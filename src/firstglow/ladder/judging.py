"""One typed reading judged as the climb stands: mains, meter and earlier readings put beside it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import isfinite

from firstglow.ladder.drift import drifting
from firstglow.ladder.here import Here
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.sides import against_the_other
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.learn import Learned, doubted, leaning, learned
from firstglow.readings.meters import Meter
from firstglow.readings.pairs import held_to
from firstglow.readings.taken import Taken, TakenFile
from firstglow.readings.typed import split_range, typed_number
from firstglow.readings.verdict import Verdict, judge
from firstglow.records.record import Record


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict, and what it was judged on. si: the figure as typed [SI], None for a word."""

    verdict: Verdict
    reading: ExpectedReading
    si: float | None


def as_learned(ladder: Ladder, place: Here, name: str) -> Learned:
    """A reading with the band that the accepted readings before it leave it; stop limits never move."""
    return learned(ladder.expected, name, _figures(ladder, place, name))


def _figures(ladder: Ladder, place: Here, name: str) -> dict[str, float]:
    """What was read and accepted so far, but for one reading, as the ladder's meter shows it at the ladder's mains [SI]; nothing on
    a ladder that learns nothing."""
    if ladder.expected.given is None:
        return {}
    return {k: float(r.data["compared"]) for k, r in place.taken.items() if k != name and _figure(r)}


def _beside(place: Here, name: str) -> dict[str, float]:
    """What this meter showed of the other readings and was no stop, as the ladder's meter shows it at the ladder's mains [SI]."""
    here = {k: r for k, r in place.taken.items() if k != name and r.data.get("meter") == place.meter}
    return {k: float(r.data["compared"]) for k, r in here.items() if _number(r) and r.event in ("go on", "look first")}


def _number(record: Record) -> bool:
    return isinstance(record.data.get("compared"), int | float)


def _figure(record: Record) -> bool:
    return _number(record) and record.event == "go on"


def judged(
    ladder: Ladder,
    place: Here,
    name: str,
    text: str,
    meters: Mapping[str, Meter] | None = None,
) -> Judged:
    """The verdict on what was typed for a reading; ReadingsError for what cannot be read."""
    expected = ladder.expected
    text = as_ratio(ladder, place, name, text)
    reading = expected.by_id[name]
    row = Taken(name, text.strip(), mains_here(place, reading), place.meter, "here")
    known, file = as_learned(ladder, place, name), TakenFile((row,), None, place.meter, dict(meters or {}))
    verdict = judge(expected, reading, row, file)
    if verdict.verdict == "look first" and known.grounds:
        verdict = judge(expected, known.reading, row, file)  # the same figures as stand under EXPECT, not the sheet's
    verdict = doubted(held_to(expected, verdict, _beside(place, name)), known, reading)
    verdict = drifting(against_the_other(verdict, ladder, place, name), ladder, place, name)
    verdict = _leaning(verdict, ladder, place)
    si = None if reading.kind in ("lamp", "look") else typed_number(split_range(row.text)[0], reading.unit, name)
    return Judged(verdict, reading, si)


def _leaning(verdict: Verdict, ladder: Ladder, place: Here) -> Verdict:
    """The verdict with what it and the readings before it say together; a part that was looked at for it is not told again."""
    if verdict.compared is None or not isfinite(verdict.compared):
        return verdict
    taken = {**_figures(ladder, place, verdict.id), verdict.id: verdict.compared}
    after = leaning(verdict, ladder.expected, taken, place.leaned)
    if not after.leans:
        return after
    return replace(after, why=f"{after.why}; looked at and found good, the same figure again goes on")


def mains_here(place: Here, reading: ExpectedReading) -> float | None:
    """Mains that a reading is taken at, by the last that were told [V]; None where none were, or none are on."""
    wanted = reading.planned.situation.mains_volts
    return place.mains_share * wanted if place.mains_share is not None and wanted > 0.0 else None


def as_ratio(ladder: Ladder, place: Here, name: str, text: str) -> str:
    """For a reading in proportion to an earlier one: volts as the meter shows them become that proportion."""
    other = ratio_to(ladder, place, name) if re.search(r"[Vv]", text) else None
    if other is None:
        return text
    volts = typed_number(split_range(text)[0], "V", name)
    return f"{volts / float(place.taken[other].data['si']):.4g}"


def ratio_to(ladder: Ladder, place: Here, name: str) -> str | None:
    """The earlier reading, in volts, that a reading in proportion is over; None for any other, and where it is not read."""
    reading = ladder.expected.by_id[name]
    probe = reading.planned.probe
    for other in ladder.expected.readings() if reading.unit == "1" else ():
        own = other.planned.probe
        same = (own.red, own.black, own.quantity) == (probe.red, probe.black, "signal volts")
        if same and other.id in place.taken and place.taken[other.id].data.get("si"):
            return other.id
    return None


def is_node(reading: ExpectedReading) -> bool:
    """Dc volts of a joint to chassis, the limiter lamp out."""
    probe = reading.planned.probe
    return (
        probe.kind == "dc volts"
        and probe.quantity == "volts"
        and probe.black == "chassis"
        and reading.planned.situation.lamp_watts is None
    )


def finite(value: float | None) -> float | str | None:
    """A figure as JSON can hold it."""
    if value is None or abs(value) < float("inf"):
        return value
    return "OL"


def typed_mains(text: str) -> float:
    """``118`` or ``118V`` as volts."""
    return typed_number(text, "V", "mains")
