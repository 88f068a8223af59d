"""Slips of the pen, of the probe and of the set-up that explain a figure before any part is blamed.

Missed sign, mV for V, kΩ for MΩ, a decimal point, a range too low or too high, a neighbouring joint, another rung's
set-up (output valves out, lamp in), other mains, another meter. A stop limit is never moved by any of them.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite
from typing import Literal

from firstglow.readings.expected import MAINS_STEPS, ExpectedLadder, ExpectedReading
from firstglow.readings.meters import Meter, built_in, loaded

Kind = Literal["sign", "unit", "decimal", "range", "probe", "setting", "mains", "meter"]

# A figure is taken for another joint's, or another set-up's, within this part of it where the band is narrower.
LEAST_WIDTH = 0.03
# More explanations than this are no explanation.
MOST = 3
# Leads and a dead short together read no more than this [ohm] (common practice).
SHORT_OHMS = 1.0
_SHOWN_AS_NOTHING = 4.0  # steps of a higher range


@dataclass(frozen=True, slots=True)
class Slip:
    """One explanation. kind; text in bench words; innocent: with it nothing need be wrong with the amplifier."""

    kind: Kind
    text: str
    innocent: bool = True


@dataclass(frozen=True, slots=True)
class Near:
    """What the meter would show elsewhere or otherwise. value [SI], as it would be shown; text: what that would be.

    innocent: with it nothing need be wrong with the amplifier.
    """

    kind: Kind
    value: float
    text: str
    innocent: bool = True


def slip(reading: ExpectedReading, value: float) -> str:
    """What was probably meant, in bench words; "" where no slip of the pen puts ``value`` [SI] into the band."""
    found = pen(reading, value)
    return found.text if found else ""


def pen(reading: ExpectedReading, value: float) -> Slip | None:
    """A slip of the pen: sign, unit, decimal point."""
    low, high = reading.low, reading.high
    if low is None or high is None or not isfinite(value):
        return None
    if abs(value) <= _nothing(reading):
        return _megohms(reading, value) or _milli(reading, value)

    def fits(candidate: float) -> bool:
        # a figure of nothing fits every slip: only a candidate clear of zero says anything
        return low <= candidate <= high and abs(candidate) > (high - low) / 4

    if fits(-value):
        return Slip(
            "sign",
            "only the sign is wrong: red and black exchanged, or the minus left out; read it again with the sign",
        )
    for factor, kind, texts in _FACTORS:
        text = texts.get(reading.unit or "", "")
        if text and factor == 1e-3 and _past_its_range(reading, value):
            there = reading.text(value * factor)
            means = (
                f"{there} would be right"
                if low <= value * factor <= high
                else f"{there} would be outside the band, short of the stop"
            )
            tail = "; read it again on that range: if it is as typed, it is far past the limit"
            return Slip(kind, f"{text}? {means} on the {_range_text(reading)} range{tail}", innocent=False)
        if text and fits(value * factor):
            # a thousandth is also what is left of a dead one: that is never explained away
            if factor == 1e3 and reading.unit in ("V", "A"):
                return _thousandth(reading, value)
            there = reading.text(value * factor)
            return Slip(kind, f"{text}? {there} would be right; look at the meter's unit again")
        if text and reading.low is not None and reading.low < 0 and fits(-value * factor):
            there = reading.text(-value * factor)
            return Slip(kind, f"{text}, and the minus left out? {there} would be right; read it again with both")
    return None


def _megohms(reading: ExpectedReading, value: float) -> Slip | None:
    """0.217 off the megohm range, its unit left out: a dead short reads no more, so it goes after what is wrong."""
    meant = value * 1e6
    low, high = reading.low, reading.high
    if reading.unit != "ohm" or low is None or high is None or meant <= SHORT_OHMS or not low <= meant <= high:
        return None
    return Slip(
        "unit",
        f"is it MΩ typed as Ω? {reading.text(meant)} would be right; read it again, with its unit: as typed it is a dead short",
        innocent=False,
    )


def _milli(reading: ExpectedReading, value: float) -> Slip | None:
    """0.00978, or 9.78 mV, where 9.78 V belong: finer than this range's step, so no figure of it. What the range itself shows
    of a dead one (0.01) says nothing of a unit."""
    low, high, on, meant = reading.low, reading.high, reading.on, value * 1e3
    if on is None or reading.unit not in ("V", "A") or low is None or high is None:
        return None
    seen_there = abs(value - on.rounded(value)) <= 1e-6 * on.step
    return None if seen_there or not low <= meant <= high or nothing_stands(reading) else _thousandth(reading, value)


def _thousandth(reading: ExpectedReading, value: float) -> Slip:
    unit = reading.unit
    return Slip(
        "unit",
        f"is it {unit} typed as m{unit}? {reading.text(value * 1e3)} would be right; look at the meter's unit again; read it again "
        "on that unit: if it is as typed, next to nothing is there",
        innocent=False,
    )


def _past_its_range(reading: ExpectedReading, value: float) -> bool:
    """Volts at a grid that the millivolt range of its row cannot show, and that as millivolts are short of every stop:
    where so little is expected a thousandth fits by itself, and only the range tells that it was meant."""
    on, planned = reading.on, reading.planned
    if reading.unit != "V" or "grid" not in f"{planned.probe.red} {planned.red_at}":
        return False
    meant, below, above = value * 1e-3, reading.stop_below, reading.stop_above
    stopped = (below is not None and meant < below.limit) or (above is not None and meant > above.limit)
    return on is not None and on.full < 1.0 and on.full < abs(value) and not stopped


def _range_text(reading: ExpectedReading) -> str:
    return "" if reading.on is None else reading.on.text


def beside(why: str, reading: ExpectedReading, slip_: Slip | None, stopped: bool = False) -> str:
    """``why``, and the slip of the pen that would explain it as well.

    The slip goes first where nothing need be wrong with the amplifier; the fault where a stop limit is passed, or where
    nothing may stand and something does: whoever is in a hurry takes the first words.
    """
    if slip_ is None:
        return why
    if not slip_.innocent or stopped or nothing_stands(reading):
        return f"{why}. Or a slip: {slip_.text}"
    return f"{slip_.text[0].upper()}{slip_.text[1:]}. As typed, {why}"


def alone(why: str, slips: Sequence[Slip]) -> str:
    """``why`` without the slips that ``beside`` put there, for whoever says them by themselves."""
    for one in slips:
        why = why.removeprefix(f"{one.text[0].upper()}{one.text[1:]}. As typed, ").replace(
            f". Or a slip: {one.text}", ""
        )
    return why


def nothing_stands(reading: ExpectedReading) -> bool:
    """Is nothing expected here, so that whatever is read is a fault's own?"""
    return reading.low is not None and reading.high is not None and reading.low <= 0.0 <= reading.high


def _nothing(reading: ExpectedReading) -> float:
    """What shows as nothing on this reading's range [SI]: a dead stage is no slip of the pen, however well a factor fits."""
    if reading.unit == "ohm":
        return SHORT_OHMS
    return 0.0 if reading.on is None else reading.on.limits(0.0)


_FACTORS: tuple[tuple[float, Kind, Mapping[str, str]], ...] = (
    (
        1e-3,
        "unit",
        {"V": "is it mV typed as V", "A": "is it mA typed as A", "ohm": "is it Ω typed as kΩ, or kΩ as MΩ"},
    ),
    (
        1e3,
        "unit",
        {"V": "is it V typed as mV", "A": "is it A typed as mA", "ohm": "is it kΩ typed as Ω, or MΩ as kΩ"},
    ),
    (1e6, "unit", {"ohm": "is it MΩ typed as Ω"}),
    (0.1, "decimal", {"V": "is the decimal point one place too far right"}),
    (10.0, "decimal", {"V": "is the decimal point one place too far left"}),
)


def recognised(
    ladder: ExpectedLadder,
    reading: ExpectedReading,
    value: float,
    near: Sequence[Near] = (),
    *,
    mains_read: bool = False,
    meters: Mapping[str, Meter] | None = None,
) -> tuple[Slip, ...]:
    """What may explain ``value`` [SI], the likeliest first; at most three, none for a figure inside its band.

    near: other joints and other set-ups, from whoever knows the circuit. mains_read: the mains were read at this
    moment, so that they explain nothing any more. meters: on this bench, beside the built-in ones.
    """
    if reading.low is not None and reading.high is not None and reading.low <= value <= reading.high:
        return ()
    found = pen(reading, value)
    if found:
        return (found,)
    ranged = _range(reading, value)
    if ranged and value in (inf, -inf):
        return (ranged,)
    every = [
        *(_mains(reading, value) if not mains_read else ()),
        *_meter(ladder, reading, value, meters or {}),
        *_elsewhere(reading, value, near),
    ]
    found_kinds = {s.kind for s in every}
    every += [s for s in _other_readings(ladder, reading, value) if s.kind not in found_kinds]
    every += [ranged] if ranged else []
    kinds: dict[str, Slip] = {}
    for one in every:
        kinds.setdefault(one.text, one)
    return tuple(kinds.values())[:MOST]


def _range(reading: ExpectedReading, value: float) -> Slip | None:
    """A range that is too low shows OL, one that is too high shows nothing of a small figure."""
    if reading.on is None or not isinstance(reading.expected, float) or reading.expected == 0.0:
        return None
    if not isfinite(value):
        if reading.unit == "ohm":
            text = f"OL on a lower range than {reading.on.text}? On {reading.on.text} and OL all the same it is open"
            return Slip("range", text, innocent=False)
        return Slip("range", f"OL is a range too low: {reading.on.text} is wanted here; read it again on that one")
    # on the next range up a figure this small is a step or two; two ranges up it is nothing
    coarse = 100.0 * reading.on.step
    if value == 0.0 and abs(reading.expected) < _SHOWN_AS_NOTHING * coarse:
        return Slip(
            "range",
            f"nothing at all: on a range too high {reading.text(reading.expected)} does not show, {reading.on.text} is "
            f"wanted; or the tip does not touch",
            innocent=False,
        )
    return None


def _mains(reading: ExpectedReading, value: float) -> Iterator[Slip]:
    """Other mains that would put the figure where it is expected."""
    curve = reading.mains_curve
    if not curve or not isfinite(value) or reading.low is None or reading.high is None:
        return
    wanted = reading.planned.situation.mains_volts
    middle = curve[MAINS_STEPS.index(1.0)]
    width = (reading.high - reading.low) / 2
    # what the mains move by less than the band is wide they do not explain
    if abs(curve[-1] - curve[0]) < width / 2 or abs(middle) < width:
        return
    # the mains that put this figure in the middle of its band, where anybody's mains may be
    away, share = min((abs(value - there), s) for s, there in zip(_FINE, _along(curve), strict=True))
    if away < width / 2 and abs(share - 1.0) > SAME_MAINS:
        yield Slip(
            "mains",
            f"it is what this reads with about {share * wanted:.0f} V at the plug ({100 * (share - 1):+.0f} %): read the "
            f"mains there now and type them: mains {share * wanted:.0f}, say",
        )


# Mains that are off by less than this explain nothing: no meter tells them from those that are wanted.
SAME_MAINS = 0.012
_FINE = tuple(round(0.88 + 0.005 * n, 3) for n in range(49))


def _along(curve: Sequence[float]) -> list[float]:
    """The curve of a reading over mains, at _FINE."""
    import numpy as np

    fit = np.polynomial.Polynomial.fit(MAINS_STEPS, curve, 2)
    return [float(fit(s)) for s in _FINE]


def _meter(
    ladder: ExpectedLadder, reading: ExpectedReading, value: float, bench: Mapping[str, Meter]
) -> Iterator[Slip]:
    """Another meter that would show this here, its loading being what differs."""
    on = reading.on
    if (
        on is None
        or not isfinite(value)
        or reading.low is None
        or reading.high is None
        or not on.kind.endswith("volts")
    ):
        return
    for name, other in {**built_in(), **bench}.items():
        if name == ladder.meter.name or not any(r.kind == on.kind for r in other.ranges):
            continue
        range_ = other.range_for(on.kind, value)
        before = loaded(1.0, reading.source_ohms, on.input_ohms)
        here = loaded(1.0, reading.source_ohms, range_.input_ohms)
        # loading must be the reason: a tenth at least is gone with that meter that this one leaves
        if here > 0.9 * before:
            continue
        spare = range_.limits(value)
        if reading.low - spare <= value * before / here <= reading.high + spare:
            yield Slip(
                "meter",
                f"it is what {other.about or name} shows here on its {range_.text} range, loading this joint: if you "
                f"read with that, type meter {name}",
            )
            return


def _width(reading: ExpectedReading) -> float:
    """Half width of what counts as the same figure, as a fraction."""
    if not isinstance(reading.expected, float) or reading.low is None or reading.high is None or not reading.expected:
        return LEAST_WIDTH
    return min(max((reading.high - reading.low) / 2 / abs(reading.expected), LEAST_WIDTH), 0.15)


def _elsewhere(reading: ExpectedReading, value: float, near: Sequence[Near]) -> Iterator[Slip]:
    """Other joints and set-ups whose figure this is, the nearest first within each kind."""
    step = 0.0 if reading.on is None else 2 * reading.on.step
    width = _width(reading)
    inside = (
        []
        if reading.low is None or reading.high is None
        else [n for n in near if reading.low <= n.value <= reading.high]
    )
    fitting = [
        (abs(value - n.value) / max(abs(n.value), step, 1e-12), n)
        for n in near
        if n not in inside and abs(value - n.value) <= max(width * abs(n.value), step)
    ]
    for kind in ("setting", "probe"):
        # nothing at all is read in many places: it points to none
        of_kind = [
            (d, i) for i, (d, n) in enumerate(fitting) if n.kind == kind and (kind != "probe" or abs(value) > step)
        ]
        if of_kind:
            near_ = fitting[min(of_kind)[1]][1]
            yield Slip(kind, near_.text, near_.innocent)


def _other_readings(ladder: ExpectedLadder, reading: ExpectedReading, value: float) -> Iterator[Slip]:
    """The same joints on another rung, and other joints on this rung, whose band this fits."""
    mine = reading.planned.probe
    if not isfinite(value) or abs(value) < _least(reading):
        return
    best: dict[Kind, tuple[float, Slip]] = {}
    for other in ladder.readings():
        probe = other.planned.probe
        same_kind = (probe.kind, probe.quantity) == (mine.kind, mine.quantity)
        if other.id == reading.id or not same_kind or other.low is None or other.high is None:
            continue
        if not other.low <= value <= other.high or not isinstance(other.expected, float):
            continue
        same_joints = (probe.red, probe.black) == (mine.red, mine.black)
        here = other.rung == reading.rung and other.planned.situation == reading.planned.situation
        if here == same_joints:
            continue
        if here:
            slip_ = Slip("probe", f"it fits {other.planned.what} ({other.planned.red_at}): is the probe there?")
        else:
            where = f"the same joint reads on rung {other.rung}"
            slip_ = Slip("setting", f"it is what {where}: does the amplifier stand as this rung wants it?")
        away = abs(value - other.expected)
        best[slip_.kind] = min(best.get(slip_.kind, (inf, slip_)), (away, slip_), key=lambda found: found[0])
    yield from (slip_ for _, slip_ in best.values())


def _least(reading: ExpectedReading) -> float:
    """Below this a figure is nothing, and nothing fits everywhere."""
    return 0.0 if reading.on is None else 5 * reading.on.step


def words_elsewhere(ladder: ExpectedLadder, reading: ExpectedReading, word: str) -> tuple[Slip, ...]:
    """A lamp's glow that another rung expects."""
    if reading.kind != "lamp" or word in reading.words:
        return ()
    before = [r for r in ladder.readings() if r.kind == "lamp" and word in r.words and r.rung != reading.rung]
    order = [r.id for r in ladder.rungs]
    earlier = [r for r in before if order.index(r.rung) < order.index(reading.rung)]
    if not earlier:
        return ()
    rung = earlier[-1].rung
    title = next(r.planned.title for r in ladder.rungs if r.id == rung)
    return (Slip("setting", f"{word} is what the lamp does on an earlier rung ({title}): is everything in?"),)
