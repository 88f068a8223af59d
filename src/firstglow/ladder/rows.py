"""Rows that several rungs share: heaters, gas tubes, where the heater line stands, load resistors in words."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from firstglow.amplifier.model import Part
from firstglow.amplifier.role_types import HeaterWinding
from firstglow.amplifier.roles_ends import marked_as
from firstglow.amplifier.situation import Situation
from firstglow.ladder import stops
from firstglow.ladder.dials import lower
from firstglow.readings.probe import Kind, PlannedReading, StopRule
from firstglow.solver.nodes import GROUNDED, find_nodes

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

HEATER_CATHODE = 90.0  # V: what most makers allowed between heater and cathode (common practice)
USUAL_IDLE = 0.04  # A: a power valve whose target nobody stated (common practice)
REFERENCE = 1.0  # V dc: a heater line referred to chassis does not move when HT comes (common practice)
WRONG = 0.15  # a winding this far off its proportion: the wrong tap, or windings exchanged (common practice)


def heater_parts(frame: "Frame", envelopes: frozenset[str]) -> list[Part]:
    """Heaters of the given glass."""
    return [p for p in frame.amplifier.of_kind("heater") if p.envelope in envelopes]


def heaters(
    frame: "Frame", rung: str, at: Situation, envelopes: frozenset[str], loaded: bool = False
) -> Iterator[PlannedReading]:
    """Rows 13, 14, 27: each heater, pin to pin."""
    state = "" if at.out >= envelopes else frame.words.text("rung.note.loaded")
    alternating = set(find_nodes(frame.amplifier).ac)
    direct = {j for s in frame.supplies("heater") for j in (s.joint, *s.nodes)}
    for part in heater_parts(frame, envelopes):
        far = "ct" if part.leads["1"] == part.leads["2"] and "ct" in part.leads else "2"
        rated = part.value("volts") / (2.0 if far == "ct" else 1.0)  # halves in parallel: each across the line
        hot = set(part.leads.values()) - GROUNDED
        # behind a filter resistor and its capacitor no winding's ac stands any more
        kind: Kind = "dc volts" if direct & hot or not alternating & hot else "ac volts"
        limits: tuple[StopRule, ...] = stops.within(WRONG, "wrong tap, or windings exchanged")
        if loaded:
            # under full dial every heater is low: in proportion then, the absolute top all the same
            full = frame.dial_of(at) >= 1.0
            limits = stops.heater(rated, low=True) if full else (limits[0], *stops.heater(rated))
        elif state:
            limits = (*limits, *stops.heater(rated))
        yield frame.reading(
            rung,
            "pin to pin",
            "heater",
            frame.at(part.name, "1"),
            frame.at(part.name, far),
            at,
            kind=kind,
            owner=part.name,
            stops=limits,
            fill={"valve_name": part.envelope or part.name, "loaded": state},
        )


REFERRED = ("centre tap", "hum pot", "resistors")  # a heater line whose two sides stand off chassis alike
STILL = (*REFERRED, "lifted")  # a line whose dc to chassis is read when HT comes


def line_of(frame: "Frame", part: Part) -> HeaterWinding | None:
    """The heater line a heater hangs on."""
    return next((w for w in frame.roles.heater_windings if part.envelope in w.envelopes), None)


def heater_references(frame: "Frame", rung: str, at: Situation) -> Iterator[PlannedReading]:
    """Dc of each heater line to chassis when HT comes: the divider's value, or nothing at all."""
    lifted = (stops.least(0.5, "floating"), stops.above(HEATER_CATHODE, "heater to cathode limit"))
    for line in frame.roles.heater_windings:
        if line.reference not in STILL:
            continue
        raised = line.reference == "lifted"
        yield frame.reading(
            rung,
            f"{line.name} dc",
            "heater_dc" if raised else "heater_ref",
            frame.joint(line.joints[0]),
            frame.joint("chassis"),
            at,
            stops=lifted if raised else (stops.zero(REFERENCE, "heater to cathode breakdown"),),
            contact="clip",
        )


def gas_tubes(frame: "Frame", rung: str, at: Situation) -> Iterator[PlannedReading]:
    """Each gas tube across itself, and that it glows."""
    for part in frame.amplifier.of_kind("gas tube"):
        yield frame.reading(
            rung,
            "across",
            "gas_tube",
            frame.at(part.name, "anode"),
            frame.at(part.name, "cathode"),
            at,
            owner=part.name,
            contact="clip",
            stops=(StopRule("gas tube amps", part.name, "above", None, "more current than it may carry"),),
            fill={"part": part.name},
        )


def back_bias_loads(frame: "Frame") -> dict[str, float]:
    """A resistor from HT to CHASSIS that draws what the output valves will at idle."""
    supply = next(s for s in frame.supplies("ht") if s.name in {b.supply for b in frame.roles.back_bias})
    volts = abs(frame.physics.joints(frame.ht_only(frame.dial("4")))[supply.joint][0])
    amps = sum(frame.target(v) or USUAL_IDLE for v in frame.roles.outputs if v.bias == "back")
    return {supply.joint: lower(volts / amps)}


def fall_seconds(frame: "Frame", at: Situation, joint: str, steps: tuple[float, ...]) -> float:
    """The first of some round times at which a joint has fallen to about a third, else the last of them."""
    start = abs(frame.physics.joints(at)[joint][0])
    volts = frame.physics.fall(at, joint, steps)
    return next((t for t, v in zip(steps, volts, strict=True) if abs(v) <= 0.37 * start), steps[-1])


def load_lines(frame: "Frame", at: Situation) -> tuple[str, ...]:
    """What load resistors the state needs, with their watts."""
    lines = []
    for joint, ohms in at.loads.items():
        volts = abs(frame.physics.joints(at).get(joint, (0.0, 0.0))[0])
        watts = 2.0 * volts**2 / ohms
        lines.append(
            frame.words.text(
                "rung.note.load", ohms=frame.ohms_text(ohms), place=frame.joint(joint).text, watts=f"{watts:.0f}"
            )
        )
    return tuple(lines)


def ceiling_text(frame: "Frame", rung: str) -> str:
    """Why the dial stops where it does."""
    found = frame.dials.ceilings[rung]
    if found.part is None:
        return frame.words.text("rung.note.no_ceiling")
    return frame.words.text(
        "rung.note.ceiling", part=found.part, rating=marked_as(frame.part(found.part)), volts=f"{found.volts:.0f}"
    )
