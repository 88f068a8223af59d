"""Which measurement, taken unplugged or at a few volts, would narrow the bands under power most: what makes a sparse
file good quickly.

A part that is measured keeps only its meter's uncertainty, and variances add (JCGM 100:2008, 5.1.2): so the bands as
they would be are known before anyone has measured anything, as long as the part turns out near what the file says.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import floor

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.layers import METER
from firstglow.amplifier.model import Amplifier, Part, Winding
from firstglow.quantities import code
from firstglow.readings.bands import marginals
from firstglow.readings.expect import fast_bands, on_its_side, shape_of
from firstglow.readings.expected import ExpectedLadder
from firstglow.readings.meters import Range
from firstglow.readings.probe import PlannedReading
from firstglow.readings.sheet import Sheet
from firstglow.readings.straight import straight

Array = NDArray[np.float64]

COUNT = 3
# What goes on an unloaded primary [V ac], and what no winding may give then: IEC 62368-1, ES1, 30 V rms.
EXCITED, LOW_AC = 12.0, 30.0
# A mean gain below this is not worth a lead unsoldered; a band this much of what it was has clearly become narrower.
LEAST, CLEAR = 0.001, 0.95
# Digits of a value written as measured: beyond any bench meter, so that the file's own value stays what it is.
DIGITS = 6


@dataclass(frozen=True, slots=True)
class Measurement:
    """Something to measure. word, text: the line of a measured layer, as if it read what the file says already.

    how: in bench words. rows: names of what it moves -> half width that is left, as a fraction.
    """

    word: str
    text: str
    how: str
    rows: Mapping[str, float]

    @property
    def line(self) -> str:
        """The measured layer's line."""
        return f'set = {{ "{self.word}" = "{self.text}" }}'


@dataclass(frozen=True, slots=True)
class Narrowed:
    """One reading's band, (low, high) [SI], before and after."""

    reading: PlannedReading
    on: Range
    before: tuple[float, float]
    after: tuple[float, float]

    @property
    def share(self) -> float:
        """Width that is left [1]."""
        return (self.after[1] - self.after[0]) / (self.before[1] - self.before[0])


@dataclass(frozen=True, slots=True)
class Gain:
    """What a measurement would do, those before it in the list taken as done.

    narrower: by how much the bands under power become narrower, on average [1]. bands: those that become clearly
    narrower, most first.
    """

    measurement: Measurement
    narrower: float
    bands: tuple[Narrowed, ...]


def measurements(amplifier: Amplifier) -> Iterator[Measurement]:
    """Everything of an amplifier that an ohmmeter, or a few volts on an unloaded transformer, can tell."""
    for part in amplifier.parts.values():
        if part.kind in {"resistor", "pot", "choke"} and "ohms" in part.values:
            how = f"{part.name}: its ohms, unplugged and discharged, one lead free"
            if part.kind == "pot":
                how = f"{part.name}: ohms of its track end to end, unplugged, one end free"
            text = code(_rounded(part.values["ohms"].value), "ohm")
            yield Measurement(part.name, text, how, {f"{part.name} ohms": METER["ohm"]})
        if part.kind == "transformer":
            yield from _of_windings(part)


def _of_windings(part: Part) -> Iterator[Measurement]:
    """Cold ohms of each winding, and its open volts against a few volts on the primary."""
    for name, sides in _as_written(part).items():
        word = f"{part.name} {name}"
        ohms = "+".join(f"{_rounded(w.ohms.value):.{DIGITS}g}" for w in sides)
        yield Measurement(
            word, f"{ohms}R", f"{word}: cold ohms of the winding, its leads free",
            {f"{part.name} {w.name} ohms": METER["winding"] for w in sides},
        )  # fmt: skip
        if sides[0].role == "secondary" and len(sides) <= 2 and not part.values.get("primary_ohms"):
            volts = [f"{_rounded(w.turns.value):.{DIGITS}g}" for w in sides]
            primary, most, own = (max(_whole(s) for s in group) for group in _groups(part, sides))
            fed = floor(10.0 * min(EXCITED, LOW_AC * primary / most)) / 10.0
            yield Measurement(
                word, f"{'-0-'.join(volts)}V open",
                f"{word}: open volts, every lead of the transformer free, {fed:g} V ac on its primary{_between(part)}: expect "
                f"{fed * own / primary:.3g} V end to end; what you read, times {primary:.4g} V, over what is on the primary",
                {f"{part.name} {w.name} turns": METER["winding"] for w in sides},
            )  # fmt: skip


def _groups(part: Part, own: Sequence[Winding]) -> tuple[Sequence[Sequence[Winding]], ...]:
    """(primaries, all windings, this one), each by sides."""
    every = _as_written(part)
    return [s for s in every.values() if s[0].role == "primary"], list(every.values()), [own]


def _between(part: Part) -> str:
    """Which two leads its largest primary winding lies between, where a primary has more than two."""
    primaries = [w for w in part.windings if w.role == "primary"]
    if len(primaries) < 2:
        return ""
    largest = max(primaries, key=lambda w: w.turns.value)
    return f", leads {largest.start} and {largest.end}"


def _whole(sides: Sequence[Winding]) -> float:
    """Open volts end to end [V] at the nominal primary volts."""
    return sum(w.turns.value for w in sides)


def _as_written(part: Part) -> Mapping[str, Sequence[Winding]]:
    """The windings as the file names them: sides of one winding stand together."""
    out: dict[str, list[Winding]] = {}
    for w in part.windings:
        name = w.name.rsplit(" ", 1)[0] if w.name.endswith((" a", " b")) else w.name
        out.setdefault(name, []).append(w)
    return out


def _rounded(value: float) -> float:
    return float(f"{value:.{DIGITS - 1}e}")


def narrowing(sheet: Sheet, count: int = COUNT) -> tuple[Gain, ...]:
    """The ``count`` measurements that together narrow the bands under power most, best first, each given those before."""
    powered = np.array([r.situation.mains_volts > 0.0 and not r.note_only for r in sheet.readings])
    left = list(measurements(sheet.observer.amplifier))
    score = fast_bands(sheet).score
    here, (low, high) = sheet, ends(sheet, score)
    out: list[Gain] = []
    for _ in range(count):
        gains = [_guess(here, m, powered) for m in left]
        if not gains or max(gains) <= LEAST:
            break
        best = left.pop(int(np.argmax(gains)))
        here = measured(here, best)
        own, top = ends(here, score)
        width = high - low
        share = np.divide(top - own, width, out=np.ones_like(width), where=width > 0)
        rows = (
            Narrowed(sheet.readings[k], sheet.on[k], (float(low[k]), float(high[k])), (float(own[k]), float(top[k])))
            for k in np.flatnonzero(powered & (share < CLEAR))
        )
        narrowed = sorted(rows, key=lambda n: n.share)
        out.append(Gain(best, float(1.0 - share[powered].mean()), tuple(narrowed)))
        low, high = own, top
    return tuple(out)


def as_printed(gains: Sequence[Gain], ladder: ExpectedLadder) -> tuple[Gain, ...]:
    """The same gains on the bands that the ladder prints: each narrower by the same share about what is expected."""
    here = {r.id: (r.low, r.expected, r.high) for r in ladder.readings()}
    out = []
    for gain in gains:
        rows = []
        for n in gain.bands:
            low, middle, high = here[n.reading.id]
            if low is None or high is None or not isinstance(middle, float):
                continue
            after = (middle - (middle - low) * n.share, middle + (high - middle) * n.share)
            here[n.reading.id] = (after[0], middle, after[1])
            rows.append(replace(n, before=(low, high), after=after))
        out.append(replace(gain, bands=tuple(rows)))
    return tuple(out)


def ends(sheet: Sheet, score: float) -> tuple[Array, Array]:
    """(low, high) of every reading by slopes at one common score [SI].

    The score stays what it is before anything is measured: as an order statistic of 4000 amplifiers it moves by about 1 %
    from one file to the next by chance alone (p = 0.005: its own 22 % over a slope of 4.5; H. A. David, Order Statistics,
    1981, 2.5), and that is no gain.
    """
    values = straight(sheet)
    return on_its_side(sheet, *marginals(values, shape_of(sheet), sheet.groups).band(score), values)


def _guess(sheet: Sheet, m: Measurement, powered: NDArray[np.bool_]) -> float:
    """How much narrower the bands become on average, by variances alone."""
    found = sheet.found
    variance = found.sigmas**2
    total = variance.sum(axis=0)
    kept = _kept(sheet, m)
    then = (variance * (kept**2)[:, None]).sum(axis=0)
    share = np.sqrt(np.divide(then, total, out=np.ones_like(total), where=total > 0))
    return float(1.0 - share[powered].mean())


def _kept(sheet: Sheet, m: Measurement) -> Array:
    """What is left of each contribution, (contribution,): 1 where the measurement says nothing of it."""
    found = sheet.found
    kept = np.ones(len(found.names))
    for k, name in enumerate(found.names):
        if name in m.rows and found.relative[k] > 0:
            kept[k] = min(1.0, m.rows[name] / 3**0.5 / float(found.relative[k]))
    return kept


def measured(sheet: Sheet, m: Measurement) -> Sheet:
    """The sheet as it would be with that measured."""
    kept = _kept(sheet, m)
    found = sheet.found
    uniform = found.uniform | (kept < 1.0)
    return replace(
        sheet,
        found=replace(found, sigmas=found.sigmas * kept[:, None], relative=found.relative * kept, uniform=uniform),
    )
