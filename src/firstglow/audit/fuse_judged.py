"""How fuses are judged: on each fault, at each place, and the bottom line of what to fit."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from firstglow.audit.fuse_times import HOLDS_AT, PULSES, SAVES_SECONDS, Fuse, to_order
from firstglow.audit.inrush import Inrush


@dataclass(frozen=True, slots=True)
class Blown:
    """One fault. amps: rms through the fuse. times: over its mark. least: it surely holds so long [s]. within: it has surely
    blown by then [s]; None: the standard promises nothing. low_amps, low_within: the same on the file's lowest mains, None where
    that is not looked at."""

    fault: str
    amps: float
    times: float
    least: float
    within: float | None
    low_amps: float | None = None
    low_within: float | None = None

    @property
    def saves(self) -> bool:
        """Whether it surely opens before something else burns."""
        return self.within is not None and self.within <= SAVES_SECONDS

    @property
    def lost_low(self) -> bool:
        """Does it save on the mark, and no longer on the lowest mains?"""
        return self.saves and self.low_amps is not None and not (self.low_within or inf) <= SAVES_SECONDS

    @property
    def text(self) -> str:
        """In bench words."""
        if self.within is not None:
            return f"{self.times:.1f} times: blows within {seconds(self.within)}"
        if self.times <= HOLDS_AT:
            return f"{self.times:.1f} times: does NOT blow (holds 1.5 times for an hour)"
        return f"{self.times:.1f} times: may hold for long (sure from 2.1 times)"


@dataclass(frozen=True, slots=True)
class Judged:
    """One fuse, the file's or one proposed. part: its name, "" of a proposal. carries: running rms over its mark; full: at a
    guess of full power. start: part of what it surely holds that a cold start takes (``Inrush.used``)."""

    part: str
    fuse: Fuse
    carries: float
    full: float
    start: float
    blown: tuple[Blown, ...]

    @property
    def holds(self) -> bool:
        """Does it hold every start for sure?"""
        return self.start <= 1.0 and self.full <= 1.0

    @property
    def verdict(self) -> str:
        """In bench words: too small, tires, right, or too large."""
        if self.full > 1.0:
            return "too small: full power is past its mark"
        if self.start > 1.0:
            return "may blow at a start" if self.fuse.speed == "T" else "too quick: may blow at a start"
        if any(not b.saves for b in self.blown):
            slow = ", ".join(b.fault for b in self.blown if not b.saves)
            return f"holds the start; {slow}: need not blow in time"
        if self.start > PULSES:
            return "holds the start; may tire after hundreds of them"
        return "holds the start, blows on each of these"


@dataclass(frozen=True, slots=True)
class Place:
    """Where one fuse stands. place: "mains", "HT", "bias" or "other". now: the file's, judged; None where its amps or speed are
    not said. amps, full_amps: rms through it; volts: the most dc that it must part (0 on the mains). proposed: right ones, the smallest
    first. cautions: what to know of it."""

    part: str
    place: str
    amps: float
    full_amps: float
    volts: float
    now: Judged | None
    proposed: tuple[Judged, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unsaved:
    """A fault on which the file's mains fuse need not open in time. hurt: what is past its rating meanwhile; line: the fuse
    proposed in its place that surely opens in time, ht: the one in HT; "" where none does."""

    blown: Blown
    hurt: tuple[str, ...]
    line: str
    ht: str


@dataclass(frozen=True, slots=True)
class Fuses:
    """inrush: of the line. places: every fuse of the file; a mains fuse proposed alone (part "") where it has none. unsaved: what
    the mains fuse does not end in time. mains, low: what all of it is judged on, the mark whatever the mains are today, and the
    lowest of the file [V rms]: a fuse bought by today's reading stands in tomorrow's mains."""

    inrush: Inrush
    places: tuple[Place, ...]
    unsaved: tuple[Unsaved, ...]
    mains: float
    low: float

    @property
    def fit(self) -> str:
        """The bottom line: what to fit."""
        line = next((p for p in self.places if p.place == "mains"), None)
        ht = next((p for p in self.places if p.place == "HT" and p.now is None), None)
        if line is None:
            return ""
        drawn = [p for p in self.places if p.place == "HT" and p.now is not None]
        ended = frozenset(fault for p in drawn if p.now is not None for fault in _ended(p.now))
        open_ = [u.blown.fault for u in self.unsaved if u.blown.fault not in ended]
        inside = next((j for j in (ht.proposed if ht else ()) if _ends_all(j, open_)), None)
        sure = next((j for j in line.proposed if not any(not b.saves for b in j.blown)), None)
        tires = f" ({sure.verdict})" if sure is not None and sure.start > PULSES else ""
        own = line.now if line.now is not None and line.now.holds else None
        if own is not None and not open_:
            others = "".join(f", and {p.part} in HT" for p in drawn)
            return f"{line.part}{others} as {'they are' if others else f'it is, {own.fuse.name}'}"
        if own is not None and inside is not None and ht is not None:
            other = (
                f"; where none is found for those volts, {sure.fuse.name} in {line.part}'s place{tires}" if sure else ""
            )
            return f"{line.part} as it is, {own.fuse.name}, and in HT {ht_cartridge(inside.fuse, ht.volts)}{other}"
        if sure is not None:
            return f"{to_order(sure.fuse.amps, sure.fuse.speed)} {f'in the place of {line.part}' if line.part else 'in the line'}{tires}"
        return _most_ended(line, own, ended, ht)


def _most_ended(line: Place, own: Judged | None, drawn: frozenset[str], ht: Place | None) -> str:
    """Where no choice ends every fault: the one in the line that ends most, one in HT where it ends more, and what is left."""
    every = [j for j in (own, *line.proposed) if j is not None]
    if not every:
        return ""
    best = max(every, key=lambda j: len(_ended(j) - drawn))
    done = _ended(best) | drawn
    inside = max(ht.proposed if ht else (), key=lambda j: len(_ended(j) - done), default=None)
    text = (
        f"{to_order(best.fuse.amps, best.fuse.speed)} {f'in the place of {line.part}' if line.part else 'in the line'}"
    )
    if best is own:
        text = f"{line.part} as it is, {own.fuse.name}"
    if ht is not None and inside is not None and _ended(inside) - done:
        text += f", and in HT {ht_cartridge(inside.fuse, ht.volts)}"
        done |= _ended(inside)
    left = ", ".join(b.fault for b in best.blown if b.fault not in done)
    return f"{text}; on {left} no fuse surely opens in time: off at the first sign" if left else text


def _ended(judged: Judged) -> frozenset[str]:
    """The faults on which it surely opens in time."""
    return frozenset(b.fault for b in judged.blown if b.saves)


MADE_DC = (500.0, 600.0, 1000.0, 1500.0)
"""Volts dc that cartridges are marked for (500 V: 6.3 x 32 mm, 1000 V: 10 x 38 mm; from memory); 5 x 20 mm ones are 250 V~."""


def ht_cartridge(fuse: Fuse, volts: float) -> str:
    """A fuse in HT as one asks a shop for it: L and H are marks of 250 V~ cartridges."""
    made = next((v for v in MADE_DC if v >= volts), MADE_DC[-1])
    return f"{fuse.name.rpartition(' ')[0]} marked for {made:g} V dc or more ({volts:.0f} V stand there)"


def _ends_all(judged: Judged, faults: Sequence[str]) -> bool:
    """Does it surely open in time on each of these faults?"""
    return set(faults) <= _ended(judged)


def seconds(value: float) -> str:
    """A time limit as people say it."""
    if value < 1.0:
        return f"{1e3 * value:.0f} ms"
    return f"{value:.0f} s" if value < 120.0 else f"{value / 60.0:.0f} min"
