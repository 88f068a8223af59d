"""What stands in the line, and what joins and parts it: fuses, switches, wires, the inlet."""

from collections.abc import Iterator
from dataclasses import replace
from math import sqrt
from typing import Any

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.audit.stress import Stress, most
from firstglow.audit.ways import Array, Stood
from firstglow.solver.nodes import find_nodes
from firstglow.solver.standing import SolveError

FUSE_SHARE, PLAIN_SHARE = 0.20, 0.10
"""Margins under which it is tight."""


def fuse(stood: Stood, part: Part) -> Iterator[Stress]:
    """Running current, rms. Of a fault: whether it surely opens before something else burns, which is what it is there for."""
    from firstglow.audit.fuse import stated
    from firstglow.audit.fuse_judged import Blown

    own = stated(part)
    note = "IEC: carries its mark for good; a UL one 75 % of it; whether it holds a start: firstglow mains"
    rows = most(
        stood, part, "running amps, rms", "A", line_amps(stood, part),
        None if own is None else own.amps, FUSE_SHARE, stood.where(cold=False), note,
    )  # fmt: skip
    for s in rows:
        if s.fault and own is not None:
            blown = Blown(s.situation, s.value, s.value / own.amps, own.holds(s.value), own.blows_within(s.value))
            s = replace(s, rating=own.saves_from, note=f"{blown.text}; {OPENS}")
        yield s
    if own is not None and set(part.leads.values()) <= set(find_nodes(stood.amplifier).mains):
        idle = float(np.max(np.where(stood.where(level="now", runs=True), line_amps(stood, part), 0.0)))
        largest, note = LARGEST * idle, f"{LARGEST:g} times what it carries at idle"
        if own.amps > largest and (needs := for_the_line(stood)) > largest:
            largest, note = needs, "the smallest that surely holds a start"
        note += "; one that is too large ends no fault (firstglow mains)"
        yield Stress("its mark, too large", own.amps, "A", largest, "running, everything in", note=note)


def for_the_line(stood: Stood) -> float:
    """Rated amps of the smallest line fuse that carries full power and surely holds a start; 0 where that is not known."""
    from firstglow.audit.fuse import line_fuses
    from firstglow.audit.ground import ground_of

    def smallest(_: Any) -> float:
        try:
            return min((j.fuse.amps for j in line_fuses(ground_of(stood))), default=0.0)
        except SolveError:
            return 0.0

    found: float = stood.amplifier.once("line fuse", smallest)
    return found


LARGEST = 5.0
"""A line fuse's mark over its running amps at idle, at most: 1.5 to 2 times full load (common practice), and full load at most two
and a half times idle."""

OPENS = "the rating here: from when on it surely opens within two minutes"
"""Of a fuse's row in a fault."""


def line_amps(stood: Stood, part: Part) -> Array:
    """Rms through a part that carries ac or dc (way,) [A]; of one in the line of the only transformer all that the mains give,
    harmonics included: it, the plug and the primary are in series."""
    row = stood.row(part.name)
    own = np.maximum(row.get("amps_rms", np.zeros(1)), np.abs(row.get("amps", np.zeros(1))))
    mains = set(find_nodes(stood.amplifier).mains)
    if len(stood.amplifier.of_kind("transformer")) != 1 or not set(part.leads.values()) <= mains:
        return np.asarray(own)
    return np.asarray(np.maximum(own, stood.standing.books.flows["lamp"].row["amps_rms"]))


def switch(stood: Stood, part: Part) -> Iterator[Stress]:
    """Amps closed, volts open."""
    amps, volts = part.values.get("amps"), part.values.get("volts")
    yield from most(stood, part, "amps", "A", line_amps(stood, part), None if amps is None else amps.value, PLAIN_SHARE)
    one, two = list(part.leads.values())[:2]
    apart = np.abs(stood.dc(one) - stood.dc(two))
    rating = None if volts is None else volts.value
    if part.words.get("role") == "mains":
        # V~ on a switch is of the mains' mark; that they wander 10 % is in it (as of any mains part)
        marked = np.full(len(stood.ways), stood.amplifier.mains_volts)
        yield from most(stood, part, "volts it parts", "V", marked, rating, 0.0, stood.where(level="now"), faults=False)
        return
    yield from most(stood, part, "volts it parts", "V", apart, rating, PLAIN_SHARE, faults=False)


def wire(stood: Stood, part: Part) -> Iterator[Stress]:
    """Amps, and volts of its insulation to chassis (U0, not core to core)."""
    row = stood.row(part.name)
    amps = np.maximum(row.get("amps_rms", np.zeros(1)), np.abs(row.get("amps", np.zeros(1))))
    carries, u0 = (part.value(name) if part.values.get(name) else None for name in ("amps", "volts"))
    yield from most(stood, part, "amps", "A", amps, carries, PLAIN_SHARE)
    crest = [np.abs(stood.dc(j)) + sqrt(2.0) * np.abs(stood.ac(j)) for j in part.leads.values()]
    note = "" if u0 is None else f"the peak of its U0, {u0:.0f} V ac"
    rating = None if u0 is None else sqrt(2.0) * u0
    yield from most(stood, part, "volts to chassis, crest", "V", np.maximum(*crest[:2]), rating, PLAIN_SHARE, note=note)


def inlet(stood: Stood, part: Part) -> Iterator[Stress]:
    """All that the mains give, rms."""
    amps = np.asarray(stood.standing.books.flows["lamp"].row["amps_rms"])
    rated = part.value("amps") if part.values.get("amps") else None
    yield from most(stood, part, "amps, rms", "A", amps, rated, PLAIN_SHARE, faults=False)
