"""Windings: shorted by a wire, shorted together, and primaries that do not stand across the mains."""

from collections.abc import Iterator

from firstglow.amplifier.graph import Branch, Path, is_primary, joints_along, reach
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Amplifier, Problem
from firstglow.amplifier.remedies import problem, wire_line

# Windings in parallel may differ by this much of the larger one (makers' tolerance, common practice).
UNEQUAL = 0.06


def winding_problems(look: Look) -> list[Problem]:
    """Every winding or set of windings that wires short, and every primary off the mains."""
    return [*_shorts(look), *_primaries(look)]


def _rise(look: Look, b: Branch) -> float:
    """Volts from lead a to lead b of a branch: minus the open-circuit volts of a winding, 0 of a wire."""
    if b.sort != "winding":
        return 0.0
    return -next(w.turns.value for w in look.part(b.part).windings if w.name == b.winding)


def _shorts(look: Look) -> Iterator[Problem]:
    """Loops of windings and wires whose volts do not cancel: joint potentials are laid out branch by branch."""
    volts: dict[str, tuple[str, float]] = {}  # joint -> (root of its tree, volts above the root)
    told: set[str] = set()
    kept: set[Branch] = set()
    ways = [b for b in look.net.branches if b.sort == "wire" and not _selector(look, b)]
    ways += [b for b in look.net.branches if b.sort == "winding"]
    for b in ways:
        rise = _rise(look, b)
        root_a, at_a = volts.setdefault(b.a, (b.a, 0.0))
        root_b, at_b = volts.setdefault(b.b, (b.b, 0.0))
        if root_a != root_b:
            for joint, (root, at) in list(volts.items()):
                if root == root_b:
                    volts[joint] = (root_a, at - at_b + at_a + rise)
            kept.add(b)
            continue
        around = reach(look.net, [b.a], lambda x, _: x in kept).get(b.b, ())
        sizes = [abs(_rise(look, x)) for x in (*around, b)]
        off = abs(at_b - at_a - rise)
        if _fed_by_another(look, b, around):  # a core of its own: which of its ends is which makes no loop
            off = abs(abs(at_b - at_a) - abs(rise))
        if off > UNEQUAL * max(sizes) and b.part not in told:
            told.add(b.part)
            yield _short(look, b, around)


def _fed_by_another(look: Look, b: Branch, around: Path) -> bool:
    """Is it the primary of a mains transformer across a primary of another, whose tap feeds it or the mains both?"""
    windings = [x for x in (b, *around) if x.sort == "winding"]
    mains = all(look.part(x.part).kind == "transformer" and is_primary(look.net, x) for x in windings)
    return b.sort == "winding" and mains and len(windings) > 1 and b.part not in {x.part for x in windings[1:]}


def _selector(look: Look, b: Branch) -> bool:
    """A switch that is neither mains nor standby may be one of several that are never closed together."""
    part = look.part(b.part)
    return part.kind == "switch" and part.words.get("role") not in {"mains", "standby"}


def _short(look: Look, b: Branch, around: Path) -> Problem:
    part = look.part(b.part)
    lead = b.lead_a if b.lead_b.endswith("ct") or b.lead_b == "centre" else b.lead_b
    wire = next((look.part(x.part) for x in around if look.part(x.part).kind == "wire"), None)
    windings = dict.fromkeys(f"{x.part} {x.winding}" for x in (b, *around) if x.sort == "winding")
    route = " - ".join(joints_along(b.a, around))
    if len(windings) == 1:
        found = f"winding {b.winding} is shorted: {b.lead_a} and {b.lead_b} are joined ({route})"
    elif _fed_by_another(look, b, around):
        found = f"{' and '.join(windings)} stand across each other and are marked for other volts ({route})"
    else:
        found = f"windings {', '.join(windings)} are shorted together: their volts do not cancel around {route}"
    if wire is None and _fed_by_another(look, b, around):
        remedy = f"the primary of {b.part} on the volts that it is marked for"
        return problem(look.amplifier, part, part.name, found, "each primary on its own marked volts", remedy)
    remedy = f"{wire.name} taken out" if wire is not None else f'a joint of its own for {lead}: "{part.name} {lead}"'
    return problem(
        look.amplifier, wire or part, (wire or part).name, found, "no way round a winding but through a load", remedy
    )


def _primaries(look: Look) -> Iterator[Problem]:
    """Mains transformers with no primary from line to neutral."""
    amplifier = look.amplifier
    if not amplifier.of_kind("inlet") or amplifier.of_kind("supply"):
        return

    def may(b: Branch, _: str) -> bool:
        return b.sort in {"wire", "lamp"} or (b.sort == "resistance" and b.ohms < 1e3)

    inlet = amplifier.of_kind("inlet")[0]
    sides = {
        side: set(reach(look.net, [inlet.leads[side]], may)) for side in ("line", "neutral") if side in inlet.leads
    }
    fed = {j for joints in sides.values() for j in joints}
    for part in amplifier.of_kind("transformer"):
        name = part.name
        branches = [b for b in look.net.branches if b.part == name and b.sort == "winding" and is_primary(look.net, b)]
        mine = sorted({j for b in branches for j in (b.a, b.b)})
        near = set(reach(look.net, mine, lambda b, j: may(b, j) or (b.sort == "winding" and is_primary(look.net, b))))
        missing = [side for side, joints in sides.items() if not joints & near]
        if branches and missing and len(sides) == 2:
            ends = [branches[0].lead_a, *(b.lead_b for b in reversed(branches))]
            free = next((lead for lead in ends if part.leads[lead] not in fed), ends[-1])
            yield problem(
                amplifier,
                part,
                name,
                f"its primary is not on {' and '.join(missing)}",
                "a primary from line to neutral, through fuse and switch",
                _mains_lead(amplifier, inlet.leads[missing[0]], missing, f"{name} {free}"),
            )


def _mains_lead(amplifier: Amplifier, side: str, missing: list[str], lead: str) -> str:
    """A wire to neutral; line only through what breaks it, which stands in the file or is left out altogether."""
    if missing == ["neutral"]:
        return wire_line(amplifier, side, lead)
    return (
        f'line through fuse and switch to "{lead}", or no line of the file for the mains side: it is then so by itself'
    )
