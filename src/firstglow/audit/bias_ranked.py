"""Which few of the networks that do are shown, and which of them is the one to build."""

from collections.abc import Sequence
from dataclasses import replace

from firstglow.audit.bias_found import Idle
from firstglow.audit.bias_proposal import Proposal
from firstglow.audit.bias_search import ROOMY

ALTERNATIVES = 4
SAME_HEAT = 0.02
"""Weak ends within this part of the plate's limit are alike."""


def ranked(good: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """The best by each merit, then by room; each once, with the merits it has."""
    if not good:
        return ()

    def span(p: Proposal) -> float:
        return max(e.least - e.most for e in p.found.out.values())

    def middle(p: Proposal) -> float:
        return max(abs(t - 0.5) for t in p.found.turns.values())

    merits = (
        ("fewest parts changed", lambda p: (len(p.parts), -p.found.room)),
        ("idle nearest the middle of the travel", lambda p: (round(middle(p), 2), span(p))),
        ("finest to set", lambda p: (span(p), -p.found.room)),
        ("least hum", lambda p: (max(p.found.hum.values()), -p.found.room)),
        ("most room for odd valves", lambda p: (-p.found.room, span(p))),
        ("coolest at the weak end by mistake", lambda p: (max(i.at_least_amps for i in p.found.idle.values()), -p.found.room)),
    )  # fmt: skip
    chosen: dict[int, list[str]] = {}
    for words, key in merits:
        best = min(range(len(good)), key=lambda k: key(good[k]))
        chosen.setdefault(best, []).append(words)
    for k in sorted(range(len(good)), key=lambda k: -good[k].found.room):
        if len(chosen) >= ALTERNATIVES:
            break
        chosen.setdefault(k, [])
    return tuple(replace(good[k], merits=tuple(w)) for k, w in list(chosen.items())[:ALTERNATIVES])


def recommended_first(good: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """The one to build first: of those with room for odd valves the coolest with a preset at its weak end by mistake, as that is the
    slip that burns a valve; of those as cool the fewest parts, then the most room."""
    roomy = [p for p in good if p.found.room >= ROOMY] or list(good)
    if not roomy:
        return ()
    best = min(roomy, key=lambda p: (round(_weak_end(p) / SAME_HEAT), len(p.parts), -p.found.room))
    return (best, *(p for p in good if p is not best))


def _weak_end(p: Proposal) -> float:
    """Plate watts at the weak end over the limit, of the worst valve; its amps over the idle where no limit is known."""
    return max(_share(i) for i in p.found.idle.values())


def _share(i: Idle) -> float:
    return i.at_least_watts / i.limit if i.limit else i.at_least_amps / i.target


def why_recommended(best: Proposal, others: Sequence[Proposal]) -> str:
    """Why that one, in words."""
    worst = max(best.found.idle.values(), key=_share)
    limit = f" of {worst.limit:g} W allowed" if worst.limit else ""
    coolest = all(_weak_end(best) <= _weak_end(p) + SAME_HEAT for p in others)
    slip = f"with a preset at its weak end by mistake {worst.valve} takes {worst.at_least_watts:.1f} W{limit}"
    room = f"{1e2 * best.found.room:.0f} % of the travel is left at either end for the oddest valve"
    past = _past(best, others)
    if coolest:
        return f"{slip}, the least of {len(others) + 1}{past}; {room}" if others else f"{slip}{past}; {room}"
    return f"{room}, where cooler ones have less than {1e2 * ROOMY:.0f} %; {slip}{past}"


def _past(best: Proposal, others: Sequence[Proposal]) -> str:
    """What is said where even the recommended one's weak end is past a plate's limit."""
    worst = max(best.found.idle.values(), key=_share)
    if not worst.limit or worst.at_least_watts <= worst.limit:
        return ""
    fewer = any(_weak_end(p) <= 1.0 for p in others)
    why = (
        f"those within it leave less than {1e2 * ROOMY:.0f} % of the travel"
        if fewer
        else "none of these stays within it, for a travel that reaches the weakest valve on the lowest mains goes that far"
    )
    return (
        f" (PAST THE LIMIT by {worst.at_least_watts - worst.limit:.1f} W: {why}; presets to their most negative end before power, "
        "and turned up on the meter only)"
    )
