"""How a row of the attribute table is written; the rows themselves are in kinds.py and the kinds_ files beside it."""

from collections.abc import Mapping

from firstglow.amplifier.attributes import Attribute, Role
from firstglow.amplifier.model import Shape


def row(
    name: str,
    unit: str,
    text: str,
    default: float | str | None = None,
    spread: float = 0.0,
    shape: Shape = "exact",
    stated: float = 0.0,
    used: str = "standing",
    low: float = 0.0,
    high: float = 1e12,
    role: Role = "value",
) -> Attribute:
    return Attribute(name, unit, default, spread, shape, stated, role, used, low, high, text)


def rating(name: str, unit: str, text: str, high: float = 1e6, used: str = "limits") -> Attribute:
    return row(name, unit, text, used=used, low=1e-6, high=high, role="rating")


def later(name: str, unit: str, text: str) -> Attribute:
    return row(name, unit, text, used="not used yet", low=0.0, high=1e9)


def room(name: str, text: str) -> Attribute:
    """Room that a part has: what takes its place must fit in it."""
    return row(name, "mm", text, used="order list", low=0.0, high=1e9, role="rating")


def table(*rows: Attribute) -> Mapping[str, Attribute]:
    """The rows by name, with what every body of a part may say."""
    body = (
        room("body_length_mm", "length of the body"),
        room("body_width_mm", "width or diameter of the body"),
        room("lead_spacing_mm", "distance between the leads"),
    )
    return {row.name: row for row in (*rows, *body)}


LINK = "name of a lead that can be lifted: text, or { name, lead, tie } (tie: joint its free end goes to while lifted)"
NOTE = "free text for people; an electrolytic called old, original, waxed or leaky there is old until a changed layer puts another in"
WORDS = {"note": NOTE}
LINKED = {"link": LINK, **WORDS}
