"""What was found between the probe points, column by column."""

from collections.abc import Container, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(slots=True)
class Seen:
    """What was found.

    values, source_ohms: by reading id, (sample,) [SI]. unsettled: by reading id, (sample,), where some did not settle.
    short_of_idle: by dc key, valve -> (sample,) bool: its pot ran out of travel.
    idle_pots: by dc key, pot -> (sample,) where it was turned to.
    watts: by (reading id, valve, "plate" or "screen"), (sample,) [W], for readings that a dissipation rule stops.
    """

    values: dict[str, Array] = field(default_factory=dict)
    source_ohms: dict[str, Array] = field(default_factory=dict)
    unsettled: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    short_of_idle: dict[str, dict[str, NDArray[np.bool_]]] = field(default_factory=dict)
    idle_pots: dict[str, dict[str, Array]] = field(default_factory=dict)
    watts: dict[tuple[str, str, str], Array] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Found:
    """A standing solution, which valves fell short of their idle, and where the pots ended; by name, (sample,)."""

    standing: Any
    short: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    pots: dict[str, Array] = field(default_factory=dict)

    def columns(self, which: slice) -> "Found":
        """Some columns."""
        return Found(
            columns_of(self.standing, which),
            {v: s[which] for v, s in self.short.items()},
            {p: a[which] for p, a in self.pots.items()},
        )

    def only(self, valves: Container[str], pots: Container[str]) -> "Found":
        """Of these valves and pots alone."""
        return Found(
            self.standing,
            {v: s for v, s in self.short.items() if v in valves},
            {p: a for p, a in self.pots.items() if p in pots},
        )


def merged(parts: Sequence[Seen]) -> Seen:
    """What was seen in several parts, as one."""
    whole = Seen()
    for part in parts:
        for f in fields(Seen):
            getattr(whole, f.name).update(getattr(part, f.name))
    return whole


def columns_of(standing: Any, which: slice) -> Any:
    """Some columns of a standing solution, as one of their own."""
    return replace(
        standing,
        x=standing.x[:, which],
        values=standing.values[:, which],
        settled=standing.settled[which],
        steps=standing.steps[which],
    )
