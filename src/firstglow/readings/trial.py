"""What the bands are worth: healthy amplifiers that pass the whole ladder, and planted faults that it sees.

Both judge thousands of amplifiers by the same limits that a person's readings are judged by, in arrays.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.faults import FaultCase
from firstglow.amplifier.situation import Fault
from firstglow.readings.asked import Cast
from firstglow.readings.expected import ExpectedLadder, ExpectedReading
from firstglow.readings.finish import glow_word
from firstglow.readings.meters import loaded
from firstglow.readings.observe import Observer
from firstglow.readings.seen import Seen
from firstglow.readings.sheet import Sheet
from firstglow.readings.spreads import Draws, MeterErrors, on_meter, settings

Array = NDArray[np.float64]
Codes = NDArray[np.int8]

GO_ON, LOOK_FIRST, SWITCH_OFF = 0, 1, 2
# Rounding of a reading's own step: a figure on the limit is inside it.
_EDGE = 1e-9


@dataclass(frozen=True, slots=True)
class Judged:
    """Verdicts in arrays.

    ids: (reading,). codes: (reading, sample): 0 go on, 1 look first, 2 switch off now. misfit: (reading, sample) True where a
    reading does not fit those before it, or leans with them like one part that is off.
    """

    ids: tuple[str, ...]
    codes: Codes
    misfit: NDArray[np.bool_]

    @property
    def alarms(self) -> NDArray[np.bool_]:
        """(reading, sample): any verdict but go on."""
        return (self.codes > GO_ON) | self.misfit


def readings_of(ladder: ExpectedLadder) -> list[ExpectedReading]:
    """Every reading that a meter or a lamp answers, in order."""
    return [r for r in ladder.readings() if r.kind != "look"]


def show(ladder: ExpectedLadder, sheet: Sheet, seen: Seen, cast: Cast, seed: int) -> dict[str, Array]:
    """What the meter shows, by reading id (sample,), true values for lamps."""
    source = {r.id: sheet.source_ohms[i] for i, r in enumerate(sheet.readings)}
    of = cast.of or cast.samples
    errors = MeterErrors(ladder.meter.name, of, seed)
    numbers = cast.numbers if cast.of else np.arange(cast.samples)
    out = {}
    for r in readings_of(ladder):
        value = seen.values.get(r.id)
        if value is None:
            continue
        if r.on is None:
            out[r.id] = value
            continue
        ohms = seen.source_ohms.get(r.id)
        behind = source.get(r.id, 0.0) if ohms is None else ohms + r.planned.probe.series_ohms
        through = loaded(value, behind, r.on.input_ohms)
        out[r.id] = on_meter(through, errors.gain(r.on)[numbers], errors.offset(r.on, r.id)[numbers], r.on)
    return out


def judge(ladder: ExpectedLadder, shown: dict[str, Array], powered: bool = False) -> Judged:
    """Every reading of every amplifier against its band and its stops. powered: those read under power alone, as if nobody had
    read anything unplugged."""
    rows = [r for r in readings_of(ladder) if r.id in shown and (r.planned.under_power or not powered)]
    samples = len(next(iter(shown.values())))
    codes = np.zeros((len(rows), samples), dtype=np.int8)
    for i, r in enumerate(rows):
        codes[i] = _codes(r, shown[r.id])
    return Judged(tuple(r.id for r in rows), codes, _misfit(ladder, rows, shown, codes))


def _misfit(
    ladder: ExpectedLadder, rows: Sequence[ExpectedReading], shown: dict[str, Array], codes: Codes
) -> NDArray[np.bool_]:
    """Which readings do not fit those before them, (reading, sample)."""
    out = np.zeros(codes.shape, dtype=bool)
    number = {r.id: i for i, r in enumerate(rows)}
    if ladder.given is None:
        return out
    read = np.array([name in number for name in ladder.given.ids])
    given, cause = ladder.given.only(read), ladder.cause.only(read)
    at = np.array([number[name] for name in given.ids])
    values = np.array([shown[name] for name in given.ids])
    sound = (codes[at] == GO_ON) & np.isfinite(values)
    t = (values - given.middle[:, None]) / given.sigma[:, None]
    out[at] = given.misfits(t, sound)
    out[at[list(cause.gates)]] |= cause.leaning(t, sound & ~out[at])
    return out


def _codes(r: ExpectedReading, value: Array) -> Codes:
    """One reading's verdicts, (sample,)."""
    out = np.zeros(len(value), dtype=np.int8)
    if r.on is None:
        bad = np.array([glow_word(float(v)) not in r.words for v in value])
        out[bad & (not r.note_only)] = LOOK_FIRST
        return out
    edge = _EDGE + 1e-9 * r.on.step
    low = -np.inf if r.low is None else r.low - edge
    high = np.inf if r.high is None else r.high + edge
    missing = ~np.isfinite(value)
    if r.hidden:
        out[:] = LOOK_FIRST  # no figure of this meter passes it
    if not r.note_only:
        out[(value < low) | (value > high)] = LOOK_FIRST
        out[missing & (r.high is not None)] = LOOK_FIRST
    if r.stop_below is not None:
        out[value < r.stop_below.limit - edge] = SWITCH_OFF
    if r.stop_above is not None:
        out[value > r.stop_above.limit + edge] = SWITCH_OFF
    return out


@dataclass(frozen=True, slots=True)
class Healthy:
    """passed: share of healthy amplifiers that pass everything; in_bands: share inside bands and stops, whatever the
    readings say about each other. worst: (reading id, share it alarms), most first."""

    samples: int
    passed: float
    in_bands: float
    worst: tuple[tuple[str, float], ...]


def healthy(ladder: ExpectedLadder, sheet: Sheet, draws: Draws, observer: Observer | None = None) -> Healthy:
    """Amplifiers of ``draws`` up the whole ladder. observer: whose physics they have (a second valve law, say)."""
    cast = Cast(draws.values, settings(sheet.setting, draws.samples, draws.seed))
    seen = (observer or sheet.observer).see_side_by_side(sheet.wanted, cast, ohms_for=lambda r: True)
    judged = judge(ladder, show(ladder, sheet, seen, cast, draws.seed))
    alarms = judged.alarms
    rates = sorted(zip(judged.ids, alarms.mean(axis=1), strict=True), key=lambda pair: -pair[1])
    worst = tuple((name, float(rate)) for name, rate in rates if rate > 0)[:12]
    return Healthy(
        draws.samples, float((~alarms.any(axis=0)).mean()),
        float((judged.codes == GO_ON).all(axis=0).mean()), worst,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Case:
    """One planted fault, in amplifier ``sample`` of the population."""

    fault: Fault
    sample: int


@dataclass(frozen=True, slots=True)
class Sick:
    """What the ladder made of one planted fault.

    powered: seen by the powered readings, had nobody read anything unplugged; anyhow: by all of them. alone: by some reading's
    own band or stop, whatever the readings before it say; alone_powered: likewise by powered ones. stopped: some verdict was
    switch off now. first: id of the first reading that it alarms, None where nothing does. unsolved: some situation would not
    settle.
    """

    case: Case
    powered: bool
    anyhow: bool
    alone: bool
    alone_powered: bool
    stopped: bool
    first: str | None
    unsolved: bool


def sick(ladder: ExpectedLadder, sheet: Sheet, draws: Draws, cases: Sequence[Case]) -> list[Sick]:
    """Every case up the whole ladder. Seen: a verdict but go on that the same amplifier healthy does not give."""
    numbers = np.array([c.sample for c in cases])
    setting = settings(sheet.setting, draws.samples, draws.seed)
    bare = _cast(draws, setting, np.unique(numbers), ())
    ill = _cast(draws, setting, numbers, tuple((c.fault,) for c in cases))
    bare_shown, ill_shown = (_shown(ladder, sheet, cast, draws.seed) for cast in (bare, ill))
    lost = ill_shown[1]
    column = {int(n): k for k, n in enumerate(bare.numbers)}
    mine = [column[int(n)] for n in numbers]
    before, after = judge(ladder, bare_shown[0]), judge(ladder, ill_shown[0])
    new = after.alarms & ~before.alarms[:, mine]
    hot_before, hot_after = (judge(ladder, shown, powered=True) for shown in (bare_shown[0], ill_shown[0]))
    hot = hot_after.alarms & ~hot_before.alarms[:, mine]
    alone = (after.codes > GO_ON) & ~(before.codes > GO_ON)[:, mine]
    hot_alone = (hot_after.codes > GO_ON) & ~(hot_before.codes > GO_ON)[:, mine]
    out = []
    for k, case in enumerate(cases):
        alarmed = np.flatnonzero(new[:, k])
        first = after.ids[int(alarmed[0])] if len(alarmed) else None
        out.append(
            Sick(
                case,
                bool(hot[:, k].any()),
                bool(new[:, k].any()),
                bool(alone[:, k].any()),
                bool(hot_alone[:, k].any()),
                bool((after.codes[new[:, k], k] == SWITCH_OFF).any()),
                first,
                bool(lost[k]),
            )
        )
    return out


def _cast(
    draws: Draws, setting: dict[str, Array], numbers: NDArray[np.int64], each: tuple[tuple[Fault, ...], ...]
) -> Cast:
    chosen = {v: s[numbers] for v, s in setting.items()}
    return Cast(draws.values[:, numbers], chosen, each, draws.samples, numbers)


def _shown(ladder: ExpectedLadder, sheet: Sheet, cast: Cast, seed: int) -> tuple[dict[str, Array], NDArray[np.bool_]]:
    """(what the meter shows, (sample,) where the standing solution of some block would not settle)."""
    seen = sheet.observer.see(sheet.wanted, cast, ohms_for=lambda r: True)
    lost = np.zeros(cast.samples, dtype=bool)
    for mask in seen.unsettled.values():
        lost |= mask
    return show(ladder, sheet, seen, cast, seed), lost


def has_law(mode: str) -> bool:
    """Is there a law for the valve that this fault puts in? True for every other fault."""
    from firstglow.devices.catalogue import DeviceError, valve_type

    word, _, kind = mode.partition("=")
    if word != "wrong type":
        return True
    try:
        valve_type(kind)
    except DeviceError:
        return False
    return True


def cases(faults: Iterable[FaultCase], samples: int, each: int = 2, seed: int = 1) -> list[Case]:
    """``each`` cases of every fault (``amplifier.faults.FaultCase``), severities log-uniform, amplifiers at random.

    A wrong type of which no law is known cannot be tried and is left out.
    """
    rng = np.random.default_rng(seed)
    made = []
    for f in faults:
        if not has_law(f.mode):
            continue
        count = each if f.high else 1
        # evenly spread severities with a random offset: every part of the range is tried
        made += [Case(f.at((k + rng.random()) / count), int(rng.integers(samples))) for k in range(count)]
    return made
