"""What no remedy may ever join.

A remedy is pasted without a thought, so none may join the mains side to anything else, a grid to a positive rail, or
anything to HT but a plate or screen through its own resistor and an output transformer's centre. (Remedies stand in
``remedies``, which the supplies need; this rule needs the supplies.)
"""

import re
from dataclasses import replace

from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Problem
from firstglow.amplifier.roles_ends import mains_joints
from firstglow.quantities import QuantityError, read_value

FEED_OHMS = 47.0
"""The least that stands between HT and a screen or plate of its own (screen stoppers, common practice) [ohm]."""
_UNREAD = re.compile(r"has no lead|there is no|is a part, not a joint")
"""What the reading of a joint finds where its name means nothing; the lead it was for stands alone then."""
_LINE = re.compile(r'\w+ = \["([^"]*)", "([^"]*)", "([^"]*)"\]')


def never(look: Look, p: Problem) -> Problem:
    """The problem as it is, or with a plain instruction where its remedy would join what must never be joined."""
    for one, other, ohms, slip in _joins(look, p):
        instead = _forbidden(look, one, other, ohms, slip)
        if instead:
            return replace(p, remedy=instead)
    return p


def _joins(look: Look, p: Problem) -> list[tuple[str, str, float | None, bool]]:
    """(joint, joint, ohms between or None for no dc, whether a slip is mended) that the remedy joins when pasted."""
    part = look.amplifier.parts.get(p.part)
    channel = part.channel if part is not None else None
    line = _LINE.fullmatch(p.remedy)
    if line is not None and re.search(r"\bY\d\b", line.group(1)):
        return []  # a class Y capacitor may stand from the mains to chassis: that is what it is for
    if line is not None:
        one, other = (_joint(look, text, channel) for text in line.group(2, 3))
        return [(one, other, _ohms(line.group(1)), False)]
    bare = re.fullmatch(r'"([^"]*)"', p.remedy)
    loose = re.match(r"nothing but (.+) is on joint", p.found)
    if bare is not None and part is not None and _UNREAD.search(p.found):
        joint = _joint(look, bare.group(1), channel)
        alone = [at for at in part.leads.values() if len(_terminals(look, at)) == 1]
        one_joint = part.kind not in {"valve", "transformer", "output transformer"}
        return [(at, joint, 1.0, True) for at in (part.leads.values() if one_joint else alone) if at != joint]
    if bare is None or part is None or loose is None:
        return []
    lead, joint = loose.group(1).removeprefix(f"{part.name} "), _joint(look, bare.group(1), channel)
    if part.kind in {"valve", "transformer", "output transformer"}:
        told = lead == "grid" or (part.kind == "transformer" and lead.startswith("primary"))
        return [(part.leads[lead], joint, 0.0, True)] if told else []
    through = None if part.kind == "capacitor" else 1.0
    return [(joint, at, through, True) for other, at in part.leads.items() if other != lead]


def _joint(look: Look, text: str, channel: str | None) -> str:
    """The joint that a line of that channel means by a text."""
    amplifier = look.amplifier
    for name in (f"{channel} {text}", text):
        found = amplifier.aliases.get(name, name)
        if found in amplifier.joints:
            return found
    return text


def _ohms(what: str) -> float | None:
    """Ohms of a part's first text; None for a capacitor or a diode, 0 for a wire."""
    try:
        return 0.0 if what == "wire" else read_value(what.split()[0], "ohm")
    except QuantityError:
        return None


def mains_side(look: Look) -> frozenset[str]:
    """Every joint of the mains side: what line and neutral reach, and every primary, reached or not."""
    primaries = {
        part.leads[lead]
        for part in look.amplifier.of_kind("transformer")
        for w in part.windings
        if w.role == "primary"
        for lead in (w.start, w.end)
    }
    return mains_joints(look) | primaries | {"line", "neutral"}


def _forbidden(look: Look, one: str, other: str, ohms: float | None, slip: bool) -> str | None:
    """What to say instead of a remedy that joins these two, or None where it may stand."""
    mains = mains_side(look)
    if (one in mains) != (other in mains):
        return "the drawing again: line and neutral go to the primary, nothing else stands on the mains side"
    for joint, rail in ((one, other), (other, one)):
        if rail not in look.positive or ohms is None:
            continue
        if look.at(joint, "grid") or joint.endswith(" grid"):
            return "the drawing again: a grid has its leak to chassis or to its bias, never to HT"
        fed = look.at(joint, "plate", "screen") and ohms >= FEED_OHMS
        centre = joint != "chassis" and any(t.endswith(" centre") for t in _terminals(look, joint))
        if not slip and any(_shorted(look, j) for j in (joint, rail)):
            return "the drawing again: HT is held to chassis somewhere, and nothing is put on it before that is found"
        if not (slip or fed or centre or joint in look.positive):
            return "the drawing again: nothing is put on HT by guess"
    return None


def _terminals(look: Look, joint: str) -> tuple[str, ...]:
    found = look.amplifier.joints.get(joint)
    return found.terminals if found is not None else (joint,)


def _shorted(look: Look, joint: str) -> bool:
    """Whether wires and chokes alone join a joint to chassis."""
    return joint != "chassis" and "chassis" in look.walk([joint], ("wire", "choke"), ())
