"""Rung 10: soak, warm ohms and a cold start (rows 44, 45); ends in hold 5."""

from collections.abc import Iterator

from firstglow.amplifier.situation import Situation
from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.made import powered
from firstglow.ladder.places import End
from firstglow.ladder.rung_ht import COLD
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung
from firstglow.readings.warm import MOST_KELVIN, times

RUNG = "10"
WAIT = 3600.0  # s at idle, then a night
STEPS = (20, 40)  # K: what the table beside the warm primary has below the most


def rung(frame: Frame) -> PlannedRung:
    """Warm copper, and the highest of a cold start."""
    at = frame.at_idle(RUNG)
    hold = Hold(True, frame.words.text("rung.soak.hold"))
    return powered(frame, RUNG, "soak", at, _readings(frame, at), hold, WAIT)


def _readings(frame: Frame, at: Situation) -> Iterator[PlannedReading]:
    words = frame.words
    yield frame.look(RUNG, "soak", "soak", at, settle_seconds=WAIT)
    line, neutral = End("line", "plug, line", outside=True), End("neutral", "plug, neutral", outside=True)
    yield frame.reading(  # row 44
        RUNG,
        "primary warm",
        "warm_ohms",
        line,
        neutral,
        frame.unplugged(out=frozenset()),  # nobody pulls hot valves for it
        kind="ohms",
        quantity="warm ohms",
        note_only=words.text("rung.note.warm", most=_times(MOST_KELVIN), table=", ".join(map(_times, STEPS))),
        fill={"times": f"{times(MOST_KELVIN):.2f}", "kelvin": f"{MOST_KELVIN:.0f}"},
    )
    for supply in frame.supplies("ht"):  # row 45
        for node in supply.nodes:
            limits = tuple(stops.surge(c) for c in frame.capacitors_on(node, supply.ret))
            yield frame.reading(
                RUNG,
                f"{node} cold start",
                "cold_peak",
                frame.joint(node),
                frame.joint(supply.ret),
                at,
                quantity="peak volts",
                stops=limits,
                remark=words.text("rung.soak.cold_start"),
                off_seconds=COLD,
                fill={"node": frame.joint(node).text},
            )
    yield from _standby(frame, at)
    for v in frame.roles.outputs:
        if frame.has_bias(v) and v.bias != "back":
            yield frame.look(RUNG, "bias first", "bias_first", at, owner=v.valve, where="bias_clip")


def _times(kelvin: float) -> str:
    """One step of the table: 1.08 is 20 K."""
    return f"{times(kelvin):.2f} is {kelvin:.0f} K"


def _standby(frame: Frame, at: Situation) -> Iterator[PlannedReading]:
    """Standby switch, proved last: open, nothing stands behind it."""
    for found in frame.roles.standby:
        if not found.dead:
            continue
        opened = at.but(switches_open=frozenset({found.switch}), idle={})
        yield frame.reading(
            RUNG,
            "standby open",
            "standby",
            frame.joint(found.dead[0]),
            frame.joint("chassis"),
            opened,
            owner=found.switch,
            contact="clip",
            stops=(stops.zero(10.0, "something stands behind the open switch"),),
            fill={"part": found.switch},
        )
