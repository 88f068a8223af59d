"""Rung 0, what is known and what is seen: the intake's lines, and the mains side part by part, by the rules of a country.

Limits: UK in-service code of practice (IET): bond 0.1 ohm and the cord's own, insulation 1 Mohm for class I and 2 Mohm for
class II at 500 V dc. DIN VDE 0701-0702 and EN 50678/50699: 0.3 ohm up to 5 m of cord, 0.1 ohm more for each further
7.5 m, 1 ohm at most; insulation the same. Elsewhere IEC 60065 / 62368-1: 0.1 ohm without the cord (from memory).
Local codes and licensed practice come first, whatever stands here.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

from firstglow.amplifier.intake import drawn_speed, mains_fuses, one_way
from firstglow.amplifier.model import Part
from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.places import End
from firstglow.readings.probe import PlannedReading

EUROPE = ("DE", "AT", "CH", "EU")
CLASS_I, CLASS_II = 1e6, 2e6  # ohm at 500 V dc: UK code of practice and EN 50678 alike
# Copper of 0.75 mm2, class 5: 26 mohm a metre at 20 C (IEC 60228, from memory): what a cord of an amplifier has at least.
CORD_OHMS = 0.026
FIRST_METRES, STEP_METRES, FIRST_OHMS, STEP_OHMS, MOST_OHMS = 5.0, 7.5, 0.3, 0.1, 1.0  # DIN VDE 0701-0702


@dataclass(frozen=True, slots=True)
class Limits:
    """Of the mains side [ohm]. insulation: at least. bond_with_cord: at most, None where the cord's length is not said."""

    insulation: float
    bond_with_cord: float | None
    said_by: str


def limits(country: str, cord_metres: float | None, earthed: bool) -> Limits:
    """What counts for a set with protective earth (class I) or without (held to class II)."""
    insulation = CLASS_I if earthed else CLASS_II
    said_by = "IEC 62368-1 and common practice"
    if country == "UK":
        said_by = "UK in-service code of practice"
    elif country in EUROPE:
        said_by = "EN 50678 (DIN VDE 0701-0702)"
    if cord_metres is None or not earthed:
        return Limits(insulation, None, said_by)
    if country in EUROPE:
        steps = max(0, ceil((cord_metres - FIRST_METRES) / STEP_METRES - 1e-9))
        return Limits(insulation, min(MOST_OHMS, FIRST_OHMS + STEP_OHMS * steps), said_by)
    return Limits(insulation, stops.LEAD_OHMS + CORD_OHMS * cord_metres, said_by)


def limits_of(frame: Frame, earthed: bool) -> Limits:
    """The limits for this amplifier's country and cord."""
    intake = frame.amplifier.intake
    return limits(intake.country if intake else "", intake.cord_metres if intake else None, earthed)


def lines(frame: Frame, earthed: bool) -> tuple[str, ...]:
    """What was said at intake, for the head of rung 0; what contradicts the drawing stands among the findings."""
    intake, words = frame.amplifier.intake, frame.words
    if intake is None:
        return ()
    out = [words.text(f"intake.plugged.{intake.plugged_in}", lamp=f"{min(frame.gear.lamps):g}")]
    if intake.story:
        out.append(words.text("intake.story", story=intake.story))
    if intake.missing:
        out.append(words.text("intake.missing", names=", ".join(intake.missing)))
    if intake.original:
        out.append(words.text("intake.original", names=", ".join(_called(frame, intake.original))))
    if intake.country:
        out.append(words.text("intake.country", said_by=limits_of(frame, earthed).said_by))
    return tuple(out)


def _called(frame: Frame, names: tuple[str, ...]) -> list[str]:
    """Parts by name, a glass once."""
    parts = frame.amplifier.parts
    return list(dict.fromkeys(parts[n].envelope or n for n in names))


def rows(frame: Frame, earthed: bool) -> Iterator[PlannedReading]:
    """Cord, plug, fuse, interference capacitors of a class, earth stud, and the bond with its cord."""
    at = frame.unplugged()
    yield frame.look("0", "cord and plug", "cord", at)
    for fuse in mains_fuses(frame.amplifier):
        key = "fuse_line" if one_way(frame.amplifier.intake) else "fuse"
        yield frame.look("0", "fuse", key, at, owner=fuse.name, fill={"part": fuse.name, "mark": mark(fuse)})
    rated = [found for found in frame.roles.interference if found.safety]
    if rated:
        names = ", ".join(f"{f.part} ({'X' if f.across == 'line to neutral' else 'Y'})" for f in rated)
        yield frame.look("0", "capacitor classes", "interference_class", at, fill={"parts": names})
    if earthed:
        yield frame.look("0", "earth stud", "earth_stud", at)
        most = limits_of(frame, earthed)
        if most.bond_with_cord is not None:
            yield frame.reading(
                "0",
                "earth bond with cord",
                "bond_cord",
                End("earth", "plug, earth pin", outside=True),
                End("chassis", "bare chassis"),
                at,
                kind="ohms",
                quantity="bond ohms",
                stops=(stops.above(most.bond_with_cord, f"protective bond with its cord, {most.said_by}"),),
            )


def mark(fuse: Part) -> str:
    """A fuse's mark as the file has it: "1 A slow"; "its marked value" where the file is silent."""
    amps = fuse.values.get("amps")
    if amps is None or amps.origin.layer == "default":
        return "the value on the rating label"
    size = f"{amps.value:g} A" if amps.value >= 1.0 else f"{1e3 * amps.value:g} mA"
    return " ".join(t for t in (size, drawn_speed(fuse)) if t)
