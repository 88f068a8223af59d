"""Which sides of a mains transformer's primary carry its current, and how: in series, side by side, or not at all."""

from firstglow.amplifier.model import Amplifier, Part, Winding

MAINS = ("line", "neutral")


def primary_groups(amplifier: Amplifier, part: Part) -> tuple[tuple[Winding, ...], ...]:
    """Groups that lie side by side across the mains, each a chain of sides that carry one current; a side whose end stands on
    nothing is in none. Sides that something else than a joint puts in a row (a selector's link) count as one chain."""
    live = [w for w in part.windings if w.role == "primary"]
    every = list(live)
    own = {f"{part.name} {lead}" for w in live for lead in (w.start, w.end)}

    def others(joint: str) -> int:
        """Terminals on a joint that are no primary's."""
        return len(set(amplifier.joints[joint].terminals) - own) + (joint in MAINS)

    def ends(joint: str) -> int:
        return sum(part.leads[lead] == joint for w in live for lead in (w.start, w.end))

    def loose(w: Winding) -> bool:
        return any(ends(part.leads[lead]) + others(part.leads[lead]) < 2 for lead in (w.start, w.end))

    while any(loose(w) for w in live):
        live = [w for w in live if not loose(w)]
    if not live:
        return (tuple(every),) if every else ()
    chains = [({part.leads[w.start], part.leads[w.end]}, [w]) for w in live]
    for joint in {part.leads[lead] for w in live for lead in (w.start, w.end)}:
        here = [c for c in chains if joint in c[0] and len(c[0]) == 2]
        if len(here) == 2 and here[0] is not here[1] and not others(joint):
            one, two = here
            chains = [c for c in chains if c is not one and c is not two]
            chains.append(((one[0] | two[0]) - {joint}, one[1] + two[1]))
    if len({frozenset(c[0]) for c in chains}) > 1:
        return (tuple(live),)
    return tuple(tuple(w) for _, w in chains)


def reflected_ohms(amplifier: Amplifier, part: Part) -> float:
    """Copper of the whole primary for a turn of a secondary squared [ohm per (volt of turns) squared]."""
    siemens = 0.0
    for group in primary_groups(amplifier, part):
        ohms, turns = sum(w.ohms.value for w in group), sum(w.turns.value for w in group)
        siemens += turns**2 / max(ohms, 1e-6)
    return 1.0 / siemens if siemens else 0.0


def copper_ohms(amplifier: Amplifier, part: Part) -> float:
    """What the mains meet of the primary's copper [ohm]; 0 without a primary."""
    groups = primary_groups(amplifier, part)
    siemens = sum(1.0 / max(sum(w.ohms.value for w in group), 1e-6) for group in groups)
    return 1.0 / siemens if siemens else 0.0
