"""Sets that are refused outright: mains conductively on a valve pin, a rectifier or the chassis; no mains transformer.

Series-heater and transformerless sets, autotransformers, HT straight from the mains: earthing such a chassis is a short
or a live case. Every conductive part counts as joined, whichever way round: pots, chokes, lamps, switches (open or
closed), diodes, valves. Class X and Y capacitors count only where they feed a joint that nothing else holds; another
capacitor counts where it feeds a valve or a rectifier (a heater's dropping capacitor), not from mains to chassis: that
one is lifted on the first rung.
"""

import re
from collections.abc import Callable, Iterable

from firstglow.amplifier.graph import CONDUCTING, OHMIC, Branch, Net, Path, joints_along, least_ohms, net_of, reach
from firstglow.amplifier.model import Amplifier, Part, Problem
from firstglow.amplifier.roles_ends import is_safety

_TRANSFORMER, _OUTPUT = re.compile(r"(?i)trans?f|\btrafo|\bsupply"), re.compile(r"(?i)\boutput")
FIRM_OHMS = 1e3
"""What a joint may have to chassis or to the mains and still be held there, whatever a small capacitor brings [ohm]."""
_LICENSED = "someone licensed for live-chassis sets, with the set on an isolating transformer: it gets no ladder here"
_PIN_KINDS = {
    "valve": "valve pin",
    "heater": "valve pin",
    "gas tube": "valve pin",
    "rectifier": "rectifier",
    "diode": "rectifier",
    "input": "terminal outside",
    "load": "terminal outside",
}


def refusals(amplifier: Amplifier) -> tuple[Problem, ...]:
    """Why this amplifier gets no ladder; empty for a set behind a mains transformer. Each names its path of joints."""
    net = net_of(amplifier)
    starts = _mains(amplifier)
    found = list(_joined(net, starts))
    if not _has_transformer(amplifier):
        found.append(_no_transformer(amplifier))
    return tuple(found)


def refused_as_far_as_read(amplifier: Amplifier, lines: Iterable[str]) -> tuple[Problem, ...]:
    """The same for a file with parts that could not be read: what of it joins the mains to a pin, and no mains transformer
    only where no line could be one. lines: what each part of the file says it is."""
    # not through capacitors: whether one feeds a joint shows only where all that holds the joint was read
    found = list(_joined(net_of(amplifier), _mains(amplifier), (False,)))
    likely = any(_TRANSFORMER.search(text) and not _OUTPUT.search(text) for text in lines)
    if not likely and not amplifier.of_kind("transformer") and not _has_transformer(amplifier):
        found.insert(0, _no_transformer(amplifier))
    return tuple(found)


def _mains(amplifier: Amplifier) -> tuple[str, ...]:
    """Joints line and neutral stand on."""
    inlets = [p.leads[lead] for p in amplifier.of_kind("inlet") for lead in ("line", "neutral") if lead in p.leads]
    return tuple(dict.fromkeys([*inlets, *(j for j in ("line", "neutral") if j in amplifier.joints)]))


def _has_transformer(amplifier: Amplifier) -> bool:
    """A transformer with a primary and a winding beside it; a bench supply stands in for one in a fragment."""
    if amplifier.fragment or amplifier.of_kind("supply"):
        return True
    if any(not p.windings for p in amplifier.of_kind("transformer")):
        return True  # which of its windings is the primary is asked: it is there
    return any({w.role for w in p.windings} == {"primary", "secondary"} for p in amplifier.of_kind("transformer"))


def _no_transformer(amplifier: Amplifier) -> Problem:
    return Problem(
        amplifier.file,
        1,
        "amplifier",
        "no mains transformer",
        "a mains transformer with a primary and secondaries, or a fragment on a bench supply",
        _LICENSED,
    )


def _joined(net: Net, starts: Iterable[str], ways: Iterable[bool] = (False, True)) -> Iterable[Problem]:
    """One problem each for the chassis, rectifiers, valve pins, terminals that the mains reach; the shortest path."""
    told: set[str] = set()
    for pumped in ways:
        paths = reach(net, list(starts), _may(net, pumped), {"chassis", "earth"} if pumped else ())
        for joint, path in paths.items():
            if pumped and joint in {"chassis", "earth"}:
                continue  # an interference capacitor
            for what, owner, line in _forbidden(net, joint):
                if what in told:
                    continue
                told.add(what)
                yield _problem(net.amplifier, joint, path, what, owner, line)


def _may(net: Net, pumped: bool) -> Callable[[Branch, str], bool]:
    """What joins: every conductive part; with ``pumped`` also capacitors that are not of a safety class."""

    def may(b: Branch, _: str) -> bool:
        if b.sort == "capacitor":
            return pumped and (not is_safety(net.amplifier.parts[b.part].type) or _feeds(net, b))
        return b.sort in CONDUCTING

    return may


def _feeds(net: Net, b: Branch) -> bool:
    """Whether a safety capacitor is more than that: one of its joints is held by nothing firm, so it feeds what is there.

    A class Y capacitor from the primary to a heater line whose middle is on chassis is for interference; one to a
    rectifier's plate with nothing else on it is an HT supply."""
    for joint in {b.a, b.b} - {"chassis", "earth"}:
        near = least_ohms(net, joint, lambda x, _: x.ohms + 1e-3 if x.sort in OHMIC else None)
        firm = [cost for at, (cost, _) in near.items() if at in {"chassis", "earth", *_mains(net.amplifier)}]
        if not firm or min(firm) > FIRM_OHMS:
            return True
    return False


def _forbidden(net: Net, joint: str) -> Iterable[tuple[str, str, int]]:
    """(what, name, line) of everything on a joint that the mains must never reach."""
    parts = net.amplifier.parts
    if joint in {"chassis", "earth"}:
        yield "chassis", "chassis", _first_line(net, joint)
    for part in parts.values():
        if part.kind in _PIN_KINDS:
            for lead, at in part.leads.items():
                if at == joint:
                    yield _PIN_KINDS[part.kind], f"{part.name} {lead}", _line(part)


def _first_line(net: Net, joint: str) -> int:
    lines = [_line(net.amplifier.parts[b.part]) for b in net.at.get(joint, ())]
    return min(lines, default=1)


def _line(part: Part) -> int:
    return part.origin.line or 1


def _problem(amplifier: Amplifier, joint: str, path: Path, what: str, owner: str, line: int) -> Problem:
    start = joint
    for b in reversed(path):
        start = b.far(start)
    route = joints_along(start, path)
    told = " - ".join(f"{j} ({b.part})" for j, b in zip(route, path, strict=False)) + (" - " if path else "") + joint
    return Problem(
        amplifier.file,
        line,
        owner,
        f"the mains are joined to {'the ' if what == 'chassis' else 'a '}{what} without a transformer between: {told}",
        "line and neutral on the primary of a mains transformer and on class X or Y capacitors only",
        _LICENSED,
    )
