"""What can be wrong with a part: kind -> modes, what each does, and how bad it can be.

Ranges and the choice of modes are common practice (service shops' accounts of what fails); severities are log-uniform
between the ends. A fault lives only in memory: the file says what the amplifier is, never what is wrong with it.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import sqrt

from firstglow.amplifier.bases import Base, bases
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault


@dataclass(frozen=True, slots=True)
class Mode:
    """One way in which a kind of part fails.

    name: as ``--fault PART:NAME`` takes it; "{winding}" stands for each winding's name, "{type}" for a valve type.
    unit: of the value behind ``=``: "ohm", "1", "V"; None where the mode takes none.
    low, high: severity, log-uniform between them. does: its electrical effect.
    when: on which parts of the kind it can happen. listed: False of what is tried by name alone, and is none of the faults that a
        ladder is measured by.
    """

    name: str
    does: str
    unit: str | None = None
    low: float = 0.0
    high: float = 0.0
    when: Callable[[Part], bool] = lambda part: True
    listed: bool = True

    @property
    def middle(self) -> float | None:
        """Severity where none is stated: the geometric middle."""
        return None if self.unit is None else sqrt(self.low * self.high)


def _electrolytic(part: Part) -> bool:
    return part.type == "electrolytic"


def _dry(part: Part) -> bool:
    return part.type != "electrolytic"


def _separate(part: Part) -> bool:
    base = bases().get(part.type or "")
    return base is None or not base.joined


def _lead(*names: str) -> Callable[[Part], bool]:
    return lambda part: all(n in part.leads for n in names)


OPEN = Mode("open", "no current through it")
SHORTED = Mode("shorted", "0.1 ohm in its place")
WINDING_OPEN = Mode("{winding} open", "that winding is broken; the others work on")
WINDING_SHORTED = Mode("{winding} shorted", "0.1 ohm across that winding")

FAULTS: Mapping[str, tuple[Mode, ...]] = {
    "resistor": (OPEN, SHORTED, Mode("drifts", "its ohms times the factor", "1", 1.2, 3.0)),
    "capacitor": (
        OPEN,
        SHORTED,
        Mode("leaks", "ohms across it", "ohm", 1e5, 1e9, _dry),
        Mode("leaks", "ohms across it", "ohm", 1e3, 2e5, _electrolytic),
        Mode("dried", "its farads times the factor", "1", 0.05, 0.5, _electrolytic),
    ),
    "pot": (
        Mode("open", "the track is broken on both sides of the wiper"),
        Mode("shorted", "0.1 ohm from end to end"),
        Mode("wiper open", "the wiper touches nothing"),
        Mode("drifts", "its ohms times the factor", "1", 1.2, 3.0),
    ),
    "choke": (OPEN, Mode("shorted", "0.1 ohm and no inductance in its place")),
    "diode": (OPEN, SHORTED, Mode("reversed", "anode and cathode exchanged")),
    "valve": (
        Mode("dead", "no emission; its heater still draws"),
        Mode("weak", "perveance and emission times the factor", "1", 0.4, 0.8),
        Mode("gassy", "gas grid current over plate current", "1", 1e-5, 5e-4),
        Mode("grid to cathode", "1 ohm between grid and cathode"),
        Mode("plate to cathode", "1 ohm between plate and cathode: an arc that stays", listed=False),
        Mode("plate to screen", "1 ohm between plate and screen", when=_lead("plate", "screen")),
        Mode("heater to cathode", "ohms between heater lead 1 and cathode", "ohm", 1e4, 1e6, _separate),
    ),
    "rectifier": (
        Mode("dead", "no emission; its heater still draws"),
        Mode("weak", "perveance and emission times the factor", "1", 0.3, 0.7),
        Mode("half dead", "plate 2 draws nothing", when=_lead("plate 2")),
        Mode("plate to cathode", "1 ohm between plate 1 and cathode"),
        Mode("heater to cathode", "ohms between heater lead 1 and cathode", "ohm", 10.0, 1e4, _separate),
        Mode("wrong type={type}", "another rectifier valve that fits the socket"),
    ),
    "heater": (OPEN, Mode("shorted", "0.05 ohm across its winding")),
    "transformer": (
        WINDING_OPEN,
        WINDING_SHORTED,
        Mode("wrong tap", "the mains on a tap marked for so many volts", "V", 0.8, 1.15),
    ),
    "output transformer": (
        WINDING_OPEN,
        WINDING_SHORTED,
        Mode("plates exchanged", "plate a and plate b exchanged, screens left", when=_lead("plate b")),
        Mode("screens exchanged", "screen a and screen b exchanged", when=_lead("screen a", "screen b")),
        Mode("reversed", "secondary leads exchanged"),
    ),
    "fuse": (OPEN,),
    "switch": (OPEN,),
    "wire": (OPEN,),
    "load": (SHORTED,),
    "input": (),
    "inlet": (),
    "supply": (),
    "gas tube": (Mode("dead", "does not glow: no current"), SHORTED),
    "lamp": (OPEN, SHORTED),
}


@dataclass(frozen=True, slots=True)
class FaultCase:
    """One part and one mode, with the severities it can have (0 and 0 where it has none)."""

    part: str
    mode: str
    low: float = 0.0
    high: float = 0.0

    def at(self, share: float) -> Fault:
        """The fault at a severity: 0 is ``low``, 1 is ``high``, log-uniform between."""
        if not self.high:
            return Fault(self.part, self.mode)
        return Fault(self.part, self.mode, self.low * (self.high / self.low) ** share)


def cases_of(part: Part, mains_volts: float = 230.0) -> Iterator[FaultCase]:
    """Every mode of one part."""
    for mode in FAULTS[part.kind]:
        if not mode.when(part):
            continue
        if "{winding}" in mode.name:
            for winding in part.windings:
                yield FaultCase(part.name, mode.name.format(winding=winding.name))
        elif "{type}" in mode.name:
            for other in fits_socket(part):
                yield FaultCase(part.name, mode.name.format(type=other))
        else:
            scale = mains_volts if mode.unit == "V" else 1.0
            yield FaultCase(part.name, mode.name, mode.low * scale, mode.high * scale)


def all_faults(amplifier: Amplifier) -> tuple[FaultCase, ...]:
    """EVERY part x listed mode of an amplifier, in the amplifier's own order."""
    every = ((part, c) for part in amplifier.parts.values() for c in cases_of(part, amplifier.mains_volts))
    return tuple(c for part, c in every if all(m.listed for m in FAULTS[part.kind] if m.name == c.mode))


def fits_socket(part: Part) -> list[str]:
    """Rectifier valves with the same pins and heater volts: what a hand can plug in by mistake. Types that differ in ratings
    alone are left out: no reading tells them."""
    own = bases().get(part.type or "")
    if own is None:
        return []
    return [b.name for b in bases().values() if b.rectifier and _law(b) != _law(own) and _same_pins(own, b)]


def same_valve(kind: str) -> list[str]:
    """Other types with a valve type's very electrodes, base and heater volts under ratings of their own."""
    own = bases().get(kind)
    if own is None:
        return []
    return [b.name for b in bases().values() if b.name != kind and _law(b) == _law(own) and _same_pins(own, b)]


def _law(base: Base) -> str:
    return base.variant_of or base.name


def _same_pins(one: Base, two: Base) -> bool:
    return (
        one.sections[0].pins == two.sections[0].pins
        and one.heater_pins == two.heater_pins
        and one.heaters[0][0] == two.heaters[0][0]
    )
