"""What a fuse is worked out from, whoever has it."""

from collections.abc import Mapping
from typing import Protocol

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import Roles
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
