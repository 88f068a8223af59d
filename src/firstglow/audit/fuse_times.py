"""What IEC 60127-2 lets a miniature fuse do: how long it must hold, by when it must have blown, what it can break.

Rows by rated amps up to which they hold; times at 2.75, 4 and 10 times the rated amps, least and most [s]. At 1.5 times all
hold for an hour; at 2.1 times all have blown by ``most_2_1``. Sheets 3 (T, low breaking capacity: a maker's data sheet on a
page), 5 (T, high: two makers' sheets on pages, one of which gives 0.005 s from 0.5 A on as its own extension), 2 (F, low: a
page and memory) and 1 (F, high: from memory). UL 248-14 marks are another thing: such a fuse carries 75 % of its mark for
good, blows within an hour at 1.35 and within two minutes at 2 times it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, inf, log
from typing import Literal

Speed = Literal["T", "F"]
Breaking = Literal["L", "H"]

RATINGS = (
    0.032, 0.04, 0.05, 0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15,
    4.0, 5.0, 6.3,
)  # fmt: skip
"""Rated amps that are made (R10 series; from memory)."""
HOLDS_AT, HOLDS_SECONDS = 1.5, 3600.0
"""Every class holds 1.5 times its mark for an hour."""
PRINT = 1e-9
"""Nearer than this to a limit is on it."""
PULSES = 0.29
"""Part of its melting I2t that a fuse stands ten thousand times (fuse makers' guides, from memory)."""
SAVES_SECONDS = 120.0
"""A fuse that has not surely blown by then saves nothing from a fault: a winding or a choke that takes several times its
current burns in minutes (common practice)."""
HIGH_BREAKING, LOW_BREAKING, LOW_TIMES = 1500.0, 35.0, 10.0
"""Amps that a fuse can break: H 1500 A; L 35 A or ten times its mark, the greater."""
BREAKING_RULE = (
    "H (breaks 1500 A) wherever the standard has it in that rating, time-lag from 1 A up (IEC 60127-2 sheet 5), quick from 50 mA "
    "(sheet 1, from memory), else L (35 A or 10 times its mark, sheets 3 and 2)"
)
"""Of a fuse in the line of an amplifier on a socket's circuit."""
UL_SHARE = 0.75
"""Part of a UL 248-14 fuse's mark that it carries for good."""


@dataclass(frozen=True, slots=True)
class Row:
    """Times [s] of one class in one range of marks, least and most, at 2.75, 4 and 10 times."""

    up_to: float
    at_2_75: tuple[float, float]
    at_4: tuple[float, float]
    at_10: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One standard sheet. most_2_1: by when it has blown at 2.1 times [s]; least: smallest mark that it covers [A]."""

    number: int
    speed: Speed
    breaking: Breaking
    most_2_1: float
    least: float
    rows: tuple[Row, ...]


SHEETS: Mapping[tuple[Speed, Breaking], Sheet] = {
    ("T", "L"): Sheet(
        3, "T", "L", 120.0, 0.032,
        (Row(0.1, (0.2, 10.0), (0.04, 3.0), (0.01, 0.3)), Row(6.3, (0.6, 10.0), (0.15, 3.0), (0.02, 0.3))),
    ),
    ("T", "H"): Sheet(
        5, "T", "H", 1800.0, 1.0,
        (Row(3.15, (0.75, 80.0), (0.095, 5.0), (0.01, 0.15)), Row(6.3, (0.75, 80.0), (0.15, 5.0), (0.02, 0.15))),
    ),
    ("F", "L"): Sheet(
        2, "F", "L", 1800.0, 0.032,
        (Row(0.1, (0.01, 0.5), (0.003, 0.1), (0.0, 0.02)), Row(6.3, (0.05, 2.0), (0.01, 0.3), (0.0, 0.02))),
    ),
    ("F", "H"): Sheet(
        1, "F", "H", 1800.0, 0.05,
        (Row(4.0, (0.01, 2.0), (0.003, 0.3), (0.0, 0.02)), Row(6.3, (0.01, 3.0), (0.003, 0.3), (0.0, 0.02))),
    ),
}  # fmt: skip


def breaking_made(amps: float, speed: Speed) -> Breaking:
    """The breaking capacity to fit, by ``BREAKING_RULE``: the more of what the standard has in that rating."""
    return "H" if amps >= SHEETS[speed, "H"].least else "L"


def to_order(amps: float, speed: Speed) -> str:
    """A fuse in the line as it is ordered: ``T 630mA L 250 V (as H made from 1 A up only)``. mains and parts alike say it so."""
    fuse = Fuse(amps, speed, breaking_made(amps, speed))
    least = SHEETS[speed, "H"].least
    return f"{fuse.name} 250 V" + (f" (as H made from {least:g} A up only)" if fuse.breaking == "L" else "")


@dataclass(frozen=True, slots=True)
class Fuse:
    """amps: its mark. breaking: "L" where the file does not say, the lesser of the two."""

    amps: float
    speed: Speed
    breaking: Breaking = "L"

    @property
    def name(self) -> str:
        """As the cap is marked."""
        amps = f"{self.amps:g}A" if self.amps >= 1.0 else f"{1e3 * self.amps:g}mA"
        return f"{self.speed} {amps} {self.breaking}"

    @property
    def sheet(self) -> Sheet:
        """Its standard sheet; a T H below 1 A is none of the standard's: sheet 5's first row is taken."""
        return SHEETS[self.speed, self.breaking]

    @property
    def row(self) -> Row:
        """Its times."""
        return next((r for r in self.sheet.rows if self.amps <= r.up_to * 1.0001), self.sheet.rows[-1])

    @property
    def breaks(self) -> float:
        """Most amps that it can break."""
        return HIGH_BREAKING if self.breaking == "H" else max(LOW_BREAKING, LOW_TIMES * self.amps)

    def holds(self, amps: float) -> float:
        """Seconds that it surely holds so many amps: the standard's least times, straight between them on paper that is
        logarithmic both ways (common practice); its own mark for good, an hour up to 1.5 times; beyond 10 times by equal I2t."""
        m = amps / self.amps * (1.0 - PRINT)
        if m <= HOLDS_AT:
            return HOLDS_SECONDS if m > 1.0 else inf
        row = self.row
        points = [
            (HOLDS_AT, HOLDS_SECONDS),
            (2.75, row.at_2_75[0]),
            (4.0, row.at_4[0]),
            (10.0, max(row.at_10[0], 1e-3)),
        ]
        for (a, s), (b, t) in zip(points, points[1:], strict=False):
            if m <= b:
                return exp(log(s) + (log(t) - log(s)) * (log(m) - log(a)) / (log(b) - log(a)))
        return points[-1][1] * (points[-1][0] / m) ** 2

    def blows_within(self, amps: float) -> float | None:
        """Seconds by which it has surely blown; None where the standard promises nothing (below 2.1 times)."""
        m = amps / self.amps * (1.0 + PRINT)
        row = self.row
        for times, seconds in (
            (10.0, row.at_10[1]),
            (4.0, row.at_4[1]),
            (2.75, row.at_2_75[1]),
            (2.1, self.sheet.most_2_1),
        ):
            if m >= times:
                return seconds
        return None

    @property
    def saves_from(self) -> float:
        """Amps from which it has surely blown within ``SAVES_SECONDS``."""
        row = self.row
        limits = ((2.1, self.sheet.most_2_1), (2.75, row.at_2_75[1]), (4.0, row.at_4[1]), (10.0, row.at_10[1]))
        return next(times for times, seconds in limits if seconds <= SAVES_SECONDS) * self.amps

    @property
    def melts(self) -> float:
        """Least I2t that melts it in a pulse [A2s]: what the least time at ten times lets through. F classes have no least time
        there: a millisecond is taken (fuse makers' sheets, from memory)."""
        return (10.0 * self.amps) ** 2 * max(self.row.at_10[0], 1e-3)
