"""How the amplifier stands on the bench, as data (FILE.md 4)."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, Self

Feedback = Literal["closed", "open", "test"]
LoadState = Literal["dummy", "none", "loudspeaker"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong: ``part`` canonical name, ``mode`` from the fault table of its kind, ``value`` SI or None."""

    part: str
    mode: str
    value: float | None = None


@dataclass(frozen=True, slots=True)
class Situation:
    """Mains, what is in, out, lifted and turned, and what hangs on the bench side.

    mains_volts: V rms at the amplifier's plug, or ahead of the lamp where one is in; 0 is unplugged.
    mains_hz: None means the file's.
    out: envelopes that are out of their sockets ("V3"), rectifier valves included.
    lifted: names of lifted links ("left feedback", "HT link"), or a terminal of a part ("D1 cathode"): that lead hangs
        free. The ladder opens diode-fed HT this way where the file draws no link for it.
    pots: pot name -> position 0 (wiper at end 1) .. 1 (wiper at end 2).
    idle: valve section -> cathode amps to which its pot is turned (solved per sample, rungs after idle setting).
    load: what hangs on the loudspeaker terminals.
    lamp_watts: rating of the limiter lamp in series with the line, None when out or bypassed.
    switches_open: names of switches that are open (standby); mains switches are closed unless named here.
    feedback: "open" lifts every feedback link and ties it; "test" inserts ``test_ohms`` in it; "closed" as wired.
    stimulus_volts: generator volts rms at ``stimulus_hz`` into the input(s), 0 is input shorted; while unplugged
        nothing is in it.
    loads: joint -> ohms of a stated load resistor from it to chassis (a computed load on HT, say).
    """

    mains_volts: float
    mains_hz: float | None = None
    out: frozenset[str] = frozenset()
    lifted: frozenset[str] = frozenset()
    pots: Mapping[str, float] = field(default_factory=dict)
    idle: Mapping[str, float] = field(default_factory=dict)
    load: LoadState = "dummy"
    lamp_watts: float | None = None
    switches_open: frozenset[str] = frozenset()
    feedback: Feedback = "closed"
    test_ohms: float | None = None
    stimulus_volts: float = 0.0
    stimulus_hz: float = 1000.0
    loads: Mapping[str, float] = field(default_factory=dict)
    meter: str = "digital"

    def but(self, **changes: object) -> Self:
        """A copy with some fields changed."""
        return replace(self, **changes)  # type: ignore[arg-type]
