"""Rung 6: output valves in, one channel and then the other, loop lifted (rows 27, 34 to 38)."""

from collections.abc import Iterator, Sequence

from firstglow.amplifier.role_types import OutputValve
from firstglow.amplifier.situation import Situation
from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.made import powered
from firstglow.ladder.places import own_name
from firstglow.ladder.rows import heaters
from firstglow.ladder.rung_cold import RUNG as COLD
from firstglow.ladder.rung_ht import plate, screen
from firstglow.ladder.rung_small import elements, nodes
from firstglow.ladder.turning import turn, turned
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung, StopRule
from firstglow.readings.rated import section_of

WAIT = 660.0  # s: a minute with eyes on the plates, ten at half idle
TEN_MINUTES = 600.0  # s: gas and grid emission show when it is hot (common practice)
EYES = 60.0  # s with eyes on plates and meter: what runs away shows within them (common practice)
SERIES = 1e6  # ohm in the clip: a long lead on a grid would make it an oscillator
SELF_BIAS = 0.5  # of the expected cathode volts: a shorted bypass leaves next to nothing (common practice)
HUM = 0.5  # V at the load, input shorted: more is oscillation (common practice)


def rungs(frame: Frame) -> list[PlannedRung]:
    """One rung a channel (6a, 6b), the earlier channels' valves staying in; one rung 6 where there is one group."""
    groups = frame.output_groups
    made = []
    for number, (name, valves) in enumerate(groups):
        rung = frame.output_rung(number)
        before = [v for _, vs in groups[:number] for v in vs]
        made.append(_rung(frame, rung, name, before, valves))
    return made


def _rung(
    frame: Frame, rung: str, group: str, before: Sequence[OutputValve], valves: Sequence[OutputValve]
) -> PlannedRung:
    words = frame.words
    at = frame.playing([v.valve for v in (*before, *valves)], frame.dial(rung), loads=frame.loads_for(rung))
    half = at.but(idle={v.valve: target / 2 for v in (*before, *valves) if (target := frame.target(v)) and v.pot})
    first = [r for v in valves for r in first_seconds(frame, rung, at, v)]  # row 34
    readings = (
        frame.bench(
            rung,
            "lamp",
            "lamp_warming",
            at.but(lamp_watts=frame.running_lamp),
            kind="lamp",
            quantity="lamp",
            fill={"where": words.text("rung.output.lamp_where")},
        ),
        # every valve is judged with the lamp in before the lamp goes out for any reading: a shorted one burns without it
        *(r for r in first if r.situation.lamp_watts is not None),
        *(r for v in valves for r in _grid_first(frame, rung, at, v)),
        # and every cathode again before anything else is clipped with the lamp out
        *(r for r in first if r.situation.lamp_watts is None),
        *heaters(frame, rung, at, frozenset(frame.envelope(v.valve) for v in valves), loaded=True),  # row 27
        *nodes(frame, rung, at),  # row 36
        *elements(frame, rung, at, frozenset(frame.envelope(v.valve) for v in valves)),  # triode-pentodes
        *(r for v in valves for r in _electrodes(frame, rung, at, v)),
        # every grid before any idle: nobody turns a control up, back and up again
        *(_creep(frame, rung, half, v) for v in valves),  # row 35
        *(r for v in valves for r in _half(frame, rung, half, v)),  # row 37
        *_hum(frame, rung, half, valves),  # row 38
    )
    fitted = ", ".join(dict.fromkeys(frame.envelope(v.valve) for v in valves))
    fill = {
        "group": group or words.text("rung.output.all"),
        "valves_in": fitted,
        "clips": clips(frame, sum(r.situation.lamp_watts is not None for r in first)),
    }
    title = "title" if group else "title_all"
    hold = Hold(False, words.text("rung.output.hold"))
    told = turn(frame, half)
    also = (told,) if told else ()
    return powered(frame, rung, "output", at, readings, hold, WAIT, title=title, fill=fill, also=also)


def clips(frame: Frame, places: int) -> str:
    """How many of the places where output valves' currents are read are watched at once, and what watches the others."""
    meters = frame.gear.meters
    key = "clips_all" if places <= meters else "clips_one" if meters == 1 else "clips_some"
    return frame.words.text(f"rung.output.{key}", meters=meters, places=places)


def current_stop(frame: Frame, v: OutputValve, share: float = 1.0) -> tuple[StopRule, ...]:
    """Past the idle target where there is one (Rs x Iq), and past the plate's dissipation and what stands in its cathode's
    lead in any case."""
    part, target = frame.cathode_part(v), frame.target(v)
    limit = (stops.dissipation(v.valve), *cathode_ratings(frame, v))
    if part is None or target is None or not frame.has_bias(v):
        return limit
    volts = share * target * frame.part(part).value("ohms")
    return (stops.above(volts, f"past the idle target of {target * 1e3:.3g} mA"), *limit)


def held_stop(frame: Frame, v: OutputValve) -> tuple[StopRule, ...]:
    """The same at its most negative: there a valve without an idle of its own is held by what holds the one beside it."""
    own, beside, part = current_stop(frame, v), frame.target_beside(v), frame.cathode_part(v)
    if frame.target(v) is not None or beside is None or part is None or not frame.has_bias(v):
        return own
    target, other = beside
    volts = target * frame.part(part).value("ohms")
    return (stops.above(volts, f"past the idle target of {target * 1e3:.3g} mA of {other}, on the same bias"), *own)


def follows(frame: Frame, v: OutputValve) -> str:
    """Why a valve's stop is not that of its like beside it, once that one's idle is set; "" where it has its own idle."""
    beside = frame.target_beside(v) if frame.target(v) is None and frame.has_bias(v) else None
    if beside is None:
        return ""
    valve, other = (own_name(frame.part(name)) for name in (v.valve, beside[1]))
    return frame.words.text("rung.note.follows", valve=valve, other=other)


def cathode_ratings(frame: Frame, v: OutputValve) -> Iterator[StopRule]:
    """Cathode volts to chassis past which a cathode or a resistor in its lead is overrun, whatever the plate takes: a valve with
    much in its cathode never gets to its watts."""
    parts = [frame.part(name) for name in v.cathode_path if name != v.hum_pot]
    if not parts or "chassis" not in parts[-1].leads.values() or any(p.kind not in ("resistor", "wire") for p in parts):
        return
    sharing = [o for o in frame.roles.outputs if o.valve in v.shares_cathode]
    valves = {p.name: 1 + sum(p.name in o.cathode_path for o in sharing) for p in parts}
    # volts at the cathode for each ampere of a valve, all that share a resistor giving the same
    resistors = [p for p in parts if p.kind == "resistor"]
    ohms = sum(p.value("ohms") * valves[p.name] for p in resistors)
    amps = section_of(frame.part(v.valve)).limits.cathode_amps
    if amps is not None:
        yield stops.above(
            ohms * amps, f"{v.valve}: its cathode then gives {amps * 1e3:.3g} mA, the most it is rated for"
        )
    for p in resistors:
        if "watts" in p.values:
            most = (p.value("watts") / p.value("ohms")) ** 0.5 / valves[p.name]
            yield stops.above(ohms * most, f"{p.name} then takes its {p.value('watts'):g} W")


def bridged_stop(frame: Frame, v: OutputValve) -> tuple[StopRule, ...]:
    """Half of the cathode volts missing where they are the bias: V near 0 is a valve without bias, however little it
    shows across its own resistor."""
    if not frame.self_biased(v):
        return ()
    return (stops.least(SELF_BIAS, frame.words.text("rung.output.no_self_bias", shorted=bridged(frame, v))),)


def bridged(frame: Frame, v: OutputValve) -> str:
    """What takes the cathode's own bias away, in words."""
    key = "bypass_shorted" if v.bypass else "resistor_bridged"
    return frame.words.text(f"rung.output.{key}")


def early_stop(frame: Frame, v: OutputValve) -> tuple[StopRule, ...]:
    """With the lamp in no band judges; three times what a valve held at its most negative passes is a fault."""
    return (stops.most(3.0, "far more than its bias lets through"),) if frame.has_bias(v) else ()


def first_seconds(frame: Frame, rung: str, at: Situation, v: OutputValve) -> Iterator[PlannedReading]:
    """Cathode volts from switch-on: lamp in, then out, everything at its most negative."""
    part = frame.cathode_part(v)
    if part is None or frame.shared_cathode(v):
        yield from half_drop(frame, rung, at, v)
    if part is None or frame.repeats_cathode(v):
        return
    red, chassis = frame.at(v.valve, "cathode"), frame.joint("chassis")
    for word, situation in (("lamp in", at.but(lamp_watts=frame.running_lamp)), ("lamp out", at)):
        yield frame.reading(
            rung,
            f"cathode {word}",
            "first_seconds",
            red,
            chassis,
            situation,
            owner=v.valve,
            contact="clip",
            stops=held_stop(frame, v) + bridged_stop(frame, v) + (early_stop(frame, v) if situation.lamp_watts else ()),
            fill={
                "part": part,
                "shorted": bridged(frame, v),
                "lamp": frame.words.text(f"rung.output.{word.replace(' ', '_')}"),
            },
            note_only=frame.words.text("rung.note.lamp_only") if word == "lamp in" else "",
            on_seconds=0.0 if situation.lamp_watts else EYES,
            first_current=True,
        )


def _grid_first(frame: Frame, rung: str, at: Situation, v: OutputValve) -> Iterator[PlannedReading]:
    """With no bias of its own a valve's cathode hardly tells, with the lamp in, that its grid is joined to it; the grid
    does: it rises with the cathode, and without the lamp that is many times the idle current."""
    if frame.has_bias(v):
        return
    yield frame.reading(
        rung,
        "grid lamp in",
        "grid_first",
        frame.at(v.valve, "grid"),
        frame.joint("chassis"),
        at.but(lamp_watts=frame.running_lamp),
        owner=v.valve,
        contact="clip",
        stops=(stops.zero(0.5, "joined to its cathode, gas or a leak"),),
        note_only=frame.words.text("rung.note.lamp_only"),
        series_ohms=SERIES,
    )


def half_drop(
    frame: Frame, rung: str, at: Situation, v: OutputValve, minutes: int | None = None, remark: str = ""
) -> Iterator[PlannedReading]:
    """Single shares where several valves stand on one resistor, or none: the drop across each half primary."""
    word, when = (f" after {minutes} min", f", {minutes} min") if minutes else ("", "")
    yield frame.reading(
        rung,
        f"half primary drop{word}",
        "half_drop",
        frame.at(v.transformer, "centre"),
        frame.at(v.valve, "plate"),
        at,
        owner=v.valve,
        contact="clip",
        stops=(stops.dissipation(v.valve),),
        fill={"when": when},
        settle_seconds=60.0 * (minutes or 0),
        remark=remark,
        first_current=minutes is None,
    )


def _electrodes(frame: Frame, rung: str, at: Situation, v: OutputValve) -> Iterator[PlannedReading]:  # row 36
    yield plate(frame, rung, at, v)
    if v.screen is None or v.screen == v.plate:
        return
    yield screen(frame, rung, at, v)
    if v.screen_resistor is not None and v.screen_joint is not None:
        yield frame.reading(
            rung,
            "screen drop",
            "screen_drop",
            frame.joint(v.screen_joint),
            frame.at(v.valve, "screen"),
            at,
            owner=v.valve,
            contact="clip",
            stops=screen_stop(frame, at, v, v.screen_resistor),
            fill={"part": v.screen_resistor},
        )


def screen_stop(frame: Frame, at: Situation, v: OutputValve, resistor: str) -> tuple[StopRule, ...]:
    """The drop at which the screen takes its rated watts: ohms x watts / volts from screen to cathode."""
    watts = section_of(frame.part(v.valve)).limits.screen_watts
    joints = frame.physics.joints(at)
    volts = joints[v.screen or v.plate][0] - joints[v.cathode][0]
    if watts is None or volts <= 0:
        return (stops.most(3.0, "screen current three times the computed"),)
    drop = frame.part(resistor).value("ohms") * watts / volts
    return (stops.above(drop, f"{v.valve}: {watts:g} W at its screen"),)


def _creep(frame: Frame, rung: str, half: Situation, v: OutputValve) -> PlannedReading:
    """The grid when it is hot: at the most negative end against its cold value, or at 0 V where the cathode sets the bias."""
    own = frame.has_bias(v)
    creep = stops.safe_bias(v.valve) if own else stops.zero(0.5, "gas, grid emission or a leak")
    return frame.reading(
        rung,
        "grid through 1 Mohm",
        "grid_creep",
        frame.at(v.valve, "grid"),
        frame.joint("chassis"),
        half.but(idle={}) if own else half,
        owner=v.valve,
        contact="clip",
        stops=(creep,),
        series_ohms=SERIES,
        settle_seconds=TEN_MINUTES,
    )


def _half(frame: Frame, rung: str, half: Situation, v: OutputValve) -> Iterator[PlannedReading]:
    """Every valve that a preset moves which is turned here, whether the idle is its own or its neighbour's."""
    part, chassis = v.sense or v.cathode_resistor, frame.joint("chassis")
    mine = set(v.pots) & set(turned(frame, half))
    if part is not None and mine:
        together = any(mine & set(o.pots) for o in frame.roles.outputs if o is not v)
        yield frame.reading(  # row 37
            rung,
            "cathode at half idle",
            "half_idle_shared" if together else "half_idle",
            frame.at(v.valve, "cathode"),
            chassis,
            half,
            owner=v.valve,
            contact="clip",
            stops=current_stop(frame, v) + bridged_stop(frame, v),
            fill={"part": part},
            first_current=v.valve not in half.idle,  # turned up by its neighbour's reading
        )


def _hum(frame: Frame, rung: str, half: Situation, valves: Sequence[OutputValve]) -> Iterator[PlannedReading]:  # row 38
    state = frame.words.text("rung.output.loop_open" if frame.open_loop == "open" else "rung.output.loop_as_is")
    for load in frame.loads_of(valves):
        yield frame.reading(
            rung,
            "hum",
            "hum",
            frame.at(load, "hot"),
            frame.at(load, "common"),
            half,
            kind="ac volts",
            quantity="hum volts",
            owner=load,
            stops=(stops.above(HUM, "oscillation"),),
            fill={"loop": state},
        )


def phasing_needs(frame: Frame) -> Iterator[str]:
    """Row 11 stands in for rung 7 where the loop cannot be lifted."""
    for v in frame.roles.outputs:
        yield frame.reading_id(COLD, "turns to hot", v.valve)
