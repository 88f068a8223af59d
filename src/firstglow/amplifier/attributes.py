"""What a part of each kind can have: one table, from which the reader, the checks, the schema and the docs are made."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from firstglow.amplifier.model import Shape

Role = Literal["value", "rating", "setting"]


@dataclass(frozen=True, slots=True)
class Attribute:
    """One number a part can have.

    unit: ohm, F, H, V, A, W, VA, Hz, s, mm, degC, g or 1.
    default: SI value where the file says nothing; the name of a rule in ``defaults.py`` where it follows from other
        attributes; None where nothing can stand in for it (a rating is then unknown, a value is required).
    spread, shape: of the default, as in ``Quantity``: half width of a rectangle or one sigma, as a fraction.
    stated: half width or sigma that a stated nominal keeps where the file gives no tolerance of its own.
    role: "value" enters the equations, "rating" is compared with stress, "setting" is what a hand moves.
    used: which solution uses it ("standing", "cold ohms", "signal", "discharge", "limits"), or "not used yet".
    low, high: values outside are no real part's.
    """

    name: str
    unit: str
    default: float | str | None
    spread: float
    shape: Shape
    stated: float
    role: Role
    used: str
    low: float
    high: float
    text: str

    @property
    def required(self) -> bool:
        """True where a part cannot be used without it."""
        return self.default is None and self.role == "value" and self.used != "not used yet"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of part.

    leads: in the order in which a file lists them; more_leads: those a part may have besides, by name only.
    unnamed: attributes that the first text of a part may give without their name, by unit.
    types: words that say the type; words: text or yes/no attributes with what they mean.
    says: words that name the kind in a file, beside its own name.
    """

    name: str
    leads: tuple[str, ...]
    attributes: Mapping[str, Attribute]
    unnamed: tuple[str, ...] = ()
    more_leads: tuple[str, ...] = ()
    types: tuple[str, ...] = ()
    words: Mapping[str, str] = ()  # type: ignore[assignment]
    says: tuple[str, ...] = ()
    text: str = ""
    example: str = ""

    def attribute_of(self, unit: str) -> Attribute | None:
        """The attribute that a bare value in ``unit`` means in this kind's first text."""
        for name in self.unnamed:
            if self.attributes[name].unit == unit:
                return self.attributes[name]
        return None


@cache
def kinds() -> Mapping[str, Kind]:
    """All kinds by name."""
    from firstglow.amplifier.kinds import TABLE

    return {kind.name: kind for kind in TABLE}


def __getattr__(name: str) -> Mapping[str, Kind]:
    if name == "KINDS":
        return kinds()
    raise AttributeError(name)
