"""Typical operation of rectifier valves, blind: laws from printed drops only, HT volts of makers' sheets."""

import numpy as np
import pytest

from firstglow.solver.rectifier_rows import RectifierRow, rectifier_rows

TYPES = ("GZ34", "5U4GB", "5Y3GT", "5V4G", "EZ80", "EZ81", "6X4", "6X5GT")
ROWS = [row for name in TYPES for row in rectifier_rows(name)]


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r.valve} {r.volts_rms:.0f} V {r.amps * 1e3:.0f} mA")
def test_published_ht(row: RectifierRow) -> None:
    """Worked examples ``rect_gz34_a`` and the rest allow 6 %; the house's physics notes expect -4 .. +1 % from the printed drop."""
    assert abs(row.error) < 0.06
    assert -0.04 < row.error < 0.01
    # and inside twice what law and print are known to, together (GUM: k = 2), but for one row in twenty
    assert abs(row.predicted - row.published) < 3.0 * np.hypot(row.sigma, row.spread)


def test_as_a_whole() -> None:
    errors = np.array([row.error for row in ROWS])
    assert len(ROWS) >= 24
    assert np.median(np.abs(errors)) < 0.02
    covered = [abs(r.predicted - r.published) < 2.0 * np.hypot(r.sigma, r.spread) for r in ROWS]
    assert np.mean(covered) >= 0.9


def test_types_without_a_law_have_no_rows() -> None:
    assert rectifier_rows("12AX7") == ()
