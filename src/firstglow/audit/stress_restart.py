"""What a hot restart asks: off for two seconds on the highest mains, and on again with hot cathodes and half-empty capacitors.

In slow time, after a cold start. HT is back before a bias or a cathode's own volts are: for part of a second the
output valves draw several times their idle.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from firstglow.amplifier.situation import Situation
from firstglow.solver.slow import Slow, Stretch
from firstglow.solver.standing import SolveError

if TYPE_CHECKING:
    from firstglow.audit.stress import Stress
    from firstglow.audit.ways import Stood

WARM_SECONDS, OFF_SECONDS, ON_SECONDS = 40.0, 2.0, 1.5
"""How long it warms up, is off (cathodes still hot, the bias below half), and is followed then [s]."""
TOLERANCE = 1e-2
"""Of one step: the highest moment comes within 1 % (tests), a tenth of the work."""
TEXT = "hot restart, 2 s off, highest mains"


@dataclass(frozen=True, slots=True)
class Restart:
    """highest, lowest: volts across each capacitor, + minus - [V]. amps: the most of each valve's cathode [A]. apart: the most
    between each valve's cathode and heater [V]."""

    highest: Mapping[str, float]
    lowest: Mapping[str, float]
    amps: Mapping[str, float]
    apart: Mapping[str, float]


def restart(stood: "Stood") -> Restart | None:
    """A cold start on the highest mains until all is warm, off, and on again. None for a bench supply's fragment, and where it
    would not go on."""
    amplifier, circuit = stood.amplifier, stood.circuit
    if not amplifier.of_kind("inlet") or not amplifier.of_kind("valve"):
        return None
    k = int(np.flatnonzero(stood.where(level="high", runs=True))[0])
    on = np.array(stood.standing.values[:, k : k + 1])
    off = circuit.vector(Situation(0.0, pots=stood.pots))[:, None]
    slow = Slow(circuit, tolerance=TOLERANCE)
    try:
        course = slow.run([Stretch(WARM_SECONDS, on), Stretch(OFF_SECONDS, off), Stretch(ON_SECONDS, on)])
    except SolveError:
        return None
    again = course.seconds >= WARM_SECONDS + OFF_SECONDS
    names = slow.stores.names[: slow.stores.capacitors]
    volts = {name: course.across(name)[again, 0] for name in names}
    amps = {p.name: float(course.cathode_amps(p.name)[again, 0].max()) for p in amplifier.of_kind("valve")}
    apart = {}
    for p in amplifier.of_kind("valve", "rectifier"):
        heater = amplifier.parts.get(f"{p.envelope} heater")
        if heater is not None and p.leads["cathode"] not in heater.leads.values():
            between = course.dc(p.leads["cathode"]) - course.dc(heater.leads["1"])
            apart[p.name] = float(np.abs(between[again]).max())
    return Restart(
        {n: float(v.max()) for n, v in volts.items()}, {n: float(v.min()) for n, v in volts.items()}, amps, apart
    )


def or_restart(stresses: "Iterator[Stress]", value: float | None) -> "Iterator[Stress]":
    """A stress as it stands, with the hot restart's figure where that is more."""
    for s in stresses:
        if value is not None and not s.fault and value > s.value * (1.0 + 1e-9) + 1e-9:
            yield replace(s, value=value, situation=TEXT)
        else:
            yield s
