"""What reads differently once something is changed: solved anew from where the amplifier stands."""

from collections.abc import Mapping

import numpy as np

from firstglow.amplifier.situation import Fault
from firstglow.audit.ways import Array, Stood
from firstglow.solver.rippled import rippled

FELT_VOLTS = 0.5
"""Less than this no reading is said to change [V]."""


def running(stood: Stood) -> int:
    """The column of the amplifier as it runs."""
    return int(np.flatnonzero(stood.where(level="now", runs=True))[0])


def instead(stood: Stood, rectifier: str, kind: str) -> str:
    """What its supply reads with another rectifier valve in a socket."""
    k = running(stood)
    p = stood.circuit.vector(stood.ways[k].situation, [Fault(rectifier, f"wrong type={kind}")])
    return _told(stood, p, _supply(stood, rectifier))


def moved(stood: Stood, values: Mapping[str, float], rectifier: str = "") -> str:
    """What reads differently, running, with some parameters changed: a rectifier's own supply, else the joint whose dc volts
    move most."""
    p = np.array(stood.standing.values[:, running(stood)])
    for name, value in values.items():
        p[stood.circuit.column[name]] = value
    return _told(stood, p, _supply(stood, rectifier))


def ripples(stood: Stood, other: Stood, joint: str) -> tuple[float, float]:
    """Ripple of a supply's joint, running, before and after a change [V rms]."""
    found = []
    for at in (stood, other):
        k = running(at)
        alone = at.circuit.solve(np.array(at.standing.values[:, k]), at.standing.x[:, k], strict=False)
        ripple = rippled(alone, at.ways[k].situation).joints.get(joint, np.zeros(1))
        found.append(float(np.ravel(ripple)[0]))
    return found[0], found[1]


def _supply(stood: Stood, rectifier: str) -> str:
    return next((s.joint for s in stood.roles.supplies if rectifier in s.rectifiers), "")


def _told(stood: Stood, p: Array, joint: str) -> str:
    k = running(stood)
    now = stood.circuit.solve(p, stood.standing.x[:, k], strict=False)
    if not now.settled.all():
        return "its readings could not be worked out"
    names = [r.removeprefix("dc ") for r in stood.circuit.unknowns if r.startswith("dc ")]
    names = [joint] if joint else [n for n in names if n in stood.amplifier.joints]
    moves = {n: (float(stood.dc(n)[k]), float(now.dc(n)[0])) for n in names}
    most = max(moves, key=lambda n: abs(moves[n][1] - moves[n][0]))
    before, after = moves[most]
    if abs(after - before) < FELT_VOLTS:
        return f"{joint} stays within half a volt" if joint else "no reading moves by half a volt"
    return f"{most} goes from {before:.1f} to {after:.1f} V" + ("" if joint else ", no reading by more")
