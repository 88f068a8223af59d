"""The tightest limit of each side of a reading, rounded toward safe, and clear of what is expected."""

from collections.abc import Callable, Sequence

from firstglow.readings.expected import Stop
from firstglow.readings.limit import Limit
from firstglow.readings.meters import Range

# A limit that is no rating keeps this share of the band's own half off it: from 2 to 3 standard deviations, so that one
# healthy amplifier in 740 is switched off instead of one in 44 (normal distribution).
CLEAR = 0.5
# What should stand there and does not reads nothing: a limit that gives way to a band keeps at least this share of the band's
# foot, and so stays on its own side of nothing. A quarter of the least that healthy ones read is none of them (common practice).
FOOT = 0.25


def tightest(
    limits: Sequence[Limit],
    low: float | None,
    high: float | None,
    on: Range | None,
    separate: Callable[[], str],
    expected: float | None = None,
    shown: float | None = None,
    hidden: bool = False,
) -> tuple[Stop | None, Stop | None]:
    """(stop_below, stop_above) of a reading: the tightest of each side, rounded toward safe.

    low, high: its healthy band. A limit that is no rating gives way to the band, and CLEAR of it where ``expected``
    is known. separate: asked where one cuts. shown: what is expected, on the meter's step: no limit is rounded onto it.
    hidden: this range cannot tell some limit from it; none then stands inside the range's own error, which is no fault.
    """
    off_low, off_high = low, high
    if low is not None and high is not None and expected is not None:
        off_low, off_high = low - CLEAR * (expected - low), high + CLEAR * (high - expected)
        if on is not None:
            off_low, off_high = on.rounded(off_low, -1), on.rounded(off_high, 1)
            # what has no sign, and may be a small share of itself, is spread in proportion: the same room as a ratio, so
            # that no limit falls to nothing and jumps back where the foot of the band lies lower still
            off_low = off_low if on.signed else max(off_low, on.rounded(below_in_proportion(low, expected), -1))
    below = above = None
    for limit in limits:
        value, why = limit.value, limit.why
        soft = not limit.physical and off_low is not None and off_high is not None
        low_room, high_room = off_low, off_high
        if soft and low_room is not None and high_room is not None and low is not None and high is not None:
            if on is not None and on.signed:
                low_room, high_room = short_of_nothing(
                    limit, low_room, high_room, on.rounded(FOOT * low, 1), on.rounded(FOOT * high, -1)
                )
            away = min(value, low_room) if limit.side == "below" else max(value, high_room)
            soft = abs(away) < limit.most
            value = away if soft else value
        if on is not None:
            value = on.rounded(value, 1 if limit.side == "below" else -1)
            if soft and low_room is not None and high_room is not None:
                value = min(value, low_room) if limit.side == "below" else max(value, high_room)
                if limit.yielded and abs(value - limit.value) > on.step:
                    why = limit.yielded
            if shown is not None:
                if limit.physical and not hidden and past(limit, shown, on):
                    # a rating stands, whatever the drawing makes of it: the mains come down, or the part is another
                    why = f"{why}; as drawn it stands past that before anything is wrong: less mains, or another part"
                else:
                    value = beyond(value, limit, shown, on, hidden)
            if soft and gone_past_nothing(limit, value, on):
                continue
            if limit.side == "below" and not on.signed and value <= 0.0:
                # room for the band went past nothing, where no reading gets: short of the band, or it stops nothing
                value = on.rounded(min(limit.value, limit.value if low is None else low), -1)
                if value <= on.limits(0.0) or hidden:
                    continue
        cut = (low is not None and limit.side == "below" and value > low) or (
            high is not None and limit.side == "above" and value < high
        )
        stop = Stop(float(value), why, cut, separate() if cut else "")
        if limit.side == "below" and (below is None or stop.limit > below.limit):
            below = stop
        if limit.side == "above" and (above is None or stop.limit < above.limit):
            above = stop
    return below, above


def short_of_nothing(limit: Limit, off_low: float, off_high: float, foot: float, head: float) -> tuple[float, float]:
    """The room for a band where a limit on a size gives way to it: never past the band's ``foot``, or ``head`` of a negative one."""
    if limit.side == "below" and limit.value > 0.0:
        return max(off_low, foot), off_high
    if limit.side == "above" and limit.value < 0.0:
        return off_low, min(off_high, head)
    return off_low, off_high


def gone_past_nothing(limit: Limit, value: float, on: Range) -> bool:
    """Has a limit on a size given way so far that what reads nothing would not trip it? It then stops nothing."""
    if not on.signed or limit.value == 0.0 or (limit.side == "below") != (limit.value > 0.0):
        return False
    size = value if limit.value > 0.0 else -value
    return size <= on.limits(0.0)


def below_in_proportion(low: float, expected: float) -> float:
    """CLEAR under the foot of a band, reckoned as a ratio: never nothing while the foot is something."""
    return 0.0 if low <= 0.0 or expected <= low else low * (low / expected) ** CLEAR


def past(limit: Limit, shown: float, on: Range) -> bool:
    """Does what is expected of the drawing itself lie past this limit?"""
    away = limit.value - shown if limit.side == "above" else shown - limit.value
    return away < -on.step


def beyond(value: float, limit: Limit, shown: float, on: Range, hidden: bool) -> float:
    """The limit, not on the figure that is expected nor within what a meter that hides it may be wrong by."""
    room = on.limits(shown) if hidden else 0.0
    if limit.side == "below":
        nearest = min(on.rounded(shown - on.step), on.rounded(shown - room, -1))
        return min(value, nearest)
    nearest = max(on.rounded(shown + on.step), on.rounded(shown + room, 1))
    return max(value, nearest)
