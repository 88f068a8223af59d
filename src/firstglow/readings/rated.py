"""How a part of the file is rated: the catalogue's section that a valve is, what stands in its cathode, the volts that are sold."""

from typing import Any

from firstglow.amplifier.model import Amplifier, Part
from firstglow.markings.made import VOLTS, made_volts


def cathode_ohms(amplifier: Amplifier, part: Part) -> float:
    """Resistance from a section's cathode to chassis through one resistor of its own; 0 where there is none."""
    cathode = part.leads["cathode"]
    for r in amplifier.of_kind("resistor"):
        if set(r.leads.values()) == {cathode, "chassis"}:
            return r.value("ohms")
    return 0.0


def section_of(part: Part) -> Any:
    """The catalogue's section that a valve part is, by the designation as written: a 6L6G is not rated as a 6L6GC."""
    from firstglow.devices.catalogue import valve_type
    from firstglow.devices.smooth import DeviceError

    try:
        kind = valve_type(str(part.words.get("designation") or part.type))
    except DeviceError:  # written short of its suffix (6SN7): the reader chose the type
        kind = valve_type(part.type or "")
    named = part.words.get("section")
    if named is not None:
        return next(s for s in kind.sections if s.name == str(named))
    suffix = part.name.removeprefix(part.envelope or part.name).strip()
    return kind.sections[min({"": 0, "a": 0, "b": 1, "c": 2}.get(suffix, 0), len(kind.sections) - 1)]


def sold_volts(need: float, kind: str) -> float | None:
    """The next working volts that a kind of capacitor is made for, a film one where the kind is none of those; None above all."""
    return made_volts(need, kind if kind in VOLTS else "film")
