"""What a winding feeds, as the drawing has it: its rating is dc then, and its halves may take turns."""

from collections.abc import Collection, Mapping

from firstglow.amplifier.drafts import Draft, lead_names
from firstglow.amplifier.transformers import Fed
from firstglow.amplifier.windings import WindingText


def fed(drafts: Collection[Draft], draft: Draft, winding: WindingText, where: Mapping[str, str]) -> Fed:
    """Whether an end of the winding stands on a plate of a rectifier or on a diode, or comes to one through what is in series
    with it: a resistor, a fuse; the whole winding where both an anode and a cathode stand on one end."""
    ends = {where[f"{draft.name} {winding.name} {lead}"] for lead in winding.leads} - {"chassis"}
    ends |= _in_series(drafts, ends, where)
    found: dict[str, set[str]] = {}
    for other in drafts:
        if other.kind in {"diode", "rectifier"}:
            leads = [x for x in lead_names(other) if other.kind == "diode" or x.startswith("plate")]
            for lead in leads:
                if (joint := where[f"{other.name} {lead}"]) in ends:
                    found.setdefault(joint, set()).add(lead)
    if not found:
        return ""
    return "whole" if any(leads >= {"anode", "cathode"} for leads in found.values()) else "by halves"


def _in_series(drafts: Collection[Draft], ends: set[str], where: Mapping[str, str]) -> set[str]:
    """The joints that these lead on to through parts that alone hang on them."""
    at: dict[str, list[Draft]] = {}
    for other in drafts:
        if other.kind != "capacitor":
            for joint in (where.get(f"{other.name} {lead}") for lead in lead_names(other)):
                if joint is not None:
                    at.setdefault(joint, []).append(other)
    found: set[str] = set()
    new = [j for j in ends if len(at.get(j, ())) == 2]
    while new:
        joint = new.pop()
        for part in at[joint]:
            if part.kind not in {"resistor", "fuse", "switch", "wire"}:
                continue
            for far in {where[f"{part.name} {lead}"] for lead in lead_names(part)} - found - ends - {"chassis"}:
                found.add(far)
                if len(at.get(far, ())) == 2:
                    new.append(far)
    return found
