"""Rung 2, in two stages: the mains transformer alone at about 30 % and then up to today's mains (rows 12 to 16)."""

from collections.abc import Iterator
from dataclasses import replace

from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import Supply
from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.ladder.kinds import kind_lines
from firstglow.ladder.legs import legs, winding_ends
from firstglow.ladder.make_safe import plug_lines
from firstglow.ladder.rows import REFERRED, WRONG, heaters
from firstglow.readings.probe import Beside, Hold, PlannedReading, PlannedRung

EARLY, MIDDLE = 0.30, 0.65
STEP, FULL, UNKNOWN = 120.0, 900.0, 3600.0  # s: a step; a known transformer; one rewound or suspected
LEGS = 0.05  # of a leg (common practice)
SIDES = 0.3  # each side of a heater line is half of it, near enough


def rungs(frame: Frame) -> list[PlannedRung]:
    """2a at about 30 % of the mains, 2b at 65 % and at full."""
    return [early(frame), full(frame)]


def early(frame: Frame) -> PlannedRung:
    """The first powered rung: lamp, heaters, legs and the sign of the bias while everything is still small."""
    words, lamp = frame.words, frame.first_lamp
    dialled = frame.gear.variable_transformer
    at = frame.alone(EARLY) if dialled else frame.alone(lamp_watts=lamp)
    lifts = sorted(frame.ht_lifts)
    ends = "end" if len(lifts) == 1 else "ends"
    lift = words.text("rung.early.lift", links=", ".join(lifts), ends=ends) if lifts else ""
    key = "rung.early" if dialled else "rung.early_lamps"
    fill = {"percent": f"{100 * EARLY:.0f}", "lamp": lamp, "volts": at.mains_volts, "lift": lift}
    readings = [
        *_lamp(frame, "2a", (EARLY if dialled else 1.0,)),
        *windings(frame, "2a", at),
        *bias_sign(frame, "2a", at),
    ]
    return PlannedRung(
        id="2a",
        title=words.text(f"{key}.title", **fill),
        situation=at.but(lamp_watts=lamp),
        stands="",
        before=words.lines("rung.early.before_all", **fill)
        + words.lines(f"{key}.before", **fill)
        + kind_lines(frame, "early"),
        readings=tuple(readings),
        hold=Hold(False, words.text("rung.early.hold")),
        cautions=words.lines("rung.early.cautions") + plug_lines(frame),
        watch_for=words.lines("rung.early.watch"),
        wait_seconds=STEP,
        wait_why=words.text("rung.early.wait_why"),
        dial_ceiling=frame.dial_of(at),
    )


def full(frame: Frame) -> PlannedRung:
    """Today's mains, long enough for a shorted turn to warm."""
    words, at = frame.words, frame.alone()
    wait = UNKNOWN if frame.gear.unknown_transformer else FULL
    longer = words.text("rung.transformer.longer") if frame.gear.unknown_transformer else ""
    fill = {"middle": frame.volts(MIDDLE), "volts": at.mains_volts, "lamp": frame.running_lamp}
    key = "before" if frame.gear.variable_transformer else "before_lamps"
    return PlannedRung(
        id="2b",
        title=words.text("rung.transformer.title"),
        situation=at,
        stands="",
        before=words.lines(f"rung.transformer.{key}", **fill),
        readings=(*_lamp(frame, "2b", (MIDDLE, 1.0)), *_warm(frame), *windings(frame, "2b", at)),
        hold=Hold(False, words.text("rung.transformer.hold")),
        cautions=words.lines("rung.transformer.cautions"),
        watch_for=words.lines("rung.early.watch"),
        wait_seconds=wait,
        wait_why=words.text("rung.transformer.wait_why", longer=longer),
        dial_ceiling=1.0,
    )


def _lamp(frame: Frame, rung: str, dials: tuple[float, ...]) -> Iterator[PlannedReading]:  # row 12
    """Glow and mains current at each stage of the dial."""
    for dial in dials if frame.gear.variable_transformer else dials[-1:]:
        at = frame.alone(dial, lamp_watts=frame.first_lamp if rung == "2a" else frame.running_lamp)
        word, where = f"at {100 * dial:.0f} %", frame.stage(dial)
        yield frame.bench(
            rung, f"lamp {word}", "lamp", at, kind="lamp", quantity="lamp", expect_word="dark", fill={"where": where}
        )
        # a short shows in amps before a large lamp glows: the lamp is still in while the dial goes up
        yield amps(frame, rung, at if dial < 1.0 or rung == "2a" else frame.alone(dial), word, where)


def amps(frame: Frame, rung: str, at: Situation, word: str, where: str, settle_seconds: float = 0.0) -> PlannedReading:
    """Mains current at the bench's ammeter, in line."""
    return frame.bench(
        rung,
        f"mains amps {word}",
        "mains_amps",
        at,
        kind="ac amps",
        quantity="mains amps",
        stops=(stops.most(2.0, "twice the computed no-load current"),),
        remark=_guessed(frame) if rung == "2b" and word == "at 100 %" else "",
        fill={"where": where},
        settle_seconds=settle_seconds,
    )


def _guessed(frame: Frame) -> str:
    """Where the no-load current is nobody's figure, its stop says so, and how it becomes one."""
    used = next((d for d in frame.amplifier.defaults if d.what == "magnetising_amps"), None)
    if used is None:
        return ""
    lifts = frame.words.text("rung.note.guess_lifts") if frame.ht_lifts else ""
    return frame.words.text("rung.note.guess", part=used.part, guess=used.value, lifts=lifts, example="38mA")


def _warm(frame: Frame) -> Iterator[PlannedReading]:
    minutes = round((UNKNOWN if frame.gear.unknown_transformer else FULL) / 60)
    when = frame.words.text("rung.note.after", minutes=minutes)
    yield amps(frame, "2b", frame.alone(), "after the wait", when, 60.0 * minutes)
    yield frame.look("2b", "frame warmth", "frame", frame.alone())


def windings(frame: Frame, rung: str, at: Situation) -> Iterator[PlannedReading]:
    """Every heater, leg and bias winding at these mains."""
    yield from heaters(frame, rung, at, frame.envelopes)  # rows 13, 14
    yield from _sides(frame, rung, at)
    for supply in frame.supplies("ht"):
        yield from _legs(frame, rung, at, supply)  # row 15
    for supply in frame.negatives:
        if not frame.shares_ht_winding(supply):
            yield from _bias_winding(frame, rung, at, supply)  # row 16


def _sides(frame: Frame, rung: str, at: Situation) -> Iterator[PlannedReading]:  # row 13
    """Each side of a heater line that is referred to chassis, at the first socket on it."""
    for line in frame.roles.heater_windings:
        if line.reference not in REFERRED:
            continue
        for joint in line.joints:
            end = frame.heater_end(joint, line.envelopes)
            yield frame.reading(
                rung,
                f"{joint} to chassis",
                "heater_side",
                end,
                frame.joint("chassis"),
                at,
                kind="ac volts",
                stops=stops.within(SIDES, "no reference, or one side grounded"),
                fill={"side": end.text.partition(" (")[0]},
            )


def _legs(frame: Frame, rung: str, at: Situation, supply: Supply) -> Iterator[PlannedReading]:
    found = legs(frame, supply)
    for n, (hot, centre, owner) in enumerate(found, 1):
        made = frame.reading(
            rung,
            f"{supply.name} leg {n}",
            "ht_leg",
            hot,
            centre,
            at,
            kind="ac volts",
            contact="clip",
            stops=stops.within(LEGS, "legs apart, or tap and end exchanged"),
            fill={"n": n, "valve_name": owner},
        )
        yield replace(made, beside=Beside("halves", frame.reading_id(rung, f"{supply.name} leg {3 - n}", None)))
    ends = None if found else winding_ends(frame, supply)
    if ends is not None:
        hot, cold = ends
        yield frame.reading(
            rung,
            f"{supply.name} winding",
            "ht_end",
            hot,
            cold,
            at,
            kind="ac volts",
            contact="clip",
            stops=stops.within(WRONG, "open, or the wrong tap"),
        )


def _bias_winding(frame: Frame, rung: str, at: Situation, supply: Supply) -> Iterator[PlannedReading]:
    ends = winding_ends(frame, supply)
    if ends is None:
        return
    hot, cold = ends
    yield frame.reading(
        rung,
        f"{supply.name} winding",
        "bias_winding",
        hot,
        cold,
        at,
        kind="ac volts",
        contact="clip",
        stops=stops.within(WRONG, "open, or the wrong tap"),
        fill={"at": hot.text},
    )


def bias_sign(frame: Frame, rung: str, at: Situation) -> Iterator[PlannedReading]:  # row 18, its first look
    """The bias reservoir is negative before it ever sees full volts: a reversed rectifier shows itself here."""
    for supply in frame.negatives:
        yield bias_reservoir(frame, rung, at, supply)


def bias_reservoir(frame: Frame, rung: str, at: Situation, supply: Supply) -> PlannedReading:
    """Dc at the hot end of the bias reservoir."""
    limits = (
        stops.sign(supply.sign > 0, "a bias rectifier the wrong way round"),
        stops.least(0.5, "half of it is missing"),
    )
    known = supply.reservoir if supply.reservoir in frame.rated else None
    # under full dial: what stands here stands in proportion at full
    capacitor = (stops.rating(known, frame.dial_of(at)),) if known is not None else ()
    return frame.reading(
        rung,
        f"{supply.name} reservoir",
        "bias_dc",
        frame.joint(supply.joint),
        frame.joint(supply.ret),
        at,
        stops=limits + capacitor,
        fill={"part": supply.reservoir or supply.joint},
    )
