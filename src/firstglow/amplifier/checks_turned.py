"""Rectifiers that are drawn the wrong way round: every electrolytic behind them, and every grid on their supply, would
then seem to be wrong in the same way.

A supply's diodes are exchanged on trial and the drawing is checked again: where that ends several mistakes and makes
none, the rectifier is told of in their place. Turning good capacitors to suit it would leave a positive supply on the
output valves' grids.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from firstglow.amplifier.look import Look, look_at
from firstglow.amplifier.model import Amplifier, Joint, Part, Problem
from firstglow.amplifier.positive_grids import made_positive, positive_grids
from firstglow.amplifier.remedies import capacitor_line, local, problem
from firstglow.amplifier.supplies import Supply
from firstglow.quantities import code

LEAST = 2
"""So many parts at the least must agree before a rectifier is blamed rather than one of them; one output valve whose grid
it makes positive is enough."""

Checks = Callable[[Amplifier], list[Problem]]


def turned_rectifiers(amplifier: Amplifier, checks: Checks) -> list[Problem]:
    """Every mistake that ``checks`` finds, with turned rectifiers told in place of what only follows from them."""
    found = checks(amplifier)
    told: list[Problem] = []
    while found:
        better = _better(amplifier, found, checks)
        if better is None:
            break
        as_drawn = amplifier
        supply, also, amplifier, left = better
        seem = sorted({p.part for p in found} - {p.part for p in left})
        told += _problems(look_at(as_drawn), amplifier, supply, also, seem)
        found = left
    return [*told, *found]


def _better(
    amplifier: Amplifier, found: list[Problem], checks: Checks
) -> tuple[Supply, tuple[str, ...], Amplifier, list[Problem]] | None:
    """The supply whose diodes, exchanged, end the most mistakes and make none: with the electrolytics that must go with
    them, the amplifier so drawn and what is then left."""
    before = {(p.part, p.found) for p in found}
    look = look_at(amplifier)
    positive = {(g.valve.valve, g.supply.name) for g in positive_grids(look)}
    trials = []
    for supply in look.supplies:
        if any(amplifier.parts[r].kind != "diode" for r in supply.rectifiers):
            continue  # a valve's plate is no cathode: it cannot be drawn so
        mine = _electrolytics(look, supply)
        agreeing = tuple(c for c, with_it in mine.items() if with_it)
        for also in dict.fromkeys([(), agreeing]):
            if also and not _on_grids(look, supply, found):
                continue  # rectifier and capacitors agree, and no grid says otherwise
            exchanged = _exchanged(amplifier, (*supply.rectifiers, *also))
            left = checks(exchanged)
            gone = {part for part, _ in before} - {p.part for p in left}
            enough = len(gone) >= LEAST or any((part, supply.name) in positive for part in gone)
            if {(p.part, p.found) for p in left} < before and enough:
                trials.append((len(gone), -len(also), supply, also, exchanged, left))
    if not trials:
        return None
    _, _, supply, also, exchanged, left = max(trials, key=lambda t: t[:2])
    return supply, also, exchanged, left


def _electrolytics(look: Look, supply: Supply) -> dict[str, bool]:
    """Electrolytics from a node of a supply to its return or chassis -> whether drawn as its rectifiers have it."""
    nodes = {supply.joint, supply.rectified, *supply.nodes}
    found = {}
    for part in look.amplifier.of_kind("capacitor"):
        plus, minus = part.leads["+"], part.leads["-"]
        ends = {supply.ret, "chassis"}
        if part.type == "electrolytic" and ((plus in nodes and minus in ends) or (minus in nodes and plus in ends)):
            found[part.name] = (plus in nodes) == (supply.sign > 0)
    return found


def _on_grids(look: Look, supply: Supply, found: list[Problem]) -> bool:
    """Whether valves that are told of have their grids on this supply, which is positive."""
    if supply.sign < 0:
        return False
    sorts = ("wire", "resistance", "choke")
    near = set(look.walk([supply.joint, *supply.nodes], sorts, set(look.electrodes)))
    parts = (look.amplifier.parts.get(p.part) for p in found)
    return any(p is not None and p.kind == "valve" and p.leads["grid"] in near for p in parts)


def _exchanged(amplifier: Amplifier, names: tuple[str, ...]) -> Amplifier:
    """The amplifier with the two leads of each named part exchanged."""
    parts, joints = dict(amplifier.parts), dict(amplifier.joints)
    for name in names:
        part = parts[name]
        (one, a), (other, b) = part.leads.items()
        parts[name] = replace(part, leads={one: b, other: a})
        joints[a] = _swapped(joints[a], f"{name} {one}", f"{name} {other}")
        joints[b] = _swapped(joints[b], f"{name} {other}", f"{name} {one}")
    return replace(amplifier, parts=parts, joints=joints)


def _swapped(joint: Joint, old: str, new: str) -> Joint:
    return replace(joint, terminals=tuple(new if t == old else t for t in joint.terminals))


def _problems(
    look: Look, better: Amplifier, supply: Supply, also: tuple[str, ...], others: list[str]
) -> Iterator[Problem]:
    """What is told of each diode, and of each electrolytic that was drawn to suit it. ``look``: at the amplifier as it is
    drawn; ``better``: as it should be."""
    makes = made_positive(look, supply) if supply.sign > 0 else f"{supply.joint} negative"
    told = {g.valve.valve for g in positive_grids(look) if g.supply == supply}  # by their grids
    seem = [name for name in others if name not in told]
    follows = f", and {', '.join(seem)} {'seems' if len(seem) == 1 else 'seem'} wrong for it" if seem else ""
    for name in supply.rectifiers:
        part = better.parts[name]
        remedy = diode_line(better, part)
        if len(supply.rectifiers) > 1:
            every = ", ".join(local(better, n, part.channel) for n in supply.rectifiers)
            remedy = f"the two joints exchanged in every line of {every}, all of them together: here {remedy}"
        yield problem(
            better,
            part,
            name,
            f"rectifier drawn the wrong way round: it makes {makes}{follows}",
            f"its cathode (band, +) on {part.leads['cathode']}. Look at the part itself too, before any power; turn no "
            "capacitor to suit it",
            remedy,
        )
    for name in also:
        part = better.parts[name]
        yield problem(
            better,
            part,
            name,
            f"electrolytic drawn to suit {', '.join(supply.rectifiers)}, which is the wrong way round: both are to be turned",
            f"the plus lead on {part.leads['+']}",
            capacitor_line(better, part, part.leads["+"], part.leads["-"]),
        )


def diode_line(amplifier: Amplifier, part: Part) -> str:
    """The line of a diode, anode first: ``D1 = ["selenium 4 plates", "bias raw", "T1 bias 1"]``."""
    said = {k: q.value for k, q in part.values.items() if q.origin.layer != "default"}
    what = str(part.words.get("designation") or part.type or "silicon")
    if "designation" not in part.words:
        what += f" {code(said['amps'], 'A').replace('mA', 'm')}" if "amps" in said else ""
        what += f" {said['volts']:g}V" if "volts" in said else ""
        what += f" {said['plates']:g} plates" if "plates" in said else ""
    joints = (local(amplifier, part.leads[lead], part.channel) for lead in ("anode", "cathode"))
    rest = ", ".join(f"{k} = {said[k]:g}" for k in ("series_ohms", "age") if k in said)
    table = f", {{ {rest} }}" if rest else ""
    name = local(amplifier, part.name, part.channel)
    return f'{name} = ["{what}", ' + ", ".join(f'"{j}"' for j in joints) + f"{table}]"
