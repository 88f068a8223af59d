"""Capacitors that keep one valve's dc off another's grid: what a short of one, or the leak of an old one, does to that valve."""

from collections.abc import Iterator
from dataclasses import dataclass

from firstglow.amplifier.look import Look, look_at
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault
from firstglow.audit.ageing import ages
from firstglow.quantities import show

LEAKY_OHMS = 500e3
"""An old paper capacitor that leaks, warm: 10 Mohm down to this and less (common practice)."""
OHMIC = ("resistance", "wire")


@dataclass(frozen=True, slots=True)
class Coupling:
    """One such capacitor. sources: sections whose plate or cathode it takes the signal from; grids: those it brings it to."""

    part: str
    sources: tuple[str, ...]
    grids: tuple[str, ...]


def couplings(amplifier: Amplifier) -> Iterator[Coupling]:
    """Every one, in the amplifier's own order."""
    look = look_at(amplifier)
    for part in amplifier.of_kind("capacitor"):
        one, two = part.leads["+"], part.leads["-"]
        if {one, two} & ({"chassis", "earth"} | look.quiet):
            continue
        for here, there in ((one, two), (two, one)):
            sources = _sections(look, here, ("plate", "cathode"))
            grids = _sections(look, there, ("grid",))
            if sources and grids and set(grids) - set(sources):
                yield Coupling(part.name, sources, grids)
                break


def _sections(look: Look, joint: str, electrodes: tuple[str, ...]) -> tuple[str, ...]:
    """Sections with such an electrode on a joint, or behind resistors from it; no rail and no other electrode is passed."""
    if found := look.at(joint, *electrodes):
        return tuple(dict.fromkeys(found))
    if look.electrodes.get(joint):
        return ()
    reached = look.walk([joint], OHMIC, {*look.quiet, *look.positive, *look.negative, *look.electrodes})
    return tuple(dict.fromkeys(s for j in reached if j not in look.quiet for s in look.at(j, *electrodes)))


def faults(amplifier: Amplifier) -> Iterator[tuple[str, tuple[Fault, ...]]]:
    """Each shorted, and those of a kind that leaks with age leaking, in bench words."""
    for c in couplings(amplifier):
        part = amplifier.parts[c.part]
        yield f"{c.part} shorted (coupling)", (Fault(c.part, "shorted"),)
        if old_kind(part):
            yield f"{c.part} leaks {show(LEAKY_OHMS, 'ohm')}", (Fault(c.part, "leaks", LEAKY_OHMS),)


def old_kind(part: Part) -> bool:
    """Whether it is of a kind that leaks with age, and no electrolytic."""
    return part.type != "electrolytic" and bool(ages(part))
