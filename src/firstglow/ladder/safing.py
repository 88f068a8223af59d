"""Making safe, one answer after another: off, the computed fall, the meter proved, each capacitor twice below 10 V.

It never ends in leave to touch anything: it ends in figures that were read, and the clip stays on.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from firstglow.ladder.fall import Fall, Place
from firstglow.ladder.here import Safing
from firstglow.readings.meters import Meter, Range, ReadingsError
from firstglow.readings.typed import split_range, typed_number
from firstglow.solver.discharge import WORKING_VOLTS

Phase = Literal["off", "wait", "prove", "fall", "discharge", "minute", "again", "prove again", "done"]

MINUTE = 60.0  # s between the two readings: charge creeps back out of the dielectric (common practice)
FALL_ASKED = 20.0  # V at switch-off from which the fall itself is read
SOURCE_LEAST = 1.0  # V: a source that proves a meter (a fresh cell gives 1.5 V)
SOURCE_AGREES = 0.05  # the same source, the second time


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked now. places: capacitors still to be read, in order. seconds: to wait still, 0 where not."""

    phase: Phase
    places: tuple[Place, ...] = ()
    seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class Step:
    """What an answer becomes: a record's event, value and data, or only words (event "")."""

    event: str
    value: str | None = None
    data: dict[str, Any] | None = None
    why: str = ""


def asked(safing: Safing, fall: Fall, now: datetime) -> Asked:
    """Which step of making safe comes next."""
    if not safing.off:
        return Asked("off")
    left = (fall.wait_seconds or 0.0) - (now - datetime.fromisoformat(safing.off)).total_seconds()
    if left > 0.0:
        return Asked("wait", seconds=left)
    if safing.source is None:
        return Asked("prove")
    first = fall.falls_first(FALL_ASKED)
    if first and first[0].part not in safing.fell:
        return Asked("fall", first)
    for name, done in (("discharge", safing.discharged), ("again", safing.again)):
        rest = tuple(p for p in fall.places if p.part not in done)
        if rest and name == "again":
            last = max(datetime.fromisoformat(r.at) for r in safing.discharged.values())
            left = MINUTE - (now - last).total_seconds()
            if left > 0.0:
                return Asked("minute", rest, left)
        if rest:
            return Asked("discharge" if name == "discharge" else "again", rest)
    return Asked("prove again")


def answers(text: str, safing: Safing, fall: Fall, now: datetime, meter: Meter | None = None) -> Iterator[Step]:
    """What one line of answers becomes; ReadingsError for what cannot be read. meter: the one in use; a needle's figures
    are typed with the range they were read on, for at rest it looks the same on every one.

    One figure, or one for each capacitor in the order shown. The steps depend on each other: the caller records each
    before it asks for the next, and none follows one that is not good.
    """
    ask = asked(safing, fall, now)
    words = text.split()
    if ask.phase == "off":
        if text.strip().lower() not in ("", "done", "off", "yes"):
            raise ReadingsError(f'"{text}": first off, plug out and in sight; Enter then; try Enter')
        yield Step("unplugged")
    elif ask.phase in ("wait", "minute"):
        raise ReadingsError(f"make safe: {ask.seconds:.0f} s to wait yet; the meter step opens then; try again then")
    elif ask.phase == "prove":
        source = _source(text)
        yield Step("proved", text.strip(), {"volts": source})
    elif ask.phase == "fall":
        yield _fell(text, ask.places[0], safing, fall, now)
    elif ask.phase == "prove again":
        yield from _proved_again(text, safing)
    else:
        words = resolved(text, meter).split()
        if len(words) > len(ask.places) or not words:
            names = ", ".join(p.part for p in ask.places)
            raise ReadingsError(f'make safe: "{text}"; dc volts of {names}, in this order; try 0.2')
        for word, place in zip(words, ask.places, strict=False):
            step = _down(word, place, "discharged" if ask.phase == "discharge" else "again")
            yield step
            if step.event == "not down":
                return


def resolving(meter: Meter) -> tuple[Range, ...]:
    """The ranges of a meter on which what must not stand there shows, lowest first."""
    return tuple(r for r in meter.of_kind("dc volts") if 2.0 * r.limits(0.0) < WORKING_VOLTS)


def resolved(text: str, meter: Meter | None) -> str:
    """The figures alone, read on a range that shows what must not stand there."""
    figures, typed = split_range(text)
    if meter is None or not (meter.needle or typed):
        return figures
    ranges, fine = meter.of_kind("dc volts"), resolving(meter)
    there = ", ".join(r.text for r in fine)
    if not fine:
        raise ReadingsError(
            f"make safe: meter {meter.name} does not show {WORKING_VOLTS:g} V; one that does; try meter digital"
        )
    if typed and any(abs(r.full - typed_number(typed, "V", "range")) < 1e-6 * r.full for r in fine):
        return figures
    raise ReadingsError(
        f'make safe: "{text}"; start at {ranges[-1].text}, step down, and type the range it was read on, one of {there}: '
        f"on a higher one {WORKING_VOLTS:g} V do not show; try 0 on {fine[-1].text}"
    )


def _volts(text: str, what: str) -> float:
    volts = typed_number(text, "V", what)
    if not abs(volts) < 1e5:
        raise ReadingsError(f'{what}: "{text}"; a figure that a meter shows, in volts; try a higher range')
    return volts


def _source(text: str) -> float:
    volts = abs(_volts(text, "known source"))
    if volts < SOURCE_LEAST:
        raise ReadingsError(
            f'known source: "{text}"; a source of {SOURCE_LEAST:g} V or more that shows what it should; try a fresh cell'
        )
    return volts


def _fell(text: str, place: Place, safing: Safing, fall: Fall, now: datetime) -> Step:
    """The first capacitor before any discharge resistor is on it."""
    volts = _volts(text, place.part)
    seconds = (now - datetime.fromisoformat(safing.off)).total_seconds()
    predicted = fall.volts(place.part, seconds)
    data = {"part": place.part, "volts": volts, "seconds": seconds, "predicted": predicted, "source": safing.source}
    if not fall.is_slow(place.part, volts, seconds):
        return Step("fell", text.strip(), data)
    why = (
        f"{place.part} still stands at {abs(volts):.0f} V after {seconds:.0f} s: it should be at {predicted:.0f} V or "
        f"less, and it falls at most half as fast as it should: what drains it is open, or this is another joint"
    )
    return Step("slow", text.strip(), data, why)


def _down(text: str, place: Place, event: str) -> Step:
    volts = _volts(text, place.part)
    data = {"part": place.part, "volts": volts}
    if abs(volts) < WORKING_VOLTS:
        return Step(event, text, data)
    again = "" if event == "discharged" else " It has come back since: "
    why = (
        f"{place.part} stands at {abs(volts):.0f} V, not below {WORKING_VOLTS:g} V.{again} discharge resistor across its "
        f"own two ends again, and look whether it really reaches them"
    )
    return Step("not down", text, data, why.replace(". discharge", ". Discharge"))


def _proved_again(text: str, safing: Safing) -> Iterator[Step]:
    volts = abs(_volts(text, "known source"))  # a dead meter shows nothing here: what it read before proves nothing
    before = safing.source or 0.0
    if abs(volts - before) > SOURCE_AGREES * before:
        why = (
            f"the known source showed {before:g} V before and shows {volts:g} V now: one of the two is wrong, and with "
            f"it every reading between them. Another meter or fresh leads, and read all of them again"
        )
        yield Step("not down", text.strip(), {"meter": True, "volts": volts}, why)
        return
    figures = {name: float(r.data["volts"]) for name, r in safing.again.items()}
    yield Step("made safe", text.strip(), {"volts": figures, "source": [before, volts]})
