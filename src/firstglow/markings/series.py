"""Preferred values: the E series of IEC 60063.

E6, E12 and E24 are the standard's own two-figure lists. E48, E96 and E192 are 10^(k/192) rounded to three figures, with
the standard's one exception, 9.20, where the formula gives 9.19 (facts: IEC 60063, E96 compared figure by figure).
"""

from decimal import Decimal
from functools import cache
from itertools import pairwise
from math import isfinite, log

E24 = "1.0 1.1 1.2 1.3 1.5 1.6 1.8 2.0 2.2 2.4 2.7 3.0 3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.2 6.8 7.5 8.2 9.1"  # IEC 60063
SERIES = ("E6", "E12", "E24", "E48", "E96", "E192")


class MarkingError(ValueError):
    """What is no marking: "marking: TEXT: what is wrong; what would do; try TEXT"."""


@cache
def steps(series: str) -> tuple[Decimal, ...]:
    """One decade of the series, 1.0 and up, exact. MarkingError for a series that does not exist."""
    if series not in SERIES:
        raise MarkingError(f"marking: {series}: no such series; one of {', '.join(SERIES)}; try E24")
    if series in {"E6", "E12", "E24"}:
        return tuple(Decimal(s) for s in E24.split())[:: 24 // int(series[1:])]
    finest = [Decimal(f"{10 ** (k / 192):.2f}") for k in range(192)]
    finest[185] = Decimal("9.20")
    return tuple(finest[:: 192 // int(series[1:])])


def around(value: float, series: str) -> tuple[float, float]:
    """The neighbours in the series: (the largest not above, the smallest not below); equal for a preferred value."""
    if not (isfinite(value) and 1e-15 <= value <= 1e15):
        raise MarkingError(f"marking: {value:g}: no part has this value; above 0, within reason; try 4.7k")
    exact = Decimal(repr(value))
    ladder = [s.scaleb(exact.adjusted()) for s in (*steps(series), Decimal(10))]
    for low, high in pairwise(ladder):
        if low <= exact <= high:
            return float(high if exact == high else low), float(low if exact == low else high)
    raise AssertionError(value)  # the decade's ends enclose every number of it


def preferred(value: float, series: str = "E24") -> float:
    """The nearest value of the series, by ratio (as tolerances go); the lower one where both are as near."""
    low, high = around(value, series)
    return low if log(value / low) <= log(high / value) else high


def next_up(value: float, series: str = "E24") -> float:
    """The smallest value of the series that is not below."""
    return around(value, series)[1]


def next_down(value: float, series: str = "E24") -> float:
    """The largest value of the series that is not above."""
    return around(value, series)[0]


def is_preferred(value: float, series: str) -> bool:
    """Whether the value is one of the series, exactly."""
    low, high = around(value, series)
    return low == high


def usual(tolerance: float | None) -> tuple[str, ...]:
    """The series that parts of a tolerance (a fraction) are made in (IEC 60063's own pairing; E24 beside the fine
    ones, as makers do: common practice)."""
    if tolerance is None:
        return ("E24",)
    for least, names in (
        (0.2, ("E6",)), (0.1, ("E12",)), (0.05, ("E24",)), (0.02, ("E48", "E24")), (0.01, ("E96", "E24")),
    ):  # fmt: skip
        if tolerance >= least * (1 - 1e-9):
            return names
    return ("E192", "E24")
