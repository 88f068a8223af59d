"""How far a joint goes in a mains cycle where its dc volts and its sine do not tell: between the rectifiers of a small pump, and at a
winding's end that a diode holds.

A winding is taken to both crests of its unloaded half cycle, which a rectifier that conducts cuts off by its own drop: some
per cent on the careful side.
"""

from collections.abc import Mapping

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.solver.pumps import pumped_joints

Range = tuple[float, float]
Joints = Mapping[str, tuple[float, float]]
"""Joint -> (volts dc, signed volts rms) to chassis."""


def reach(amplifier: Amplifier, at: Situation, joints: Joints) -> dict[str, Range]:
    """Lowest and highest volts to chassis of every joint in a mains cycle [V]."""
    out = {joint: (dc - 2.0**0.5 * abs(ac), dc + 2.0**0.5 * abs(ac)) for joint, (dc, ac) in joints.items()}
    out |= _clamped(amplifier, at, joints)
    for joint, ends in pumped_joints(amplifier).items():
        steady = [joints[end][0] for end in ends]
        out[joint] = min(steady), max(steady)
    return out


def _clamped(amplifier: Amplifier, at: Situation, joints: Joints) -> dict[str, Range]:
    """Both ends of a winding that two diodes hold to one joint, as the lower two of a bridge do, its upper two conducting or
    open: each end in turn stands at that joint while the other is a whole winding's crest away."""
    floors, roofs = _held(amplifier, at, joints)
    out: dict[str, Range] = {}
    for part in amplifier.of_kind("transformer"):
        ends: dict[str, list[str]] = {}
        for winding in part.windings:  # halves of a tapped one share the tap
            if winding.role == "secondary":
                ends.setdefault(winding.name.removesuffix(" a").removesuffix(" b"), []).extend(
                    (part.leads[winding.start], part.leads[winding.end])
                )
        for own in ends.values():
            one, two = own[0], own[-1]
            crest = 2.0**0.5 * abs(joints[one][1] - joints[two][1])
            if one in floors and floors[one] == floors.get(two):
                base = joints[floors[one]][0]
                out |= dict.fromkeys((one, two), (base, base + crest))
            elif one in roofs and roofs[one] == roofs.get(two):
                base = joints[roofs[one]][0]
                out |= dict.fromkeys((one, two), (base - crest, base))
    return out


def _held(amplifier: Amplifier, at: Situation, joints: Joints) -> tuple[dict[str, str], dict[str, str]]:
    """Joints that a diode lets go no lower, and no higher, than a joint without a winding's volts."""
    floors: dict[str, str] = {}
    roofs: dict[str, str] = {}
    for part in amplifier.of_kind("diode"):
        anode, cathode = part.leads["anode"], part.leads["cathode"]
        if {f"{part.name} anode", f"{part.name} cathode"} & at.lifted:
            continue
        if joints[anode][1] == 0.0 != joints[cathode][1]:
            floors[cathode] = anode
        elif joints[cathode][1] == 0.0 != joints[anode][1]:
            roofs[anode] = cathode
    return floors, roofs
