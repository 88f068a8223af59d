"""What can be bought: working volts of capacitors, watts of resistors, and the present value for an old one."""

from collections.abc import Mapping
from math import pi
from typing import NamedTuple

from firstglow.markings.series import MarkingError, around, is_preferred, next_up, preferred

# Present catalogues, rated volts after the R10 series of ISO 3; from memory.
VOLTS: Mapping[str, tuple[float, ...]] = {
    "electrolytic": (10, 16, 25, 35, 50, 63, 100, 160, 200, 250, 350, 400, 420, 450, 500, 550, 600),
    "film": (63, 100, 160, 250, 400, 630, 1000, 1250, 1600, 2000),
    "ceramic": (50, 100, 200, 500, 1000, 2000, 3000),
    "mica": (100, 300, 500, 1000),
    "safety": (250, 275, 300, 310, 440, 500),  # classes X and Y, V ac
}
# Common practice: what shops keep.
WATTS: Mapping[str, tuple[float, ...]] = {
    "film": (0.25, 0.5, 0.6, 1.0, 2.0, 3.0),
    "wirewound": (3.0, 5.0, 7.0, 10.0, 15.0, 25.0, 50.0, 100.0),
}
# How far below the old value a capacitor's present one may lie: the facts' table of old values (from memory) goes to
# 12 % below (0.25 to 0.22 uF), and up to about 40 % above, which the rectifier's largest capacitor must allow.
_BELOW, _ABOVE = -0.125, 0.40


class Present(NamedTuple):
    """A value made today in place of an old one. ``change``: fraction of the old value."""

    value: float
    change: float


def made_volts(volts: float, kind: str = "film") -> float | None:
    """The smallest made working volts of a kind (electrolytic, film, ceramic, mica; safety: V ac of classes X and Y) not below;
    None: none is made, put two in series with equalising resistors."""
    return next((v for v in _row(VOLTS, kind) if v >= volts), None)


def made_watts(watts: float, kind: str = "film") -> float | None:
    """The smallest made resistor watts of a kind (film, wirewound) not below; None: none is made."""
    return next((w for w in _row(WATTS, kind) if w >= watts), None)


def _row(table: Mapping[str, tuple[float, ...]], kind: str) -> tuple[float, ...]:
    if kind not in table:
        raise MarkingError(f"marking: {kind}: no such kind; one of {', '.join(table)}; try {next(iter(table))}")
    return table[kind]


def present(value: float, unit: str) -> tuple[Present, ...]:
    """Values made today for an old one, least change first: 0.02 uF to 0.022; 8 uF to 8.2 and 10; 50 kohm to 51 and 47.

    Resistors: both E24 neighbours. Capacitors (``unit`` F): the nearest of E6 (what is kept in every kind), of E12, and
    the next up in E6. Empty for what is made as it is (small mica and ceramic in E24 too).
    """
    low, high = around(value, "E24")
    if low == high and (unit != "F" or value < 1e-9 or is_preferred(value, "E12")):
        return ()
    found = {low, high} if unit != "F" else {preferred(value, "E6"), preferred(value, "E12"), next_up(value, "E6")}
    rows = [Present(v, v / value - 1) for v in found]
    if unit == "F":
        rows = [r for r in rows if _BELOW <= r.change <= _ABOVE]
    return tuple(sorted(rows, key=lambda r: (round(abs(r.change), 9), -r.value)))


class Body(NamedTuple):
    """Usual size of a part [mm]; spacing of the leads of upright ones, None of axial ones."""

    length: float
    width: float
    spacing: float | None


# Leaded film and oxide resistors and wirewounds by watts; film boxes of 630 V by microfarads: makers' sheets, from memory.
_RESISTOR_BODIES = (
    (0.25, 6.5, 2.5), (0.6, 9.0, 3.2), (1.0, 12.0, 4.5), (2.0, 15.0, 5.5), (3.0, 17.0, 6.0), (5.0, 25.0, 8.0), (7.0, 38.0, 8.0),
    (10.0, 50.0, 9.0), (15.0, 50.0, 12.0),
)  # fmt: skip
_FILM_BODIES = (
    (0.01, 13.0, 5.0, 10.0), (0.033, 18.0, 6.0, 15.0), (0.1, 18.0, 8.0, 15.0), (0.22, 26.0, 9.0, 22.5), (0.47, 26.5, 11.0, 22.5),
    (1.0, 31.5, 13.0, 27.5), (2.2, 41.5, 16.0, 37.5),
)  # fmt: skip
# Snap-in and radial electrolytics hold about 2.5 mC a cubic centimetre (microfarads times rated volts), to 100 V twice as much,
# and are as long as twice their diameter: makers' sheets, from memory.
_COULOMBS_PER_CUBIC_MM = 2.5e-6


def resistor_body(watts: float) -> Body | None:
    """Usual axial body of so many watts; None above what is listed."""
    return next((Body(length, width, None) for w, length, width in _RESISTOR_BODIES if watts <= w), None)


def capacitor_body(kind: str, farads: float, volts: float) -> Body | None:
    """Usual body of a film box (rated volts near 630) or an upright electrolytic; None for other kinds."""
    if kind == "film":
        micro = farads * 1e6 * max(volts / 630.0, 0.5) ** 1.5
        return next((Body(a, b, c) for most, a, b, c in _FILM_BODIES if micro <= most * 1.001), None)
    if kind != "electrolytic":
        return None
    cubic = max(farads * volts / _COULOMBS_PER_CUBIC_MM / (2.0 if volts <= 100.0 else 1.0), 300.0)
    across = (cubic / (2.0 * pi / 4.0)) ** (1.0 / 3.0)
    across = next(
        (d for d in (6.3, 8.0, 10.0, 12.5, 16.0, 18.0, 22.0, 25.0, 30.0, 35.0) if d >= across), float(round(across))
    )
    # the next made diameter holds it in less than twice its own; none is made shorter than this (makers' sheets, from memory)
    long = round(max(cubic / (pi / 4.0 * across**2), 1.6 * across))
    return Body(long, across, 10.0 if across >= 22.0 else 7.5 if across >= 16.0 else 5.0)
