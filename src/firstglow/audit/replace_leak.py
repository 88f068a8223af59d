"""A grid leak that is past its valve's limit: the one that keeps it, the coupling capacitor that keeps the bass with it."""

from math import pi

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.amplifier.role_types import OutputValve
from firstglow.audit.moves import running
from firstglow.audit.pieces import Item, capacitor, metal_film
from firstglow.audit.stress import Stress
from firstglow.audit.ways import Stood
from firstglow.markings.made import made_volts
from firstglow.markings.series import next_down, next_up
from firstglow.quantities import show

LEAST_OF_LIMIT = 0.1
"""A leak of less than this of the limit is none: what feeds it wants less ohms."""
FILM_TOLERANCE = 0.01
"""Metal film as it is sold (common practice)."""
Found = tuple[str, str, tuple[Item, ...]]
"""What to do, what it changes, what is bought for it."""


def lower_leak(limit: float, whole: float, ohms: float) -> float | None:
    """The grid leak that a limit [ohm] allows in place of one of so many ohms, of the E24 series, where ``whole`` stands at the grid in
    all; None where the rest takes it all."""
    room = limit - (whole - ohms)
    return next_down(room / (1.0 + FILM_TOLERANCE), "E24") if room > LEAST_OF_LIMIT * limit else None


def bass_kept(farads: float, ohms: float, new: float) -> float:
    """The coupling capacitor that keeps the bass corner with another grid leak: farads times ohms stay [F]."""
    return next_up(farads * ohms / new, "E12")


def leak(stood: Stood, part: Part, s: Stress) -> Found:
    output = next((o for o in stood.roles.outputs if o.valve == part.name), None)
    role = output or next((o for o in stood.roles.smalls if o.valve == part.name), None)
    name = role.grid_leak if role is not None else None
    if name is None or s.rating is None:
        return "a lower grid leak", "", ()
    ohms = stood.amplifier.parts[name].value("ohms")
    new = lower_leak(s.rating, s.value, ohms)
    if new is None:
        if output is None or output.bias == "cathode":
            more = f"{show(s.value, 'ohm')} of {show(s.rating, 'ohm')} at most"
            return f"less ohms in all from its grid to chassis, {more}: its leak is not the most of them", "", ()
        return "less ohms in what feeds its grid leak: a stiffer bias network", "bias volts", ()
    piece = Item(1, metal_film(new, 0.5), "grid leak", for_part=name)
    told, items = f"its grid leak {show(new, 'ohm')} 1 % in place of {show(ohms, 'ohm')}", (piece,)
    drives = _driven(stood, output, new) or f"the stage before it drives {show(new, 'ohm')}"
    coupling = [c for c in (output.coupling if output else ()) if c in stood.amplifier.parts]
    if not coupling:
        return told, drives, items
    return _keep_bass(stood, coupling[0], ohms, new, (told, drives, items))


def _driven(stood: Stood, output: OutputValve | None, new: float) -> str:
    """Whether the stage before an output valve still drives it fully: into its plate's resistor and the new leak side by side its
    idle current lifts the plate no further than amps times ohms. "" where no plate with a resistor drives it."""
    mine = next((v for v in stood.roles.smalls if output is not None and v.valve in output.driven_by), None)
    if output is None or mine is None or len(mine.plate_load) != 1:
        return ""
    part, k = stood.amplifier.parts[mine.plate_load[0]], running(stood)
    if part.kind != "resistor" or mine.duty == "split load":
        return ""
    ohms = 1.0 / (1.0 / part.value("ohms") + 1.0 / new)
    amps = float(stood.row(mine.valve)["plate_amps"][k])
    needs = float(stood.dc(output.cathode)[k] - stood.dc(output.grid)[k])
    short = " : too little, its own resistor wants to be lower" if amps * ohms < needs else ""
    return (
        f"the stage before it, {mine.valve}, drives {show(new, 'ohm')} beside its {show(part.value('ohms'), 'ohm')}: {show(amps, 'A', 2)} "
        f"lift its plate by {amps * ohms:.0f} V at most, {needs:.0f} V drive {output.valve} fully{short}"
    )


def _like(stood: Stood, name: str) -> set[str]:
    """The coupling capacitors of all output valves, where this is one: they are bought alike."""
    every = {c for o in stood.roles.outputs for c in o.coupling if c in stood.amplifier.parts}
    return every if name in every else {name}


def _asked(stood: Stood, name: str) -> float:
    """What it is asked to be made for [V]: its mark, and what it meets with a fifth to spare."""
    part = stood.amplifier.parts[name]
    stated = part.value("volts") if part.values.get("volts") else 0.0
    return max(stated, float(np.max(np.abs(stood.row(name)["volts"]) * stood.where())) / 0.8)


def _keep_bass(stood: Stood, name: str, ohms: float, new: float, found: Found) -> Found:
    """The coupling capacitor that keeps the bass corner with a lower grid leak: farads times ohms stay."""
    told, drives, items = found
    part = stood.amplifier.parts[name]
    farads = part.value("farads")
    more = bass_kept(farads, ohms, new)
    corner, old, kept = (1.0 / (2.0 * pi * r * c) for r, c in ((ohms, farads), (new, farads), (new, more)))
    volts = made_volts(max(_asked(stood, c) for c in _like(stood, name)), "film")
    loop = (
        " inside the feedback loop, where a moved corner may set it howling or motorboating"
        if stood.roles.loops
        else ""
    )
    drives = f"{drives}; its bass corner stays, {kept:.1f} Hz for {corner:.1f} (with the old {show(farads, 'F')} {old:.1f} Hz{loop})"
    if volts is None:
        return told, drives, items
    bigger = Item(1, capacitor(more, volts, "film"), "coupling: keeps the bass", for_part=name, over=True)
    return f"{told}, and {bigger.text} for its coupling capacitor: keeps the bass", drives, (*items, bigger)
