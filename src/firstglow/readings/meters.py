"""Meters: what they load, on which range a reading is taken, and what they show.

Accuracy is the maker's ±(fraction of reading + counts), or a fraction of full scale for a moving coil; both are
limits of a rectangle (JCGM 100:2008, 4.3.7). The three meters built in are ordinary ones of their kind
(common practice); a bench file replaces any figure.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil, floor, inf, isfinite, log10
from typing import Any, Literal

Side = Literal[-1, 0, 1]

UNIT = {
    "dc volts": "V", "ac volts": "V", "ohms": "ohm", "dc amps": "A", "ac amps": "A", "ratio": "1", "lamp": None, "look": None,
}  # fmt: skip
SIGN = {"V": "V", "A": "A", "ohm": "Ω", "s": "s", "1": ""}
SCALE = {"m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}


class ReadingsError(Exception):
    """A reading, a meter or a readings file cannot be used; the message says where, what and the remedy."""


@dataclass(frozen=True, slots=True)
class Range:
    """One range of a meter.

    kind: "dc volts", "ac volts", "ohms", "dc amps", "ac amps", "ratio" (see ``ratio_of``). full: top of the range [SI].
    step: smallest difference that can be read [SI]: one count, or half a small division of a scale.
    of_reading, of_full: accuracy limits as fractions; counts: limit in steps.
    input_ohms: what the meter puts across the joints [ohm] (inf: nothing). test_amps: ohms ranges only [A].
    zero_ohms: what is left of the leads after they were subtracted [ohm], half width.
    """

    kind: str
    full: float
    step: float
    of_reading: float = 0.0
    of_full: float = 0.0
    counts: float = 0.0
    input_ohms: float = inf
    test_amps: float = 0.0
    zero_ohms: float = 0.0

    @property
    def unit(self) -> str | None:
        """SI unit of the range."""
        return UNIT[self.kind]

    @property
    def scale(self) -> str:
        """SI letter in which the range shows its figures ("m", "", "k", "M")."""
        if self.unit == "ohm":
            return "M" if self.full >= 1e6 else "k" if self.full >= 1e3 else ""
        return "m" if self.full < 1.0 else ""

    @property
    def decimals(self) -> int:
        """Digits after the point that show every step, in the range's own scale."""
        step = self.step / SCALE[self.scale]
        return next((d for d in range(6) if abs(step * 10**d - round(step * 10**d)) < 1e-6), 6)

    @property
    def text(self) -> str:
        """What stands on the switch: "600 mV", "6 kΩ"; "" for a ratio, which has no range of its own."""
        if self.unit == "1":
            return ""
        return f"{self.full / SCALE[self.scale]:g} {self.scale}{SIGN[self.unit or '1']}".strip()

    def text_of(self, size: float) -> str:
        """A size in this range's unit, to two figures and whatever the step: "15 V", "17 mV"."""
        if self.unit == "1" or size == 0.0:
            return f"{size:.2g}"
        scale = next((s for s in ("M", "k", "", "m") if size >= SCALE[s]), "m")
        return f"{float(f'{size:.2g}') / SCALE[scale]:g} {scale}{SIGN[self.unit or '1']}".strip()

    def limits(self, value: float) -> float:
        """Half width [SI] of what the meter may be wrong by at ``value`` [SI], reading step included."""
        return self.gain_limit * abs(value) + self.offset_limit + self.step / 2

    @property
    def gain_limit(self) -> float:
        """The part of the accuracy that goes with the reading (one error for the whole range), as a fraction."""
        return self.of_reading

    @property
    def offset_limit(self) -> float:
        """The part of the accuracy [SI] that does not go with the reading."""
        return self.counts * self.step + self.of_full * self.full + self.zero_ohms

    @property
    def signed(self) -> bool:
        """Can it show less than nothing?"""
        return self.kind.startswith("dc")

    def rounded(self, value: float, side: Side = 0) -> float:
        """``value`` on the range's step: -1 downward, +1 upward, 0 to the nearest [SI]."""
        if not isfinite(value):
            return value
        ratio = value / self.step
        # a figure already on its step stays: a billionth of a step is rounding noise of the division
        whole = floor(ratio + 1e-9) if side < 0 else ceil(ratio - 1e-9) if side > 0 else round(ratio)
        return float(f"{whole * self.step:.12g}")

    def shown(self, value: float) -> str:
        """Exactly what stands on the meter at ``value`` [SI]; "OL" past the top of the range."""
        if not abs(value) <= self.full * (1 + 1e-9):
            return "OL"
        text = f"{self.rounded(value) / SCALE[self.scale]:.{self.decimals}f}"
        if float(text) == 0.0:
            text = text.replace("-", "")
        return f"{text} {self.scale}{SIGN[self.unit or '1']}".strip()


@dataclass(frozen=True, slots=True)
class Meter:
    """One meter of the bench.

    name: as bench file, ladder and readings file call it. ranges: any order.
    rating_volts: what the meter stands at its V socket [V dc]; lead_volts: what its leads stand [V dc].
    """

    name: str
    ranges: tuple[Range, ...]
    rating_volts: float = 1000.0
    lead_volts: float = 1000.0
    needle: bool = False
    about: str = ""
    words: Mapping[str, str] = field(default_factory=dict)

    @property
    def highest_volts(self) -> float:
        """The most this meter with these leads may be put across [V dc]."""
        return min(self.rating_volts, self.lead_volts)

    def of_kind(self, kind: str) -> tuple[Range, ...]:
        """The ranges of one kind, lowest first; ReadingsError if the meter has none."""
        found = sorted((r for r in self.ranges if r.kind == kind), key=lambda r: r.full)
        if not found:
            kinds = ", ".join(sorted({r.kind for r in self.ranges}))
            raise ReadingsError(f"meter {self.name}: has no {kind} range; it reads {kinds}; try a meter that has one")
        return tuple(found)

    def range_for(self, kind: str, highest: float, at_least: float | None = None) -> Range:
        """The lowest range that shows ``highest`` [SI, size] and is not below ``at_least`` [SI]; else the top one."""
        ranges = self.of_kind(kind)
        need = max(abs(highest), at_least or 0.0)
        return next((r for r in ranges if r.full >= need * (1 - 1e-9)), ranges[-1])


# A bond is read with a bond tester, 10 A or more through four wires: ±(3 % + 2), to a milliohm or so (common practice).
# A hand meter only shows that there is a path.
BOND_TESTER = Range("ohms", 2.0, 0.001, 0.03, 0.0, 2.0)


# Volts at the load over which a ratio of two readings is taken: what the rung of the loop's polarity asks of it.
RATIO_OVER = 0.3


def ratio_of(on: Range, over: float = RATIO_OVER) -> Range:
    """Two readings divided, the second ``over`` [SI] on the range ``on``: a figure to a thousandth or to its step.

    Counts are wrong in each reading by itself. What goes with the reading cancels where both stand on one range; it is
    kept, for the smaller may be read on a lower one.
    """
    step = max(0.001, float(f"{on.step / over:.0e}"))
    return Range("ratio", 10.0, step, on.of_reading, 0.0, max(on.counts * on.step / over, step) / step)


def loaded(volts: Any, source_ohms: Any, input_ohms: float) -> Any:
    """What is left of ``volts`` with the meter across them: V / (1 + Rth / Rmeter); broadcasts."""
    return volts / (1.0 + source_ohms / input_ohms)


def digital(
    name: str = "digital",
    *,
    counts: int = 6000,
    input_ohms: float = 10e6,
    rating_volts: float = 1000.0,
    lead_volts: float = 1000.0,
    dc: tuple[float, float] = (0.005, 2.0),
    ac: tuple[float, float] = (0.010, 3.0),
    ohms: tuple[float, float] = (0.008, 3.0),
    amps: tuple[float, float] = (0.015, 5.0),
) -> Meter:
    """A digital meter; the pairs are (fraction of reading, counts). Figures: an ordinary one, common practice."""
    top = _leading(counts)
    ranges: list[Range] = []
    for decade in (0.1, 1.0, 10.0, 100.0):
        full = top * decade
        ranges.append(Range("dc volts", full, full / counts, dc[0], 0.0, dc[1], input_ohms))
        ranges.append(Range("ac volts", full, full / counts, ac[0], 0.0, ac[1], input_ohms))
    step = top * 1000.0 / counts
    ranges.append(Range("dc volts", rating_volts, step, dc[0], 0.0, dc[1], input_ohms))
    ranges.append(Range("ac volts", 0.75 * rating_volts, step, ac[0], 0.0, ac[1], input_ohms))
    for decade, test in ((1e2, 5e-4), (1e3, 1e-4), (1e4, 1e-5), (1e5, 1e-6), (1e6, 2e-7), (1e7, 5e-8)):
        full = top * decade
        zero = 0.05 if decade == 1e2 else 0.0
        last = 2.5 if decade == 1e7 else 1.0  # the top range of a hand meter is 2 to 3 times worse
        ranges.append(Range("ohms", full, full / counts, last * ohms[0], 0.0, ohms[1], inf, test, zero))
    for full in (top * 0.1, top, 10.0):
        fine = full / counts if full < 10.0 else 10.0 * top / counts
        ranges.append(Range("ac amps", full, fine, amps[0], 0.0, amps[1]))
        ranges.append(Range("dc amps", full, fine, amps[0], 0.0, amps[1]))
    about = f"{counts}-count digital, {input_ohms / 1e6:g} MΩ"
    return Meter(name, tuple(ranges), rating_volts, lead_volts, False, about)


def _leading(counts: int) -> float:
    """First figures of the ranges: 6 for 6000 counts, 2 for 2000, 4 for 4000."""
    return float(f"{counts / 10 ** floor(log10(counts)):.3g}")


# Ranges of volts of a moving coil meter that nobody states (common practice).
DC_RANGES = (0.5, 2.5, 10.0, 50.0, 250.0, 500.0, 1000.0)
AC_RANGES = (10.0, 50.0, 250.0, 500.0, 1000.0)


def moving_coil(
    name: str,
    ohms_per_volt: float,
    *,
    ac_ohms_per_volt: float | None = None,
    dc_ranges: tuple[float, ...] = DC_RANGES,
    ac_ranges: tuple[float, ...] = AC_RANGES,
    dc_of_full: float = 0.025,
    ac_of_full: float = 0.04,
    divisions: int = 50,
    rating_volts: float = 1000.0,
    lead_volts: float = 1000.0,
) -> Meter:
    """A moving coil meter: it loads by ``ohms_per_volt`` times the range, and reads to half a small division.

    Accuracy: a fraction of full scale (2.5 % dc, 4 % ac: common practice); its ohms scale is not linear, so
    ohms are judged as ±10 % of the reading from a tenth to ten times mid-scale.
    """
    ac_load = ohms_per_volt if ac_ohms_per_volt is None else ac_ohms_per_volt
    ranges = [Range("dc volts", v, v / divisions / 2, 0.0, dc_of_full, 0.0, ohms_per_volt * v) for v in dc_ranges]
    ranges += [Range("ac volts", v, v / divisions / 2, 0.0, ac_of_full, 0.0, ac_load * v) for v in ac_ranges]
    for middle, test in ((20.0, 0.075), (2e3, 7.5e-4), (2e5, 7.5e-6)):
        ranges.append(Range("ohms", 10 * middle, middle / 100, 0.10, 0.0, 1.0, inf, test, 0.1 if middle < 100 else 0.0))
    for full in (1.0, 5.0):
        ranges += [Range(k, full, full / divisions / 2, 0.0, ac_of_full) for k in ("ac amps", "dc amps")]
    about = f"moving coil, {ohms_per_volt / 1e3:g} kΩ/V"
    return Meter(name, tuple(ranges), rating_volts, lead_volts, True, about)


def built_in() -> dict[str, Meter]:
    """The meters that are there without a bench file, by name."""
    return {
        "digital": digital(),
        "20k": moving_coil("20k", 20e3, ac_ohms_per_volt=8e3),
        "1k": moving_coil("1k", 1e3, dc_ranges=(10.0, 50.0, 250.0, 500.0, 1000.0)),
    }


def meter_named(name: str, bench: Mapping[str, Meter] | None = None) -> Meter:
    """The meter of that name; ReadingsError naming the ones there are."""
    from difflib import get_close_matches

    known = {**built_in(), **(bench or {})}
    if name in known:
        return known[name]
    near = get_close_matches(name, known, 1, 0.3)
    there = ", ".join(known)
    raise ReadingsError(f"meter {name}: not on this bench; there are {there}; try {(near or ['digital'])[0]}")


TABLE_KEYS = {
    "kind": "digital or moving coil", "counts": "6000", "ohms": "10M", "ohms_per_volt": "20k",
    "ac_ohms_per_volt": "8k", "ranges": 'dc_volts = ["10V"]',
    "dc": "0.5% + 2", "ac": "1% + 3", "resistance": "0.8% + 3", "amps": "1.5% + 5",
    "rating": "1000V", "leads": "1000V",
}  # fmt: skip


def meter_from_table(name: str, table: Mapping[str, Any], where: str) -> Meter:
    """One meter of a bench file's ``[meters.NAME]`` table. ``where``: "bench.toml:12", for messages.

    Keys: see TABLE_KEYS. Raises ReadingsError in the form of CONTRACTS.md.
    """
    from firstglow.readings.typed import accuracy, number

    for key in table:
        if key not in TABLE_KEYS:
            known = ", ".join(TABLE_KEYS)
            raise ReadingsError(f'{where}: meter {name}: unknown key "{key}"; allowed: {known}; try removing it')
    kind = table.get("kind", "digital")
    rating = number(table.get("rating", 1000.0), f"{where}: meter {name} rating", "V")
    leads = number(table.get("leads", 1000.0), f"{where}: meter {name} leads", "V")
    if kind == "digital":
        dc, ac, resistance, amps = (
            accuracy(table.get(key, usual), f"{where}: meter {name} {key}")
            for key, usual in (("dc", "0.5% + 2"), ("ac", "1% + 3"), ("resistance", "0.8% + 3"), ("amps", "1.5% + 5"))
        )
        counts = table.get("counts", 6000)
        if not isinstance(counts, int) or not 1000 <= counts <= 1_000_000:
            raise ReadingsError(f"{where}: meter {name}: counts = {counts!r}; 1000 to 1000000; try counts = 6000")
        ohms = number(table.get("ohms", "10M"), f"{where}: meter {name} ohms", "ohm")
        return digital(
            name, counts=counts, input_ohms=ohms, rating_volts=rating, lead_volts=leads,
            dc=dc, ac=ac, ohms=resistance, amps=amps,
        )  # fmt: skip
    if kind == "moving coil":
        load = number(table.get("ohms_per_volt", "20k"), f"{where}: meter {name} ohms_per_volt", "ohm")
        ac_load = number(table.get("ac_ohms_per_volt", load), f"{where}: meter {name} ac_ohms_per_volt", "ohm")
        dc_of_full, ac_of_full = (
            accuracy(table.get(key, usual), f"{where}: meter {name} {key}")[0]
            for key, usual in (("dc", "2.5%"), ("ac", "4%"))
        )
        dc_ranges, ac_ranges = (
            tuple(number(v, f"{where}: meter {name} ranges", "V") for v in table.get("ranges", {}).get(key, usual))
            for key, usual in (("dc_volts", DC_RANGES), ("ac_volts", AC_RANGES))
        )
        return moving_coil(
            name, load, ac_ohms_per_volt=ac_load, dc_ranges=dc_ranges, ac_ranges=ac_ranges,
            dc_of_full=dc_of_full, ac_of_full=ac_of_full, rating_volts=rating, lead_volts=leads,
        )  # fmt: skip
    raise ReadingsError(f'{where}: meter {name}: kind "{kind}"; "digital" or "moving coil"; try kind = "digital"')
