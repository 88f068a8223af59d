"""What the order list of ``firstglow parts`` puts in a place: an incoming part is judged against that as well as against the mark.

The whole audit is worked out for it, once: what one proposal buys may ask more of another's piece.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from firstglow.amplifier.model import Part, Quantity
from firstglow.audit.parts import audit_of
from firstglow.audit.proposal import Item
from firstglow.audit.ways import Stood
from firstglow.quantities import QuantityError, read_value

SOLD = {"resistor": 0.05, "electrolytic": 0.20, "capacitor": 0.10}
"""Tolerance that a new part is sold with where the order says none (common practice)."""
SAME = 1e-3
"""Values nearer than this are one value."""
_VALUE = re.compile(r"(?:^|\s)([\d.]+)\s*([pnµumkM]?)(F|Ω|ohm)\b")
_SEVERAL = re.compile(r"\d+ of ")
"""Several in its place: none of them has the part's value."""
_VOLTS = re.compile(r"\b([\d.]+)\s*(k?)V\b")
_PERCENT = re.compile(r"\b([\d.]+) %")


@dataclass(frozen=True, slots=True)
class Ordered:
    """One thing bought for a part. value [ohm or F]; tolerance: fraction; pieces: how many make the part; text: as one orders
    it; volts: as marked, None for what says none; by: the part whose proposal has it."""

    part: str
    value: float
    tolerance: float
    pieces: int
    text: str
    volts: float | None
    by: str


def ordered(stood: Stood, name: str) -> tuple[Ordered, ...]:
    """What is bought for a resistor or capacitor, in the order list's own sense: what stands in for its own proposal first, then
    its own, then a valve's. Empty where nothing is. Raises SolveError."""
    part, found = stood.amplifier.parts[name], audit_of(stood)
    bought = [(a.part, i) for a in (*found.parts, *found.more) if a.proposal is not None for i in a.proposal.items]
    own = [(by, i) for by, i in bought if by == name and i.for_part in ("", name)]
    mine = own or [(by, i) for by, i in bought if by != name and i.for_part == name]
    return tuple({(o.value, o.text): o for by, item in mine for o in _read(part, item, by)}.values())


def _read(part: Part, item: Item, by: str) -> Iterator[Ordered]:
    """An item and what may be bought in its place, as values; texts that have none of the part's own kind bring nothing."""
    unit = "ohm" if part.kind == "resistor" else "F"
    for text in (item.text, *item.instead):
        m = None if _SEVERAL.match(text) else _VALUE.search(text)
        if m is None or ("F" if m[3] == "F" else "ohm") != unit:
            continue
        try:
            value = read_value(f"{m[1]}{m[2]}", unit)
        except QuantityError:
            continue
        said = _PERCENT.search(text)
        kind = "electrolytic" if "electrolytic" in text else part.kind
        volts = _VOLTS.search(text)
        yield Ordered(
            part.name, value, float(said[1]) / 100.0 if said else SOLD[kind], item.pieces, text,
            float(volts[1]) * (1e3 if volts[2] else 1.0) if volts else None, by,
        )  # fmt: skip


def as_ordered(part: Part, bought: Ordered) -> Part:
    """The capacitor with what is bought in its place: new, so no longer paper."""
    values = {**part.values, "farads": Quantity(bought.value)}
    if bought.volts is not None:
        values["volts"] = Quantity(bought.volts)
    kind = next(
        (k for k in ("electrolytic", "mica", "ceramic", "polypropylene", "film") if k in bought.text), part.type
    )
    if kind == "film" and part.type in ("polyester", "polypropylene"):
        kind = part.type
    return replace(part, type=kind, values=values)
