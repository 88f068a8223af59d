"""What is bought: the words by which it is ordered, and beside them what it then is in the amplifier."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from firstglow.markings.made import WATTS, Body, capacitor_body, resistor_body
from firstglow.quantities import show

FILM_TOLERANCE, WOUND_TOLERANCE = 0.01, 0.05
CAPACITOR_TOLERANCE = {"electrolytic": 0.20}
OTHER_TOLERANCE = 0.10
ELECTROLYTIC = "electrolytic, 105 degC"
"""Tolerances that new parts are sold with where the order says none (common practice), and an electrolytic's words."""

Place = Literal["in its place", "minus to minus", "across it", "in its cathode lead", "in each plate lead", "beside"]
"""Where a piece goes, seen from the part it is bought for. beside: it changes nothing that is worked out (what shares the volts of a
row). minus to minus: in its place, and of no polarity then, which no part of the file is."""


@dataclass(frozen=True, slots=True)
class Made:
    """One thing as shops have it. text: value, rating and kind as one orders it; type: the part's type then; values: ohms, farads,
    watts, volts, amps of one of it [SI], empty where the words alone say what it is; tolerance: fraction, None where it has none."""

    text: str
    type: str = ""
    values: Mapping[str, float] = field(default_factory=dict)
    tolerance: float | None = None

    @property
    def body(self) -> Body | None:
        """Usual length, width and lead spacing of such a part [mm]; None where nothing usual is known."""
        if "farads" in self.values and "volts" in self.values:
            return capacitor_body(self.type, self.values["farads"], self.values["volts"])
        if "ohms" in self.values and "watts" in self.values:
            return resistor_body(self.values["watts"])
        return None


def metal_film(ohms: float, watts: float) -> Made:
    """A film resistor."""
    text = f"{show(ohms, 'ohm')} metal film {watts:g} W, 1 %"
    return Made(text, "metal film", {"ohms": ohms, "watts": watts}, FILM_TOLERANCE)


def wirewound(ohms: float, watts: float, tail: str = "") -> Made:
    """A wirewound resistor. tail: what else its words say."""
    text = f"{show(ohms, 'ohm')} wirewound {watts:g} W, 5 %{tail}"
    return Made(text, "wirewound", {"ohms": ohms, "watts": watts}, WOUND_TOLERANCE)


def resistor(ohms: float, watts: float) -> Made:
    """Film up to the watts that film is made for, wirewound above."""
    return metal_film(ohms, watts) if watts <= max(WATTS["film"]) else wirewound(ohms, watts)


def capacitor(farads: float, volts: float, kind: str, words: str = "") -> Made:
    """A capacitor of a kind (electrolytic, film, polypropylene film, mica, ceramic). words: what its order says of the kind."""
    text = f"{show(farads, 'F')} {volts:g} V {words or kind}"
    values = {"farads": farads, "volts": volts}
    return Made(text, kind, values, CAPACITOR_TOLERANCE.get(kind, OTHER_TOLERANCE))


def electrolytic(farads: float, volts: float) -> Made:
    """An electrolytic for a warm chassis."""
    return capacitor(farads, volts, "electrolytic", ELECTROLYTIC)


@dataclass(frozen=True, slots=True)
class Item:
    """Some pieces of one thing. row: so many of them follow each other in each place. note: what else it must be, or where it goes;
    ripple: amps rms it must stand, hertz: of that (the rating is a sheet's, at 100 or 120 Hz); for_part: the part it is fitted for, ""
    for the proposal's own. instead: what may be bought in its place. over: it stands in for what the part's own proposal would buy.
    turned: plus goes where minus is now."""

    pieces: int
    made: Made
    note: str = ""
    place: Place = "in its place"
    row: int = 1
    ripple: float = 0.0
    hertz: float = 0.0
    for_part: str = ""
    instead: tuple[Made, ...] = ()
    over: bool = False
    turned: bool = False

    @property
    def text(self) -> str:
        """As one orders it."""
        return self.made.text
