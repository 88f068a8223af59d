"""What a fuse is worked out from, whoever has it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import Roles
from firstglow.audit.figures import figures, full_power
from firstglow.audit.ways import Stood
from firstglow.solver.circuit import Circuit


class Ground(Protocol):
    """What an HT fuse is worked out from: ``Today`` has it, and the parts audit makes one of its own."""

    @property
    def amplifier(self) -> Amplifier:
        """The amplifier."""

    @property
    def roles(self) -> Roles:
        """What everything is for."""

    @property
    def circuit(self) -> Circuit:
        """Compiled."""

    @property
    def mark(self) -> float:
        """Of the primary in use [V rms]."""

    @property
    def now(self) -> float:
        """At the socket [V rms]."""

    @property
    def high(self) -> float:
        """At most [V rms]."""

    @property
    def pots(self) -> Mapping[str, float]:
        """Where the presets stand."""

    @property
    def extra(self) -> Mapping[str, float]:
        """Ohms on HT that stand for full power."""


@dataclass(frozen=True, slots=True)
class Here:
    """``Ground`` of a solved batch."""

    amplifier: Amplifier
    roles: Roles
    circuit: Circuit
    mark: float
    now: float
    high: float
    pots: Mapping[str, float]
    extra: Mapping[str, float]


def ground_of(stood: Stood) -> Here:
    """Of the parts audit's own solution."""
    k = int(np.flatnonzero(stood.where(level="now", runs=True))[0])
    extra = full_power(stood.amplifier, stood.roles, figures(stood.amplifier, stood.roles, stood.standing, k))
    return Here(
        stood.amplifier, stood.roles, stood.circuit, stood.amplifier.mains_volts, stood.mains["now"], stood.mains["high"],
        stood.pots, extra,
    )  # fmt: skip
