"""Ratings that the file does not say: nothing stands in for them, so they are no defaults, and what rests on them is not judged."""

from dataclasses import dataclass

from firstglow.amplifier.attributes import kinds
from firstglow.amplifier.model import Amplifier

MAIN = {
    "capacitor": {"volts": "working volts"},
    "resistor": {"watts": "watts"},
    "pot": {"watts": "watts of the whole track"},
    "choke": {"amps": "dc amps"},
    "diode": {"volts": "peak inverse volts", "amps": "mean amps"},
    "switch": {"amps": "amps", "volts": "volts"},
    "output transformer": {"dc_amps": "dc amps it is gapped for"},
}
"""What is printed on a part of a kind, in bench words; surge volts, ripple and the like stand on data sheets (``firstglow parts``)."""


@dataclass(frozen=True, slots=True)
class Unsaid:
    """rating: of its kind, in bench words. attribute: its name in the file. parts: names, in the amplifier's order."""

    kind: str
    attribute: str
    rating: str
    parts: tuple[str, ...]


def unsaid(amplifier: Amplifier) -> tuple[Unsaid, ...]:
    """Every main rating that some part of the file lacks."""
    found = []
    for kind, ratings in MAIN.items():
        rows = kinds()[kind].attributes
        for attribute, rating in ratings.items():
            assert rows[attribute].role == "rating"
            names = tuple(p.name for p in amplifier.of_kind(kind) if p.origin.line and attribute not in p.values)
            if names:
                found.append(Unsaid(kind, attribute, rating, names))
    return tuple(found)
