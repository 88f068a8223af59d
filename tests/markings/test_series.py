"""Preferred values and made ratings against IEC 60063 and the facts' own tables (standards.toml, source named there)."""

from math import inf, log, nan

import numpy as np
import pytest

from firstglow.markings.made import made_volts, made_watts, present
from firstglow.markings.series import SERIES, MarkingError, around, is_preferred, next_down, next_up, preferred, steps

# IEC 60063, as in standards.toml val.e_series (read on pages); E48 head and E192's 9.20 from the standard, from memory.
E12 = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2]
E24 = [1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1]  # fmt: skip
E96 = """1.00 1.02 1.05 1.07 1.10 1.13 1.15 1.18 1.21 1.24 1.27 1.30 1.33 1.37 1.40 1.43 1.47 1.50 1.54 1.58 1.62 1.65 1.69
1.74 1.78 1.82 1.87 1.91 1.96 2.00 2.05 2.10 2.15 2.21 2.26 2.32 2.37 2.43 2.49 2.55 2.61 2.67 2.74 2.80 2.87 2.94 3.01
3.09 3.16 3.24 3.32 3.40 3.48 3.57 3.65 3.74 3.83 3.92 4.02 4.12 4.22 4.32 4.42 4.53 4.64 4.75 4.87 4.99 5.11 5.23 5.36
5.49 5.62 5.76 5.90 6.04 6.19 6.34 6.49 6.65 6.81 6.98 7.15 7.32 7.50 7.68 7.87 8.06 8.25 8.45 8.66 8.87 9.09 9.31 9.53
9.76"""


def test_the_series_are_the_standards() -> None:
    assert [float(x) for x in steps("E6")] == [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]
    assert [float(x) for x in steps("E12")] == E12
    assert [float(x) for x in steps("E24")] == E24
    assert [str(x) for x in steps("E96")] == E96.split()
    assert [str(x) for x in steps("E48")][:5] == ["1.00", "1.05", "1.10", "1.15", "1.21"]
    assert [str(x) for x in steps("E192")][184:187] == ["9.09", "9.20", "9.31"]
    assert [len(steps(s)) for s in SERIES] == [6, 12, 24, 48, 96, 192]


@pytest.mark.parametrize("series", SERIES)
def test_nearest_and_neighbours_by_brute_force(series: str) -> None:
    table = np.array([float(s.scaleb(d)) for d in range(-13, 8) for s in steps(series)])
    for value in 10 ** np.random.default_rng(4).uniform(-12, 7, 150):
        low, high = around(float(value), series)
        assert low == table[table <= value].max() and high == table[table >= value].min()
        assert abs(log(preferred(float(value), series) / value)) <= np.abs(np.log(table / value)).min() + 1e-12
    for value in table[20:60].tolist():
        assert preferred(value, series) == next_up(value, series) == next_down(value, series) == value
        assert is_preferred(value, series) and not is_preferred(value * 1.004, series)


# standards.toml val.pre_e_series (from memory): what the trade puts in for pre-war values.
@pytest.mark.parametrize(
    ("old", "modern"), [(0.05, 0.047), (0.25, 0.22), (0.5, 0.47), (8, 10), (16, 15), (20, 22), (40, 47), (50, 47),
     (0.02, 0.022), (8, 8.2), (16, 22)]
)  # fmt: skip
def test_old_capacitors(old: float, modern: float) -> None:
    rows = {round(r.value * 1e6, 6): r.change for r in present(old * 1e-6, "F")}
    assert modern in rows
    assert rows[modern] == pytest.approx(modern / old - 1)
    assert min(rows.values()) > -0.13


@pytest.mark.parametrize(("old", "both"), [
    (25e3, [24e3, 27e3]), (50e3, [47e3, 51e3]), (250e3, [240e3, 270e3]), (500e3, [470e3, 510e3])])  # fmt: skip
def test_old_resistors(old: float, both: list[float]) -> None:
    assert sorted(r.value for r in present(old, "ohm")) == both


def test_what_is_made_needs_no_other() -> None:
    assert present(4700, "ohm") == present(51e3, "ohm") == present(47e-9, "F") == ()


# standards.toml cap.voltage_series_new: substitution, pick_v (from memory); fact of the issue: 400 V coupling to 630 V.
@pytest.mark.parametrize(("needs", "kind", "made"), [
    (450, "electrolytic", 450), (475, "electrolytic", 500), (525, "electrolytic", 550),
    (537.5, "film", 630), (600, "film", 630), (601, "electrolytic", None),
])  # fmt: skip
def test_made_ratings(needs: float, kind: str, made: float | None) -> None:
    assert made_volts(needs, kind) == made
    assert made_watts(0.51) == 0.6 and made_watts(6, "wirewound") == 7 and made_watts(4) is None


@pytest.mark.parametrize("bad", [0, -1, nan, inf, 1e20])
def test_no_value(bad: float) -> None:
    with pytest.raises(MarkingError, match="try"):
        around(bad, "E24")
    with pytest.raises(MarkingError, match="E96"):
        steps("E36")
