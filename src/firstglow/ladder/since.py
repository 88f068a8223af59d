"""What a changed amplifier file does to readings that were taken before: which must be read again, which still stand."""

from collections.abc import Iterable

from firstglow.readings.expected import ExpectedLadder, ExpectedReading, Stop

# A figure that moved by less than this part of its band's width is the same figure.
SAME = 0.05


def moved(before: ExpectedLadder, now: ExpectedLadder, read: Iterable[str]) -> tuple[str, ...]:
    """Ids of the readings taken whose expected value, band, stop limit or situation moved, or that are there no more."""
    out = []
    for name in read:
        old, new = before.by_id.get(name), now.by_id.get(name)
        if old is None or new is None or _moved(old, new):
            out.append(name)
    return tuple(out)


def _moved(old: ExpectedReading, new: ExpectedReading) -> bool:
    one, other = old.planned, new.planned
    if (one.probe, one.situation, one.expect_word) != (other.probe, other.situation, other.expect_word):
        return True
    if old.words != new.words or (old.expected is None) != (new.expected is None):
        return True
    width = max(_width(old), _width(new))
    figures = ((old.expected, new.expected), (old.low, new.low), (old.high, new.high))
    stops = ((_limit(old.stop_below), _limit(new.stop_below)), (_limit(old.stop_above), _limit(new.stop_above)))
    return any(_apart(a, b, width) for a, b in (*figures, *stops))


def _width(reading: ExpectedReading) -> float:
    step = 0.0 if reading.on is None else reading.on.step
    if reading.low is None or reading.high is None:
        return step
    return max(step, SAME * (reading.high - reading.low))


def _limit(stop: Stop | None) -> float | None:
    return None if stop is None else stop.limit


def _apart(a: float | str | None, b: float | str | None, width: float) -> bool:
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) > width
    return a != b
