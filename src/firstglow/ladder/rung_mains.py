"""Rung 0: the mains side, unplugged (rows 1 to 3 of the ladder reference)."""

from firstglow.amplifier.graph import net_of, reach
from firstglow.ladder import rung_intake, stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.places import End
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung

OPEN = 1e6  # ohm: the least an open switch may read (common practice)


def rung(frame: Frame) -> PlannedRung:
    """Bond, insulation, primary."""
    words, text = frame.words, "rung.mains_side"
    return PlannedRung(
        id="0",
        title=words.text(f"{text}.title"),
        situation=frame.unplugged(),
        stands="",
        before=_before(frame),
        readings=tuple(_readings(frame)),
        hold=Hold(False, words.text(f"{text}.hold")),
        cautions=words.lines(f"{text}.cautions"),
        watch_for=words.lines(f"{text}.watch"),
        hands_in=True,
    )


def _before(frame: Frame) -> tuple[str, ...]:
    """Unplugging comes first, then what is known of this one."""
    first, *rest = frame.words.lines("rung.mains_side.before")
    return (first, *rung_intake.lines(frame, _earthed(frame)), *rest, *_without_earth(frame))


def _earthed(frame: Frame) -> bool:
    """Does the drawing bond the inlet's earth pin to the chassis?"""
    starts = [p.leads["earth"] for p in frame.amplifier.of_kind("inlet") if "earth" in p.leads]
    return "chassis" in reach(net_of(frame.amplifier), starts, lambda b, _: b.sort == "wire")


def _without_earth(frame: Frame) -> tuple[str, ...]:
    return () if _earthed(frame) else frame.words.lines("rung.mains_side.two_wire")


def _readings(frame: Frame) -> list[PlannedReading]:
    made = [*rung_intake.rows(frame, _earthed(frame)), _bond(frame), _insulation(frame), *_primary(frame)]
    made.append(frame.look("0", "types", "types", frame.unplugged()))
    odd = [found.part for found in frame.roles.interference if not found.safety]
    if odd:
        made.append(
            frame.look(
                "0", "interference capacitors", "interference", frame.unplugged(), fill={"parts": ", ".join(odd)}
            )
        )
    return made


def _bond(frame: Frame) -> PlannedReading:  # row 1
    stop = (stops.above(stops.LEAD_OHMS, "protective bond, 0.1 ohm without the cord"),)
    if _earthed(frame):
        red, key = End("earth", "inlet, earth pin", outside=True), "bond"
    else:
        red, key = End("chassis", "bench earth clip"), "bond_two_wire"
    return frame.reading(
        "0",
        "earth bond",
        key,
        red,
        End("chassis", "bare chassis"),
        frame.unplugged(),
        kind="ohms",
        quantity="bond ohms",
        tool="bond tester",
        stops=stop,
    )


def _insulation(frame: Frame) -> PlannedReading:  # row 2
    least = rung_intake.limits_of(frame, _earthed(frame))
    return frame.reading(
        "0",
        "mains insulation",
        "insulation",
        End("line", "line and neutral, joined", outside=True),
        End("chassis", "bare chassis"),
        frame.unplugged(),
        kind="ohms",
        quantity="open ohms",
        contact="clip",
        tool="insulation tester, 500 V dc",
        stops=(stops.below(least.insulation, f"mains insulation at 500 V dc, {least.said_by}"),),
    )


def _primary(frame: Frame) -> list[PlannedReading]:  # row 3
    line, neutral = End("line", "plug, line", outside=True), End("neutral", "plug, neutral", outside=True)
    made = [
        frame.reading(
            "0",
            "primary",
            "primary",
            line,
            neutral,
            frame.unplugged(),
            kind="ohms",
            quantity="ohms",
            stops=(stops.least(1 / 3, "shorted turns or a wrong tap"), stops.most(3.0, "open with the fuse in")),
        )
    ]
    switches = [p for p in frame.amplifier.of_kind("switch") if p.words.get("role") == "mains"]
    if switches:
        made.append(
            frame.reading(
                "0",
                "primary switch off",
                "primary_off",
                line,
                neutral,
                frame.unplugged(switches_open=frozenset(p.name for p in switches)),
                kind="ohms",
                quantity="open ohms",
                stops=(stops.below(OPEN, "a path past the open switch"),),
            )
        )
    return made
