"""Rung 5: small valves in, output valves out (rows 27 to 33); ends in hold 3."""

from collections.abc import Iterator

from firstglow.amplifier.model import Part
from firstglow.amplifier.role_types import OutputValve, SmallValve
from firstglow.amplifier.situation import Situation
from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.grid_current import BEGINS as GRID_CURRENT_BEGINS
from firstglow.ladder.made import powered
from firstglow.ladder.rows import gas_tubes, heaters
from firstglow.ladder.rung_bias import grid_negative
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung, StopRule

RUNG = "5"
WAIT = 900.0  # s: leakage of the coupling capacitors grows with warmth
LEAK = 0.1  # V over a grid leak: renew the coupling capacitor (common practice)


def rung(frame: Frame) -> PlannedRung:
    """Heaters, nodes, every electrode of every small valve, coupling leak, bias once more."""
    words = frame.words
    at = frame.small(frame.dial(RUNG), loads=frame.loads_for(RUNG))
    readings = (
        *heaters(frame, RUNG, at, frame.small_envelopes),
        *nodes(frame, RUNG, at),
        *elements(frame, RUNG, at, frame.small_envelopes),
        *gas_tubes(frame, RUNG, at),
        *(r for v in frame.roles.outputs for r in _output(frame, at, v)),
        *(
            frame.look(  # never under power
                RUNG, "in the hand", "hand_check", at.but(mains_volts=0.0), owner=v.valve, where="in_the_hand"
            )
            for v in frame.roles.outputs
        ),
    )
    partners = _partners(frame)
    lifted = [loop.link for loop in frame.liftable if loop.link]
    biases = {v.bias for v in frame.roles.outputs}
    hold = "hold_back" if "back" in biases else "hold" if biases & {"fixed", "mixed"} else "hold_standin"
    fill = {
        "valves_in": ", ".join(sorted(frame.small_envelopes)) or words.text("rung.small.none"),
        "partners": words.text("rung.small.partners", pairs=partners) if partners else "",
        "loop": words.text("rung.small.loop", links=", ".join(lifted)) if lifted else "",
    }
    signed = Hold(True, words.text(f"rung.small.{hold}", **fill), tuple(_earlier(frame)))
    return powered(frame, RUNG, "small", at, readings, signed, WAIT, fill=fill)


def _earlier(frame: Frame) -> Iterator[str]:
    """Back bias is proved under a load resistor, on rung 4b."""
    for v in frame.roles.outputs:
        if v.bias == "back":
            yield frame.reading_id("4b", "grid", v.valve)


def nodes(frame: Frame, rung: str, at: Situation) -> Iterator[PlannedReading]:  # rows 28, 36
    """Every HT node to its return."""
    for supply in frame.supplies("ht"):
        for node in supply.nodes:
            there = (*frame.capacitors_on(node, supply.ret), *frame.stands_with(node, supply.ret, at))
            limits = tuple(stops.rating(c) for c in there)
            limits = (*limits, stops.least(0.5, "this node low: a leaky capacitor or a short on it"))
            yield frame.reading(
                rung,
                node,
                "node_volts",
                frame.joint(node),
                frame.joint(supply.ret),
                at,
                stops=limits,
                contact="clip",
                fill={"node": frame.joint(node).text},
            )


def _partners(frame: Frame) -> str:
    pairs = {tuple(sorted((s.envelope, frame.envelope(o)))) for s in frame.roles.smalls for o in s.direct_coupled_to}
    return ", ".join(f"{a} with {b}" for a, b in sorted(pairs) if a != b)


def elements(frame: Frame, rung: str, at: Situation, envelopes: frozenset[str]) -> Iterator[PlannedReading]:
    """Rows 29, 30: every electrode of every small section in the given glass."""
    for s in frame.roles.smalls:
        if s.envelope in envelopes:
            yield from _section(frame, rung, at, s)


def _section(frame: Frame, rung: str, at: Situation, s: SmallValve) -> Iterator[PlannedReading]:
    part, chassis, words = frame.part(s.valve), frame.joint("chassis"), frame.words
    for electrode in ("cathode", "screen", "plate"):
        if electrode not in part.leads or part.leads[electrode] == "chassis":
            continue
        if electrode == "screen" and part.leads["screen"] == part.leads["plate"]:
            continue
        yield frame.reading(
            rung,
            electrode,
            "element",
            frame.at(s.valve, electrode),
            chassis,
            at,
            owner=s.valve,
            contact=None if electrode == "cathode" else "clip",
            stops=_limits(frame, part, electrode, s),
            aside=electrode,
            fill={"electrode": electrode},
        )
    if s.direct_coupled_from:
        joints = frame.physics.joints(at)
        drawn = joints[part.leads["grid"]][0] - joints[part.leads["cathode"]][0] > GRID_CURRENT_BEGINS
        yield frame.reading(
            rung,
            "grid to cathode",
            "follower_drawn" if drawn else "follower",
            frame.at(s.valve, "grid"),
            frame.at(s.valve, "cathode"),
            at,
            owner=s.valve,
            stops=(stops.over_cathode(drawn),),
            remark=words.text("rung.small.grid_current", valve_name=s.valve) if drawn else "",
        )


def _limits(frame: Frame, part: Part, electrode: str, s: SmallValve) -> tuple[StopRule, ...]:
    """Rows 29, 30: the working volts of a capacitor there; a cathode at 0, or past what its heater stands; a plate or a
    screen at its supply; a plate that carries a direct-coupled pair past what that pair's heater stands."""
    limits = tuple(stops.rating(c) for c in frame.capacitors_on(part.leads[electrode], "chassis"))
    if electrode == "cathode":
        heater = StopRule("heater to cathode", part.name, "above", None, "heater to cathode limit")
        return (*limits, stops.least(stops.NOTHING, "no current at all"), heater)
    feed = s.feed if electrode == "plate" else screen_feed(frame, part)
    if feed is not None and feed != part.leads[electrode]:
        limits = (*limits, stops.at_supply(feed, f"at its supply: no {electrode} current"))
    if electrode == "plate":
        coupled = [o for o in s.drives if s.valve in _from(frame, o)]
        limits += tuple(StopRule("heater to cathode", o, "above", None, "") for o in coupled)
    return limits


def _from(frame: Frame, valve: str) -> tuple[str, ...]:
    """Sections that a small valve's grid takes its dc from."""
    return next((s.direct_coupled_from for s in frame.roles.smalls if s.valve == valve), ())


def screen_feed(frame: Frame, part: Part) -> str | None:
    """The HT node that a screen's resistor comes from."""
    nodes = {n.joint for n in frame.roles.ht_nodes}
    for r in frame.amplifier.of_kind("resistor"):
        ends = set(r.leads.values())
        if part.leads["screen"] in ends and ends & nodes - {part.leads["screen"]}:
            return next(iter(ends & nodes - {part.leads["screen"]}))
    return None


def _output(frame: Frame, at: Situation, v: OutputValve) -> Iterator[PlannedReading]:
    grid = frame.at(v.valve, "grid")
    if frame.has_bias(v):
        if v.coupling:
            yield frame.reading(  # row 31
                RUNG,
                "coupling leak",
                "coupling",
                grid,
                frame.joint(v.bias_joint),
                at,
                owner=v.valve,
                stops=(stops.zero(LEAK, "coupling capacitor leaks"),),
                fill={"parts": ", ".join(v.coupling)},
                settle_seconds=WAIT,
            )
        state = frame.words.text("rung.small.warm")
        yield grid_negative(frame, RUNG, at, v, state, WAIT)  # row 32
        yield from _driver_states(frame, v)
        return
    if v.bias == "back":  # what the small valves alone make of it
        yield frame.reading(
            RUNG,
            "grid",
            "grid_back",
            grid,
            frame.joint("chassis"),
            at,
            owner=v.valve,
            stops=(stops.sign(False, "no path from the bias resistor to this grid"),),
        )
        return
    yield frame.reading(  # stand-in for row 32 with cathode bias
        RUNG,
        "grid",
        "grid_zero",
        grid,
        frame.joint("chassis"),
        at,
        owner=v.valve,
        stops=(stops.zero(LEAK, "coupling capacitor leaks, or the grid leak is open"),),
        fill={"state": frame.words.text("rung.small.warm")},
        settle_seconds=WAIT,
    )


def _driver_states(frame: Frame, v: OutputValve) -> Iterator[PlannedReading]:
    """A follower on the grid: where it puts the grid cold, pulled and warming too (warm is row 32)."""
    if v.driver is None:
        return
    at = frame.small(frame.dial(RUNG), loads=frame.loads_for(RUNG))
    pulled = at.but(out=at.out | {frame.envelope(v.driver)})
    cold = at.but(out=at.out | frame.small_envelopes)
    for word, situation, note in (
        ("driver cold", cold, ""),
        ("driver pulled", pulled, ""),
        ("driver warming", at, "warming"),
    ):
        text = frame.words.text(f"rung.small.{word.replace(' ', '_')}")
        yield frame.reading(
            RUNG,
            f"grid {word}",
            "grid_driver",
            frame.at(v.valve, "grid"),
            frame.joint("chassis"),
            situation,
            owner=v.valve,
            stops=(stops.safe_bias(v.valve),),
            fill={"state": text},
            note_only=frame.words.text("rung.small.warming_note") if note else "",
        )
