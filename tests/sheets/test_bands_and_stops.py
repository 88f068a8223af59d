"""A printed band ends where its stop stands: one eye must not read "pass" where the other reads "switch off"."""

from typing import Any

import pytest

from firstglow.sheets.rows import expect_text


def volts(**more: Any) -> dict[str, Any]:
    """A reading of volts as a ladder's document has it."""
    return {"expected": -55.0, "shown": "-55.0 V", "low": -75.0, "high": -40.0, "unit": "V", **more}


@pytest.mark.parametrize(
    ("reading", "band"),
    [
        (volts(stop_above=-45.0), "−75.0 V  to  −45.0 V"),
        (volts(stop_below=-70.0), "−70.0 V  to  −40.0 V"),
        (volts(stop_below=-80.0, stop_above=-30.0), "−75.0 V  to  −40.0 V"),
        (volts(expected=440.0, shown="440 V", low=350.0, high=520.0, stop_above=500.0), "350 V  to  500 V"),
        (
            volts(expected=0.351, shown="0.351 V", low=-0.002, high=0.884, stop_above=0.728),
            "−0.002 V  to  0.728 V",
        ),
        # as drawn it stands past its stop altogether, which the stop says: no band of "520 to 500"
        (volts(expected=530.0, shown="530 V", low=520.0, high=540.0, stop_above=500.0), "520 V  to  540 V"),
        # a stop between two steps of the meter is printed toward safe
        (volts(expected=440.0, shown="440 V", low=350.0, high=520.0, stop_above=500.4), "350 V  to  500 V"),
    ],
)
def test_a_printed_band_ends_at_its_stop(reading: dict[str, Any], band: str) -> None:
    assert expect_text(reading)[1] == band
