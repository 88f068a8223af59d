"""The long list of rung 1: every part and winding that no earlier cold reading covers, across its own two ends."""

from collections.abc import Iterator, Sequence

from firstglow.amplifier.model import Part
from firstglow.amplifier.situation import Situation
from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.places import End, mains_joints
from firstglow.readings.probe import PlannedReading

TWO_ENDED = ("resistor", "choke", "capacitor", "fuse", "switch", "gas tube")
RUNG = "1"
WIPER = "wiper"
_KEYS = {"valve": "pin_ohms", "diode": "diode_ohms"}


def the_rest(frame: Frame, before: Sequence[PlannedReading]) -> Iterator[PlannedReading]:
    """One reading for each pair of joints not read yet. Not needed for the hold: read them when time allows, or when a
    powered reading asks for them. Diodes are needed: a shorted one shorts its winding at the first turn of the dial, and
    neither lamp nor mains current tells it before the winding is past its amps."""
    seen = {frozenset((r.probe.red, r.probe.black)) for r in before if r.probe.quantity == "ohms"}
    covered = mains_joints(frame.amplifier)
    for owner, word, red, black in _pairs(frame):
        pair = frozenset((red.joint, black.joint))
        if len(pair) == 1 or pair in seen or pair <= covered:
            continue
        seen.add(pair)
        key = "winding" if owner.windings else _KEYS.get(owner.kind, "part_ohms")
        fill = {"winding": word, "part": owner.name, "electrode": word.split()[0]}
        yield frame.reading(
            RUNG,
            word,
            key,
            red,
            black,
            at_its_end(frame, owner) if word == WIPER else frame.unplugged(),
            kind="ohms",
            quantity="ohms",
            owner=owner.name,
            needs=owner.kind == "diode",
            stops=(stops.no_short("a shorted diode"),) if owner.kind == "diode" else (),
            fill=fill,
        )


def at_its_end(frame: Frame, pot: Part) -> Situation:
    """A pot turned to its end 2: its wiper then reads the whole track, wherever it was found standing."""
    return frame.unplugged() if pot.value("position") == 1.0 else frame.unplugged(pots={pot.name: 1.0})


def _pairs(frame: Frame) -> Iterator[tuple[Part, str, End, End]]:
    for part in frame.amplifier.parts.values():
        if part.windings:
            for winding in part.windings:
                yield part, winding.name, frame.at(part.name, winding.start), frame.at(part.name, winding.end)
        elif part.kind == "pot":
            yield part, "whole track", frame.at(part.name, "end 1"), frame.at(part.name, "end 2")
            yield part, WIPER, frame.at(part.name, "wiper"), frame.at(part.name, "end 1")
        elif part.kind == "diode":
            # red on its cathode: forward, one meter opens it and another does not, and no figure tells it from a short
            yield part, "own ends", frame.at(part.name, "cathode"), frame.at(part.name, "anode")
        elif part.kind in TWO_ENDED:
            first, second = list(part.leads)[:2]
            yield part, "own ends", frame.at(part.name, first), frame.at(part.name, second)
        elif part.kind == "valve" and "grid" in part.leads:
            yield part, "grid to chassis", frame.at(part.name, "grid"), frame.joint("chassis")
            yield part, "cathode to chassis", frame.at(part.name, "cathode"), frame.joint("chassis")
