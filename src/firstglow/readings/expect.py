"""From a plan of readings to what the meter must show at each of them: middle, band, stops, and what moves it.

Two ways to a band. By sampling: thousands of amplifiers through the nonlinear solution, the same ones on every rung
(JCGM 101:2008); that is what is printed. By slopes at the nominal amplifier: for anything interactive. ``compare``
puts both side by side, as clause 8 of JCGM 101 asks.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.readings.asked import Cast
from firstglow.readings.bands import common_score, marginals, shapes
from firstglow.readings.expected import ExpectedLadder, ExpectedRung
from firstglow.readings.finish import finish, found_out, limits_of, numbers
from firstglow.readings.given import Given, joint
from firstglow.readings.meters import Meter
from firstglow.readings.observe import MIDDLE, Observer
from firstglow.readings.one_cause import TO_LOOK_AT, OneCause, one_cause
from firstglow.readings.probe import PlannedReading, PlannedRung
from firstglow.readings.seen import Seen
from firstglow.readings.sheet import Bands, Sheet, as_shown, on_ranges, prepare, sample, shown_of
from firstglow.readings.side_by_side import meanwhile
from firstglow.readings.spreads import SEED, draw, settings
from firstglow.readings.stop_points import stop_points
from firstglow.readings.straight import sizes, straight

Array = NDArray[np.float64]
Mode = Literal["sampled", "fast"]

SAMPLES = 2000
# Standard deviations to the hottest valve of the spread (one in a thousand is hotter), and how many amplifiers show it
# where nothing else was sampled.
HOTTEST = 3.09
HOT_SAMPLES = 400
# Behind the same reading no healthy valve takes more times the nominal watts than this; beside a reading of nothing the quotient says
# anything.
MOST_HOT = 2.0
# Spread of watts over a reading (of its logarithm) past which slopes say nothing of it, and fewer samples than say anything.
BENT, FEW = 0.3, 10
# Two readings of one kind on one rung that are expected within this of each other are the same reading at two places.
ALIKE = 0.2
# Fewer amplifiers of the stated spreads than this settling is no basis for a band.
MOST_SETTLE = 0.98


# -- the whole -------------------------------------------------------------------------------------------------
def expect_with_sheet(
    amplifier: Amplifier,
    rungs: Sequence[PlannedRung],
    meter: Meter,
    samples: int = SAMPLES,
    seed: int = SEED,
    *,
    mode: Mode = "sampled",
    mains: float | None = None,
    mains_read: bool = True,
    observer: Observer | None = None,
) -> tuple[ExpectedLadder, Sheet]:
    """A ladder's readings with their numbers, and the sheet behind them for those who try the bands (readings.trial).

    rungs: ALL rungs of the ladder, whatever part of it is printed: the bands hold together over the whole.
    mains: V rms at the socket today (default: the highest of the rungs). mains_read: the mains are read beside each
        reading, so only that reading's own uncertainty is in the bands; False puts the socket's variation in.
    """
    observer = observer or Observer(amplifier)
    sheet = prepare(observer, rungs, meter, mains_read)
    socket = mains if mains is not None else max((r.situation.mains_volts for r in rungs), default=0.0)
    shown = frozenset(r.id for r in sheet.readings)
    with meanwhile(partial(stop_points, observer, sheet.wanted, socket, shown)) as points:
        bands = sampled_bands(sheet, meter, samples, seed) if mode == "sampled" else fast_bands(sheet, seed)
        if (past := past_the_range(sheet, bands)).any():
            sheet = on_ranges(sheet, meter, past)
            again = mode == "sampled"
            bands = sampled_bands(sheet, meter, samples, seed, bands.seen) if again else fast_bands(sheet, seed)
        made = numbers(sheet, bands.low, bands.high, meter)
        limits = limits_of(sheet, made, points, hottest(sheet, bands.seen, seed))
        done = finish(sheet, rungs, made, meter, limits, bands.seen)
        by_id = {r.id: r for rung in done for r in rung.readings}
        findings = found_out(sheet, by_id, bands, limits)
    given = None if bands.values is None else given_of(sheet, bands.values, done)
    cause = None if given is None or bands.values is None else cause_of(sheet, bands.values, done, given)
    count = samples if mode == "sampled" else 0
    return ExpectedLadder(
        amplifier.name, amplifier.digest, socket, meter, done, bands.score, count, findings, given, cause, by_id
    ), sheet


def given_of(sheet: Sheet, values: Array, rungs: Sequence[ExpectedRung]) -> Given:
    """What the readings say about each other, in the order in which they are taken."""
    number = {r.id: i for i, r in enumerate(sheet.readings)}
    # hum is mostly wiring, which no part says anything of: nothing is learned about it, nor from it
    order = [
        r.id for rung in rungs for r in rung.readings
        if r.id in number and not r.note_only and not r.planned.rest_volts and r.planned.probe.quantity != "hum volts"
    ]  # fmt: skip
    return joint(order, values[[number[name] for name in order]])


def cause_of(sheet: Sheet, values: Array, rungs: Sequence[ExpectedRung], given: Given) -> OneCause:
    """What they say together: every part of the amplifier, by what each of its spreads does to them."""
    number = {r.id: i for i, r in enumerate(sheet.readings)}
    powered = {r.id: r.planned.under_power for rung in rungs for r in rung.readings}
    rows = [number[name] for name in given.ids]
    parts = sheet.observer.amplifier.parts
    kinds = {name: part.kind for name, part in parts.items() if part.kind in TO_LOOK_AT}
    causes = [k for k, part in enumerate(sheet.found.parts) if part in kinds]
    return one_cause(
        given, [(sheet.found.parts[k], kinds[sheet.found.parts[k]]) for k in causes],
        sheet.found.sigmas[np.ix_(causes, rows)].T, values[rows], np.array([powered[name] for name in given.ids]),
    )  # fmt: skip


def shape_of(sheet: Sheet) -> Array:
    """Tail shapes (score, reading)."""
    flat = np.broadcast_to(sheet.found.uniform[:, None], sheet.found.sigmas.shape)
    return shapes(np.abs(sheet.found.sigmas), flat, sheet.groups)


def past_the_range(sheet: Sheet, bands: Bands) -> Array:
    """What the range of each reading has to show where its band ends past it [SI, at the joint]; 0 elsewhere, (reading,)."""
    edge = np.maximum(np.abs(bands.low), np.abs(bands.high))
    full = np.array([on.full for on in sheet.on])
    share = np.where(sheet.true == 0.0, 1.0, sheet.shown / np.where(sheet.true == 0.0, 1.0, sheet.true))
    past = np.where(np.isfinite(edge) & (edge > full * (1 + 1e-9)), edge / np.maximum(np.abs(share), 1e-6), 0.0)
    return np.array([max(past[k] for k in _beside(sheet, i, past)) for i in range(len(past))])


def _beside(sheet: Sheet, i: int, past: Array) -> list[int]:
    """A reading and those like it on its rung (the other valve of a pair): the same is read on the same range."""
    r = sheet.readings[i]
    mine = (r.id.split("/")[0], r.probe.kind, r.probe.quantity, sheet.on[i])
    like = [i]
    for k in np.flatnonzero(past > 0.0):
        q = sheet.readings[k]
        other = (q.id.split("/")[0], q.probe.kind, q.probe.quantity, sheet.on[k])
        if other == mine and abs(sheet.shown[k] - sheet.shown[i]) <= ALIKE * abs(sheet.shown[k]):
            like.append(int(k))
    return like


def sampled_bands(
    sheet: Sheet, meter: Meter, samples: int = SAMPLES, seed: int = SEED, seen: Seen | None = None
) -> Bands:
    """Through the nonlinear solution. seen: what an earlier run of the same amplifiers saw."""
    shape = shape_of(sheet)
    if seen is None:
        values, seen = sample(sheet, meter, draw(sheet.observer.circuit, samples, sheet.mains_width, seed))
    else:
        values = shown_of(sheet, meter, seen, samples, seed)
    values = values[:, settled(seen, samples)]
    score, shape = common_score(values, shape, sheet.groups)
    low, high = on_its_side(sheet, *marginals(values, shape, sheet.groups).band(score), values)
    return Bands(low, high, score, values, seen)


def on_its_side(sheet: Sheet, low: Array, high: Array, values: Array) -> tuple[Array, Array]:
    """The band of a size ends at nothing, give or take the meter's own counts and what the samples show: the volts of a
    sense resistor do not turn round, however wide the tail of a starved current."""
    size, centre = sizes(sheet), sheet.found.centre
    nothing = np.array([on.offset_limit for on in sheet.on])
    low = np.where(size & (centre > 0), np.maximum(low, np.minimum(-nothing, values.min(axis=1))), low)
    high = np.where(size & (centre < 0), np.minimum(high, np.maximum(nothing, values.max(axis=1))), high)
    return low, high


def settled(seen: Seen, samples: int) -> NDArray[np.bool_]:
    """Which amplifiers settled in every situation, (sample,). SolveError where so many did not that a band would lie."""
    good = np.ones(samples, dtype=bool)
    for lost in seen.unsettled.values():
        good &= ~lost
    if good.mean() < MOST_SETTLE:
        from firstglow.solver.standing import SolveError

        worst = max(seen.unsettled, key=lambda name: float(seen.unsettled[name].mean()))
        share = 100.0 * (1.0 - float(good.mean()))
        raise SolveError(
            f"reading {worst}: would not settle in {share:.0f} % of amplifiers within the stated spreads; "
            "check the spreads of the parts around it; try measured values for them",
            worst,
        )
    return good


def fast_bands(sheet: Sheet, seed: int = SEED) -> Bands:
    """By slopes."""
    shape = shape_of(sheet)
    values = straight(sheet, seed=seed)
    score, shape = common_score(values, shape, sheet.groups)
    low, high = on_its_side(sheet, *marginals(values, shape, sheet.groups).band(score), values)
    return Bands(low, high, score)


@dataclass(frozen=True, slots=True)
class Compared:
    """One reading's band by slopes beside the sampled one [SI]: middles, half widths at the same normal score."""

    id: str
    middle_fast: float
    middle_sampled: float
    half_fast: float
    half_sampled: float
    step: float

    @property
    def width_ratio(self) -> float:
        """Half width by slopes over sampled."""
        return self.half_fast / self.half_sampled if self.half_sampled else 1.0


def compare(
    sheet: Sheet, meter: Meter, samples: int = SAMPLES, seed: int = SEED, score: float = 1.96
) -> list[Compared]:
    """Slopes against samples, reading by reading (JCGM 101:2008, clause 8: validation of the GUM framework)."""
    shape = shape_of(sheet)
    values, _ = sample(sheet, meter, draw(sheet.observer.circuit, samples, sheet.mains_width, seed))
    sampled = marginals(values, shape, sheet.groups)
    fast = marginals(straight(sheet, seed=seed), shape, sheet.groups)
    (a, b), (c, d) = fast.band(score), sampled.band(score)
    return [
        Compared(r.id, float(fast.middle[i]), float(sampled.middle[i]), float(b[i] - a[i]) / 2, float(d[i] - c[i]) / 2,
                 sheet.on[i].step)
        for i, r in enumerate(sheet.readings)
    ]  # fmt: skip


def _is_hot(r: PlannedReading) -> bool:
    return any("dissipation" in s.rule for s in r.stops)


def hottest(sheet: Sheet, seen: Seen | None, seed: int) -> dict[tuple[str, str, str], float]:
    """By (reading, valve, electrode): watts behind the same reading in the hottest of the spread, over nominal."""
    hot = [replace(b, readings=tuple(r for r in b.readings if _is_hot(r))) for b in sheet.wanted]
    wanted = [b for b in hot if b.readings]
    if not wanted:
        return {}
    if seen is not None:
        return _over_nominal(sheet, seen)
    draws = draw(sheet.observer.circuit, HOT_SAMPLES, sheet.mains_width, seed)
    cast = Cast(draws.values, settings(sheet.setting, HOT_SAMPLES, seed))
    by_slopes = sheet.observer.see(wanted, cast, predict=True)
    bent = {key[0] for key in by_slopes.watts if _is_bent(sheet, by_slopes, key)}
    solved = [b for b in wanted if any(r.id in bent for r in b.readings)]
    out = _over_nominal(sheet, by_slopes)
    return out | (_over_nominal(sheet, sheet.observer.see(solved, cast)) if solved else {})


def _ratio(sheet: Sheet, seen: Seen, key: tuple[str, str, str]) -> Array:
    """Watts over what the meter shows, of one (reading, valve, electrode), where both are something (sample,)."""
    i = next((i for i, r in enumerate(sheet.readings) if r.id == key[0]), None)
    if i is None:
        return np.zeros(0)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = seen.watts[key] / np.abs(as_shown(sheet, i, seen, None))
    return np.asarray(ratio[np.isfinite(ratio) & (ratio > 0)])


def _is_bent(sheet: Sheet, seen: Seen, key: tuple[str, str, str]) -> bool:
    """Do slopes tell nothing here? Of a valve that is cut off they make volts without watts, and a ratio of anything."""
    ratio = _ratio(sheet, seen, key)
    return len(ratio) > FEW and float(np.log(ratio).std()) > BENT


def _over_nominal(sheet: Sheet, seen: Seen) -> dict[tuple[str, str, str], float]:
    """The hottest of those seen, over nominal, where both are something."""
    shown = {r.id: max(abs(float(volts)), 1e-12) for r, volts in zip(sheet.readings, sheet.shown, strict=True)}
    out = {}
    for key in seen.watts:
        ratio = _ratio(sheet, seen, key)
        middle = sheet.nominal.watts[key][MIDDLE] / shown[key[0]] if len(ratio) > FEW else 0.0
        if middle > 0:
            spread = np.log(ratio)
            hottest = float(np.exp(spread.mean() + HOTTEST * spread.std()) / middle)
            out[key] = min(max(1.0, hottest), MOST_HOT)
    return out
