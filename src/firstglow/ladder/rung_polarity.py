"""Rung 7: gain with the loop lifted, and its polarity through a test resistor (rows 39, 40); ends in hold 4."""

from collections.abc import Iterable, Iterator

from firstglow.amplifier.drawn_loops import howls
from firstglow.amplifier.model import AmplifierError
from firstglow.amplifier.situation import Situation
from firstglow.ladder import stops
from firstglow.ladder.dials import higher
from firstglow.ladder.frame import Frame
from firstglow.ladder.made import powered
from firstglow.ladder.places import own_name
from firstglow.ladder.rung_output import phasing_needs
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung

RUNG = "7"
WAIT = 10.0  # s
PROVES_NOTHING = 0.95  # of the reading with the loop lifted: from here up nothing is proved
GENERATOR = 0.1  # V rms: many a generator and most telephones go no lower with a figure to trust (common practice)
FOOT = 100.0  # ohm, from the input to ground: no grid leak or volume control changes what it makes


def rung(frame: Frame) -> PlannedRung:
    """Gain; and, where a loop can be lifted, its fall through the test resistor."""
    words = frame.words
    at = frame.at_half_idle(RUNG)
    test = frame.test_ohms
    tried = test is not None
    title = "title" if tried else "title_no_loop"
    text = words.text("rung.polarity.hold" if tried else "rung.polarity.hold_no_loop")
    needs = () if tried else tuple(phasing_needs(frame)) if frame.roles.loops else ()
    readings = [*_gain(frame, at)]
    fill: dict[str, object] = {"hertz": at.stimulus_hz, "ohms": ""}
    also = _dividers(frame, at)
    if test is not None:
        readings += _polarity(frame, at, test)
        fill["ohms"] = frame.ohms_text(test)
        also = (*also, words.text("rung.polarity.loop", **fill))
    hold = Hold(bool(frame.liftable), text, needs)
    return powered(
        frame,
        RUNG,
        "polarity",
        at,
        readings,
        hold,
        WAIT,
        title=title,
        also=also,
        warned=tried,
        watched=tried,
        fill=fill,
    )


def divider(volts: float) -> tuple[float, float]:
    """(ohms in the generator's lead, generator volts) that make ``volts`` over FOOT, the generator not below its least."""
    top = higher(max(FOOT * (GENERATOR / volts - 1.0), 1.0))
    return top, volts * (top + FOOT) / FOOT


def _dividers(frame: Frame, at: Situation) -> tuple[str, ...]:
    """How so small a signal is made, where a generator has none so small."""
    if not frame.amplifier.of_kind("input"):
        return ()
    wanted = {frame.driven(at, load.channel).stimulus_volts for load in frame.amplifier.of_kind("load")}
    lines = []
    for volts in sorted(v for v in wanted if 0.0 < v < GENERATOR):
        top, set_to = divider(volts)
        figures = {"small": volts, "least": GENERATOR, "volts": set_to}
        resistors = {"top": frame.ohms_text(top), "bottom": frame.ohms_text(FOOT)}
        shown = {name: frame.volts_text(v) for name, v in figures.items()}
        lines.append(frame.words.text("rung.polarity.divider", **shown, **resistors))
    return tuple(lines)


def _gain(frame: Frame, at: Situation) -> Iterator[PlannedReading]:  # row 39
    if not frame.amplifier.of_kind("input"):
        return  # nothing says where a signal goes in (said as a finding)
    for load in frame.amplifier.of_kind("load"):
        driven = frame.driven(at, load.channel)
        key = "gain" if frame.open_loop == "open" else "gain_fixed_loop"
        yield frame.reading(
            RUNG,
            "gain",
            key,
            frame.at(load.name, "hot"),
            frame.at(load.name, "common"),
            driven,
            kind="ac volts",
            quantity="signal volts",
            owner=load.name,
            stops=(stops.least(0.1, "nothing: a stage is dead"),),
            fill={
                "volts": frame.volts_text(driven.stimulus_volts),
                "hertz": driven.stimulus_hz,
                "bypasses": _bypasses(frame, load.channel),
                "couplings": _called(
                    frame, [c for v in frame.roles.outputs if v.channel in (None, load.channel) for c in v.coupling]
                ),
            },
        )


def _bypasses(frame: Frame, channel: str | None) -> str:
    """The cathode bypasses of a channel by name."""
    smalls = [s.bypass for s in frame.roles.smalls if s.channel in (None, channel)]
    outputs = [v.bypass for v in frame.roles.outputs if v.channel in (None, channel)]
    return _called(frame, [name for name in (*smalls, *outputs) if name])


def _called(frame: Frame, parts: Iterable[str]) -> str:
    """ " (C4, C6)"; "" for none."""
    names = ", ".join(dict.fromkeys(own_name(frame.part(name)) for name in parts))
    return f" ({names})" if names else ""


def _polarity(frame: Frame, at: Situation, ohms: float) -> Iterator[PlannedReading]:  # row 40
    for loop in frame.liftable:
        load = frame.load_of_loop(loop)
        lifted = frame.driven(at, loop.channel)
        driven = lifted.but(feedback="test", test_ohms=ohms)
        if frame.physics.gain(driven, loop.channel) > frame.physics.gain(lifted, loop.channel):
            # Nothing may be expected of a loop that adds: counting valves did not show it, the solution does.
            raise AmplifierError((howls(frame.amplifier, loop),))
        yield frame.reading(
            RUNG,
            "polarity",
            "polarity",
            frame.at(load, "hot"),
            frame.at(load, "common"),
            driven,
            kind="ac volts",
            quantity="gain ratio",
            owner=load,
            fill={"ohms": frame.ohms_text(ohms)},
            stops=(
                stops.above(
                    PROVES_NOTHING, "it must fall: 0.95 and more proves nothing, a rise is the wrong way round"
                ),
            ),
        )
