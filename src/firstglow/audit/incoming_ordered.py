"""What the order list of ``firstglow parts`` puts in a place: an incoming part is judged against that as well as against the mark.

The whole audit is worked out for it, once: what one proposal buys may ask more of another's piece.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from firstglow.amplifier.model import Part, Quantity
from firstglow.audit.parts import audit_of
from firstglow.audit.pieces import OTHER_TOLERANCE, Item, Made
from firstglow.audit.ways import Stood

SAME = 1e-3
"""Values nearer than this are one value."""


@dataclass(frozen=True, slots=True)
class Ordered:
    """One thing bought for a part. pieces: how many make the part; by: the part whose proposal has it."""

    part: str
    made: Made
    pieces: int
    by: str

    @property
    def value(self) -> float:
        """As it is ordered [ohm or F]."""
        return self.made.values["ohms" if "ohms" in self.made.values else "farads"]

    @property
    def tolerance(self) -> float:
        """Of one as it is sold, a fraction."""
        return OTHER_TOLERANCE if self.made.tolerance is None else self.made.tolerance

    @property
    def text(self) -> str:
        """As one orders it."""
        return self.made.text

    @property
    def volts(self) -> float | None:
        """As marked; None for what says none."""
        return self.made.values.get("volts")


def ordered(stood: Stood, name: str) -> tuple[Ordered, ...]:
    """What is bought for a resistor or capacitor, in the order list's own sense: what stands in for its own proposal first, then
    its own, then a valve's. Empty where nothing is. Raises SolveError."""
    part, found = stood.amplifier.parts[name], audit_of(stood)
    bought = [(a.part, i) for a in (*found.parts, *found.more) if a.proposal is not None for i in a.proposal.items]
    own = [(by, i) for by, i in bought if by == name and i.for_part in ("", name)]
    mine = own or [(by, i) for by, i in bought if by != name and i.for_part == name]
    return tuple({(o.value, o.text): o for by, item in mine for o in _read(part, item, by)}.values())


def _read(part: Part, item: Item, by: str) -> Iterator[Ordered]:
    """An item and what may be bought in its place, as values; what is none of the part's own kind brings nothing."""
    name = "ohms" if part.kind == "resistor" else "farads"
    for made in (item.made, *item.instead):
        if name in made.values and item.place in ("in its place", "minus to minus"):
            yield Ordered(part.name, made, item.pieces, by)


def as_ordered(part: Part, bought: Ordered) -> Part:
    """The capacitor with what is bought in its place: new, so no longer paper."""
    values = {**part.values, "farads": Quantity(bought.value)}
    if bought.volts is not None:
        values["volts"] = Quantity(bought.volts)
    kind = bought.made.type or part.type
    if kind == "film" and part.type in ("polyester", "polypropylene"):
        kind = part.type
    return replace(part, type=kind, values=values)
