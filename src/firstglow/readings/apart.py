"""Can this range of a meter tell a healthy amplifier from one that must be switched off?

A reading on a range is wrong by up to the range's limits, whatever stands at the joint. Where what is expected and what
must stop lie closer together than both errors, the two show the same figures, and no figure may pass: a needle at rest
on 500 V proves nothing about 20 V. Loading counts: what the meter leaves of both is what it shows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Literal

from firstglow.readings.meters import RATIO_OVER, Meter, Range, digital, loaded, ratio_of

Side = Literal["below", "above"]

# A meter that is wrong by no more than this many times what an ordinary digital one is wrong by is as good as that.
AS_GOOD = 2.0
# A range is chosen with this much room above the nominal reading.
HEADROOM = 1.15


@dataclass(frozen=True, slots=True)
class Apart:
    """A limit that healthy must be told apart from. limit: what stands there with no meter across [SI]; side, why: as
    a stop has them. average: a rating of the average valve, which healthy ones may pass: past it is looked at first."""

    side: Side
    limit: float
    why: str = ""
    average: bool = False


@dataclass(frozen=True, slots=True)
class Ground:
    """What a range is judged on.

    true: what stands there in the nominal amplifier with no meter across [SI]; inf for an open circuit. source_ohms:
    behind the joints [ohm]; 0 where a charged capacitor stands behind them. limits: what it must be told apart from.
    first: the range the plan puts a meter on first [SI], 0 for none. highest: what a needle may meet there if something
    is wrong [SI], 0 where the range for what is expected will do.
    """

    kind: str = ""
    true: float = 0.0
    source_ohms: float = 0.0
    limits: tuple[Apart, ...] = ()
    first: float = 0.0
    highest: float = 0.0

    def share(self, on: Range) -> float:
        """What is left of the true volts with this range across them."""
        return float(loaded(1.0, self.source_ohms, on.input_ohms)) if on.unit == "V" else 1.0

    def hides(self, on: Range) -> Apart | None:
        """The limit that this range cannot tell from what is expected; None where it can, or where the amplifier itself
        stands at its limit and no hand meter would do better."""
        usual = digital()
        for limit in self.limits:
            if not self._hides(limit, on):
                continue
            other = self._on_digital(limit, on, usual)
            if not self._hides(limit, other) or self._error(limit, on) > AS_GOOD * self._error(limit, other):
                return limit
        return None

    def _error(self, limit: Apart, on: Range) -> float:
        """What a range may be wrong by at a limit, at the joint [SI]."""
        share = self.share(on)
        return on.limits(limit.limit * share) / share

    def _on_digital(self, limit: Apart, on: Range, usual: Meter) -> Range:
        if on.kind == "ratio":
            return ratio_of(usual.range_for("ac volts", RATIO_OVER))
        sizes = [abs(v) for v in (self.true, limit.limit) if v < inf]
        return usual.range_for(on.kind, HEADROOM * max(sizes, default=0.0))

    def _hides(self, limit: Apart, on: Range) -> bool:
        if self.true == inf:
            return on.full < limit.limit * (1 - 1e-9)  # off the scale is read as open, whatever lies past its end
        share = self.share(on)
        here, there = self.true * share, limit.limit * share
        return abs(there - here) <= on.limits(here) + on.limits(there)

    def start(self, meter: Meter) -> Range | None:
        """The range to put the meter on first, where what may stand there is far more than what is expected."""
        volts = self.first or (self.highest if meter.needle else 0.0)
        return meter.range_for(self.kind, volts) if volts > 0.0 else None

    def resolving(self, meter: Meter) -> Range | None:
        """The highest range, from ``start`` down, that hides nothing; None where none does, or nothing can be hidden."""
        top = self.start(meter)
        if top is None or not self.limits:
            return None
        steps = [r for r in reversed(meter.of_kind(self.kind)) if r.full <= top.full * (1 + 1e-9)]
        return next((r for r in steps if self.hides(r) is None), None)


def steps_down(meter: Meter, kind: str, start: Range, end: Range) -> Sequence[Range]:
    """The ranges of a meter from ``start`` down to ``end``, both in."""
    return [r for r in reversed(meter.of_kind(kind)) if end.full <= r.full <= start.full]
