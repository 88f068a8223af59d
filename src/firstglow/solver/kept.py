"""What a switch-off leaves on every capacitor at worst: the one source of every wait that is told.

``discharge``, ``start``, the ladder's foot and the climb's countdown all wait for the highest mains that the file allows, from
where HT stands with every cathode cold, the ring of a choke included: who switches off while it warms, at an hour when
the mains are high, leaves that behind.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import ceil, isfinite

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.solver.discharge import capacitor_starts
from firstglow.solver.passive import Array

STEP_SECONDS = 5.0
"""A wait is told in whole steps of this, rounded up; and never less than one."""


LONGEST_SECONDS = 600.0
"""Nobody waits longer: from there on it "does not fall by itself", and the resistor is what empties it."""


@dataclass(frozen=True, slots=True)
class Stands:
    """How the amplifier stands at one moment. mains: at the socket [V rms]. dc: dc volts of a joint to chassis (sample,).
    ring: (red, black, settled volts) -> times further that this pair swings at switch-on; None where nothing can ring."""

    mains: float
    dc: Callable[[str], Array]
    ring: Callable[[str, str, float], float] | None = None


def most_kept(amplifier: Amplifier, every: Iterable[Stands]) -> dict[str, float]:
    """The most volts on each capacitor, + minus - with its sign, over these moments; 0 where there is none. On the mains side
    the crest of the mains, which the worst moment of switch-off leaves there."""
    found = {p.name: 0.0 for p in amplifier.of_kind("capacitor")}
    for stands in every:
        for name, volts in capacitor_starts(amplifier, stands.mains, stands.dc).items():
            leads, settled = amplifier.parts[name].leads, float(np.ravel(volts)[0])
            swung = settled if stands.ring is None else settled * stands.ring(leads["+"], leads["-"], settled)
            if abs(swung) >= abs(found[name]):
                found[name] = swung
    return found


def wait_told(seconds: float, longest: float) -> float | None:
    """How long to wait, in whole steps [s]; None for never, which is anything past ``longest``."""
    if not isfinite(seconds) or seconds > longest:
        return None
    return max(STEP_SECONDS, STEP_SECONDS * ceil(seconds / STEP_SECONDS - 1e-9))
