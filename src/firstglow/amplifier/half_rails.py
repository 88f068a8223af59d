"""Half of HT drawn from the tap of a bridge's winding through something, which is not worked out.

With the half rail's capacitor on the tap itself the four diodes are a full-wave doubler and solved as one. Behind a resistor, fuse
or choke the tap follows the rectified half winding while the bridge charges HT around it: two supplies share two diodes.
"""

from collections.abc import Iterable

from firstglow.amplifier.leg_types import WindingStep
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Problem
from firstglow.amplifier.remedies import problem

MOST_FEED = 22e3
"""More ohms from a tap than this equalise or bleed, they feed no rail (common practice) [ohm]."""
_FEEDS = ("wire", "resistance", "choke")


def taps(look: Look) -> dict[str, str]:
    """Taps of bridge windings that feed something through something -> the first part on that way."""
    out: dict[str, str] = {}
    for supply in look.supplies:
        if supply.form != "bridge":
            continue
        for joint in _inside(look, supply.legs[0].windings):
            if joint in look.quiet or joint in out:
                continue
            for far, (ohms, path) in look.ohmic(joint, look.electrodes, _FEEDS).items():
                fed = (far in look.quiet and far not in look.positive) or look.at(far, "plate", "screen")
                if path and far != "chassis" and fed and ohms < MOST_FEED:
                    out[joint] = path[0].part
                    break
    return out


def _inside(look: Look, steps: Iterable[WindingStep]) -> set[str]:
    """Joints between two sides of the windings that a leg passes."""
    ends = [{look.part(s.part).leads[w.start], look.part(s.part).leads[w.end]}
            for s in steps for w in look.part(s.part).windings if w.name == s.winding]  # fmt: skip
    return {joint for n, one in enumerate(ends) for other in ends[n + 1 :] for joint in one & other}


def half_rail_problems(look: Look) -> list[Problem]:
    """One for each such tap."""
    return [
        problem(
            look.amplifier,
            look.part(through),
            through,
            f"half of HT is fed through it from {joint}, the tap of a bridge's winding, which is not worked out, so no figure of this "
            "amplifier is given",
            f"the half rail's first capacitor on {joint} itself",
            f"that capacitor drawn on {joint} only if it is wired there; nothing from HT: twice these volts stand there",
        )
        for joint, through in taps(look).items()
    ]
