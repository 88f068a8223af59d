"""Supplies that a wire shorts as drawn: before any power, so no rung is printed that would only blow the fuse."""

from collections.abc import Iterator

from firstglow.amplifier.graph import Branch, Path, holds, is_mains_secondary, reach
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Problem
from firstglow.amplifier.remedies import problem


def short_problems(look: Look) -> list[Problem]:
    """One problem for each wire that joins both ends of a reservoir, or lays a rectifier straight across its winding."""
    found: dict[str, Problem] = {}
    for p in (*_reservoirs(look), *_rectifiers(look)):
        found.setdefault(p.part, p)
    return list(found.values())


def _wire(look: Look, b: Branch) -> bool:
    """A wire, not a switch or a fuse."""
    return look.part(b.part).kind == "wire"


def _reservoirs(look: Look) -> Iterator[Problem]:
    """Large capacitors with a wire from lead to lead."""
    for b in look.net.branches:
        if b.sort != "capacitor" or not holds(look.net, b) or b.a == b.b:
            continue
        path = reach(look.net, [b.a], lambda x, _: _wire(look, x)).get(b.b)
        if path:
            yield _short(look, path, f"{b.part} is shorted: {b.a} is joined to {b.b}")


def _rectifiers(look: Look) -> Iterator[Problem]:
    """Diodes whose cathode gets back to their plate through windings and wires alone: no load anywhere in the loop."""

    def may(b: Branch, _: str) -> bool:
        return _wire(look, b) or is_mains_secondary(look.net, b)

    for d in look.net.branches:
        if d.sort != "diode" or d.a == d.b:
            continue
        path = reach(look.net, [d.b], may).get(d.a, ())
        if any(b.sort == "winding" for b in path) and any(b.sort == "wire" for b in path):
            yield _short(look, path, f"{d.part} stands straight across its winding: {d.b} is joined to its other end")


def _short(look: Look, path: Path, found: str) -> Problem:
    part = look.part(next(b.part for b in path if b.sort == "wire"))
    allowed = "a supply with its load between its two ends, nothing else"
    return problem(look.amplifier, part, part.name, found, allowed, f"{part.name} taken out")
