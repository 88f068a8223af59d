"""What the plan asks of the physics, as one small protocol: tests answer it by hand, the solver answers it for real."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from firstglow.amplifier.situation import Situation


class Physics(Protocol):
    """Nominal answers; every band and every tolerance is the readings room's."""

    def joints(self, situation: Situation) -> Mapping[str, tuple[float, float]]:
        """Joint -> (volts dc to chassis, volts ac rms to chassis)."""
        ...

    def prepare(self, situations: Iterable[Situation], read: Iterable[Situation] = ()) -> None:
        """Situations that will be asked about: a solver takes them all at once. Those already known cost nothing.
        ``read``: those that readings will be expected of."""
        ...

    def ring(self, situation: Situation, red: str, black: str, settled: float) -> float:
        """How many times further than the ``settled`` volts two joints swing when this is switched on cold, 1 and more."""
        ...

    def mains_amps(self, situation: Situation) -> float:
        """Amps rms that the amplifier draws."""
        ...

    def fall(self, situation: Situation, joint: str, times: Sequence[float]) -> Sequence[float]:
        """Volts dc of a joint to chassis at some times [s] after this situation was switched off."""
        ...

    def settings(self, situation: Situation) -> Mapping[str, float]:
        """Pot -> position to which the situation's idle turns it; the pots that an idle sets."""
        ...

    def turn_on(self, turns: Iterable[tuple[Situation, Situation]]) -> None:
        """Of each (before, after), ``after`` will be asked about, to which presets turned in ``before`` lead: a solver goes on
        from there."""
        ...

    def cathode_amps(self, situation: Situation) -> Mapping[str, float]:
        """Output valve that is in -> amps through its cathode."""
        ...

    def loop_gain(self, situation: Situation, channel: str | None) -> float:
        """Size of the loop gain at mid-band of the channel's loop; ``situation.feedback`` "closed" or "test"."""
        ...

    def gain(self, situation: Situation, channel: str | None) -> float:
        """Size of load volts per input volt at mid-band."""
        ...
