"""Two channels in one row: what differs stands side by side, and no parenthesis is taken for part of a word."""

import pytest

from firstglow.sheets.rows import together


@pytest.mark.parametrize(
    ("one", "other", "both"),
    [
        ("left P1 wiper (left bias a)", "right P1 wiper (right bias a)", "left/right P1 wiper (left/right bias a)"),
        ("left R12 2 (V1 pin 1)", "right R12 2 (V5 pin 1)", "left/right R12 2 (V1/V5 pin 1)"),
        ("V3 pin 5 (grid)", "V7 pin 5 (grid)", "V3/V7 pin 5 (grid)"),
        ("chassis", "chassis", "chassis"),
        ("V1 pin 1", "V1 (cap)", "V1 pin 1 / V1 (cap)"),
    ],
)
def test_both_channels_in_one_place(one: str, other: str, both: str) -> None:
    """ "left/right P1 wiper (left/(right bias a)" stood on every row of a coupling leak."""
    assert together([one, other]) == both
