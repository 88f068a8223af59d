"""Which leads are joined by copper, from as few pairs as settle it."""

from collections.abc import Mapping, Sequence

from firstglow.windings.facts import Pair, Read, WindingsError

# The most ohms of a winding on such a transformer: HT of a small one a few hundred, an output transformer's primary under
# 2 k (common practice). Above, what conducts is damp or burnt paper.
MOST_WINDING_OHMS = 5e3
OPEN_OHMS = 1e6


def groups(
    leads: Sequence[str], ohms: Mapping[Pair, Read], colours: Mapping[str, str]
) -> tuple[list[list[str]], Pair | None]:
    """Leads joined by copper so far, and the next pair to read, None when all is settled.

    Every lead is tried against one lead of each group; leads of one colour first, which often saves a pair.
    """
    found: list[list[str]] = []
    for lead in leads:
        home = [g for g in found if any(_joined(ohms, lead, b) for b in g)]
        if home:
            whole = [b for g in home for b in g]
            found = [g for g in found if g not in home] + [[*whole, lead]]
            continue
        untried = [g for g in found if not any(_apart(ohms, lead, b) for b in g)]
        if untried:
            # a lead may still join a group over a later lead that was read against both
            later = [c for c in leads if _joined(ohms, lead, c)]
            best = min(untried, key=lambda g: (colour(g[0], colours) != colour(lead, colours), -found.index(g)))
            if not later or not any(_joined(ohms, c, b) for c in later for b in best):
                return found, (best[0], lead)
        found.append([lead])
    _no_contradiction(found, ohms)
    place = {lead: n for n, lead in enumerate(leads)}
    return [sorted(g, key=place.__getitem__) for g in sorted(found, key=lambda g: min(place[b] for b in g))], None


def colour(lead: str, colours: Mapping[str, str]) -> str:
    """The colour said of a lead, else its name without figures: red1 and red2 are red."""
    return colours.get(lead, lead.rstrip("0123456789_")).split("/")[0]


def _joined(ohms: Mapping[Pair, Read], a: str, b: str) -> bool:
    found = ohms.get((a, b)) or ohms.get((b, a))
    return found is not None and found.value <= MOST_WINDING_OHMS


def _apart(ohms: Mapping[Pair, Read], a: str, b: str) -> bool:
    found = ohms.get((a, b)) or ohms.get((b, a))
    return found is not None and found.value > MOST_WINDING_OHMS


def _no_contradiction(found: Sequence[Sequence[str]], ohms: Mapping[Pair, Read]) -> None:
    for group in found:
        for a, b in ohms:
            if a in group and b in group and _apart(ohms, a, b):
                over = [
                    f"ohms {x} {y}"
                    for x, y in ohms
                    if x in group and y in group and {x, y} & {a, b} and (x, y) != (a, b)
                ]
                raise WindingsError(
                    f"ohms {a} {b}", f"open, and yet both conduct to the others of {', '.join(group)}",
                    "ohms that add up along one wire", f"reading {a} to {b} again, then {' and '.join(over)}",
                    (f"ohms {a} {b}", *over),
                )  # fmt: skip


def leaks(ohms: Mapping[Pair, Read]) -> list[Pair]:
    """Pairs that conduct without copper: damp, burnt, or fingers on both tips."""
    return [p for p, r in ohms.items() if MOST_WINDING_OHMS < r.value < OPEN_OHMS]
