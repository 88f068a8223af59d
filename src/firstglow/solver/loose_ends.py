"""What stands on a rectifier's joint once its way to the reservoir is open: a lifted link, a pulled fuse.

No current flows there, so the charging loop says nothing of it. But the rectifiers still charge the joint's own strays to
the crest of the wave, and nothing takes it away: E sqrt 2, the whole unloaded HT. A meter on it, or a few picofarads less,
reads anything down to the wave's mean; the crest is what a hand meets. The winding of a bridge then stands halfway.
Where the return of several legs is open instead (a switch in a centre tap), the rectifiers pull the whole winding a crest away from
what they charge.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from firstglow.amplifier.legs import Leg, Plate
from firstglow.solver.charging import BROKEN_OHMS
from firstglow.solver.frame import Array
from firstglow.solver.linear_parts import siemens
from firstglow.solver.nodes import GROUNDED, spread

if TYPE_CHECKING:
    from firstglow.solver.standing import Standing

JUNCTION_VOLTS = 0.5
"""Drop of a junction that only charges strays (common practice: 0.4 to 0.6 V)."""


def loose_ends(standing: "Standing") -> dict[str, Array]:
    """Dc volts to chassis (sample,) of every joint that hangs on a rectifier alone; samples in which it does not have
    the solution's own."""
    frame = standing.circuit.frame
    found: dict[str, Array] = {}
    for name, legs in frame.cells.items():
        for number, leg in enumerate(legs):
            emf = f"emf {name} {number + 1}"
            for joint, volts in {**_leg(standing, emf, leg), **_returning(standing, emf, leg, legs)}.items():
                before = found.get(joint)
                found[joint] = volts if before is None else np.where(np.abs(volts) > np.abs(before), volts, before)
    return found


def _returning(standing: "Standing", emf: str, leg: Leg, legs: Sequence[Leg]) -> dict[str, Array]:
    """The winding's joints where a part that all legs return through is open."""
    frame, values, row = standing.circuit.frame, standing.values, standing.circuit.column
    common = [p for p in leg.series_ac if all(p in other.series_ac for other in legs)]
    if len(legs) < 2 or not common or leg.choke is not None:
        return {}

    def ohms(part: str) -> Array:
        return np.asarray(1.0 / siemens(values[row[f"{part} ohms"]]))

    opened = np.any([ohms(part) > BROKEN_OHMS for part in common], axis=0)
    others = [p for p in (*leg.series_ac, *leg.series_dc) if p not in common]
    whole = (
        np.ones(standing.samples, dtype=bool) if not others else np.all([ohms(p) < BROKEN_OHMS for p in others], axis=0)
    )
    there = opened & whole & _whole(standing, leg)
    if not np.any(there):
        return {}
    crest = np.sqrt(2.0) * np.maximum(standing.x[standing.circuit.index[emf]], 0.0) - JUNCTION_VOLTS * len(leg.stages)
    at_start = any(leg.start in frame.amplifier.parts[p].leads.values() for p in common)
    volts = standing.solved_dc(leg.end) - crest if at_start else standing.solved_dc(leg.start) + crest
    return {joint: np.where(there, volts, standing.solved_dc(joint)) for joint in _windings(standing, leg)}


def _leg(standing: "Standing", emf: str, leg: Leg) -> dict[str, Array]:
    frame = standing.circuit.frame
    if not leg.series_dc or leg.choke is not None:
        return {}
    values, row = standing.values, standing.circuit.column

    def ohms(part: str) -> Array:
        return np.asarray(1.0 / siemens(values[row[f"{part} ohms"]]))

    opened = np.any([ohms(part) > BROKEN_OHMS for part in leg.series_dc], axis=0)
    driven = np.all([ohms(part) < BROKEN_OHMS for part in leg.series_ac], axis=0) & _whole(standing, leg)
    there = opened & driven
    if not np.any(there):
        return {}
    start, end = standing.solved_dc(leg.start), standing.solved_dc(leg.end)
    crest = np.sqrt(2.0) * np.maximum(standing.x[standing.circuit.index[emf]], 0.0) - JUNCTION_VOLTS * len(leg.stages)
    last = frame.lead(frame.amplifier.parts[leg.stages[-1][0].part], "cathode")
    ahead = last if last != leg.end else frame.lead(frame.amplifier.parts[leg.stages[0][0].part], leg.stages[0][0].lead)
    volts = start + crest if last != leg.end else end - crest
    out = {}
    middle = 0.5 * (volts + (start if last != leg.end else end))
    tied = _tied(standing, ahead)
    windings = _windings(standing, leg) if len(leg.stages) > 1 else ()
    for joint, value in [*((j, volts) for j in tied), *((j, middle) for j in windings if j not in tied)]:
        out[joint] = np.where(there, value, standing.solved_dc(joint))
    return out


def _whole(standing: "Standing", leg: Leg) -> Array:
    """Are all its rectifiers fitted, and its windings whole? (sample,)"""
    circuit, values = standing.circuit, standing.values
    good = np.ones(standing.samples, dtype=bool)

    def row(name: str) -> Array | None:
        at = circuit.column.get(name)
        return None if at is None else np.asarray(values[at])

    for stage in leg.stages:
        good &= np.any([_fitted(row, circuit.amplifier.parts[plate.part].envelope, plate) for plate in stage], axis=0)
    for w in leg.windings:
        own = row(f"{w.part} {w.winding} ohms") if w.winding else None
        if own is not None:
            good &= np.asarray(1.0 / siemens(own)) < BROKEN_OHMS
    return good


def _fitted(row, envelope: str | None, plate: Plate) -> Array:  # type: ignore[no-untyped-def]
    inside, fitted = row(f"{envelope} in"), row(f"{plate.part} {plate.lead} fitted")
    one = np.ones(1)
    return np.asarray(((one if inside is None else inside) > 0.5) & ((one if fitted is None else fitted) > 0.5))


def _tied(standing: "Standing", joint: str) -> tuple[str, ...]:
    """The joint and what a winding or a heater ties to it (a rectifier's cathode joined to its own heater line)."""
    frame = standing.circuit.frame
    edges = []
    for part in frame.amplifier.of_kind("transformer"):
        edges += [(frame.lead(part, w.start), frame.lead(part, w.end)) for w in part.windings if w.role != "primary"]
    for part in frame.amplifier.of_kind("heater"):
        ends = [frame.lead(part, lead) for lead in part.leads]
        edges += [(ends[0], other) for other in ends[1:]]
    return spread([joint], edges, GROUNDED)


def _windings(standing: "Standing", leg: Leg) -> tuple[str, ...]:
    """Every joint of the leg's windings."""
    frame = standing.circuit.frame
    out = []
    for w in leg.windings:
        part = frame.amplifier.parts[w.part]
        out += [frame.lead(part, lead) for x in part.windings if x.name == w.winding for lead in (x.start, x.end)]
    return tuple(dict.fromkeys(out))
