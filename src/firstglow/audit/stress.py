"""One stress of one part: the worst value over the ways of standing, beside its rating, and the verdict."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Part
from firstglow.audit.ways import Array, Stood

Verdict = Literal["fit", "tight", "unfit", "rating unknown"]
RANK: tuple[Verdict, ...] = ("fit", "rating unknown", "tight", "unfit")
"""From the best to the worst."""
EXACT = 1e-9
PRINTED = 0.01
"""Past a rating by less than this is the rating's own print (2 A for 2.00), not the part's trouble."""
FELT = 0.01
"""A fault that asks less of a part than this part of its rating gets no row."""
WORSE = 1.02
"""A fault gets a row of its own where it asks this much more than every way of standing without one."""

NOTHING = {"V": 1e-3, "A": 1e-6, "W": 1e-6, "VA": 1e-3}
"""Less than this is next to nothing, by unit."""


@dataclass(frozen=True, slots=True)
class Stress:
    """value, rating [unit]; side: "at most" the rating or "at least". margin: part of the rating that is left (negative: past
    it), None without a rating. verdict: None for a fault's row, survives: None for all others. note: what else to know. everyday:
    its value running on the mains as they are, None where that is not looked at. mains_alone: it moves with the mains and has
    a row on their mark beside it: past its rating it is tight here, and unfit only if it is so there. judged: False where no sheet
    rates it so, or the part is rated for something else that has a row of its own: then its rating is unknown, nobody is sent to look
    for it, and the part's verdict does not hang on it."""

    stress: str
    value: float
    unit: str
    rating: float | None
    situation: str
    side: Literal["at most", "at least"] = "at most"
    tight: float = 0.0
    fault: bool = False
    note: str = ""
    everyday: float | None = None
    mains_alone: bool = False
    judged: bool = True

    @property
    def margin(self) -> float | None:
        """(rating - value) / rating, the other way round for a least."""
        if self.rating is None or self.rating <= 0.0:
            return None
        left = (self.rating - self.value) / self.rating
        return left if self.side == "at most" else -left

    @property
    def verdict(self) -> Verdict | None:
        """Fit, tight (margin under its share), unfit (past it by more than its print), rating unknown; None for a fault."""
        if self.fault:
            return None
        margin = self.margin
        if margin is None:
            return "rating unknown"
        if margin < -PRINTED and not self.mains_alone:
            return "unfit"
        return "tight" if margin < self.tight - EXACT else "fit"

    @property
    def missing(self) -> bool:
        """Is a rating wanted that nobody has said?"""
        return self.verdict == "rating unknown" and self.judged

    @property
    def survives(self) -> bool | None:
        """Of a fault's row: whether the rating bears it; None without a rating."""
        margin = self.margin
        return None if not self.fault or margin is None else margin >= -PRINTED

    @property
    def felt(self) -> bool:
        """Whether it is more than next to nothing."""
        return self.value >= NOTHING.get(self.unit, 0.0)

    def row(self) -> dict[str, Any]:
        """CONTRACTS' row; volt-amperes are W there."""
        unit = {"VA": "W"}.get(self.unit, self.unit)
        return {
            "stress": self.stress, "value": self.value, "unit": unit, "rating": self.rating, "margin": self.margin,
            "verdict": self.verdict, "situation": self.situation, "survives": self.survives, "side": self.side,
            "note": self.note or None, "everyday": self.everyday, "mains_alone": self.mains_alone,
        }  # fmt: skip


def worst(stresses: tuple[Stress, ...]) -> Verdict:
    """A part's verdict: its worst stress's."""
    found = [s.verdict for s in stresses if s.verdict is not None and s.judged]
    return max(found, key=RANK.index, default="rating unknown")


def most(
    stood: Stood, part: Part, stress: str, unit: str, values: Array, rating: float | None, tight: float,
    where: NDArray[np.bool_] | None = None, note: str = "", faults: bool = True, usual: float = 0.0,
) -> Iterator[Stress]:  # fmt: skip
    """The worst of ``values`` (way,) by size among ``where`` (default: every way without a fault); then the worst that a fault of
    another part does, where that is worse and worth a word, and every other fault that takes it past its rating. usual: what it
    meets without any fault outside ``where``: what a fault does not add to is not the fault's."""
    sizes = np.abs(np.broadcast_to(values, (len(stood.ways),)))
    among = stood.where() if where is None else where & stood.where(ends=True)
    value = 0.0
    if among.any():
        k = int(np.where(among, sizes, -1.0).argmax())
        value = float(sizes[k])
        runs = stood.where(level="now", runs=True)
        everyday = float(sizes[runs].max()) if runs.any() else None
        yield Stress(stress, value, unit, rating, stood.ways[k].text, tight=tight, note=note, everyday=everyday)
    if not faults:
        return
    felt = stood.faults_beside(part) & (sizes > max(WORSE * value, WORSE * usual, FELT * (rating or 0.0)) + EXACT)
    for place, k in enumerate(sorted((int(n) for n in np.flatnonzero(felt)), key=lambda k: -sizes[k])):
        found = Stress(stress, float(sizes[k]), unit, rating, stood.ways[k].text, tight=tight, fault=True, note=note)
        if place == 0 or found.survives is False:
            yield found


def least(
    stood: Stood, stress: str, unit: str, values: Array, rating: float | None, tight: float, where: NDArray[np.bool_],
    note: str = "",
) -> Iterator[Stress]:  # fmt: skip
    """The least of ``values`` (way,) among ``where``, which must be at least the rating."""
    if where.any():
        k = int(np.where(where, values, np.inf).argmin())
        yield Stress(
            stress, float(values[k]), unit, rating, stood.ways[k].text, side="at least", tight=tight, note=note
        )


def by_mains(
    stood: Stood, part: Part, stress: str, unit: str, values: Array, rating: float | None, tight: float,
    where: NDArray[np.bool_], note: str = "", out: NDArray[np.bool_] | None = None, faults: bool = True,
) -> Iterator[Stress]:  # fmt: skip
    """The worst of ``values`` among ``where``, ways on the mains as they are, and then over every way, the highest mains too.
    Such a rating is made for the mark (a winding's amps, a heater's volts): what higher mains and a lighter transformer add to
    it is told as theirs. out: ways in which the part is not there (way,)."""
    if rating is None:
        gone = stood.where() if out is None else ~out
        yield from most(stood, part, stress, unit, values, None, tight, gone, note, faults=faults)
        return
    sizes = np.abs(np.broadcast_to(values, (len(stood.ways),)))
    there = stood.where() if out is None else stood.where() & ~out
    usual = float(sizes[there].max()) if there.any() else 0.0
    yield from most(stood, part, stress, unit, values, rating, tight, where, note, faults=faults, usual=usual)
    yield from _by_mains_alone(stood, f"{stress}, {WORST}", unit, sizes, rating, where, out, "at most")


def least_by_mains(
    stood: Stood, stress: str, unit: str, values: Array, rating: float | None, tight: float, where: NDArray[np.bool_],
    note: str = "", out: NDArray[np.bool_] | None = None,
) -> Iterator[Stress]:  # fmt: skip
    """The least of ``values``, which must be at least the rating; as ``by_mains``, the lowest mains in it."""
    yield from least(stood, stress, unit, values, rating, tight, where, note)
    yield from _by_mains_alone(stood, f"{stress}, {WORST}", unit, np.asarray(values), rating, where, out, "at least")


WORST = "worst way and mains"
"""What the row over every way is called."""


def _by_mains_alone(
    stood: Stood, stress: str, unit: str, values: Array, rating: float | None, where: NDArray[np.bool_],
    out: NDArray[np.bool_] | None, side: Literal["at most", "at least"],
) -> Iterator[Stress]:  # fmt: skip
    """The row over every way, beside what it is running on the mains as they are."""
    among = stood.where() if out is None else stood.where() & ~out
    runs = stood.where(level="now", runs=True)
    if not among.any() or not runs.any() or not (among & ~where).any():
        return
    if rating is None:
        return
    sign = 1.0 if side == "at most" else -1.0
    k, mark = (int(np.where(at, sign * values, -np.inf).argmax()) for at in (among, runs))
    own = bool((sign * values[where] > sign * rating + PRINTED * rating).any())  # past it without any mains to blame
    note = "" if own else "it follows the mains, and what else is drawn, alone"
    yield Stress(
        stress, float(values[k]), unit, rating, stood.ways[k].text, side=side, note=note, mains_alone=not own,
        everyday=float(values[mark]),
    )  # fmt: skip
