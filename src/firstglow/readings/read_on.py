"""On which range of a meter a figure was read, and what it says there: past a stop, off the scale, or hidden by the range."""

from math import isfinite
from typing import Literal

from firstglow.readings.expected import ExpectedReading, Stop, hidden_text, overload
from firstglow.readings.meters import RATIO_OVER, Meter, Range, ReadingsError, ratio_of
from firstglow.readings.typed import typed_number


def past_stop(reading: ExpectedReading, value: float) -> Stop | None:
    """The stop limit that this value passes, or None. An overload is past every limit on its side (``off_the_scale`` has
    seen whether the range goes that far)."""
    if reading.stop_below is not None and value < reading.stop_below.limit:
        return reading.stop_below
    if reading.stop_above is not None and value > reading.stop_above.limit:
        return reading.stop_above
    return None


def off_the_scale(
    reading: ExpectedReading, value: float, on: Range | None, meter: Meter
) -> tuple[Literal["look first", "switch off now"], str] | None:
    """What an overload of volts or amps says where no stop limit lies within its range. Every healthy amplifier reads on it:
    where it ends just below the limit, what lies past it counts as past the limit too."""
    if on is None or isfinite(value) or reading.unit not in {"V", "A"}:
        return None
    stop = reading.stop_above
    means = overload(stop, on, meter)
    if not means:
        return None
    said = f"past the end of the {on.shown(on.full)} range"
    if means == "stop" and stop is not None:
        why = f"{said}, where {reading.text(reading.high or 0.0)} is the most of a healthy one, and perhaps past the stop limit"
        return "switch off now", f"{why} {reading.text(stop.limit)}: {stop.why}"
    return "look first", f"{said}, and no more is known of it: one range up, and read it again"


def stopped_on_finer(reading: ExpectedReading, value: float, on: Range | None, average: bool = False) -> Stop | None:
    """The same for a row that the ladder's own meter cannot judge, read on a range that can: its stops stand off by what
    the coarse meter may be wrong by, and this one is held to the limits themselves. average: to those of the average valve."""
    if on is None or not reading.hidden or reading.hidden_from(on) is not None or not isfinite(value):
        return None
    share = reading.share(on)
    for found in reading.ground.limits:
        limit = found.limit * share
        away = value - limit if found.side == "above" else limit - value
        # a sign has no size: the meter's own error about nothing is none
        if found.average == average and away > (on.limits(0.0) if limit == 0.0 else 0.0):
            return Stop(limit, found.why)
    return None


def range_of(reading: ExpectedReading, value: float, meter: Meter) -> Range | None:
    """The range of another meter that a value was read on."""
    if reading.on is None or not isfinite(value):
        return reading.on
    if reading.on.kind == "ratio":
        return ratio_of(meter.range_for(reading.planned.probe.kind, RATIO_OVER))
    return meter.range_for(reading.kind, value, reading.planned.range_volts)


def first_range(reading: ExpectedReading, value: float, meter: Meter) -> Range | None:
    """The range that another meter was put on before it showed anything: that of what is expected, or of more where it showed more."""
    if reading.on is None or reading.unit != "V" or not isinstance(reading.expected, float) or not isfinite(value):
        return None
    there = abs(reading.expected) / reading.share(reading.on)
    return meter.range_for(reading.kind, max(there, abs(value)), reading.planned.range_volts)


def past_stop_on(reading: ExpectedReading, value: float, on: Range | None) -> Stop | None:
    """The stop limit that a figure read on this range passes, held to what this sheet's own meter would show."""
    return past_stop(reading, to_this_range(reading, value, on)) or stopped_on_finer(reading, value, on)


def range_said(reading: ExpectedReading, typed: str, meter: Meter, where: str) -> Range | None:
    """The range that was typed with a figure; ReadingsError for one that the meter has not."""
    if not typed or reading.on is None or reading.on.kind == "ratio":
        return None
    full = typed_number(typed, reading.on.unit, where)
    ranges = meter.of_kind(reading.kind)
    found = next((r for r in ranges if abs(r.full - full) <= 1e-6 * r.full), None)
    if found is None:
        there = ", ".join(r.text for r in ranges)
        raise ReadingsError(
            f'{where}: range "{typed}": meter {meter.name} has {there}; one of them; try {ranges[0].text}'
        )
    return found


def hidden_by_range(reading: ExpectedReading, on: Range | None, meter: Meter, said: bool) -> str:
    """Why a figure on this range can judge nothing, "" where it can. Where a reading starts on a range that would hide
    what must not stand there, the range it ended on has to be said: a needle at rest looks the same on both."""
    if on is None:
        return ""
    first = reading.ground.start(meter)
    if not said and first is not None and reading.hidden_from(first) is not None:
        return hidden_text(reading, first, meter)
    return hidden_text(reading, on, meter)


def to_this_range(reading: ExpectedReading, value: float, on: Range | None) -> float:
    """A value read on a range, as the ladder's own range would show it [SI]: by what each leaves of the volts."""
    if on is None or reading.on is None or on == reading.on or not isfinite(value):
        return value
    return value / reading.share(on) * reading.share(reading.on)
