"""Loose joints, parts with both leads on one joint, and joints with no dc path to chassis."""

from collections.abc import Iterator

from firstglow.amplifier.checks_valves import loose_grid
from firstglow.amplifier.graph import OHMIC, Branch, reach
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Joint, Part, Problem
from firstglow.amplifier.remedies import like, line_of, local, problem, resistor_line, wire_line
from firstglow.amplifier.remedy_rules import mains_side
from firstglow.amplifier.roles_ends import mains_joints

_TRANSFORMERS = ("transformer", "output transformer")
_ONE_JOINT = (
    "resistor",
    "capacitor",
    "choke",
    "diode",
    "fuse",
    "switch",
    "lamp",
    "load",
    "heater",
    "wire",
    "supply",
    "gas tube",
)
LOOSE = "nothing but"
"""How a loose joint's finding begins: ``nothing but R7 1 is on joint HT33``."""
# A plate or screen counts as a way to its cathode, a grid does not: a grid needs its leak.
_DC = OHMIC | {"diode", "valve", "gas", "load"}


def joint_problems(look: Look) -> list[Problem]:
    """Every loose joint, part on one joint, and island without a dc path to chassis, as drawn."""
    loose = list(_loose(look))
    told = {p.part for p in loose}
    return [*loose, *_one_joint(look), *(p for p in _islands(look) if p.part not in told)]


def _owner(look: Look, terminal: str) -> Part:
    """The part of a terminal "C3 +"."""
    parts = look.amplifier.parts
    name = max((n for n in parts if terminal.startswith(f"{n} ") and terminal[len(n) + 1 :] in parts[n].leads), key=len)
    return parts[name]


def _unused(look: Look, joint: Joint) -> bool:
    """A winding's lead or a heater's tap that nobody uses: it carries its own name."""
    if len(joint.terminals) != 1:
        return False
    owner = _owner(look, joint.terminals[0])
    return joint.name == joint.terminals[0] and owner.kind in (*_TRANSFORMERS, "heater", "inlet")


def _loose(look: Look) -> Iterator[Problem]:
    """Joints with a single terminal."""
    amplifier = look.amplifier
    for joint in amplifier.joints.values():
        if len(joint.terminals) != 1 or joint.floating or joint.name == "chassis" or _unused(look, joint):
            continue
        owner = _owner(look, joint.terminals[0])
        if owner.kind == "inlet":
            continue
        bare = local(amplifier, joint.name, owner.channel)
        near, remedy = _meant(look, joint, owner)
        found = f"{LOOSE} {joint.terminals[0]} is on joint {bare}" + (f"; did you mean {near}?" if near else "")
        allowed = "two terminals or more on a joint, or a joint in the amplifier's list floating"
        yield problem(amplifier, owner, owner.name, found, allowed, remedy)


def _meant(look: Look, joint: Joint, owner: Part) -> tuple[str, str]:
    """(name that was probably meant or "", remedy to paste)."""
    amplifier = look.amplifier
    if joint.name == joint.terminals[0]:  # a lead that no line mentions: no name to have slipped
        near = None
    elif owner.kind in _TRANSFORMERS and joint.terminals[0].endswith((" ct", " common")):
        near = like(amplifier, joint.name) or "chassis"
    else:
        near = like(amplifier, joint.name)
    if near is not None:
        near = local(amplifier, near, owner.channel)
        return near, f'"{near}"'
    grid = next((v for v in look.plates if look.part(v).channel == owner.channel and loose_grid(look, v)), None)
    if owner.kind == "pot" and grid is not None:
        return "", resistor_line(amplifier, "220k", look.part(grid).leads["grid"], joint.name, owner.channel)
    return "", f'floating = ["{joint.name}"]'


def _one_joint(look: Look) -> Iterator[Problem]:
    """Parts that do nothing because all of their leads are on one joint."""
    for part in look.amplifier.parts.values():
        ends = set(part.leads.values())
        if part.kind in _ONE_JOINT and len(part.leads) > 1 and len(ends) == 1:
            yield problem(
                look.amplifier,
                part,
                part.name,
                f"both leads on one joint, {next(iter(ends))}",
                "a joint for each lead",
                f"another joint for lead {list(part.leads)[-1]}",
            )


def _islands(look: Look) -> Iterator[Problem]:
    """One problem for each set of joints that no direct current can leave for chassis."""
    amplifier = look.amplifier

    def dc(b: Branch, _: str) -> bool:
        return b.sort in _DC

    held = set(reach(look.net, ["chassis"], dc)) | set(reach(look.net, list(mains_joints(look)), dc))
    held |= {j for j in ("line", "neutral", "earth") if j in look.net.at}
    mains = mains_side(look) if amplifier.of_kind("inlet") else frozenset()
    for joint in amplifier.joints.values():
        if joint.name in held:
            continue
        island = reach(look.net, [joint.name], dc)
        held |= set(island)
        joints = [amplifier.joints[j] for j in island if j in amplifier.joints]
        if any(j.floating for j in joints) or all(_unused(look, j) for j in joints):
            continue
        if any(look.at(j.name, "grid") for j in joints):
            continue  # told of the valve: its grid has no leak
        if mains & {j.name for j in joints}:
            continue  # told of the transformer: its primary is not on line and neutral
        yield _island(look, joints)


def _island(look: Look, joints: list[Joint]) -> Problem:
    amplifier = look.amplifier
    owners = [_owner(look, t) for j in joints for t in j.terminals]
    owner = min(owners, key=line_of)
    names = ", ".join(j.name for j in joints[:6]) + (" ..." if len(joints) > 6 else "")
    rectifier_line = _heats_rectifiers(look, joints)
    if rectifier_line is not None:
        # a wire to chassis would put the whole HT across the rectifier's heater insulation
        allowed = (
            "the wire that ties this winding in the drawing (to its rectifier's cathode), or its name in floating, "
            "inside amplifier = { ... }, where it hangs free"
        )
        remedy = f'floating = ["{rectifier_line}"]'
    else:
        allowed = "a resistor, winding, choke or wire to chassis, or a joint named in floating"
        remedy = _ground(look, joints, owner)
    return problem(amplifier, owner, owner.name, f"no dc path from {names} to chassis", allowed, remedy)


def _heats_rectifiers(look: Look, joints: list[Joint]) -> str | None:
    """The winding ("T1 rect") where the island is one that heats rectifiers and nothing else."""
    amplifier, here = look.amplifier, {j.name for j in joints}
    glass = {p.envelope for p in amplifier.of_kind("rectifier")}
    heaters = [p for p in amplifier.of_kind("heater") if here & set(p.leads.values())]
    if not heaters or any(p.envelope not in glass for p in heaters):
        return None
    for part in amplifier.of_kind("transformer"):
        for w in part.windings:
            if {part.leads[w.start], part.leads[w.end]} <= here:
                return f"{part.name} {w.name}"
    return None


def _ground(look: Look, joints: list[Joint], owner: Part) -> str:
    """A winding's own middle, or the end of one that heats valves, on chassis; else a large resistor.

    The end of a winding that feeds a rectifier is never sent there: where a wire of the rectifier is missing, chassis
    would make another circuit of it.
    """
    amplifier, names = look.amplifier, {j.name for j in joints}
    fed = {b.a for b in look.net.branches if b.sort == "diode"} | {b.b for b in look.net.branches if b.sort == "diode"}
    for kind, leads in (("output transformer", ("common",)), ("transformer", ("ct", "2"))):
        for part in amplifier.of_kind(kind):
            here = [lead for lead, at in part.leads.items() if at in names]
            for end in leads:
                lead = next((x for x in here if x == end or x.endswith(f" {end}")), None)
                if lead is not None and not (end == "2" and names & fed):
                    return wire_line(amplifier, f"{part.name} {lead}", "chassis", part.channel)
    return resistor_line(amplifier, "1M", joints[0].name, "chassis", owner.channel)
