"""The ladder as one JSON document: plan, numbers, what is live, and how each rung is made safe (CONTRACTS.md)."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from firstglow.amplifier import situation_to_json
from firstglow.amplifier.bench import Bench
from firstglow.amplifier.mains_mark import mains_refused
from firstglow.amplifier.model import Amplifier, AmplifierError, Problem
from firstglow.amplifier.situation import Situation
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.charts import with_charts
from firstglow.ladder.frame import Frame
from firstglow.ladder.gear import gear_of
from firstglow.ladder.live import live
from firstglow.ladder.make_safe import MakeSafe, make_safe
from firstglow.ladder.overloads import as_it_stands, overloads
from firstglow.ladder.plan import frame_of, plan_frame
from firstglow.ladder.stands import differs, lamp_here, stands
from firstglow.readings.expect import SAMPLES, Mode, expect_with_sheet
from firstglow.readings.expected import ExpectedLadder, ExpectedRung
from firstglow.readings.meters import meter_from_table, meter_named
from firstglow.readings.observe import Observer
from firstglow.readings.probe import PlannedReading, PlannedRung
from firstglow.readings.sheet import Sheet
from firstglow.readings.side_by_side import meanwhile
from firstglow.readings.spreads import SEED

R = TypeVar("R", PlannedRung, ExpectedRung)


@dataclass(frozen=True, slots=True)
class Ladder:
    """A whole first power-up. expected: plan and numbers; sheet: what stands behind them (readings.trial plants faults
    on it); document: the JSON of CONTRACTS.md."""

    frame: Frame
    expected: ExpectedLadder
    sheet: Sheet
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Danger:
    """What of a rung is live, and how it is made safe afterwards."""

    live: list[dict[str, Any]]
    safe: MakeSafe


def dangers_of(frame: Frame, rungs: Sequence[PlannedRung]) -> list[Danger]:
    """Of each rung; no reading's figure is in it."""
    situations = [situations_of(rung) for rung in rungs]
    safes = make_safe(frame, situations)
    return [Danger(live(frame, at), safe) for at, safe in zip(situations, safes, strict=True)]


def document(
    frame: Frame,
    expected: ExpectedLadder,
    rungs: Sequence[ExpectedRung] | None = None,
    dangers: Sequence[Danger] | None = None,
) -> dict[str, Any]:
    """The JSON of CONTRACTS.md. rungs: those that are printed (default: all); dangers: of each, where they are known."""
    rungs = expected.rungs if rungs is None else rungs
    dangers = dangers_of(frame, [rung.planned for rung in rungs]) if dangers is None else dangers
    coarse = expected.past_the_meter
    return {
        "amplifier": expected.amplifier,
        "drawing": frame.amplifier.drawing,
        "digest": expected.digest,
        "mains": expected.mains,
        "meter": expected.meter.name,
        "findings": [*((coarse,) if coarse else ()), *frame.findings, *expected.findings],
        "rungs": [rung_json(frame, rung, danger) for rung, danger in zip(rungs, dangers, strict=True)],
    }


def chosen(rungs: Iterable[R], first: str | None, last: str | None, file: str = "") -> list[R]:
    """The rungs from ``first`` to ``last``, both in; "6" means 6a and 6b. AmplifierError for one that is not there."""
    every = list(rungs)
    ids = [r.id for r in every]
    start = next((n for n, i in enumerate(ids) if first is not None and _is(i, first)), 0)
    stop = next((n for n in reversed(range(len(ids))) if last is not None and _is(ids[n], last)), len(ids) - 1)
    for name in (first, last):
        if name is not None and not any(_is(i, name) for i in ids):
            raise AmplifierError(
                (Problem(file, 1, f"rung {name}", "not on this ladder", f"one of {', '.join(ids)}", ids[0]),)
            )
    if start > stop:
        found, allowed = f"from {first} to {last}", f"the first before the last: {', '.join(ids)}"
        raise AmplifierError((Problem(file, 1, "rungs", found, allowed, f"--from {last} --to {first}"),))
    return every[start : stop + 1]


def _is(rung: str, name: str) -> bool:
    return rung == name or rung.rstrip("abcdefgh") == name


def situations_of(rung: PlannedRung) -> list[Situation]:
    """The rung's situation and those of its readings, each once."""
    every = [rung.situation, *(r.situation for r in rung.readings)]
    return [at for n, at in enumerate(every) if at not in every[:n]]


def rung_json(frame: Frame, rung: ExpectedRung, danger: Danger) -> dict[str, Any]:
    """One RUNG."""
    planned = rung.planned
    return {
        "id": planned.id,
        "title": planned.title,
        "before": list(planned.before),
        "situation": situation_to_json(planned.situation, planned.stands or stands(frame, planned.situation)),
        "live": danger.live,
        "cautions": list(planned.cautions),
        "wait_seconds": planned.wait_seconds,
        "wait_why": planned.wait_why,
        "watch_for": list(planned.watch_for),
        "readings": [
            {
                **reading.json(own_situation(frame, planned, reading.planned)),
                "clip_group": group,
                "check_first": list(reading.planned.check_first),
            }
            for reading, group in zip(rung.readings, clip_groups(planned, frame.gear.meters), strict=True)
        ],
        "make_safe": danger.safe.json(),
        "hands_in": planned.hands_in,
        "hold": {"signed": planned.hold.signed, "needs": list(planned.hold.needs), "text": planned.hold.text},
        "dial": planned.dial_ceiling,
    }


def own_situation(frame: Frame, rung: PlannedRung, reading: PlannedReading) -> dict[str, Any]:
    """What a reading's situation has that its rung's has not, with the same in words; empty where nothing."""
    ours, rungs = situation_to_json(reading.situation), situation_to_json(rung.situation)
    delta = {key: value for key, value in ours.items() if value != rungs[key]}
    if not delta:
        # a row that stands as its rung does still says so where the lamp was otherwise in the row before it
        changed = _lamp_changes(rung, reading)
        return {"lamp_watts": ours["lamp_watts"], "text": lamp_here(frame, reading.situation)} if changed else {}
    text = differs(frame, rung.situation, reading.situation)
    # an idle names presets of both channels: each keeps its channel
    short = reading.channel and not reading.situation.idle
    return {**delta, "text": text.replace(f"{reading.channel} ", "") if short else text}


def _lamp_changes(rung: PlannedRung, reading: PlannedReading) -> bool:
    """Was another lamp in the line, or none, for the row under power before this one?"""
    number, here = rung.readings.index(reading), reading.situation
    if not number or not here.mains_volts:
        return False
    before = rung.readings[number - 1].situation
    return before.mains_volts > 0.0 and before.lamp_watts != here.lamp_watts


def clip_groups(rung: PlannedRung, meters: int) -> list[int | None]:
    """For each reading, which time clips are put on it is read: as many at once as there are meters, each group with hands
    outside; None where no clip is needed. A meter whose two clips are on already reads the same two places again, minutes
    later or with the idle turned up; no preset is turned with a meter still on what was read before it. A probe held in
    one hand has a meter in its group whose black is clipped from the start: nobody moves a black clip, or takes a red one
    off, under power."""
    groups: list[int | None] = []
    number = 0
    state: tuple[object, ...] | None = None
    clipped: set[tuple[object, ...]] = set()
    held: set[str] = set()
    idle: object = None
    for reading in rung.readings:
        if reading.contact not in ("clip", "one hand") or reading.situation.mains_volts == 0.0:
            groups.append(None)
            continue
        hand = reading.contact == "one hand"
        here, black = hands(reading.situation), reading.black_at
        probe = reading.probe
        pair = (reading.red_at, black, probe.kind, probe.quantity == "peak volts", probe.series_ohms)
        free = len(clipped) + len(held) < meters
        there = black in held if hand else pair in clipped
        turned = reading.situation.idle not in ({}, idle)
        if not ((there or (free and not turned)) and state == here):
            number, state, clipped, held = number + 1, here, set(), set()
        idle = reading.situation.idle
        if hand:
            held.add(black)
        else:
            clipped.add(pair)
        groups.append(number)
    return groups


def hands(at: Situation) -> tuple[object, ...]:
    """What of a situation changes with the plug out: what only hands inside can change, and the lamp, which stands in the
    live line. Dial, generator and switches are outside the chassis, and the idle is turned through the controls' own holes.
    """
    return (
        at.out,
        at.lifted,
        tuple(sorted(at.pots.items())),
        at.feedback,
        at.test_ohms,
        tuple(sorted(at.loads.items())),
        at.load if at.mains_volts > 0.0 else "",
        at.lamp_watts if at.mains_volts > 0.0 else None,
    )


def build(
    amplifier: Amplifier,
    bench: Bench | None = None,
    mains_now: float | None = None,
    meter: str | None = None,
    from_rung: str | None = None,
    to_rung: str | None = None,
    *,
    mode: Mode = "sampled",
    samples: int = SAMPLES,
    seed: int = SEED,
) -> Ladder:
    """The first power-up of one amplifier on one bench.

    mains_now [V rms]: at the socket today (default: the bench's, else the amplifier's own). meter: its name on the
    bench (default: the bench's first, else the usual digital one). mode, samples, seed: as ``readings.expect`` has
    them. Raises AmplifierError for a set that no ladder may be made for and for a rung that is not there,
    ReadingsError for a meter that is not there, SolveError where the amplifier would not settle.
    """
    bench = bench or Bench()
    meters = {name: meter_from_table(name, table, bench.file) for name, table in bench.meters.items()}
    reads = meter_named(meter or next(iter(meters), "digital"), meters)
    volts = mains_now or bench.mains_now or amplifier.mains_volts
    refused = mains_refused(amplifier, volts)
    if refused is not None:
        raise AmplifierError((refused,))
    if not bench.lamps:
        found = "lamps = []: every first rung under power goes through a limiter lamp, dial or no dial"
        raise AmplifierError((Problem(bench.file, 1, "bench", found, "one lamp or more", 'lamps = ["60W", "100W"]'),))
    observer = Observer(amplifier)
    physics = SolverPhysics(amplifier, observer=observer)
    frame = frame_of(amplifier, gear_of(bench, reads, volts), physics)
    frame.look_ahead(as_it_stands(amplifier))
    frame.overloaded = overloads(amplifier, physics)
    rungs = plan_frame(frame)
    printed = chosen(rungs, from_rung, to_rung, amplifier.file)
    with meanwhile(partial(dangers_of, frame, printed)) as dangers:
        expected, sheet = expect_with_sheet(
            amplifier, rungs, reads, samples, seed, mode=mode, mains=volts, observer=observer
        )
        shown = chosen(expected.rungs, from_rung, to_rung, amplifier.file)
        made = with_charts(document(frame, expected, shown, dangers()), amplifier, expected, observer)
    return Ladder(frame, expected, sheet, made)
