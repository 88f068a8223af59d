"""Kinds of part that age: renewed, or at least measured, whatever the figures say."""

import re

from firstglow.amplifier.model import Part

OLD = re.compile(r"\b(old|original|aged|waxed|tired|leaky|dried|drifted|19[2-8]\d)\b", re.IGNORECASE)
"""Words of a part's note that say so (wet and dry electrolytics over 40 years: common practice)."""


PAPER = re.compile(r"\b(paper|wax|waxed)\b", re.IGNORECASE)
DRIFTS = re.compile(r"\b(drifted|drifts|carbon[- ]comp\w*)\b", re.IGNORECASE)
"""Words of a note that say a kind which the part's line does not."""


def paper(part: Part) -> bool:
    """Is it a paper capacitor, by its line, or by its note where the line says no kind?"""
    said = part.type in (None, "film") and bool(PAPER.search(str(part.words.get("note", ""))))
    return part.kind == "capacitor" and (part.type == "paper" or said)


def ages(part: Part) -> str:
    """Why a part of this kind is renewed anyway; "" where it is not, and for one that a ``changed`` layer has put in."""
    if any(v.origin.layer == "changed" for v in part.values.values()):
        return ""  # its note is of the one that was there
    old = bool(OLD.search(str(part.words.get("note", "")))) or bool(part.words.get("original"))
    if paper(part):
        return "a paper capacitor leaks with age"
    if part.kind == "capacitor" and part.type == "electrolytic" and old:
        return "an old electrolytic dries out and leaks"
    drifts = part.type is None and bool(DRIFTS.search(str(part.words.get("note", ""))))
    if part.kind == "resistor" and (part.type == "carbon composition" or drifts):
        return "carbon composition drifts high with age: measure it with one lead lifted, renew past 20 %"
    if part.kind == "diode" and part.type == "selenium":
        return "selenium's drop rises with age, and it fails with poisonous fumes"
    return ""
