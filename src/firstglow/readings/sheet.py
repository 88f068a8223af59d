"""All numeric readings of a ladder in one order, with everything that does not depend on a sample."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.readings.apart import HEADROOM, Apart, Ground
from firstglow.readings.asked import COLD, Block, Cast, blocks
from firstglow.readings.meters import RATIO_OVER, Meter, Range, loaded, ratio_of
from firstglow.readings.observe import MIDDLE, Observer
from firstglow.readings.probe import PlannedReading, PlannedRung
from firstglow.readings.seen import Seen
from firstglow.readings.slopes import Moved, moved, with_meter
from firstglow.readings.spreads import Draws, MeterErrors, columns, mains_read_width, settings

Array = NDArray[np.float64]

# Meter loading below this part of the reading is taken as the same in every amplifier of the spread: behind parts of
# 10 % it then moves the reading by a few thousandths at most, beside bands of several per cent.
SMALL_LOADING = 0.03
# Twins are one reading if their nominals agree to this part.
TWIN = 1e-6
# And in standard deviations: 2000 samples tell a middle to 2.2 % of one and a standard deviation to 1.6 % of itself (1/sqrt(n),
# 1/sqrt(2 n)); what differs by less (halves of a primary of 80 and 85 ohm behind 100 kohm of plate) they say nothing of.
TOLD = 0.01
# Standard deviations from nominal that a range has to show: as far as the bands reach, or a healthy amplifier reads OL.
RANGE_SIGMAS = 3.5


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything about the numeric readings of a ladder, in one order.

    found, raw: how far each spread moves each reading, as the meter shows it and at the joints.
    on, source_ohms, shown: range, Thevenin ohms and nominal shown value, (reading,). groups: twins by number.
    grounds: what each range was chosen on, (reading,).
    """

    observer: Observer
    wanted: tuple[Block, ...]
    readings: tuple[PlannedReading, ...]
    on: tuple[Range, ...]
    true: Array
    source_ohms: Array
    shown: Array
    groups: tuple[int, ...]
    found: Moved
    raw: Moved
    mains_width: float
    setting: Mapping[str, float]
    nominal: Seen
    grounds: tuple[Ground, ...] = ()


@dataclass(frozen=True, slots=True)
class Bands:
    """low, high: (reading,) [SI]. score: common normal score. values: (reading, sample) shown, seen: None by slopes."""

    low: Array
    high: Array
    score: float
    values: Array | None = None
    seen: Seen | None = None


def is_numeric(r: PlannedReading) -> bool:
    """A reading with a figure and a band of its own."""
    return r.probe.quantity not in {"look", "lamp", "open ohms", "bond ohms"}


def prepare(observer: Observer, rungs: Sequence[PlannedRung], meter: Meter, mains_read: bool = True) -> Sheet:
    """Nominal answers at MAINS_STEPS, ranges, slopes."""
    planned = [r for rung in rungs for r in rung.readings]
    wanted = blocks(planned)
    nominal = observer.see(wanted, Cast(observer.mains_steps), ohms_for=lambda r: True, remember=MIDDLE)
    wanted = no_false_opens(wanted, nominal)
    numeric = tuple(r for b in wanted for r in b.readings if is_numeric(r) and r.id in nominal.values)
    true = np.array([float(nominal.values[r.id][MIDDLE]) for r in numeric])
    source = np.array([source_of(r, nominal) for r in numeric])
    grounds = tuple(
        ground_of(r, float(t), float(s), highest(r, numeric, true))
        for r, t, s in zip(numeric, true, source, strict=True)
    )
    on, shown = ranges(numeric, true, source, meter, grounds)
    # an open circuit is no figure: what the meter cannot show is judged as open
    keep = [i for i, r in enumerate(numeric) if not (r.probe.quantity in COLD and true[i] > on[i].full)]
    numeric, on = tuple(numeric[i] for i in keep), tuple(on[i] for i in keep)
    grounds = tuple(grounds[i] for i in keep)
    true, source, shown = true[keep], source[keep], shown[keep]
    width = mains_width(observer, wanted, meter, mains_read)
    targets = idle_settings(observer.amplifier, wanted)
    raw = moved(observer, wanted, numeric, columns(observer.circuit, width), targets)
    bare = Sheet(
        observer, wanted, numeric, on, true, source, shown, (), raw, raw, width, targets, nominal, grounds
    )  # fmt: skip
    return on_ranges(bare, meter, np.zeros(len(numeric)))


def on_ranges(sheet: Sheet, meter: Meter, least: Array) -> Sheet:
    """The same readings on ranges that show ``least`` (reading,) [SI, at the joints] and what healthy amplifiers show."""
    reach = RANGE_SIGMAS * np.sqrt((sheet.raw.sigmas**2).sum(axis=0))
    reach = np.maximum(np.nan_to_num(reach), least - np.abs(sheet.true))
    on, shown = ranges(sheet.readings, sheet.true, sheet.source_ohms, meter, sheet.grounds, reach)
    after = np.array([loaded(1.0, s, r.input_ohms) for s, r in zip(sheet.source_ohms, on, strict=True)])
    found = with_meter(sheet.raw, on, shown, after)
    return replace(sheet, on=on, shown=shown, found=found, groups=twins(sheet.readings, shown, on, found))


def no_false_opens(wanted: Sequence[Block], nominal: Seen) -> tuple[Block, ...]:
    """The same blocks, with what was planned as an open circuit and is none by the drawing read as plain ohms.

    A bleeder or a grounded common makes a path where a broken insulation would: the path's ohms are what is expected,
    and the limit for an open circuit says nothing.
    """

    def real(r: PlannedReading) -> PlannedReading:
        limit = open_limit(r)
        if limit is None or nominal.values[r.id][MIDDLE] >= limit:
            return r
        stops = tuple(s for s in r.stops if s.rule != "fixed")
        return replace(r, probe=replace(r.probe, quantity="ohms"), stops=stops)

    return tuple(Block(b.key, b.situation, tuple(real(r) for r in b.readings)) for b in wanted)


def open_limit(r: PlannedReading) -> float | None:
    """The least that a planned open circuit may show; None for any other reading."""
    if r.probe.quantity != "open ohms":
        return None
    return next((s.limit for s in r.stops if s.rule == "fixed" and s.limit is not None), None)


def mains_width(observer: Observer, wanted: Sequence[Block], meter: Meter, mains_read: bool) -> float:
    """Half width of the mains as a fraction: of their reading, or of the socket where nobody reads them."""
    top = max((b.situation.mains_volts for b in wanted), default=0.0)
    if mains_read and top > 0:
        return mains_read_width(top, meter.range_for("ac volts", top))
    return observer.amplifier.mains_spread


def source_of(r: PlannedReading, seen: Seen) -> float:
    """Thevenin ohms behind a reading's joints, with the resistor in its clip."""
    own = seen.source_ohms.get(r.id)
    return (0.0 if own is None else float(np.ravel(own)[MIDDLE])) + r.probe.series_ohms


def ground_of(r: PlannedReading, true: float, source: float, most: float) -> Ground:
    """What a reading's range is chosen on: what the plan says must not stand there, whatever the amplifier."""
    # unplugged, a charged capacitor stands behind the joint and no resistor; so on a rail that the plan starts high on
    behind = 0.0 if r.situation.mains_volts == 0.0 or r.range_volts else source
    limits: list[Apart] = []
    for rule in r.stops:
        if rule.limit is None or not r.probe.kind.endswith("volts"):
            continue
        if rule.rule == "zero" and abs(true) <= rule.limit:
            limits += [Apart("above", rule.limit, rule.why), Apart("below", -rule.limit, rule.why)]
        elif rule.rule == "fixed" and r.range_volts:
            limits.append(Apart(rule.side, rule.limit, rule.why))
    return Ground(r.probe.kind, true, behind, tuple(limits), r.range_volts or 0.0, most)


def highest(r: PlannedReading, readings: Sequence[PlannedReading], true: Array) -> float:
    """What a needle may meet where nothing is expected, or a valve's first current [V]: the highest volts read on this rung;
    0 where what is expected is there."""
    if r.situation.mains_volts == 0.0 or not (r.first_current or any(rule.rule == "zero" for rule in r.stops)):
        return 0.0
    rung = r.id.split("/")[0]
    return max(
        abs(float(t)) for q, t in zip(readings, true, strict=True)
        if q.probe.kind == r.probe.kind and q.probe.quantity == "volts" and q.id.split("/")[0] == rung
    )  # fmt: skip


def ranges(
    readings: Sequence[PlannedReading], true: Array, source: Array, meter: Meter, grounds: Sequence[Ground],
    reach: Array | None = None,
) -> tuple[tuple[Range, ...], Array]:  # fmt: skip
    """(range, nominal value as shown) of every reading: the range is chosen for what the meter will show on it, and
    where nothing is expected, so that what must not stand there shows.

    reach: how far from nominal healthy amplifiers stand [SI], at the joints; None while that is not known.
    """
    on, shown = [], np.empty(len(readings))
    for i, r in enumerate(readings):
        if r.probe.quantity == "gain ratio":
            on.append(ratio_of(meter.range_for(r.probe.kind, RATIO_OVER)))
            shown[i] = true[i]
            continue
        away = 0.0 if reach is None or not np.isfinite(reach[i]) else max(0.0, float(reach[i]))
        chosen = grounds[i].resolving(meter) or range_of(r, true[i], source[i], meter, away)
        on.append(chosen)
        shown[i] = loaded(true[i], source[i], chosen.input_ohms)
    return tuple(on), shown


def range_of(r: PlannedReading, true: float, source: float, meter: Meter, reach: float = 0.0) -> Range:
    """The range for what is expected of any healthy amplifier. A needle's is chosen for what stands there WITHOUT it: a
    loose tip, an open part or a charged capacitor puts all of that across it, and a range that counts on its own load
    would be thrown."""
    most = max(HEADROOM * abs(true), abs(true) + reach)
    chosen = meter.range_for(r.probe.kind, most, r.range_volts)
    if meter.needle:
        return chosen
    for lower in meter.of_kind(r.probe.kind):
        fits = lower.full >= (r.range_volts or 0.0)
        if fits and loaded(most, source, lower.input_ohms) <= lower.full:
            return lower
    return chosen


def idle_settings(amplifier: Amplifier, wanted: Sequence[Block]) -> dict[str, float]:
    """Half width of the idle setting of every valve that some rung sets."""
    valves = dict.fromkeys(v for b in wanted for v in b.situation.idle)
    return {v: amplifier.idle[v].setting if v in amplifier.idle else 0.03 for v in valves}


def twins(readings: Sequence[PlannedReading], shown: Array, on: Sequence[Range], found: Moved) -> tuple[int, ...]:
    """A number for each reading; those that read the same of equal parts share one: the twin of the other channel, and
    the other valve of a pair, with the same nominal and the same spread on the same range. What each sampled beside the
    other is chance."""
    number = {r.id: i for i, r in enumerate(readings)}
    sigma = np.sqrt((found.sigmas**2).sum(axis=0))
    out = list(range(len(readings)))

    def equal(i: int, j: int) -> bool:
        apart = max(TWIN * max(abs(shown[i]), on[i].step), TOLD * sigma[i])
        same = on[i] == on[j] and abs(shown[i] - shown[j]) <= apart
        return bool(same and abs(sigma[i] - sigma[j]) <= TOLD * sigma[i])

    like: dict[tuple[object, ...], list[int]] = {}
    for i, r in enumerate(readings):
        j = number.get(r.twin or "")
        others = like.setdefault(_same_row(r), [])
        for other in (*(() if j is None else (j,)), *others):
            if out[other] != out[i] and equal(i, other):
                joined = {out[i], out[other]}
                out = [min(joined) if n in joined else n for n in out]
        others.append(i)
    return tuple(out)


def _same_row(r: PlannedReading) -> tuple[object, ...]:
    """What the rows of equal parts of one rung have in common: all of the id but the part's own name, and the lamp."""
    rung, probe, _ = r.id.split("/")
    _, _, word = probe.partition(" ")
    return rung, word, r.probe.kind, r.probe.quantity, r.probe.series_ohms, r.situation.lamp_watts


# -- sampled ---------------------------------------------------------------------------------------------------
def sample(sheet: Sheet, meter: Meter, draws: Draws) -> tuple[Array, Seen]:
    """(what the meter shows, (reading, sample); all that was seen) for every amplifier of ``draws``."""
    loading = {r.id: sheet.source_ohms[i] / sheet.on[i].input_ohms for i, r in enumerate(sheet.readings)}
    cast = Cast(draws.values, settings(sheet.setting, draws.samples, draws.seed))
    seen = sheet.observer.see_side_by_side(
        sheet.wanted, cast, ohms_for=lambda r: loading.get(r.id, 0.0) > SMALL_LOADING
    )
    return shown_of(sheet, meter, seen, draws.samples, draws.seed), seen


def shown_of(sheet: Sheet, meter: Meter, seen: Seen, samples: int, seed: int) -> Array:
    """What the meter shows of what was seen, (reading, sample)."""
    errors = MeterErrors(meter.name, samples, seed)
    shown = np.empty((len(sheet.readings), samples))
    for i in range(len(sheet.readings)):
        shown[i] = as_shown(sheet, i, seen, errors)
    return shown


def as_shown(sheet: Sheet, i: int, seen: Seen, errors: MeterErrors | None) -> Array:
    """One reading as its meter shows it, (sample,); without the meter's errors where ``errors`` is None."""
    r, on = sheet.readings[i], sheet.on[i]
    own = seen.source_ohms.get(r.id)
    source = sheet.source_ohms[i] if own is None else own + r.probe.series_ohms
    value: Array = loaded(seen.values[r.id], source, on.input_ohms)
    return value if errors is None else errors.shown(value, on, r.id)
