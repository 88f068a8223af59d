"""Places to put a probe, in bench words: "V3 pin 5 (grid)", "C1 +", "T1 ht 1"; and what is within a slip of them."""

from dataclasses import dataclass

from firstglow.amplifier.bases import find
from firstglow.amplifier.model import Amplifier, Part

# Terminals brought outside the chassis on their own: nothing of the inside is within a slip of them.
OUTSIDE = ("load", "input", "inlet")
MAINS_SIDE = ("line", "neutral")


@dataclass(frozen=True, slots=True)
class End:
    """One end of the meter.

    joint: canonical name. text: bench words. pin: (base, number) to ring on the socket drawing, or None.
    envelope: the socket it is on, or None. outside: a terminal outside the chassis.
    """

    joint: str
    text: str
    pin: tuple[str, int] | None = None
    envelope: str | None = None
    outside: bool = False

    def within_slip(self, amplifier: Amplifier, inside: tuple[str, ...]) -> tuple[str, ...]:
        """Joints a probe tip can touch here: its own, and the other pins of its socket (a slip of 10 mm reaches them).

        ``inside``: every joint that may be bare inside the chassis. On no socket, all of them count.
        """
        if self.joint == "chassis" or self.outside:
            return (self.joint,)
        if self.envelope is not None:
            sections = [p for p in amplifier.parts.values() if p.envelope == self.envelope]
            return (self.joint, *dict.fromkeys(j for p in sections for j in p.leads.values()))
        return (self.joint, *inside)


def mains_joints(amplifier: Amplifier) -> frozenset[str]:
    """Joints that are live with the mains: from the inlet through fuses, switches and wires to every primary.

    They are sleeved or covered before anything is powered, so no slip reaches them.
    """
    through = amplifier.of_kind("fuse", "switch", "wire", "resistor", "lamp")
    reached = {p.leads[lead] for p in amplifier.of_kind("inlet") for lead in MAINS_SIDE if lead in p.leads}
    growing = True
    while growing:
        more = {
            j for p in through if reached & set(p.leads.values()) for j in p.leads.values() if j != "chassis"
        } - reached
        growing = bool(more)
        reached |= more
    for part in amplifier.of_kind("transformer"):
        for winding in part.windings:
            if winding.role == "primary":
                reached |= {part.leads[winding.start], part.leads[winding.end]}
    return frozenset(reached)


def own_name(part: Part) -> str:
    """A part's name without its channel in front."""
    if part.channel and part.name.startswith(f"{part.channel} "):
        return part.name[len(part.channel) + 1 :]
    return part.name


def pins(part: Part, lead: str) -> tuple[str, tuple[int, ...]] | None:
    """(socket, pin numbers) of an electrode of a valve section, rectifier or heater; None if it has no socket pin.

    Pin 0 is a top cap.
    """
    base = find(part.type) if part.type and part.envelope else None
    if base is None or part.envelope is None:
        return None
    if part.kind == "heater":
        numbers = {"1": base.heater_pins[:1], "2": base.heater_pins[1:2], "ct": (base.ct_pin,) if base.ct_pin else ()}
        return (base.socket, numbers[lead]) if numbers.get(lead) else None
    section = base.section(part.name.removeprefix(part.envelope))
    if section is None or lead not in section.pins:
        return None
    return base.socket, section.pins[lead]


def end_of(amplifier: Amplifier, part_name: str, lead: str) -> End:
    """A lead of a part as a place: its pin where it has one."""
    part = amplifier.parts[part_name]
    joint = part.leads[lead]
    called = "heater" if part.kind == "heater" else lead
    found = pins(part, lead)
    if found is None:
        near = beside(amplifier, joint, part.name) if part.kind in UNMARKED else ""
        text = f"{part.name} {called} ({near})" if near else f"{part.name} {called}"
        return End(joint, text, None, part.envelope, part.kind in OUTSIDE)
    base, numbers = found
    socket = part.envelope or part.name
    text = f"{socket} pin {numbers[0]} ({called})" if numbers[0] else f"{socket} top cap ({called})"
    return End(joint, text, (base, numbers[0]) if numbers[0] else None, socket)


UNMARKED = ("resistor", "capacitor", "pot", "choke", "diode", "fuse")  # no end of these says which it is
ORDER = ("plate", "grid", "cathode", "screen", "plate 1", "plate 2", "suppressor")


def beside(amplifier: Amplifier, joint: str, but: str = "") -> str:
    """What else is found on a joint, for an end that carries no mark: a name of its own (HT1, chassis), else a socket pin
    ("V1 pin 6"), else a terminal of a control or a transformer; "" where nothing tells."""
    if not any(joint.startswith(f"{name} ") for name in amplifier.parts):
        return joint
    on = [(p, lead) for p in amplifier.parts.values() for lead, at in p.leads.items() if at == joint and p.name != but]
    for part, lead in sorted(on, key=lambda end: ORDER.index(end[1]) if end[1] in ORDER else len(ORDER)):
        found = pins(part, lead)
        if found is not None and found[1][0]:
            return f"{part.envelope} pin {found[1][0]}"
    return next((f"{p.name} {lead}" for p, lead in on if p.kind in ("pot", "transformer", "output transformer")), "")


LARGE = 0.6e-6  # F: a capacitor large enough to be found at once


def end_at(amplifier: Amplifier, joint: str) -> End:
    """A joint as a place: "chassis"; a terminal outside; else a lead on it that is easy to find, largest first."""
    if joint == "chassis":
        return End(joint, "chassis")
    on = [(part, lead) for part in amplifier.parts.values() for lead, where in part.leads.items() if where == joint]
    for part, lead in on:
        if part.kind in OUTSIDE:
            return End(joint, f"{part.name} {lead}", outside=True)
    large = [(p, lead) for p, lead in on if p.kind == "capacitor" and p.value("farads") >= LARGE]
    if large:
        part, lead = max(large, key=lambda found: found[0].value("farads"))
        return End(joint, f"{part.name} {lead} ({joint})")
    for kind in ("pot", "transformer", "output transformer", "gas tube", "valve", "rectifier", "heater", "resistor"):
        for part, lead in on:
            if part.kind == kind:
                return end_of(amplifier, part.name, lead)
    return End(joint, joint)
