"""Typical operation of rectifier valves, blind: laws from printed drops only, HT volts of makers' sheets."""

from functools import cache

import numpy as np
import pytest

from firstglow.solver.rectifier_rows import RectifierRow, rectifier_rows

TYPES = ("GZ34", "5U4GB", "5Y3GT", "5V4G", "EZ80", "EZ81", "6X4", "6X5GT")


@cache
def rows_of(name: str) -> tuple[RectifierRow, ...]:
    return tuple(rectifier_rows(name))


@pytest.mark.parametrize("name", TYPES)
def test_published_ht(name: str) -> None:
    """Worked examples ``rect_gz34_a`` and the rest allow 6 %; the house's physics notes expect -4 .. +1 % from the printed drop."""
    assert rows_of(name)
    for row in rows_of(name):
        at = f"{row.volts_rms:.0f} V {row.amps * 1e3:.0f} mA"
        assert abs(row.error) < 0.06, at
        assert -0.04 < row.error < 0.01, at
        # and inside twice what law and print are known to, together (GUM: k = 2), but for one row in twenty
        assert abs(row.predicted - row.published) < 3.0 * np.hypot(row.sigma, row.spread), at


def test_as_a_whole() -> None:
    rows = [row for name in TYPES for row in rows_of(name)]
    errors = np.array([row.error for row in rows])
    assert len(rows) >= 24
    assert np.median(np.abs(errors)) < 0.02
    covered = [abs(r.predicted - r.published) < 2.0 * np.hypot(r.sigma, r.spread) for r in rows]
    assert np.mean(covered) >= 0.9


def test_types_without_a_law_have_no_rows() -> None:
    assert rectifier_rows("12AX7") == ()
