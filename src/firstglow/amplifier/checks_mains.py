"""The mains side: a primary on other mains than it is marked for, interference capacitors of the wrong class or size."""

from collections.abc import Iterator
from math import pi

from firstglow.amplifier.graph import Branch, is_primary, reach
from firstglow.amplifier.look import Look
from firstglow.amplifier.mains_mark import LEAST_OVER, MOST_OVER, heater_told
from firstglow.amplifier.model import Part, Problem
from firstglow.amplifier.remedies import line_of, local, problem
from firstglow.amplifier.roles_ends import is_safety, mains_joints
from firstglow.quantities import code

LEAK_AMPS = 3.5e-3
"""The most that may leak to a protective earth through a plug: IEC 60990 and the safety standards of class I sets
(from memory) [A rms]. Class Y of 4.7 nF leaks 0.4 mA at 253 V."""
HIGH_MAINS = 1.1  # EN 50160
USUAL_Y = 4.7e-9  # the size fitted in place of an old line-to-chassis capacitor (common practice) [F]
MOST_OLD = 0.1e-6  # no old interference capacitor was larger (common practice) [F]
FIRM_OHMS = 1e3
"""A joint with no more than this to chassis is held there; one with more is fed by what else stands on it [ohm]."""


def mains_problems(look: Look) -> list[Problem]:
    """Every mains transformer on the wrong mains and every interference capacitor in the wrong place."""
    return [*_marked(look), *_classes(look), *_leakage(look)]


# -- the primary's mark ----------------------------------------------------------------------------------------------
def _marked(look: Look) -> Iterator[Problem]:
    """Primaries whose mark is not the mains of the file."""
    amplifier = look.amplifier
    inlet = next(iter(amplifier.of_kind("inlet")), None)
    if inlet is None or not {"line", "neutral"} <= set(inlet.leads):
        return

    def small(b: Branch, _: str) -> bool:
        return b.sort in {"wire", "lamp"} or (b.sort == "resistance" and b.ohms < FIRM_OHMS)

    line, neutral = (set(reach(look.net, [inlet.leads[side]], small)) for side in ("line", "neutral"))
    for part in amplifier.of_kind("transformer"):
        mark = _volts_between(look, part, line, neutral)
        if mark is None or mark <= 0 or LEAST_OVER <= amplifier.mains_volts / mark <= MOST_OVER:
            continue
        over = amplifier.mains_volts / mark
        tap = _better_tap(look, part, neutral)
        remedy = f'line on "{part.name} {tap}"' if tap else f'mains = "{mark:g}V {amplifier.mains_hz:g}Hz"'
        row = amplifier.lines.get("amplifier.mains", 1)
        found = (
            f"mains of {amplifier.mains_volts:g} V on a primary of {part.name} marked {mark:g} V: {heater_told(over)}"
        )
        yield Problem(
            amplifier.file, row, part.name, found, "mains within 15 % under to 10 % over the primary's mark", remedy
        )


def _volts_between(look: Look, part: Part, starts: set[str], ends: set[str]) -> float | None:
    """Marked volts of the primary between line and neutral, windings in series added with their signs."""
    turns = {w.name: w.turns.value for w in part.windings}

    def mine(b: Branch, _: str) -> bool:
        return b.sort == "wire" or (b.part == part.name and b.sort == "winding" and is_primary(look.net, b))

    paths = reach(look.net, sorted(starts), mine, ends)
    found = [(len(path), j) for j, path in paths.items() if j in ends and any(b.sort == "winding" for b in path)]
    if not found:
        return None
    joint, total = min(found)[1], 0.0
    for b in reversed(paths[joint]):
        if b.sort == "winding":
            total += turns[b.winding] if b.a == joint else -turns[b.winding]
        joint = b.far(joint)
    return abs(total)


def _better_tap(look: Look, part: Part, neutral: set[str]) -> str | None:
    """The lead of the same primary that is marked for these mains, or None."""
    for lead, joint in part.leads.items():
        volts = _volts_between(look, part, {joint}, neutral) if lead.startswith("primary") else None
        if volts and LEAST_OVER <= look.amplifier.mains_volts / volts <= MOST_OVER:
            return lead
    return None


# -- interference capacitors -------------------------------------------------------------------------------------------
def _outside(look: Look) -> Iterator[tuple[Part, str, str]]:
    """(capacitor, its joint on the mains side, its joint elsewhere)."""
    mains = mains_joints(look)
    for part in look.amplifier.of_kind("capacitor"):
        one, other = part.leads["+"], part.leads["-"]
        if (one in mains) != (other in mains):
            yield (part, one, other) if one in mains else (part, other, one)


def _classes(look: Look) -> Iterator[Problem]:
    """Class X anywhere but across the mains (IEC 60384-14: X where a failure cannot shock anyone, Y where it can)."""
    for part, inside, outside in _outside(look):
        if is_safety(part.type) and (part.type or "")[:1].upper() == "X":
            yield problem(
                look.amplifier,
                part,
                part.name,
                f"class {part.type} from {inside} to {outside}: shorted it puts the mains there",
                "class X from line to neutral only, class Y to chassis (IEC 60384-14)",
                _class_y(look, part),
            )


def _class_x(look: Look, part: Part) -> str:
    """The capacitor's line with class X."""
    joints = ", ".join(f'"{local(look.amplifier, part.leads[lead], part.channel)}"' for lead in ("+", "-"))
    name = local(look.amplifier, part.name, part.channel)
    return f'{name} = ["{code(part.value("farads"), "F")} 275V X2", {joints}]'


def _class_y(look: Look, part: Part) -> str:
    """The capacitor's line with class Y of a size that leaks little."""
    if part.words.get("can") or not (is_safety(part.type) or part.value("farads") <= MOST_OLD):
        return f"{part.name} on its own joints, off the mains side, as the drawing has it"
    joints = ", ".join(f'"{local(look.amplifier, part.leads[lead], part.channel)}"' for lead in ("+", "-"))
    name = local(look.amplifier, part.name, part.channel)
    return f'{name} = ["{code(min(part.value("farads"), USUAL_Y), "F")} 250V Y2", {joints}]'


def unclassed(look: Look) -> list[str]:
    """Capacitors on the mains that are of neither class, one line each: nothing drawn says what they do when they fail."""
    mains, out = mains_joints(look), []
    for part in look.amplifier.of_kind("capacitor"):
        one, other = part.leads["+"], part.leads["-"]
        if is_safety(part.type) or not {one, other} & mains:
            continue
        inside = {one, other} <= mains
        kind, why = ("X", "its failure must not burn") if inside else ("Y", "shorted it puts the mains there")
        fit = _class_x(look, part) if inside else _class_y(look, part)
        out.append(
            f"{part.name} (line {line_of(part)}): on the mains, from {one} to {other}, and of no class: there belongs class {kind} "
            f"(IEC 60384-14; common practice: {why}). If its case says the class, the file too; if not: {fit}."
        )
    return out


def _leakage(look: Look) -> Iterator[Problem]:
    """Capacitors from the mains to chassis that leak more than an earth may carry, the largest told of."""
    amplifier = look.amplifier
    to_chassis = [c for c, _, outside in _outside(look) if outside in {"chassis", "earth"}]
    most = LEAK_AMPS / (2 * pi * amplifier.mains_hz * HIGH_MAINS * amplifier.mains_volts)
    total = sum(c.value("farads") for c in to_chassis)
    if total <= most:
        return
    part = max(to_chassis, key=lambda c: c.value("farads"))
    amps = total * 2 * pi * amplifier.mains_hz * HIGH_MAINS * amplifier.mains_volts
    yield problem(
        amplifier,
        part,
        part.name,
        f"{code(total, 'F')} in all from the mains to chassis leaks {1e3 * amps:.3g} mA: the case bites without its earth",
        f"at most {1e3 * LEAK_AMPS:g} mA to earth, {code(float(f'{most:.1g}'), 'F')} in all (IEC 60990)",
        _class_y(look, part),
    )
