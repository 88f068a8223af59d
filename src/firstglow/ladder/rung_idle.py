"""Rung 9: idle at today's mains, warm (rows 42, 43)."""

from collections.abc import Iterator

from firstglow.amplifier.role_types import OutputValve
from firstglow.amplifier.situation import Situation
from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.made import powered
from firstglow.ladder.rows import gas_tubes
from firstglow.ladder.rung_ht import plate, screen
from firstglow.ladder.rung_output import bridged, bridged_stop, current_stop, follows, half_drop
from firstglow.ladder.rung_small import nodes
from firstglow.ladder.turning import turning_lines
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung, StopRule

RUNG = "9"
WAIT, WAIT_SINGLE = 1800.0, 3600.0  # s; single-ended: heat decides, so longer
MINUTES = (10, 30, 60)
SETTING = (
    1.2  # of the idle target: past it the pot went the wrong way, whatever the plate still stands (common practice)
)


def rung(frame: Frame) -> PlannedRung:
    """Every output valve at its target, everything warm."""
    at = frame.at_idle(RUNG)
    single = any(v.partner is None for v in frame.roles.outputs)
    readings = (
        *_cathodes(frame, at),
        *(r for v in frame.roles.outputs for r in _electrodes(frame, at, v)),
        *nodes(frame, RUNG, at),
        *gas_tubes(frame, RUNG, at),
        *_bias_again(frame, at),
        *_ripple(frame, at),
        *_smoothed(frame, at),
    )
    key = "before" if at.idle else "before_fixed"
    hold, wait = Hold(False, frame.words.text("rung.idle.hold")), WAIT_SINGLE if single else WAIT
    also = turning_lines(frame, at, frame.roles.outputs)
    return powered(frame, RUNG, "idle", at, readings, hold, wait, before=key, warned=bool(at.idle), also=also)


def _cathodes(frame: Frame, at: Situation) -> Iterator[PlannedReading]:  # row 42
    """Every output valve at one moment before any at the next: a gassy one is met after minutes, not after its neighbour's
    hour. There and back again: where there are fewer meters than valves the last clips stay on into the next moment."""
    for number, minutes in enumerate(MINUTES):
        valves = frame.roles.outputs[:: -1 if number % 2 else 1]
        yield from (r for v in valves for r in _cathode(frame, at, v, minutes))


def _cathode(frame: Frame, at: Situation, v: OutputValve, minutes: int) -> Iterator[PlannedReading]:
    part = v.sense or v.cathode_resistor
    settled = frame.words.text("rung.note.settled") if minutes == MINUTES[-1] else ""
    if part is not None and not frame.repeats_cathode(v):
        yield frame.reading(
            RUNG,
            f"cathode after {minutes} min",
            "idle_sense",
            frame.at(v.valve, "cathode"),
            frame.joint("chassis"),
            at,
            owner=v.valve,
            contact="clip",
            stops=current_stop(frame, v, SETTING) + bridged_stop(frame, v),
            fill={"part": part, "minutes": minutes, "shorted": bridged(frame, v)},
            settle_seconds=60.0 * minutes,
            remark=" ".join(text for text in (follows(frame, v), settled) if text),
        )
    if part is None or frame.shared_cathode(v):
        yield from half_drop(frame, RUNG, at, v, minutes, settled)


def _electrodes(frame: Frame, at: Situation, v: OutputValve) -> Iterator[PlannedReading]:
    yield plate(frame, RUNG, at, v)
    if v.screen is not None and v.screen != v.plate:
        yield screen(frame, RUNG, at, v)
    yield _grid(frame, at, v)


def _grid(frame: Frame, at: Situation, v: OutputValve) -> PlannedReading:
    """What flows in the grid leak of a hot valve: over the leak itself where a bias stands behind it."""
    grid, chassis = frame.at(v.valve, "grid"), frame.joint("chassis")
    if frame.has_bias(v) and v.driver is None:
        black, word, key, limit = frame.joint(v.bias_joint), "grid drift", "grid_drift", stops.grid_drift(v.valve)
    else:
        limit = stops.sign(False) if frame.has_bias(v) else stops.zero(0.5, "gas, or a leak")
        black, word, key = chassis, "grid", "grid_idle"
    return frame.reading(RUNG, word, key, grid, black, at, owner=v.valve, contact="clip", stops=(limit,))


def _bias_again(frame: Frame, at: Situation) -> Iterator[PlannedReading]:
    """A bias that shares the HT winding falls a few volts under load: read once more."""
    for supply in frame.supplies("bias"):
        if frame.shares_ht_winding(supply):
            yield frame.reading(
                RUNG,
                f"{supply.name} reservoir",
                "bias_dc",
                frame.joint(supply.joint),
                frame.joint(supply.ret),
                at,
                stops=(stops.sign(False), stops.least(0.5)),
                fill={"part": supply.reservoir or supply.joint},
            )


def _ripple(frame: Frame, at: Situation) -> Iterator[PlannedReading]:  # row 43
    for supply in frame.supplies("ht"):
        for node in dict.fromkeys((supply.joint, *supply.nodes[1:2])):
            stop = stops.most(1.5, "reservoir dried out, or half a rectifier dead")
            yield _ripple_of(frame, at, node, supply.ret, "ripple", stop)


def _smoothed(frame: Frame, at: Situation) -> Iterator[PlannedReading]:
    """Further on: what a section that was never soldered, or dried out, lets through. No danger, and no gate waits for it."""
    for use, first in (("ht", 2), ("bias", 1)):
        for supply in frame.supplies(use):
            for node in supply.nodes[first:]:
                yield _ripple_of(frame, at, node, supply.ret, "smoothed", None)


def _ripple_of(frame: Frame, at: Situation, node: str, ret: str, text: str, stop: StopRule | None) -> PlannedReading:
    return frame.reading(
        RUNG,
        f"{node} ripple",
        text,
        frame.joint(node),
        frame.joint(ret),
        at,
        kind="ac volts",
        quantity="ripple volts",
        stops=() if stop is None else (stop,),
        needs=stop is not None,
        remark=frame.words.text("reading.ripple.blocks"),
        fill={"node": frame.joint(node).text},
    )
