"""Mains as they are read at the moment: what a figure would be at the mains of the sheet, what the sheet's band is at these.

Stop limits never move: a limit is one at any mains.
"""

from dataclasses import replace
from math import isfinite

from firstglow.readings.expected import MAINS_STEPS, ExpectedLadder, ExpectedReading

# A dial within this part of where the rung wants it is corrected for; past it the figure is not judged.
MAINS_REACH = 0.12
# And where the rung's dial ends below the socket's mains, past it by more than this: a capacitor may set that end.
DIAL_SLACK = 0.085
# Below this part of the band's width an expected value counts as nothing: mains then shift it, not scale it.
_NOTHING = 2.0


def mains_away(
    ladder: ExpectedLadder, reading: ExpectedReading, now: float | None, file: float | None = None
) -> float | None:
    """Mains at the moment over the mains that the rung wants; None where none were read or none are on.

    now: read with this reading [V]. file: read once for all of a file [V at the socket].
    """
    wanted = reading.planned.situation.mains_volts
    if wanted <= 0.0:
        return None
    if now is not None:
        dialled, socket = now / wanted, now / ladder.mains
        # a rung with the dial low, and a figure that can only be the socket's: the dial stood where it should
        return socket if abs(socket - 1.0) < MAINS_REACH < abs(dialled - 1.0) else dialled
    return None if file is None else file / ladder.mains


def unjudged(ladder: ExpectedLadder, reading: ExpectedReading, away: float | None) -> str:
    """Why nothing is judged at these mains, "" where it is."""
    if away is None:
        return ""
    wanted = reading.planned.situation.mains_volts
    if away > 1.0 + DIAL_SLACK and wanted < ladder.mains * (1.0 - DIAL_SLACK):
        return f"read with {away * wanted:.0f} V of mains where this rung's dial ends at {wanted:.0f} V: set the dial back, read again"
    if abs(away - 1.0) > MAINS_REACH:
        return f"read with {away * wanted:.0f} V of mains where this rung wants {wanted:.0f} V: set the dial and read it again"
    return ""


def to_sheet(reading: ExpectedReading, value: float, away: float | None) -> float:
    """A figure [SI] that was read at these mains, as it would be at the mains of the sheet."""
    factor, shift = _moved(reading, away)
    if not isfinite(value):
        return value
    moved = (value - shift) / factor
    sized = reading.on is not None and not reading.on.signed and value >= 0.0
    return max(moved, 0.0) if sized else moved  # a size that is nothing stays nothing


def as_read(reading: ExpectedReading, sheet: ExpectedReading, away: float | None) -> ExpectedReading:
    """``reading`` as its figures stand at these mains, which move them as they move those of the ``sheet``.

    Its band is rounded inward on the meter's step and ends at its range and at the stop: what the meter shows lies inside it where the same
    figure, brought to the sheet's mains, goes on. A band that lies past the stop altogether stays: the stop wins.
    """
    factor, shift = _moved(sheet, away)
    on, expected = reading.on, reading.expected
    if (factor, shift) == (1.0, 0.0) or on is None or not isinstance(expected, float):
        return reading
    low = None if reading.low is None else on.rounded(reading.low * factor + shift, 1)
    high = None if reading.high is None else min(on.rounded(reading.high * factor + shift, -1), on.full)
    below, above = reading.stop_below, reading.stop_above
    if low is not None and below is not None and high is not None and below.limit < high:
        low = max(low, below.limit)
    if high is not None and above is not None and low is not None and above.limit > low:
        high = min(high, above.limit)
    return replace(reading, expected=expected * factor + shift, low=low, high=high)


def _moved(reading: ExpectedReading, away: float | None) -> tuple[float, float]:
    """(factor, shift [SI]) from the mains of the sheet to these: in proportion, or by a shift where what is expected is
    about nothing."""
    if away is None or away == 1.0 or not reading.mains_curve:
        return 1.0, 0.0
    import numpy as np

    curve = np.array(reading.mains_curve)
    there = float(np.polynomial.Polynomial.fit(MAINS_STEPS, curve, 2)(away))
    here = float(curve[MAINS_STEPS.index(1.0)])
    width = (reading.high or 0.0) - (reading.low or 0.0)
    if abs(here) > _NOTHING * width and there * here > 0:
        return there / here, 0.0
    return 1.0, there - here
