"""Incoming capacitors: what a new or an old one may leak at working volts, and the test for it with one meter.

The limits are data (incoming.toml, each row with source and doubt). The test puts the capacitor, a limiting resistor and
a meter's own 10 Mohm, or a resistor that the meter stands across (it takes its share), in series on the working volts.
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import isfinite, log
from typing import Any, Literal

from firstglow.markings.series import MarkingError, next_down, next_up
from firstglow.quantities import show

_GRID_VOLTS = 0.1  # common practice: 0.1 V and more across the grid leak, replace
_FEED = 20.0  # facts, fault modes: leakage at least 20 times the feed resistor
_SHORT_AMPS = 5e-3  # facts, reforming: current limit with the capacitor shorted (seen quoted)
_HIGH_VOLTS = 100.0  # from here on makers' sheets have a law for high-voltage types of their own
_TAKES = (
    0.25  # part of the volts that the resistor may take from one just rejected, so that it is tested at most of them
)


@dataclass(frozen=True)
class LeakTest:
    """good_amps, reject_amps [A], at all of the volts: fit it below, do not above, look first between (what flows in the test
    itself is ``flows`` of the reading: the resistor takes its share of the volts); after_seconds.
    series_ohms: in series with it, short-circuit proof; meter_ohms: what the meter stands across (its own 10 Mohm, or the
    resistor beside them); good_volts, reject_volts: what it shows there; steps: the test in bench words; source, doubt."""

    good_amps: float
    reject_amps: float
    after_seconds: float
    series_ohms: float
    series_watts: float
    meter_ohms: float
    good_volts: float
    reject_volts: float
    steps: tuple[str, ...]
    source: str
    doubt: str

    def flows(self, volts: float) -> float:
        """Amps that pass while the meter shows so many volts [A]."""
        return volts / self.meter_ohms

    def judge(self, volts: float) -> "Fitness":
        """What a reading at the end of the test says, by its size [V]."""
        return fitness(abs(volts), self.good_volts, self.reject_volts)


Fitness = Literal["good", "doubtful", "never fit"]


def fitness(value: float, good: float, reject: float) -> Fitness:
    """A figure that should be small, between the limit of a good part and the one of a part that is never fitted."""
    return "good" if value <= good else "never fit" if value > reject else "doubtful"


@cache
def _rows() -> dict[tuple[str, str], dict[str, Any]]:
    text = files("firstglow.markings").joinpath("incoming.toml").read_text(encoding="utf-8")
    return {(r["kind"], r["age"]): r for r in tomllib.loads(text)["row"]}


def leak_test(
    kind: str, age: str, farads: float, volts: float, *, grid_leak_ohms: float | None = None,
    feed_ohms: float | None = None, meter_ohms: float = 10e6, series_ohms: float | None = None,
    by_resistor: bool | None = None,
) -> LeakTest:  # fmt: skip
    """The leakage test of one capacitor at ``volts`` (its working volts in the amplifier, dc).

    kind, age: a row of incoming.toml; grid_leak_ohms: what it would feed; feed_ohms: what feeds it. The place may only
    tighten the limits. series_ohms: what is in series, default what holds a short to 5 mA, or less where one just rejected
    would lose over a quarter of the volts in it. by_resistor: the meter stands across that resistor, not in the lead itself;
    default of an electrolytic. Raises MarkingError for an unknown kind, or a part that cannot be.
    """
    row = _rows().get((kind, age))
    if row is None or not all(isfinite(x) and x > 0 for x in (farads, volts, meter_ohms)):
        known = ", ".join(f"{k} {a}" for k, a in _rows())
        raise MarkingError(
            f"marking: {kind} {age} {farads:g} F {volts:g} V: no leakage test for it; one of {known}, farads and volts "
            "above 0; try film new"
        )
    place = [_GRID_VOLTS / r for r in (grid_leak_ohms,) if r]
    place += [volts / (_FEED * r) for r in (feed_ohms,) if r]
    good = min([_limit(row, row["good"], farads, volts, place), *place])
    reject = max(min([_limit(row, row["reject"], farads, volts, place), *place]), good)
    series = series_ohms or min(next_up(volts / _SHORT_AMPS, "E12"), next_down(_TAKES * volts / reject, "E12"))
    by_resistor = kind == "electrolytic" if by_resistor is None else by_resistor
    across = 1.0 / (1.0 / series + 1.0 / meter_ohms) if by_resistor else meter_ohms
    watts = volts**2 / series
    # what the reading shows the capacitor does not stand at: a leak in proportion to its volts
    shown = [a * across / (1.0 + a * across / volts) for a in (good, reject)]
    steps = (
        f"Out of the amplifier. In series on {show(volts, 'V')} dc: {show(series, 'ohm')}, at least "
        f"{2 * watts:.1f} W and rated for the volts, the capacitor (its + to +), and "
        + ("the meter across the resistor." if by_resistor else f"the meter on dc volts ({show(across, 'ohm')}).")
        + f" Meter and leads stand {show(volts, 'V')}: begin on a range above it.",
        "High voltage kills: clips on with the power off, one hand, nothing touched while it is on.",
        _said(row["after_seconds"], *shown),
        "Off; discharge it through the resistor, measure below 10 V, before the clips come off.",
    )
    return LeakTest(
        good, reject, row["after_seconds"], series, watts, across, shown[0], shown[1], steps, row["source"], row["doubt"],
    )  # fmt: skip


def _said(seconds: float, good: float, reject: float) -> str:
    """The verdict's line."""
    between = "; between, look first" if reject > good else ""
    return (
        f"After {seconds / 60:g} min: under {show(good, 'V')} fit it, over {show(reject, 'V')} do not{between}. Rising, or "
        "warm to the back of the hand once it is off and discharged: do not."
    )


def _limit(row: dict[str, Any], rule: dict[str, Any], farads: float, volts: float, place: list[float]) -> float:
    if rule["law"] == "c u":
        root = rule.get("root", 0.0) * (farads * 1e6 * volts) ** 0.5 if volts > _HIGH_VOLTS else 0.0
        return float(max(rule["factor"] * farads * volts + rule["amps"], rule["floor_amps"], root))
    if rule["law"] == "jan":
        k = next((k for most, k in row["k"] if volts <= most), row["k"][-1][1])
        return float((k * farads * 1e6 + 0.3) * 1e-3)
    if rule["law"] == "ohms":
        return float(volts / min(rule["ohms_min"], rule["seconds"] / farads))
    return min(place, default=_GRID_VOLTS / 470e3)  # no place said: an ordinary grid leak of 470 kohm


def pairs(values: list[float], most: int | None = None) -> tuple[tuple[int, int], ...]:
    """Measured parts (any unit, above 0) put into pairs as like as can be: indices, most alike first.

    ``most``: how many pairs are wanted, default as many as there are; what is left over is dropped. Of all ways the one with
    the least sum of squared ratios (of logarithms): in order of size neighbours pair, so one pass over the order finds it.
    """
    order = sorted(range(len(values)), key=values.__getitem__)
    wanted = len(order) // 2 if most is None else min(most, len(order) // 2)
    # best[n][k]: least misfit of k pairs among the first n, and the pairs
    none: tuple[float, tuple[tuple[int, int], ...]] = (0.0, ())
    best: list[list[tuple[float, tuple[tuple[int, int], ...]] | None]] = [[none] + [None] * wanted]
    for n in range(1, len(order) + 1):
        row = list(best[n - 1])
        for k in range(1, wanted + 1):
            before = best[n - 2][k - 1] if n >= 2 else None
            if before is None:
                continue
            a, b = order[n - 2], order[n - 1]
            misfit = before[0] + log(values[b] / values[a]) ** 2
            now = row[k]
            if now is None or misfit < now[0]:
                row[k] = (misfit, (*before[1], (a, b)))
        best.append(row)
    found = best[-1][wanted]
    return tuple(sorted(found[1] if found else (), key=lambda p: values[p[1]] / values[p[0]]))
