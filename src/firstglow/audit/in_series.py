"""Several of a kind in series where one stands too little, with the resistors that share the volts among them: their watts and their
volts are worked out, not taken for granted."""

from dataclasses import dataclass
from math import ceil, inf

from firstglow.audit.pieces import Item, electrolytic, metal_film
from firstglow.audit.proposal import shown
from firstglow.audit.stress_passive import body_volts
from firstglow.markings.made import VOLTS, WATTS, made_volts
from firstglow.markings.series import next_down, next_up, preferred

EACH = 1.2
"""Volts that each of several in series is made for, over its share: their leaks and farads differ (common practice)."""
COMMON_VOLTS = 450.0
"""Electrolytics above so many volts are made but hardly kept by a shop (common practice)."""
SHARE_OHMS = 220e3
"""Across each electrolytic: some ten times its leak flows there (common practice)."""
LEAST_WATTS = 2.0
"""A smaller body stands fewer volts (``stress_passive.BODY``)."""
BODY_OF = {0.6: 0.5}
"""A metal film resistor of 0.6 W is no larger than one of half a watt, and stands no more volts (makers' sheets, from memory) [W]."""
OF_VOLTS, OF_WATTS = 0.9, 0.5
"""Of its rated volts and watts that a resistor there gets for good (common practice)."""
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


@dataclass(frozen=True, slots=True)
class Across:
    """Resistors across one of a row: ``count`` in series of ``ohms`` and ``watts`` each. gets: watts that each takes, volts on it."""

    count: int
    ohms: float
    watts: float
    gets: float
    volts: float

    @property
    def text(self) -> str:
        """In bench words."""
        some = f"{self.count} of " if self.count > 1 else ""
        several = " in series" if self.count > 1 else ""
        return f"{some}{self.ohms / 1e3:g} kohm {self.watts:g} W{several}"

    def item(self, row: int) -> Item:
        """What is bought across each of ``row``."""
        each = f"{self.count} in series across each" if self.count > 1 else "one across each"
        note = f"{each} of the {_number(row)}: {shown(self.volts, 'V')} and {shown(self.gets, 'W')} on it"
        return Item(self.count * row, metal_film(self.ohms, self.watts), note, "beside", self.count)


def across(volts: float, ohms: float = SHARE_OHMS, least: float = LEAST_WATTS, rms: float = 1.0) -> Across:
    """Metal film of some ``ohms`` in all for ``volts`` across them at most [V]: at half its watts and nine tenths of its body's
    volts. least: its watts at least. rms: of those volts, what warms it."""
    count = 1
    while True:
        each = preferred(ohms / count, "E24")
        gets = (rms * volts / count) ** 2 / each
        needs = max(gets / OF_WATTS, least)
        made = (w for w in WATTS["film"] if w >= needs and volts / count <= OF_VOLTS * body_volts(BODY_OF.get(w, w)))
        if (watts := next(made, None)) is not None:
            return Across(count, each, watts, gets, volts / count)
        count += 1


@dataclass(frozen=True, slots=True)
class Row:
    """``count`` electrolytics in series of ``farads`` and ``volts`` each, with what lies across each."""

    count: int
    farads: float
    volts: float
    shared: Across

    @property
    def text(self) -> str:
        """In bench words."""
        made = electrolytic(self.farads, self.volts).text
        return f"{self.count} of {made} in series, {self.shared.text} across each"

    def items(self, ripple: float, hertz: float) -> tuple[Item, ...]:
        """What is bought. ripple: amps rms that a sheet must say, of what flows through all of them at so many hertz."""
        made, note = electrolytic(self.farads, self.volts), f"{self.count} in series"
        return Item(self.count, made, note, row=self.count, ripple=ripple, hertz=hertz), self.shared.item(self.count)


def electrolytics(farads: float, volts: float, most: float = inf) -> Row:
    """The fewest of those that shops keep which stand ``volts`` in series, and have the farads together [F, V]; no more than ``most``
    where a rectifier allows no more [F]."""
    count = max(2, ceil(EACH * volts / COMMON_VOLTS))
    made = made_volts(EACH * volts / count, "electrolytic")
    assert made is not None
    # the one that gets more than its share has what it is made for at most
    each = next_up(count * farads, "E6")
    if each > count * most:
        each = next_down(count * most, "E6")
    return Row(count, each, made, across(min(EACH * volts / count, made)))


def most_made(kind: str) -> float:
    """The most volts of a kind that is made [V]."""
    return float(max(VOLTS[kind]))


def _number(count: int) -> str:
    return COUNTS[count] if count < len(COUNTS) else str(count)
