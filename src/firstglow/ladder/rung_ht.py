"""Rung 4: HT on with nothing drawing (rows 21 to 26); its first turn of the dial where diodes make the HT (4a), and
back bias under a load resistor (4b)."""

from collections.abc import Iterator
from dataclasses import replace

from firstglow.amplifier.bases import find
from firstglow.amplifier.role_types import OutputValve
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import Supply
from firstglow.ladder import drains, stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.kinds import kind_lines
from firstglow.ladder.rows import (
    back_bias_loads,
    ceiling_text,
    fall_seconds,
    gas_tubes,
    heater_references,
    load_lines,
)
from firstglow.ladder.rung_cold import large_capacitors
from firstglow.readings.probe import Beside, Hold, PlannedReading, PlannedRung

RUNG = "4"
WAIT, WAIT_OLD = 600.0, 1800.0  # s: leakage falls; 30 min with stored or old electrolytics
MINUTES = (1, 5, 10)
EARLY_LEAST = 0.75  # of the first turn's HT: one diode of a bridge shorted leaves about half (common practice)
COLD = 300.0  # s without power: a heater and its cathode are cold (common practice)
SILENT = 0.1  # V: a cathode or a loudspeaker terminal with HT on and its valve out (common practice)
UNHELD = 1.25  # of what a gas tube holds: an 0A2 of 150 V strikes at 185 V at most, so it is not lit (makers' sheets, from memory)
FALL_TIMES = (5.0, 10.0, 20.0, 30.0, 60.0, 120.0)  # s


def rungs(frame: Frame) -> list[PlannedRung]:
    """4a where diodes make HT at once, 4, and 4b where HT current makes the bias; none where no dial is low enough."""
    made = []
    if frame.ht_lifts:
        made.append(_first_turn(frame))
    made.append(_full(frame))
    if any(v.bias == "back" for v in frame.roles.outputs):
        made.append(_back_bias(frame))
    return made


def _rung(
    frame: Frame, rung: str, key: str, at: Situation, readings: tuple[PlannedReading, ...], wait: float
) -> PlannedRung:
    words = frame.words
    fits = []
    if frame.ht_rectifiers:
        fits.append(words.text("rung.ht.fit_valve", valves_in=", ".join(sorted(frame.ht_rectifiers))))
    if frame.ht_lifts:
        key_fit = "rung.ht.fit_on" if rung == RUNG else "rung.ht.fit_link"
        fits.append(words.text(key_fit, links=", ".join(sorted(frame.ht_lifts))))
    fit = " ".join(fits)
    fill = {"fit": fit, "volts": at.mains_volts, "ceiling_why": ceiling_text(frame, RUNG), "lamp": frame.first_lamp}
    old = words.text("rung.ht.longer") if frame.gear.old_electrolytics else ""
    by_lamp = rung != RUNG and not frame.gear.variable_transformer
    before = f"rung.{key}.before_lamps" if by_lamp else f"rung.{key}.before"
    return PlannedRung(
        id=rung,
        title=words.text(f"rung.{key}.title"),
        situation=at,
        stands="",
        before=words.lines(before, **fill) + load_lines(frame, at) + kind_lines(frame, key),
        readings=readings,
        hold=Hold(False, words.text(f"rung.{key}.hold")),
        cautions=words.lines("rung.ht.cautions"),
        watch_for=words.lines("rung.ht.watch"),
        wait_seconds=wait,
        wait_why=words.text(f"rung.{key}.wait_why", longer=old),
        dial_ceiling=frame.dial_of(at),
    )


def _first_turn(frame: Frame) -> PlannedRung:
    """Diodes make HT from the first turn: judged below 60 V, where a mistake is still small."""
    at = frame.ht_only(frame.first_turn, loads=frame.ht_loads)
    # the lamp stays in for the nodes too: at this dial it takes next to nothing from healthy HT, and a shorted reservoir
    # would overload the winding without it while the lamp is still dark
    at = at.but(lamp_watts=frame.first_lamp if frame.gear.variable_transformer else frame.gear.small_lamp)
    readings = [_lamp(frame, "4a", at)]
    for supply in frame.supplies("ht"):
        readings += [_node(frame, "4a", at, supply, node, "ht_early") for node in supply.nodes]
    return _rung(frame, "4a", "ht_first", at, tuple(readings), 30.0)


def _full(frame: Frame) -> PlannedRung:
    at = frame.ht_only(frame.dial(RUNG), loads=frame.ht_loads)
    readings = [_lamp(frame, RUNG, at), *_warm_up(frame, at)]
    for supply in frame.supplies("ht"):
        readings += _supply(frame, at, supply)
    for v in frame.roles.outputs:
        readings += _socket(frame, at, v)
    readings += heater_references(frame, RUNG, at)
    readings += gas_tubes(frame, RUNG, at)
    readings += _loudspeakers(frame, at)
    readings += _falls(frame, at)
    wait = WAIT_OLD if frame.gear.old_electrolytics else WAIT
    return _rung(frame, RUNG, "ht", at, tuple(readings), wait)


def _lamp(frame: Frame, rung: str, at: Situation) -> PlannedReading:
    where = frame.words.text("rung.ht.lamp_where")
    # rung 4 warms a valve rectifier's heater through the lamp
    key = "lamp_ht" if rung != "4a" and frame.amplifier.of_kind("rectifier") else "lamp"
    return frame.bench(
        rung, "lamp", key, at.but(lamp_watts=frame.first_lamp), kind="lamp", quantity="lamp", fill={"where": where}
    )


def _node(
    frame: Frame, rung: str, at: Situation, supply: Supply, node: str, key: str, word: str = ""
) -> PlannedReading:
    """One HT node to its return, stopped at the working volts of the capacitors on it."""
    minus = supply.ret if node in supply.nodes else "chassis"
    # 4a proves HT for the dial of rung 4: what stands here stands there in proportion
    share = frame.dial_of(at) / frame.dial(RUNG) if rung == "4a" else None
    there = (*frame.capacitors_on(node, minus), *frame.stands_with(node, minus, at))
    limits = tuple(stops.rating(c, share) for c in there)
    if rung == RUNG:  # rows 21, 22
        limits = (*limits, stops.least(0.5, "less than half of it there: a leaky capacitor, a short, or no rectifier"))
    if rung == "4a":
        limits = (*limits, stops.sign(supply.sign > 0, "a diode or a capacitor the wrong way round"))
        limits = (*limits, stops.least(EARLY_LEAST, "a diode shorted or open, or a short on HT"))
    minutes = word.strip(" aftermin")
    made = frame.reading(
        rung,
        f"{node}{word}",
        key,
        frame.joint(node),
        frame.joint(minus),
        at,
        stops=limits,
        contact="clip",
        fill={
            "node": frame.joint(node).text,
            "minus": minus,
            "minutes": minutes,
            "sinks": frame.words.text(_sinks(minutes)),
        },
        settle_seconds=60.0 * float(minutes or 0),
    )
    earlier = _earlier(minutes)
    if earlier is None:
        return made
    return replace(made, beside=Beside("sinks", frame.reading_id(rung, f"{node} after {earlier} min", None)))


def _sinks(minutes: str) -> str:
    """How leakage that grows shows: against the row before, where there is one."""
    return "rung.ht.sinks" if _earlier(minutes) is None else "rung.ht.sank"


def _earlier(minutes: str) -> int | None:
    """The minutes of the row before, None where there is none."""
    return next((m for m in reversed(MINUTES) if minutes and m < int(minutes)), None)


def _warm_up(frame: Frame, at: Situation) -> Iterator[PlannedReading]:
    """How long the rectifier takes tells which type sits there: 2 to 4 s directly heated, 10 to 20 s indirectly."""
    for part in frame.amplifier.of_kind("rectifier"):
        base = find(part.type or "")
        if part.envelope in frame.ht_rectifiers and base is not None:
            low, high = (2.0, 6.0) if base.direct else (8.0, 25.0)
            fill = {"low": low, "high": high}
            yield frame.look(
                RUNG, "warm-up", "warm_up", at, owner=part.name, fill=fill, off_seconds=COLD, where="ht_clip"
            )


def _supply(frame: Frame, at: Situation, supply: Supply) -> Iterator[PlannedReading]:
    for minutes in MINUTES:  # row 21
        yield _node(frame, RUNG, at, supply, supply.joint, "reservoir", f" after {minutes} min")
    for node in supply.nodes:  # row 22
        if node != supply.joint:
            yield _node(frame, RUNG, at, supply, node, "node_volts")
    yield from _stacked(frame, at, supply)


def _stacked(frame: Frame, at: Situation, supply: Supply) -> Iterator[PlannedReading]:
    """Capacitors in series (a doubler, a stack at the reservoir or further on): each across its own two ends, stopped at its own
    working volts."""
    ends, nodes = {supply.ret, "chassis"}, {supply.joint, *supply.nodes}
    large = {part.name: set(part.leads.values()) for part in large_capacitors(frame)}
    # a joint that one hangs from a node on, and another from chassis
    mids = set().union(*(j - nodes - ends for j in large.values() if j & nodes)) & set().union(
        *(j - nodes - ends for j in large.values() if j & ends)
    )
    for part in large_capacitors(frame):
        joints = large[part.name]
        in_stack = part.name in supply.reservoirs or supply.joint in joints or joints & mids
        if not in_stack or (joints & ends and joints & set(supply.nodes)):
            continue
        yield frame.reading(
            RUNG,
            "own ends",
            "stacked",
            frame.at(part.name, "+"),
            frame.at(part.name, "-"),
            at,
            owner=part.name,
            contact="clip",
            stops=(*((stops.rating(part.name),) if part.name in frame.rated else ()), stops.least(0.5)),
            fill={"part": part.name},
        )


def _socket(frame: Frame, at: Situation, v: OutputValve) -> Iterator[PlannedReading]:
    yield plate(frame, RUNG, at, v)  # row 23
    if v.screen is not None and v.screen != v.plate:
        yield screen(frame, RUNG, at, v)  # row 24
    grid, chassis = frame.at(v.valve, "grid"), frame.joint("chassis")  # row 25
    if frame.has_bias(v):
        limit = (stops.safe_bias(v.valve),) if frame.dial_of(at) >= 1.0 else (stops.sign(False),)
    else:
        limit = (stops.zero(SILENT, "a coupling capacitor leaks with HT behind it"),)
    yield frame.reading(RUNG, "grid", "grid_ht", grid, chassis, at, owner=v.valve, stops=limit)
    if frame.at(v.valve, "cathode").joint != "chassis":
        yield frame.reading(
            RUNG,
            "cathode",
            "cathode_zero",
            frame.at(v.valve, "cathode"),
            chassis,
            at,
            owner=v.valve,
            stops=(stops.zero(SILENT, "a leak from HT"),),
        )


def plate(frame: Frame, rung: str, at: Situation, v: OutputValve) -> PlannedReading:
    """Output plate pin to chassis."""
    return frame.reading(
        rung,
        "plate",
        "plate_volts",
        frame.at(v.valve, "plate"),
        frame.joint("chassis"),
        at,
        owner=v.valve,
        contact="clip",
        stops=(stops.least(0.5, "half primary open" if v.partner else "primary open"),),
    )


def screen(frame: Frame, rung: str, at: Situation, v: OutputValve) -> PlannedReading:
    """Output screen pin to chassis; above what a gas tube holds it at, that one does not glow."""
    held = next((t.part for t in frame.roles.gas_tubes if v.valve in t.holds), None)
    return frame.reading(
        rung,
        "screen",
        "screen_volts",
        frame.at(v.valve, "screen"),
        frame.joint("chassis"),
        at,
        owner=v.valve,
        contact="clip",
        stops=(
            stops.least(0.5, "screen resistor open"),
            *((stops.most(UNHELD, f"{held} does not glow"),) if held else ()),
        ),
    )


def _loudspeakers(frame: Frame, at: Situation) -> Iterator[PlannedReading]:
    for load in frame.amplifier.of_kind("load"):
        yield frame.reading(
            RUNG,
            "hot dc",
            "load_zero",
            frame.at(load.name, "hot"),
            frame.joint("chassis"),
            at,
            owner=load.name,
            stops=(stops.zero(SILENT, "output transformer leaks"),),
        )


def _falls(frame: Frame, at: Situation) -> Iterator[PlannedReading]:  # row 26
    for supply in frame.supplies("ht"):
        seconds = fall_seconds(frame, at, supply.joint, FALL_TIMES)
        bare = supply.joint in frame.undrained
        yield frame.reading(
            RUNG,
            f"{supply.joint} fall",
            "fall_bare" if bare else "fall",
            frame.joint(supply.joint),
            frame.joint(supply.ret),
            at,
            quantity="volts after",
            seconds=seconds,
            stops=() if bare else (stops.twice_as_slow("bleeder open"),),
            note_only=frame.words.text("rung.note.undrained", fit=drains.fit(frame, supply)) if bare else "",
            fill={"node": frame.joint(supply.joint).text, "seconds": seconds},
        )


def _back_bias(frame: Frame) -> PlannedRung:
    """A load resistor from HT to chassis draws what the output valves will: every output grid must go negative."""
    stands_in = back_bias_loads(frame)
    loads = dict(frame.ht_loads)  # what spares a weak capacitor on rung 4 stays on
    loads |= {joint: min(ohms, loads.get(joint, ohms)) for joint, ohms in stands_in.items()}
    at = frame.ht_only(frame.dial(RUNG), loads=loads)
    ohms = frame.ohms_text(next(iter(stands_in.values())))
    readings = [
        frame.reading(
            "4b",
            "grid",
            "back_bias",
            frame.at(v.valve, "grid"),
            frame.joint("chassis"),
            at,
            owner=v.valve,
            stops=(stops.sign(False, "no bias from the HT current"), stops.least(0.5)),
            fill={"ohms": ohms},
        )
        for v in frame.roles.outputs
        if v.bias == "back"
    ]
    return _rung(frame, "4b", "ht_back", at, tuple(readings), 60.0)
