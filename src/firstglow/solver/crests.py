"""How far a joint goes in a mains cycle where its dc volts and its sine do not tell: between the rectifiers of a small pump, and at a
winding's end that a diode holds.

A winding is taken to both crests of its unloaded half cycle, which a rectifier that conducts cuts off by its own drop: some
per cent on the careful side.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.solver.pumps import pumped_joints
from firstglow.solver.wiring import Wiring

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


ONE_WAY = {"diode": ("anode",), "rectifier": ("plate 1", "plate 2")}
"""Kinds that pass current one way: the leads it goes in at; it comes out at the cathode."""
FOLLOWS_NOTHING = frozenset({"valve", "heater", "transformer"})
"""A free lead of these takes its volts from more than the joint at another lead."""


@dataclass(frozen=True, slots=True)
class FreeEnd:
    """A lifted lead that its own part brings volts to. joint: where those come from. one_way: through a rectifier, so that
    only one side of them arrives; low, high: volts to chassis in a mains cycle."""

    name: str
    joint: str
    one_way: bool
    low: float
    high: float


def free_ends(amplifier: Amplifier, at: Situation, ranges: Mapping[str, Range]) -> list[FreeEnd]:
    """Every lifted lead that hangs free, with what reaches it through its part from the joints at the part's other leads: a hand on it
    is the load, and what would hold the volts down is no longer there. A lifted capacitor's lead follows its other end."""
    wiring = Wiring(amplifier, at)
    free = wiring.free_ends()
    loose = {(part.name, lead) for part, lead in free}
    out: list[FreeEnd] = []
    for part, lead in free:
        if part.kind in FOLLOWS_NOTHING or not wiring.fitted(part):
            continue
        into = ONE_WAY.get(part.kind, ())
        sources = [wiring.joint(part, n) for n in part.leads if n != lead and (part.name, n) not in loose]
        if into:
            others = ["cathode"] if lead in into else into
            sources = [wiring.joint(part, n) for n in others if n in part.leads and (part.name, n) not in loose]
        found = [
            (joint, *_passed(ranges[joint], bool(into), lead == "cathode")) for joint in sources if joint in ranges
        ]
        if found:
            joint, low, high = max(found, key=lambda one: max(abs(one[1]), abs(one[2])))
            out.append(FreeEnd(f"{part.name} {lead}", joint, bool(into), low, high))
    return out


def _passed(there: Range, one_way: bool, out_of_cathode: bool) -> Range:
    """What of a joint's range reaches a free end."""
    low, high = there
    if not one_way:
        return there
    return (0.0, max(high, 0.0)) if out_of_cathode else (min(low, 0.0), 0.0)


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
