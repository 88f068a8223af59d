"""The amplifier as it would be with one thing changed: ohms ahead of the primary, a lead on another tap, silicon where a
valve was and the other way round. Each is an amplifier of its own, compiled and solved whole."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from firstglow.amplifier.model import Amplifier, Joint, Part, Quantity
from firstglow.amplifier.supplies import Supply
from firstglow.solver.parameters import CONTACT_OHMS

AHEAD = "resistor in the primary"
BEHIND = "resistor behind the silicon"
SILICON = {"age": 0.0, "amps": 1.0, "plates": 0.0, "series_ohms": 0.04, "volts": 1000.0}
"""A 1 A 1000 V diode of today."""


def altered(amplifier: Amplifier, new: Iterable[Part], without: Iterable[str] = ()) -> Amplifier:
    """The amplifier with parts put in (or in place of those of their name), others taken out; joints follow the leads."""
    parts = {n: p for n, p in amplifier.parts.items() if n not in set(without)}
    parts |= {p.name: p for p in new}
    at: dict[str, list[str]] = {}
    for part in parts.values():
        for lead, joint in part.leads.items():
            at.setdefault(joint, []).append(f"{part.name} {lead}")
    joints = {
        name: replace(amplifier.joints.get(name, Joint(name, ())), terminals=tuple(terminals))
        for name, terminals in at.items()
    }
    return replace(amplifier, parts=parts, joints=joints, digest="")


def resistor(name: str, one: str, two: str, ohms: float = CONTACT_OHMS) -> Part:
    """A resistor, next to nothing until its parameter is set."""
    return Part(name, "resistor", "wirewound", {"1": one, "2": two}, {"ohms": Quantity(ohms), "watts": Quantity(10.0)})


def with_ohms_ahead(amplifier: Amplifier) -> Amplifier:
    """A resistor in the line, ahead of everything: parameter ``resistor in the primary ohms``. ValueError without an inlet."""
    inlets = amplifier.of_kind("inlet")
    if not inlets:
        raise ValueError("no mains inlet: a fragment has no primary")
    inlet = inlets[0]
    moved = replace(inlet, leads={**inlet.leads, "line": "socket's line"})
    return altered(amplifier, [moved, resistor(AHEAD, "socket's line", inlet.leads["line"])])


# -- taps ------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Tap:
    """A lead of the primary that the mains may stand on instead. volts: the mark of the span that is then in use."""

    transformer: str
    lead_from: str
    lead_to: str
    volts: float

    @property
    def text(self) -> str:
        """In bench words."""
        return f"{self.transformer}: the mains lead from {self.lead_from} to {self.lead_to}"


def spans(part: Part) -> Mapping[str, float]:
    """Volts of every primary lead above the first one, along the winding; leads of another winding are not in it."""
    sides = [w for w in part.windings if w.role == "primary"]
    if not sides:
        return {}
    at = {sides[0].start: 0.0}
    for _ in sides:
        for w in sides:
            if w.start in at:
                at.setdefault(w.end, at[w.start] + w.turns.value)
            elif w.end in at:
                at.setdefault(w.start, at[w.end] - w.turns.value)
    return at


def taps(amplifier: Amplifier, part: Part) -> tuple[Tap, ...]:
    """Every other span that one lead moved to a free tap gives, 0.75 to 1.35 of the one in use, the nearest above first."""
    at = spans(part)
    used = [lead for lead in at if len(amplifier.joints[part.leads[lead]].terminals) > 1]
    free = [lead for lead in at if lead not in used]
    if len(used) != 2:
        return ()
    mark = abs(at[used[0]] - at[used[1]])
    found = []
    for moved, kept in ((used[1], used[0]), (used[0], used[1])):
        for lead in free:
            volts = abs(at[lead] - at[kept])
            if 0.75 * mark <= volts <= 1.35 * mark and abs(volts - mark) > 0.5:
                found.append(Tap(part.name, moved, lead, volts))
    return tuple({t.volts: t for t in sorted(found, key=lambda t: abs(t.volts - mark), reverse=True)}.values())


def on_tap(amplifier: Amplifier, tap: Tap) -> Amplifier:
    """The mains on another tap; the lead that they leave hangs free."""
    part = amplifier.parts[tap.transformer]
    leads = {**part.leads, tap.lead_to: part.leads[tap.lead_from], tap.lead_from: f"{part.name} {tap.lead_from} free"}
    return altered(amplifier, [replace(part, leads=leads)])


# -- rectifiers ------------------------------------------------------------------------------------------------------
def with_silicon(amplifier: Amplifier, supply: Supply) -> Amplifier:
    """A silicon diode for every plate of a supply's rectifier valves, their heaters out."""
    new, out = [], []
    for name in supply.rectifiers:
        part = amplifier.parts[name]
        if part.kind != "rectifier":
            continue
        out += [name, f"{part.envelope} heater"]
        plates = [lead for lead in part.leads if lead.startswith("plate")]
        values = {k: Quantity(v) for k, v in SILICON.items()}
        new += [
            Part(
                f"{name} silicon {k}", "diode", "silicon",
                {"anode": part.leads[lead], "cathode": part.leads["cathode"]}, values,
            )
            for k, lead in enumerate(plates, 1)
        ]  # fmt: skip
    return altered(amplifier, new, out)


def with_valve(amplifier: Amplifier, supply: Supply, kind: str, drawn: Iterable[Part] = ()) -> Amplifier:
    """The rectifier valve that silicon replaced, back in its place: as drawn (with its heater, where their joints are still
    there), else one of that type whose heater is not counted. ValueError where no valve would fit the diodes' place."""
    if supply.form not in ("full wave", "half wave") or supply.sign < 0:
        raise ValueError(f"{supply.joint}: {supply.form}: no rectifier valve stands in a {supply.form}'s place")
    kept = [p for p in drawn if all(j in amplifier.joints for j in p.leads.values())]
    if kept and any(p.kind == "rectifier" for p in kept):
        return altered(amplifier, kept, supply.rectifiers)
    plates = [amplifier.parts[leg.stages[0][0].part].leads["anode"] for leg in supply.legs]
    leads = {f"plate {k}": joint for k, joint in enumerate(plates, 1)}
    cathodes = {amplifier.parts[leg.stages[-1][0].part].leads["cathode"] for leg in supply.legs}
    if len(cathodes) != 1:
        raise ValueError(f"{supply.joint}: its diodes do not meet in one joint")
    values = {"perveance": Quantity(1.0), "emission": Quantity(1.0)}
    valve = Part(
        "valve as it was", "rectifier", kind, {**leads, "cathode": cathodes.pop()}, values, envelope="as it was"
    )
    return altered(amplifier, [valve], supply.rectifiers)


def with_ohms_behind(amplifier: Amplifier, supply: Supply) -> Amplifier:
    """A resistor between a supply's silicon and what it charges: parameter ``resistor behind the silicon ohms``."""
    ends = {(plate.part, "cathode") for leg in supply.legs for plate in leg.stages[-1]}
    joints = {amplifier.parts[name].leads[lead] for name, lead in ends}
    if supply.sign < 0 or len(joints) != 1:
        raise ValueError(f"{supply.joint}: its diodes do not meet in one joint on the HT side")
    joint = joints.pop()
    moved = [
        replace(amplifier.parts[name], leads={**amplifier.parts[name].leads, lead: "silicon's end"})
        for name, lead in sorted(ends)
    ]
    return altered(amplifier, [*moved, resistor(BEHIND, "silicon's end", joint)])
