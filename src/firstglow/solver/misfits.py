"""What a fault does to the resting network: parts gone, bridged, drifted, turned round (design.md's fault modes)."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault

# Ohms that a short leaves (the fault table's own words): in a part or a winding, across a heater, in a valve.
SHORT_OHMS = 0.1
HEATER_SHORT_OHMS = 0.05
ELECTRODE_SHORT_OHMS = 1.0
# Ends of a part that "shorted" joins, where they are not "1" and "2".
ENDS = {
    "capacitor": ("+", "-"),
    "pot": ("end 1", "end 2"),
    "diode": ("anode", "cathode"),
    "gas tube": ("anode", "cathode"),
    "load": ("hot", "common"),
}
# Modes that change what a valve or a rectifier conducts, or the mains side: nothing moves in a resting network.
ELECTRONIC = ("weak", "gassy", "wrong type", "half dead", "wrong tap")
EXCHANGES = {
    "plates exchanged": {"plate a": "plate b", "plate b": "plate a"},
    "screens exchanged": {"screen a": "screen b", "screen b": "screen a"},
}


@dataclass(frozen=True, slots=True)
class Bridge:
    """A path that should not be there: lead ``a`` of ``part`` to lead ``b`` of ``other`` through ``ohms``."""

    part: str
    a: str
    other: str
    b: str
    ohms: float


@dataclass(frozen=True, slots=True)
class Misfits:
    """Faults sorted by what they do.

    opens: (part, winding), winding "" for the whole part. factors: part -> what its ohms are multiplied by. dried: part
    -> what its farads are multiplied by. turned: diodes and output transformers (their secondaries) the wrong way
    round. leads: (part, lead) -> the lead whose joint it stands on instead.
    """

    opens: frozenset[tuple[str, str]]
    factors: Mapping[str, float]
    dried: Mapping[str, float]
    turned: frozenset[str]
    lost_wipers: frozenset[str]
    bridges: tuple[Bridge, ...]
    leads: Mapping[tuple[str, str], str]

    def open(self, part: str, winding: str = "") -> bool:
        """Whether the part (or one of its windings) no longer conducts."""
        return (part, "") in self.opens or (part, winding) in self.opens


def misfits(amplifier: Amplifier, faults: Iterable[Fault]) -> Misfits:
    """Sort faults. ValueError where a part or a mode is not known here: a fault never passes unnoticed."""
    opens, turned, lost = set(), set(), set()
    factors: dict[str, float] = {}
    dried: dict[str, float] = {}
    leads: dict[tuple[str, str], str] = {}
    bridges: list[Bridge] = []
    for fault in faults:
        part = amplifier.parts.get(fault.part)
        if part is None:
            raise ValueError(f"fault {fault.part}:{fault.mode}: no part of that name")
        winding = next((w.name for w in part.windings if fault.mode in {f"{w.name} open", f"{w.name} shorted"}), "")
        mode = fault.mode[len(winding) :].strip()
        if mode == "open":
            opens.add((part.name, winding))
        elif mode == "dead":
            opens.add((f"{part.envelope} heater" if part.envelope else part.name, ""))
        elif mode == "reversed":
            turned.add(part.name)
        elif mode == "wiper open":
            lost.add(part.name)
        elif mode == "drifts":
            factors[part.name] = factors.get(part.name, 1.0) * _stated(fault)
        elif mode == "dried":
            dried[part.name] = dried.get(part.name, 1.0) * _stated(fault)
        elif mode in EXCHANGES:
            leads |= {(part.name, one): other for one, other in EXCHANGES[mode].items()}
        elif not mode.startswith(ELECTRONIC):
            bridges.append(_bridge(part, winding, mode, fault))
    return Misfits(frozenset(opens), factors, dried, frozenset(turned), frozenset(lost), tuple(bridges), leads)


def _bridge(part: Part, winding: str, mode: str, fault: Fault) -> Bridge:
    if mode in {"shorted", "leaks"}:
        a, b = _ends(part, winding)
        short = HEATER_SHORT_OHMS if part.kind == "heater" else SHORT_OHMS
        return Bridge(part.name, a, part.name, b, _stated(fault) if mode == "leaks" else short)
    first, _, second = mode.partition(" to ")
    if first == "heater" and second in part.leads:
        return Bridge(f"{part.envelope} heater", "1", part.name, second, _stated(fault))
    first, second = (lead if lead in part.leads else f"{lead} 1" for lead in (first, second))
    if first in part.leads and second in part.leads:
        return Bridge(part.name, first, part.name, second, ELECTRODE_SHORT_OHMS)
    raise ValueError(f"fault {fault.part}:{fault.mode}: not a fault of a {part.kind} that the resting network knows")


def _ends(part: Part, winding: str) -> tuple[str, str]:
    if winding:
        found = next(w for w in part.windings if w.name == winding)
        return found.start, found.end
    return ends_of(part)


def ends_of(part: Part) -> tuple[str, str]:
    """The two leads that "shorted" joins; of a heater with its halves in parallel, one of both and the tap."""
    if part.kind == "heater" and "ct" in part.leads and part.leads["1"] == part.leads["2"]:
        return "1", "ct"
    return ENDS.get(part.kind, ("1", "2"))


def _stated(fault: Fault) -> float:
    if fault.value is None:
        raise ValueError(f"fault {fault.part}:{fault.mode}: needs a value")
    return fault.value
