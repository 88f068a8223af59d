"""What a start asks in slow time: from cold on the highest mains, and again with hot cathodes and half-empty capacitors after a few
seconds off.

At a hot restart HT is back before a bias or a cathode's own volts are: for part of a second the output valves draw several times
their idle. Which time off is the worst hangs on what has emptied by then: the same three as of ``firstglow start`` are looked at.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.situation import Situation
from firstglow.audit.restarts import OFF_SECONDS, restarts
from firstglow.solver.slow import Slow, Stretch
from firstglow.solver.standing import SolveError

if TYPE_CHECKING:
    from firstglow.audit.stress import Stress
    from firstglow.audit.ways import Stood

WARM_SECONDS, ON_SECONDS = 40.0, 2.5
"""How long it warms up, and is followed after a restart [s]."""
TOLERANCE = 1e-2
"""Of one step: the highest moment comes within 1 % (tests), a tenth of the work."""
COLD = "cold start, highest mains"


@dataclass(frozen=True, slots=True)
class Met:
    """The most of something, and where it is met."""

    value: float
    text: str


@dataclass(frozen=True, slots=True)
class Restart:
    """highest, lowest: volts across each capacitor, + minus - [V], of any start. amps: the most of each valve's cathode after a
    restart [A]. apart: the most between each valve's cathode and heater [V], of any start."""

    highest: Mapping[str, Met]
    lowest: Mapping[str, Met]
    amps: Mapping[str, Met]
    apart: Mapping[str, Met]


def restart(stood: "Stood") -> Restart | None:
    """A cold start on the highest mains until all is warm, off for each of ``OFF_SECONDS``, and on again. None for a bench supply's
    fragment, where nothing stores (it then is as it runs), and where it would not go on."""
    amplifier, circuit = stood.amplifier, stood.circuit
    if not amplifier.of_kind("inlet") or not amplifier.of_kind("valve"):
        return None
    k = int(np.flatnonzero(stood.where(level="high", runs=True))[0])
    on = np.array(stood.standing.values[:, k : k + 1])
    off = circuit.vector(Situation(0.0, pots=stood.pots))[:, None]
    slow = Slow(circuit, tolerance=TOLERANCE)
    if not slow.stores.names:
        return None
    try:
        cold = slow.run([Stretch(WARM_SECONDS, on)])
        again = restarts(slow, cold.end, on, off, OFF_SECONDS, ON_SECONDS)[1]
    except SolveError:
        return None
    names = slow.stores.names[: slow.stores.capacitors]
    volts = {n: [cold.across(n), again.across(n)] for n in names}
    valves = amplifier.of_kind("valve")
    apart = {}
    for p in (*valves, *amplifier.of_kind("rectifier")):
        heater = amplifier.parts.get(f"{p.envelope} heater")
        if heater is not None and p.leads["cathode"] not in heater.leads.values():
            ends = p.leads["cathode"], heater.leads["1"]
            apart[p.name] = _most([np.abs(c.dc(ends[0]) - c.dc(ends[1])) for c in (cold, again)])
    return Restart(
        {n: _most(v) for n, v in volts.items()},
        {n: replace(m, value=-m.value) for n, v in volts.items() for m in (_most([-x for x in v]),)},
        {p.name: _most([again.cathode_amps(p.name)], HOT) for p in valves},
        apart,
    )


HOT = tuple(f"hot restart, {seconds:g} s off, highest mains" for seconds in OFF_SECONDS)


def _most(found: Sequence[NDArray[np.float64]], texts: Sequence[str] = (COLD, *HOT)) -> Met:
    """The most of some courses' samples (moment, sample), each sample with its text."""
    most = np.concatenate([x.max(axis=0) for x in found])
    k = int(most.argmax())
    return Met(float(most[k]), texts[k])


def or_restart(stresses: "Iterator[Stress]", met: Met | None) -> "Iterator[Stress]":
    """A stress as it stands, with a start's figure where that is more."""
    for s in stresses:
        if met is not None and not s.fault and met.value > s.value * (1.0 + 1e-9) + 1e-9:
            yield replace(s, value=met.value, situation=met.text)
        else:
            yield s
