"""A gain's stop limit follows the foot of its band without a jump: two channels of one stage have nearly one limit.

What has no sign and is a product of spread factors is spread log-normally (closed form, central limit of the logarithms);
2 standard deviations are the band's foot, 3 are what a limit that is no rating keeps clear of.
"""

from math import exp, log

import pytest

from firstglow.readings.limit import Limit
from firstglow.readings.meters import digital
from firstglow.readings.tightest import tightest

EXPECTED, TENTH = 0.2958, 0.02958
ON = digital().range_for("ac volts", EXPECTED)
FEET = [0.20 - 0.001 * k for k in range(195)]


def stop(low: float) -> float | None:
    below, _ = tightest([Limit("below", TENTH, "no gain", False)], low, 0.56, ON, str, EXPECTED, EXPECTED)
    return None if below is None else below.limit


def test_it_is_the_tenth_or_three_deviations_whichever_is_less() -> None:
    for low in FEET:
        sigma = (log(EXPECTED) - log(low)) / 2
        three = exp(log(EXPECTED) - 3 * sigma)
        if three > 5 * ON.limits(0.0):
            assert stop(low) == pytest.approx(min(TENTH, three), abs=ON.step), f"band from {low}"


def test_it_does_not_jump_between_two_bands_that_hardly_differ() -> None:
    """What was seen: 29.5 mV at one side of a stereo amplifier, 3.1 mV at the other."""
    told = [s for s in map(stop, FEET) if s is not None]
    steps = [abs(a - b) for a, b in zip(told, told[1:], strict=False)]
    assert len(told) > 100
    assert max(steps) < 3e-3
