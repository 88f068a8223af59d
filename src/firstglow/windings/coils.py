"""Windings as read: order of the leads, ohms and turns along each, and the low volts that may excite one of them."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import floor, hypot, sqrt

from firstglow.windings.facts import Facts, Pair, Read, WindingsError
from firstglow.windings.order import Clash, Line, along, of

# Nothing on the bench may come above this while leads hang bare [V rms] (touch limit of a probe by hand: 30 V ac).
MOST_BENCH_VOLTS = 25.0
BENCH_VOLTS, LEAST_BENCH_VOLTS = 12.0, 1.5
# At one current density ohms go as volts squared over volt-amps; another winding may carry so many times the volt-amps of
# the one excited, and its mean turn differ: a factor of ten covers both (common practice: HT of half, bias of a tenth).
VOLT_AMPS_APART = 10.0
# Amps at which even a small transformer's winding at a few volts is told from a short [A rms] (common practice).
MOST_EXCITE_AMPS = 0.1


@dataclass(frozen=True, slots=True)
class Coil:
    """One winding. leads: in order along it. ohms: at each lead from the first on [ohm], ohms_error of each; turns: at each
    lead, as volts over the volts of the excited winding [1], turns_error: the most a step is wrong by, of the whole [1].
    ordered_by: "ohms", "volts" or "two leads"."""

    leads: tuple[str, ...]
    ohms: tuple[float, ...]
    ohms_error: tuple[float, ...]
    turns: tuple[float, ...] = ()
    turns_error: tuple[float, ...] = ()
    ordered_by: str = "two leads"

    @property
    def ends(self) -> Pair:
        """First and last lead."""
        return self.leads[0], self.leads[-1]

    @property
    def whole(self) -> float:
        """Turns from end to end."""
        return self.turns[-1]

    @property
    def doubt(self) -> float:
        """The most that ``whole`` may be wrong by, as a fraction of it."""
        return self.turns_error[-1] / self.whole

    @property
    def middle(self) -> int | None:
        """Which lead stands at half the turns, if one does."""
        for n in range(1, len(self.leads) - 1):
            off = abs(self.turns[n] - self.whole / 2)
            if off <= max(0.02 * self.whole, 0.7 * (self.turns_error[n] + self.turns_error[-1] / 2)):
                return n
        return None

    @property
    def ohms_known(self) -> bool:
        """Whether the meter could tell its ohms at all."""
        return self.ohms_error[-1] < 0.3 * self.ohms[-1]

    def turned(self) -> "Coil":
        """The same winding told from its other end."""
        back = slice(None, None, -1)
        return replace(
            self, leads=self.leads[back], ohms=tuple(self.ohms[-1] - x for x in self.ohms[back]),
            turns=tuple(self.whole - x for x in self.turns[back]), ohms_error=(0.0, *self.ohms_error[-2:0:-1], self.ohms_error[-1]),
            turns_error=(0.0, *self.turns_error[-2:0:-1], self.turns_error[-1]),
        )  # fmt: skip


def by_ohms(group: list[str], facts: Facts) -> Line | Pair:
    """Order of one group by its ohms, or the next pair to read; WindingsError where they do not add up."""
    found = along(group, facts.ohms)
    if isinstance(found, Clash):
        raise _clash("ohms", found, facts.ohms, "ohm")
    return found


def _clash(table: str, clash: Clash, reads: Mapping[Pair, Read], unit: str) -> WindingsError:
    again = tuple(f"{table} {a} {b}" for a, b in clash.again)
    read = of(reads, *clash.again[0])
    assert read is not None
    told = f"{read.value:.4g} {unit}"
    if clash.slip is not None:
        size, side = max(clash.slip, 1 / clash.slip), "more" if clash.slip > 1 else "less"
        told += f", {size:g} times {side} than the others say: a slip of unit or range"
    else:
        told += " does not add up with the others along one wire"
    pairs = " and ".join(f"{a} to {b}" for a, b in clash.again)
    return WindingsError(
        again[0], told, "readings of which the largest is the sum of its parts", f"reading {pairs} again", again
    )


@dataclass(frozen=True, slots=True)
class Excitation:
    """The winding to excite and the most volts for it [V rms], a whole tenth; others_below: what no other winding passes."""

    pair: Pair
    most_volts: float
    others_below: float


def excitation(lines: list[Line]) -> Excitation:
    """The winding of most ohms, and the volts at which every other stays below ``MOST_BENCH_VOLTS`` even if it was wound
    for ten times the volt-amps."""
    ranked = sorted((x for x in lines if len(x.leads) > 1), key=lambda x: -x.whole)
    if len(ranked) < 2:
        raise WindingsError("ohms", f"{len(ranked)} winding", "two windings at least: a transformer has a primary and a secondary",
                            "reading the pairs again, tips on bright copper", ("leads",))  # fmt: skip
    ratio = sqrt(VOLT_AMPS_APART * max(ranked[1].whole, 0.01) / ranked[0].whole)
    most = max(LEAST_BENCH_VOLTS, min(BENCH_VOLTS, floor(10 * MOST_BENCH_VOLTS / max(ratio, 1e-6)) / 10))
    return Excitation((ranked[0].leads[0], ranked[0].leads[-1]), most, min(most * ratio, MOST_BENCH_VOLTS))


def by_volts(line: Line, source: Read, facts: Facts) -> Coil | Pair:
    """The winding with its turns, or the next pair to read volts on."""
    for pair, got in facts.ac.items():
        if got.value > 2 * MOST_BENCH_VOLTS or got.open:
            raise WindingsError(f"ac {pair[0]} {pair[1]}", f"{got.value:g} V", f"at most {MOST_BENCH_VOLTS:g} V on this bench",
                                "switching off now, and exciting with less; or mV was meant")  # fmt: skip
    found = along(line.leads, facts.ac)
    if isinstance(found, Clash):
        opposed = _opposed(line, facts)
        if opposed:
            raise opposed
        raise _clash("ac", found, facts.ac, "V")
    if not isinstance(found, Line):
        return found
    if found.leads[0] != line.leads[0] and found.leads[::-1] == line.leads:
        found = Line(
            found.leads[::-1],
            tuple(found.whole - x for x in found.at[::-1]),
            (0.0, *found.error[-2:0:-1], found.error[-1]),
            found.sure,
        )
    trusted = line.leads
    by = "ohms" if len(line.leads) > 2 else "two leads"
    if len(line.leads) > 2 and found.leads != line.leads:
        if line.sure:
            raise _opposed(line, facts) or _disagree(line, found)
        if not found.sure:
            raise WindingsError(f"ac {found.leads[0]} {found.leads[1]}", "too little to tell the order of these leads by",
                                "volts on the meter's lowest ac range", "a finer range, or more volts on the excited winding")  # fmt: skip
        trusted, by = found.leads, "volts"
    place, ohms = dict(zip(found.leads, found.at, strict=True)), dict(zip(line.leads, line.at, strict=True))
    errors, ohms_errors = (
        dict(zip(found.leads, found.error, strict=True)),
        dict(zip(line.leads, line.error, strict=True)),
    )
    if source.value <= 0 or found.whole <= 0:
        raise WindingsError(f"ac {line.leads[0]} {line.leads[-1]}", "0 V", "volts on every winding of a whole transformer",
                            "the clips and the range again; a winding without volts is broken or no winding")  # fmt: skip
    return Coil(
        trusted, tuple(ohms[b] for b in trusted), tuple(ohms_errors[b] for b in trusted),
        tuple(place[b] / source.value for b in trusted),
        tuple(hypot(errors[b], place[b] * source.error / source.value) / source.value for b in trusted), by,
    )  # fmt: skip


def _opposed(line: Line, facts: Facts) -> WindingsError | None:
    """Volts end to end that are the difference of the halves: two windings joined finish to finish."""
    if len(line.leads) != 3:
        return None
    a, m, b = line.leads
    parts = [of(facts.ac, a, m), of(facts.ac, m, b), of(facts.ac, a, b)]
    if any(p is None for p in parts):
        return None
    first, second, whole = (p for p in parts if p is not None)
    room = first.error + second.error + whole.error
    if abs(abs(first.value - second.value) - whole.value) > room:
        return None
    return WindingsError(
        f"ac {a} {b}", f"{whole.value:.3g} V end to end, the difference of {first.value:.3g} and {second.value:.3g} V, not their sum",
        f"halves that follow each other round {m}",
        f"reading {a} to {b} again; if it stands, {m} joins two windings the wrong way round: part that joint and begin again",
        (f"ac {a} {b}",),
    )  # fmt: skip


def _disagree(line: Line, found: Line) -> WindingsError:
    keys = tuple(f"ac {found.leads[0]} {b}" for b in found.leads[1:])
    return WindingsError(keys[0], f"by volts the order is {' '.join(found.leads)}, by ohms {' '.join(line.leads)}",
                         "one order along one wire", f"reading the volts of {', '.join(found.leads)} again", keys)  # fmt: skip
