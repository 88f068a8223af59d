"""The ends of the signal path and of the mains side: inputs, loudspeaker terminals, interference capacitors."""

from firstglow.amplifier.graph import Branch, is_primary, reach
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Part
from firstglow.amplifier.role_types import Input, Interference, LoadRole

SAFETY_CLASSES = ("X", "Y")


def inputs(look: Look) -> tuple[Input, ...]:
    """Every input with the section whose grid its signal reaches first."""
    out = []
    for part in look.amplifier.of_kind("input"):
        hot = part.leads["hot"]
        stop = {*look.quiet, *look.electrodes} - {hot}
        found = look.walk([hot], ("resistance", "wire", "capacitor"), stop)
        section = next((s for joint in found if joint != "chassis" for s in look.at(joint, "grid")), None)
        out.append(Input(part.name, hot, part.channel, section))
    return tuple(out)


def load_roles(look: Look) -> tuple[LoadRole, ...]:
    """Every pair of loudspeaker terminals with the transformer lead its hot side is on."""
    out = []
    for part in look.amplifier.of_kind("load"):
        hot = part.leads["hot"]
        near = look.walk([hot], ("wire",), ())
        tap = next(
            (
                (p.name, lead)
                for p in look.amplifier.of_kind("output transformer")
                for w in p.windings
                if w.role != "primary"
                for lead in (w.start, w.end)
                if p.leads[lead] in near and p.leads[lead] != "chassis"
            ),
            (None, None),
        )
        out.append(LoadRole(part.name, hot, part.leads["common"], part.channel, *tap))
    return tuple(out)


def mains_joints(look: Look) -> frozenset[str]:
    """Joints conductively on line or neutral: through fuses, switches, wires, lamps, resistors and primaries."""

    def may(b: Branch, _: str) -> bool:
        return b.sort in {"wire", "lamp", "resistance"} or (b.sort == "winding" and is_primary(look.net, b))

    starts = [p.leads[lead] for p in look.amplifier.of_kind("inlet") for lead in ("line", "neutral") if lead in p.leads]
    starts += [j for j in ("line", "neutral") if j in look.net.at]
    return frozenset(reach(look.net, starts, may, {"chassis", "earth"})) - {"chassis", "earth"}


def is_safety(kind_type: str | None) -> bool:
    """Whether a capacitor is of class X or Y (IEC 60384-14), by its type ("X", "Y", "X2", "Y1" ...)."""
    return (
        kind_type is not None and kind_type[:1].upper() in SAFETY_CLASSES and kind_type[1:] in {"", "1", "2", "3", "4"}
    )


OVER_MARK = 1.1
"""Mains over their mark that the V~ of a class X or Y capacitor has room for: they are marked for the mains' own volts, and 250 V~
ones stand on 230 V +10 % for good (EN 50160; IEC 60384-14, whose endurance test is at 1.25 times the mark and more: from memory)."""


def may_stand(part: Part) -> float:
    """What a capacitor of known working volts may stand for good [V]: dc and crest; of class X or Y, marked in V~, rms."""
    return part.value("volts") * (OVER_MARK if is_safety(part.type) else 1.0)


def marked_as(part: Part) -> str:
    """A capacitor's working volts as they are printed on it: "450 V", of class X or Y "275 V~"."""
    return f"{part.value('volts'):g} V{'~' if is_safety(part.type) else ''}"


def interference(look: Look) -> tuple[Interference, ...]:
    """Capacitors on the mains side: across it, or to chassis or earth."""
    mains = mains_joints(look)
    out = []
    for part in look.amplifier.of_kind("capacitor"):
        ends = set(part.leads.values())
        if not ends & mains:
            continue
        inside = ends <= mains
        out.append(Interference(part.name, "line to neutral" if inside else "to chassis", is_safety(part.type)))
    return tuple(out)
