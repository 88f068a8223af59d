"""Where an output valve's idle lies between what its class is run at: a mark beside the plate's limit, never a verdict.

Class AB with fixed bias idles at 50 to 70 % of the plate's limit: under it the crossover shows, over it little is left for full
power and for the mains. Class A, and a pair on its own cathode resistors, is run at up to 90 % (all common practice).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from firstglow.amplifier.role_types import OutputValve
from firstglow.audit.ways import Stood
from firstglow.readings.rated import section_of

Mark = Literal["below", "inside", "above", "unknown"]
Class = tuple[str, float | None, float]
FIXED: Class = ("class AB, fixed bias", 0.5, 0.7)
HELD: Class = ("pair on cathode bias", None, 0.9)
SINGLE: Class = ("class A, single-ended", None, 0.9)
"""What it is called, least and most part of the plate's limit at idle (common practice)."""
SAID = 0.005
"""A share is told in whole per cent, and judged as it is told."""


@dataclass(frozen=True, slots=True)
class IdleBand:
    """One output valve. watts: plate volts to cathode times plate current at idle; limit: the plate's, None where no sheet says
    it. kind: what it is run as; low, high: parts of the limit, low None where class A has none."""

    valve: str
    watts: float
    limit: float | None
    kind: str
    low: float | None
    high: float

    @property
    def share(self) -> float | None:
        """Watts over the limit."""
        return self.watts / self.limit if self.limit else None

    @property
    def mark(self) -> Mark:
        """Where the share lies."""
        if self.share is None:
            return "unknown"
        if self.share > self.high + SAID:
            return "above"
        return "below" if self.low is not None and self.share < self.low - SAID else "inside"

    @property
    def text(self) -> str:
        """The band in words."""
        most = f"{100.0 * self.high:.0f} %"
        return f"{self.kind}: {'up to' if self.low is None else f'{100.0 * self.low:.0f} to'} {most}"

    def row(self) -> dict[str, Any]:
        """Of the documents of ``parts`` and ``bias``."""
        return {
            "class": self.kind, "plate_watts": self.watts, "limit_watts": self.limit, "share": self.share, "low": self.low,
            "high": self.high, "mark": self.mark, "source": "common practice",
        }  # fmt: skip


def idle_band(output: OutputValve, watts: float, limit: float | None) -> IdleBand:
    """What ``watts`` at idle are of what its class is run at."""
    kind = SINGLE if output.partner is None else HELD if output.bias == "cathode" else FIXED
    return IdleBand(output.valve, watts, limit, *kind)


def idle_bands(stood: Stood) -> Iterator[IdleBand]:
    """Every output valve, running on the mains as they are, presets where the file's targets put them."""
    k = int(np.flatnonzero(stood.where(level="now", runs=True))[0])
    for o in stood.roles.outputs:
        watts = float(np.broadcast_to(stood.row(o.valve)["plate_watts"], (len(stood.ways),))[k])
        yield idle_band(o, watts, section_of(stood.amplifier.parts[o.valve]).limits.plate_watts)
