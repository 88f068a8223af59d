"""Rung 8: the designed loop closed (row 41)."""

from collections.abc import Iterator

from firstglow.amplifier.situation import Situation
from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.made import powered
from firstglow.ladder.rung_output import bridged, cathode_ratings, follows
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung

RUNG = "8"
WAIT = 120.0  # s
JUMP = 0.05  # of the sense reading: oscillation above hearing (common practice)
HOWL = 0.05  # V at the load, input shorted (common practice)


def rung(frame: Frame) -> PlannedRung:
    """Hum and gain down together, the idle unmoved."""
    at = frame.at_half_idle(RUNG, feedback="closed")
    hold = Hold(False, frame.words.text("rung.loop.hold"))
    return powered(frame, RUNG, "loop", at, _readings(frame, at), hold, WAIT, fill={"gain_rung": "7"})


def _readings(frame: Frame, at: Situation) -> Iterator[PlannedReading]:
    for loop in frame.liftable:
        load = frame.load_of_loop(loop)
        hot, common = frame.at(load, "hot"), frame.at(load, "common")
        yield frame.reading(
            RUNG,
            "hum",
            "hum",
            hot,
            common,
            at,
            kind="ac volts",
            quantity="hum volts",
            owner=load,
            stops=(stops.hum(HOWL, "howl: far above the computed hum"),),
            fill={"loop": frame.words.text("rung.loop.loop_closed")},
        )
        if frame.test_ohms is None:
            continue  # a loop without gain changes nothing that a meter shows
        driven = frame.driven(at, loop.channel)
        yield frame.reading(
            RUNG,
            "gain",
            "closed_gain",
            hot,
            common,
            driven,
            kind="ac volts",
            quantity="gain ratio",
            owner=load,
            stops=(stops.above(0.95, "the loop does nothing, or the wrong thing"),),
            fill={"volts": frame.volts_text(driven.stimulus_volts), "hertz": driven.stimulus_hz},
        )
    for v in frame.roles.outputs:
        part = v.sense or v.cathode_resistor
        if part is not None and not frame.repeats_cathode(v):
            yield frame.reading(
                RUNG,
                "cathode",
                "closed_sense",
                frame.at(v.valve, "cathode"),
                frame.joint("chassis"),
                at,
                owner=v.valve,
                contact="clip",
                stops=(
                    *stops.within(JUMP, "oscillation above hearing"),
                    stops.dissipation(v.valve),
                    *cathode_ratings(frame, v),
                ),
                remark=follows(frame, v),
                fill={"part": part, "shorted": bridged(frame, v)},
            )
