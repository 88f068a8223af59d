"""Points along one wire, from what stands between them: ohms of copper, or volts of turns. Both add up along it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from firstglow.windings.facts import Pair, Read


@dataclass(frozen=True, slots=True)
class Line:
    """leads: in order along the wire. at: from the first lead on, in the readings' unit. error: of each.
    sure: whether every step is more than the meter can be wrong by, so that the order is proved."""

    leads: tuple[str, ...]
    at: tuple[float, ...]
    error: tuple[float, ...]
    sure: bool

    @property
    def whole(self) -> float:
        """From end to end."""
        return self.at[-1]


@dataclass(frozen=True, slots=True)
class Clash:
    """Readings that do not add up. again: which to take again, the most suspect first; slip: the factor by which the
    first of them seems wrong (1000: a unit), or None."""

    again: tuple[Pair, ...]
    slip: float | None


def of(reads: Mapping[Pair, Read], a: str, b: str) -> Read | None:
    """The reading between two leads, whichever way it was written."""
    return reads.get((a, b)) or reads.get((b, a))


def along(leads: Sequence[str], reads: Mapping[Pair, Read]) -> Line | Clash | Pair:
    """The leads in order, a clash, or the next pair to read: the fewest that settle the order and prove its sum.

    The lead that is farthest from any lead is an end; from an end all others stand at their distance.
    """
    if len(leads) == 1:
        return Line(tuple(leads), (0.0,), (0.0,), True)
    counts = {a: sum(of(reads, a, b) is not None for b in leads if b != a) for a in leads}
    first = max(leads, key=lambda a: counts[a])
    missing = _missing(first, leads, reads)
    if missing:
        return missing
    end = max((b for b in leads if b != first), key=lambda b: _value(reads, first, b))
    missing = _missing(end, leads, reads)
    if missing:
        return missing
    line = _from(end, leads, reads)
    return line if _adds(line, reads) else _clash(leads, reads)


def _missing(a: str, leads: Sequence[str], reads: Mapping[Pair, Read]) -> Pair | None:
    return next(((a, b) for b in leads if b != a and of(reads, a, b) is None), None)


def _value(reads: Mapping[Pair, Read], a: str, b: str) -> float:
    found = of(reads, a, b)
    assert found is not None
    return found.value


def _from(end: str, leads: Sequence[str], reads: Mapping[Pair, Read]) -> Line:
    here = {b: of(reads, end, b) or Read(0.0, 0.0) for b in leads}
    order = sorted(leads, key=lambda b: (b != end, here[b].value))
    at, error = [here[b].value for b in order], [here[b].error for b in order]
    # two readings on one range are wrong the same way: what can exchange two neighbours is their digits, and a
    # quarter of the rest
    gaps = [at[n + 1] - at[n] > 0.5 * (error[n] + error[n + 1]) for n in range(1, len(order) - 1)]
    return Line(tuple(order), tuple(at), tuple(error), all(gaps) and at[1] > error[1])


def _adds(line: Line, reads: Mapping[Pair, Read]) -> bool:
    place = dict(zip(line.leads, zip(line.at, line.error, strict=True), strict=True))
    for (a, b), found in reads.items():
        if a in place and b in place:
            (x, dx), (y, dy) = place[a], place[b]
            if found.open or abs(abs(x - y) - found.value) > dx + dy + found.error:
                return False
    return True


def _clash(leads: Sequence[str], reads: Mapping[Pair, Read]) -> Clash:
    mine = {p: r for p, r in reads.items() if p[0] in leads and p[1] in leads}
    for factor in (1e3, 1e-3, 10.0, 0.1):
        for pair, found in mine.items():
            tried = {**mine, pair: Read(found.value * factor, found.error * factor)}
            if _quiet(leads, tried):
                return Clash((pair,), 1 / factor)
    without = [p for p in mine if _consistent(leads, {q: r for q, r in mine.items() if q != p})]
    return Clash(tuple(without or mine)[:3], None)


def _quiet(leads: Sequence[str], reads: Mapping[Pair, Read]) -> bool:
    """Whether these readings lie on a line whose order is proved, without going into what would be wrong if not."""
    for first in leads:
        if _missing(first, leads, reads):
            continue
        end = max((b for b in leads if b != first), key=lambda b: _value(reads, first, b))
        if _missing(end, leads, reads):
            return False
        line = _from(end, leads, reads)
        return line.sure and _adds(line, reads)
    return False


def _consistent(leads: Sequence[str], reads: Mapping[Pair, Read]) -> bool:
    """Whether what is left contradicts itself: every triangle that is read must close."""
    for n, a in enumerate(leads):
        for m, b in enumerate(leads[n + 1 :], n + 1):
            for c in leads[m + 1 :]:
                sides = [of(reads, a, b), of(reads, b, c), of(reads, a, c)]
                known = sorted((s for s in sides if s is not None), key=lambda s: s.value)
                if len(known) == 3 and abs(known[2].value - known[1].value - known[0].value) > sum(
                    s.error for s in known
                ):
                    return False
    return True
