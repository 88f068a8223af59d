"""What the structure shows that is no mistake of the file and yet wants a look before any power: plain lines."""

from firstglow.amplifier.checks_heaters import marked_volts
from firstglow.amplifier.checks_mains import unclassed
from firstglow.amplifier.checks_valves import LEAST_HT_WINDING
from firstglow.amplifier.drawn_loops import drawn_loops, opens
from firstglow.amplifier.graph import Branch, reach
from firstglow.amplifier.intake import contradictions
from firstglow.amplifier.look import Look, look_at
from firstglow.amplifier.loop_sign import loop_sign
from firstglow.amplifier.model import Amplifier, Part, Winding
from firstglow.amplifier.positive_grids import made_positive, positive_grids
from firstglow.amplifier.remedies import line_of, local
from firstglow.amplifier.role_types import Loop
from firstglow.amplifier.slips import slips

SERIES_OHMS = 1e3  # a rectifier's own series resistor has less (data sheets: 50 to 500 ohm a plate) [ohm]
MAINS_VOLTS = (0.93, 1.15)  # of the mains: a winding marked for them; unrated, its unloaded volts are all that is known


def findings(amplifier: Amplifier) -> tuple[str, ...]:
    """One line each; empty where the structure shows nothing odd."""
    look = look_at(amplifier)
    loops = drawn_loops(look)
    unknown = [text for _, text in uncounted(look, loops)]
    found = contradictions(amplifier)
    return (
        *found,
        *slips(look),
        *_positive(look),
        *_no_input(look),
        *_at_mains_volts(look),
        *unclassed(look),
        *_half_on_nothing(look),
        *_one_sided(look),
        *_cannot_be_lifted(look, loops),
        *_adding(look, loops),
        *unknown,
    )


def _positive(look: Look) -> list[str]:
    """Bias rectifiers that a layer turned (of the drawing it is a mistake of the file)."""
    return [
        f"{' and '.join(_at(look.part(name)) for name in supply.rectifiers)}: as it stands it makes {made_positive(look, supply)}. "
        f"No output valve goes in before it is turned round."
        for supply in look.supplies
        if any(look.part(name).kind == "diode" for name in supply.rectifiers)
        and any(g.supply == supply for g in positive_grids(look))
    ]


def _no_input(look: Look) -> list[str]:
    """No input said: gains are not computed, and a loop is proved cold only."""
    amplifier = look.amplifier
    if amplifier.fragment or amplifier.of_kind("input") or not amplifier.of_kind("load"):
        return []
    first = next((p.name for p in amplifier.of_kind("valve")), "V1")
    text = (
        "Nothing says where the signal goes in: gain and the loop's fall are left out, and a loop is proved by its "
        f'cold phasing alone. Add J1 = ["input", "{first} grid", "chassis"], with the joint that your input is on.'
    )
    return [text]


def _at_mains_volts(look: Look) -> list[str]:
    """Secondaries on nothing that have the mains' own volts: likely the primary under another name, or a second one."""
    out = []
    for part in look.amplifier.of_kind("transformer"):
        for name, sides in _whole_windings(part).items():
            volts = sum(marked_volts(w) for w in sides)
            joints = {part.leads[lead] for w in sides for lead in (w.start, w.end)}
            alone = all(b.part == part.name for j in joints for b in look.net.at.get(j, ()))
            if alone and MAINS_VOLTS[0] <= volts / look.amplifier.mains_volts <= MAINS_VOLTS[1]:
                out.append(
                    f"{_at(part)}: its winding {name} has about the mains' own volts and nothing is on it. Is it a primary? "
                    f"Then its name begins with primary. If it is a spare, its ends are as live as the mains: cap both."
                )
    return out


def _whole_windings(part: Part) -> dict[str, list[Winding]]:
    """Secondaries by the name that the file gives them, all sides of each."""
    found: dict[str, list[Winding]] = {}
    for winding in part.windings:
        if winding.role != "primary":
            found.setdefault(winding.start.rsplit(" ", 1)[0], []).append(winding)
    return found


def _at(part: Part) -> str:
    """A part and its line: "T2 (line 25)"."""
    return f"{part.name} (line {line_of(part)})"


def _half_on_nothing(look: Look) -> list[str]:
    """Centre-tapped HT windings with one end on nothing and two rectifiers on the other: one half does all the work."""
    out = []
    for part in look.amplifier.of_kind("transformer"):
        for name, sides in _whole_windings(part).items():
            leads = [lead for w in sides for lead in (w.start, w.end)]
            ends = [lead for lead in leads if leads.count(lead) == 1]
            if len(sides) != 2 or len(ends) != 2 or sides[0].turns.value < LEAST_HT_WINDING:
                continue
            for free, used in (ends, ends[::-1]):
                fed = _fed(look, part.leads[used])
                if len(fed) < 2 or any(b.part != part.name for b in look.net.at.get(part.leads[free], ())):
                    continue
                owner, lead = look.part(fed[-1][0]), fed[-1][1].replace(" ", "")
                both = " and ".join(f"{p} {x}" for p, x in fed)
                out.append(
                    f"{_at(owner)}: {both} are both on {part.name} {used}, and {part.name} {free} is on nothing: one half "
                    f"of winding {name} carries all the current, in every second half cycle. Full-wave it is {lead} = "
                    f'"{local(look.amplifier, part.name, owner.channel)} {free}".'
                )
    return out


def _fed(look: Look, end: str) -> list[tuple[str, str]]:
    """(part, lead) of every rectifier that a winding's end feeds the same way, directly or through a small resistor."""

    def small(b: Branch, _: str) -> bool:
        return b.sort == "wire" or (b.sort == "resistance" and b.ohms < SERIES_OHMS)

    near = reach(look.net, [end], small, {"chassis"})
    rectifiers = look.amplifier.of_kind("rectifier", "diode")
    sides = ([(p.name, x) for p in rectifiers for x, at in p.leads.items() if at in near and (x == "cathode") == turned]
             for turned in (False, True))  # fmt: skip
    return max(sides, key=len)


def _one_sided(look: Look) -> list[str]:
    """Push-pull transformers with every plate on one end: the halves cannot work against each other."""
    out = []
    for part in look.amplifier.of_kind("output transformer"):
        mine = {valve: half for valve, (transformer, half) in look.plates.items() if transformer == part.name}
        halves = {lead[-1] for lead in part.leads if lead.startswith("plate ")}
        if len(mine) > 1 and len(halves) == 2 and len(set(mine.values())) == 1:
            used = next(iter(mine.values()))
            free = "b" if used == "a" else "a"
            names, last = " and ".join(mine), list(mine)[-1]
            out.append(
                f"{_at(part)}: the plates of {names} are on the same end, plate {used}, and plate {free} is on nothing: "
                f"one half carries all the direct current. In push-pull one of them belongs on the other end: "
                f'{local(look.amplifier, last, part.channel)}: plate = "{part.name} plate {free}".'
            )
        elif len(mine) == 1 and len(halves) == 2:
            (valve,) = mine
            out.append(
                f"{_at(part)}: it has two plate ends and only {valve} on one of them. For one plate write "
                f"single_ended = true; else the valve on the other end is missing."
            )
    return out


def _cannot_be_lifted(look: Look, loops: tuple[Loop, ...]) -> list[str]:
    """Loops from the loudspeaker side that no link opens, with the line that makes one."""
    links = look.amplifier.links.values()
    out = []
    for loop in (x for x in loops if x.kind == "loudspeaker"):
        inside = [k for k in links if k.part in loop.parts]
        if any(opens(look, loop, k) for k in inside):
            continue
        part = look.part(loop.resistor or loop.parts[0])
        if inside:
            others = sorted({p for p in loop.parts if look.part(p).kind in {"resistor", "wire"}} - {inside[0].part})
            why = f"its link {inside[0].name} leaves another way through {', '.join(others)}"
            add = "Put the link where all of the loop passes."
        else:
            why = "no part of it is marked as a lead that can be lifted"
            add = f'Add {{ link = "nfb" }} at the end of the line of {part.name}.'
        out.append(
            f"{_at(part)}: the loop from {loop.source} to {loop.target} cannot be lifted as drawn: {why}. Every figure "
            f"stands with the loop closed, and its polarity is proved by cold phasing alone. {add}"
        )
    return out


def uncounted(look: Look, loops: tuple[Loop, ...]) -> list[tuple[Loop, str]]:
    """Loops from the loudspeaker side whose sign the drawing does not show, each with its line."""
    out = []
    for loop in (x for x in loops if x.kind == "loudspeaker" and loop_sign(look, x) is None):
        part = look.part(loop.transformer)
        text = (
            f"{_at(part)}: whether the loop from {loop.source} to {loop.target} is negative cannot be counted from the "
            f"drawing: look at its stages and plates again. The ladder computes it and proves it on rung 7."
        )
        out.append((loop, text))
    return out


def computed(look: Look, loop: Loop, gain: float) -> str:
    """What is said of a loop that cannot be counted once the solution has its loop gain (below zero: it adds)."""
    part = look.part(loop.transformer)
    head = (
        f"{_at(part)}: the loop from {loop.source} to {loop.target} cannot be counted valve by valve; computed, it is"
    )
    if gain < 0.0:
        other = "a" if part.words.get("in_phase", "a") == "b" else "b"
        return (
            f"{head} positive (loop gain {-gain:.2g}, adding) and would howl. Exchange the two plate leads "
            f'of {part.name}, or, where they are drawn wrong, say in_phase = "{other}".'
        )
    return f"{head} negative (loop gain {gain:.2g}). Rung 7 proves it before it is closed."


def _adding(look: Look, loops: tuple[Loop, ...]) -> list[str]:
    """Local loops from an output plate that add."""
    out = []
    for loop in (x for x in loops if x.kind == "plate" and loop_sign(look, x) == 1):
        part = look.part(loop.resistor or loop.parts[0])
        out.append(
            f"{_at(part)}: the local loop from {loop.source} to {loop.target} through {', '.join(loop.parts)} is "
            f"positive, counted through every valve that it passes: it adds, and may howl. Against the drawing: does it "
            f"belong on the other plate of {loop.transformer}, or on the other grid?"
        )
    return out
