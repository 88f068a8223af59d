"""How far volts go within a mains cycle where a mean and a sine do not tell: at a small pump's capacitor, behind a resistor that
feeds a rectifier, and across whatever stands on a winding.

A winding's end is taken to both crests of its unloaded half cycle, which a rectifier that conducts cuts off by its own drop:
some per cent on the careful side.
"""

from math import sqrt

import numpy as np

from firstglow.amplifier.leg_types import Leg
from firstglow.amplifier.model import Part
from firstglow.audit.ways import Array, Stood
from firstglow.solver.pumps import crest_across, pumped_joints

Range = tuple[Array, Array]
"""Lowest and highest volts to chassis in a cycle, (way,) each."""


def across(stood: Stood, part: Part) -> Array:
    """The most volts across a capacitor in a cycle (way,)."""
    return crest_across(part, pumped_joints(stood.amplifier), lambda joint: (stood.dc(joint), stood.ac(joint)))


def inverse(stood: Stood, part: Part) -> Array | None:
    """Peak inverse volts (way,) of a rectifier on a joint that no mean and no phasor shows; None for any other."""
    anode, cathode = part.leads["anode"], part.leads["cathode"]
    moved = _pumped(stood) | _behind_resistors(stood)
    if anode not in moved and cathode not in moved:
        return None
    return np.maximum(_range(stood, cathode, moved)[1] - _range(stood, anode, moved)[0], 0.0)


def _range(stood: Stood, joint: str, moved: dict[str, Range]) -> Range:
    return moved[joint] if joint in moved else _of_winding(stood, joint)


def _of_winding(stood: Stood, joint: str) -> Range:
    crest = sqrt(2.0) * np.abs(stood.ac(joint))
    return stood.dc(joint) - crest, stood.dc(joint) + crest


def _pumped(stood: Stood) -> dict[str, Range]:
    """Joints between a small pump's two rectifiers: moved from the one's steady joint to the other's."""
    out = {}
    for joint, ends in pumped_joints(stood.amplifier).items():
        one, two = (stood.dc(end) for end in ends)
        out[joint] = np.minimum(one, two), np.maximum(one, two)
    return out


def _behind_resistors(stood: Stood) -> dict[str, Range]:
    """Joints between a rectifier and the resistor that feeds it from a winding: at the winding's crest while nothing flows, held
    by the rectifier while something does."""
    out: dict[str, Range] = {}
    for supply in stood.roles.supplies:
        for leg in supply.legs:
            if leg.coupling or leg.choke or len(leg.stages) != 1 or not _resistors(stood, leg):
                continue
            for plate in leg.stages[0]:
                part = stood.amplifier.parts[plate.part]
                if part.kind != "diode":
                    continue
                wound, steady = part.leads["cathode"], part.leads["anode"]
                base, way = leg.end, 1.0
                if not stood.standing.has_ac(wound):
                    wound, steady, base, way = steady, wound, leg.start, -1.0
                free = stood.dc(base) + way * crest_of(stood, leg)
                held = stood.dc(steady)
                out[wound] = np.minimum(free, held), np.maximum(free, held)
    return out


def _resistors(stood: Stood, leg: Leg) -> bool:
    return any(stood.amplifier.parts[name].kind == "resistor" for name in leg.series_ac)


def crest_of(stood: Stood, leg: Leg) -> Array:
    """Crest of a leg's windings [V] (way,)."""
    volts = np.zeros(len(stood.ways))
    for step in leg.windings:
        part = stood.amplifier.parts[step.part]
        row = abs(step.sign) * (
            stood.row(f"{part.name} {step.winding}")["volts_ac"] if step.winding else part.value("volts")
        )
        volts = volts + row
    return sqrt(2.0) * volts
