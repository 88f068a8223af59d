"""What a fault does to the resting network: parts gone, bridged, drifted, turned round (design.md's fault modes)."""

from collections.abc import Iterable
from dataclasses import dataclass

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault

# A metal-to-metal short inside a part.
SHORT_OHMS = 0.01
# Ends of a part that "shorted" joins.
ENDS = {
    "capacitor": ("+", "-"),
    "pot": ("end 1", "end 2"),
    "diode": ("anode", "cathode"),
    "gas tube": ("anode", "cathode"),
    "rectifier": ("plate 1", "cathode"),
    "load": ("hot", "common"),
    "input": ("hot", "ground"),
    "supply": ("+", "-"),
}
# Modes that change what a valve or a rectifier conducts, or the mains side: nothing moves in a resting network.
ELECTRONIC = frozenset(
    {
        "dead",
        "weak",
        "gassy",
        "wrong type",
        "half dead",
        "wrong tap",
        "aged",
        "blown",
        "soft",
        "emission",
        "low emission",
    }
)


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
    """Faults sorted by what they do. opens: (part, winding), winding "" for the whole part."""

    opens: frozenset[tuple[str, str]]
    factors: dict[str, float]
    turned: frozenset[str]
    lost_wipers: frozenset[str]
    bridges: tuple[Bridge, ...]
    exchanged: frozenset[str]

    def open(self, part: str, winding: str = "") -> bool:
        """Whether the part (or one of its windings) no longer conducts."""
        return (part, "") in self.opens or (part, winding) in self.opens

    def factor(self, part: str) -> float:
        """What a drift multiplies the part's ohms by."""
        return self.factors.get(part, 1.0)

    def reversed(self, part: str) -> bool:
        """Whether a diode is in the wrong way round."""
        return part in self.turned

    def wiper_open(self, part: str) -> bool:
        """Whether the pot's wiper has lost its track."""
        return part in self.lost_wipers

    def lead(self, part: str, lead: str) -> str:
        """The lead whose joint this lead stands on: another one where plate leads were exchanged."""
        if part in self.exchanged:
            return EXCHANGE.get(lead, lead)
        return lead


EXCHANGE = {"plate a": "plate b", "plate b": "plate a"}


def misfits(amplifier: Amplifier, faults: Iterable[Fault]) -> Misfits:
    """Sort faults. ValueError where a part or a mode is not known here: a fault never passes unnoticed."""
    opens, turned, lost, exchanged = set(), set(), set(), set()
    factors: dict[str, float] = {}
    bridges: list[Bridge] = []
    for fault in faults:
        part = amplifier.parts.get(fault.part)
        if part is None:
            raise ValueError(f"fault {fault.part}:{fault.mode}: no part of that name")
        winding = next((w.name for w in part.windings if fault.mode in {f"{w.name} open", f"{w.name} shorted"}), "")
        mode = fault.mode[len(winding) :].strip()
        if mode == "open":
            opens.add((part.name, winding))
        elif mode == "reversed":
            turned.add(part.name)
        elif mode == "wiper open":
            lost.add(part.name)
        elif mode == "drifts":
            factors[part.name] = factors.get(part.name, 1.0) * _stated(fault)
        elif mode == "plates exchanged":
            exchanged.add(part.name)
        elif mode not in ELECTRONIC:
            bridges.append(_bridge(amplifier, part, winding, mode, fault))
    return Misfits(frozenset(opens), factors, frozenset(turned), frozenset(lost), tuple(bridges), frozenset(exchanged))


def _bridge(amplifier: Amplifier, part: Part, winding: str, mode: str, fault: Fault) -> Bridge:
    if mode == "shorted":
        a, b = _ends(part, winding)
        return Bridge(part.name, a, part.name, b, SHORT_OHMS)
    if mode == "leaks":
        a, b = _ends(part, winding)
        return Bridge(part.name, a, part.name, b, _stated(fault))
    first, middle, second = mode.partition(" to ")
    ohms = SHORT_OHMS if fault.value is None else fault.value
    if middle and first == "heater" and second in part.leads:
        return Bridge(f"{part.envelope} heater", "1", part.name, second, ohms)
    if middle and first in part.leads and second in part.leads:
        return Bridge(part.name, first, part.name, second, ohms)
    raise ValueError(f"fault {fault.part}:{fault.mode}: not a fault of a {part.kind} that the resting network knows")


def _ends(part: Part, winding: str) -> tuple[str, str]:
    if winding:
        found = next(w for w in part.windings if w.name == winding)
        return found.start, found.end
    return ENDS.get(part.kind, ("1", "2"))


def _stated(fault: Fault) -> float:
    if fault.value is None:
        raise ValueError(f"fault {fault.part}:{fault.mode}: needs a value")
    return fault.value
