"""A sparse file against the full one, as the tests and ``benchmarks/sparse`` want it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.ladder.ladder import Ladder
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.narrow import ends

# Standard deviation of a normal's 0.99 quantile over itself, times the root of the samples (H. A. David, Order Statistics,
# 1981, 2.5): sqrt(0.99 x 0.01) / (density x score).
OUTER = 1.605
SIGNALS = {"signal volts"}


@dataclass(frozen=True, slots=True)
class Match:
    """One reading of both files. full [SI]: what the full file expects, at the sparse file's stimulus."""

    sparse: ExpectedReading
    full: float | str | None
    inside: bool


def matches(full: Ladder, sparse: Ladder) -> Iterator[Match]:
    """Every reading that both ladders have: by id, else by rung, what is read and the two places."""
    common = {*full.frame.amplifier.parts} & {*sparse.frame.amplifier.parts}
    by_place = {place(sparse.frame.amplifier, r, common): r for r in sparse.expected.readings()}
    for one in full.expected.readings():
        other = sparse.expected.by_id.get(one.id) or by_place.get(place(full.frame.amplifier, one, common))
        if other is not None:
            yield match(one, other)


def place(amplifier: Amplifier, r: ExpectedReading, common: set[str]) -> tuple[object, ...]:
    """What makes two readings the same whatever their parts are called: terminals that both files have."""
    ends = frozenset(named(amplifier, joint, common) for joint in (r.planned.probe.red, r.planned.probe.black))
    state = r.planned.situation
    pots = frozenset((p, v) for p, v in state.pots.items() if p in common)
    return r.rung, r.kind, r.planned.probe.quantity, r.planned.probe.seconds, r.planned.channel, ends, pots, state.load


def named(amplifier: Amplifier, joint: str, common: set[str]) -> tuple[str, ...]:
    """A joint by those of its terminals that both files have."""
    if joint not in amplifier.joints or joint == "chassis":
        return (joint,)
    return tuple(sorted(t for t in amplifier.joints[joint].terminals if t.rpartition(" ")[0] in common)) or (joint,)


def match(full: ExpectedReading, sparse: ExpectedReading) -> Match:
    """The full file's answer against the sparse file's band."""
    value = full.expected
    if sparse.on is None or full.on is None:
        return Match(sparse, value, value == sparse.expected or value in sparse.words)
    if value is None:
        return Match(sparse, None, sparse.expected is None or sparse.high is None)
    assert isinstance(value, float)
    if full.planned.probe.quantity in SIGNALS:
        value *= sparse.planned.situation.stimulus_volts / full.planned.situation.stimulus_volts
    low = -float("inf") if sparse.low is None else sparse.low
    high = float("inf") if sparse.high is None else sparse.high
    edge = sparse.on.step
    return Match(sparse, value, low - edge <= value <= high + edge)


def with_measured(text: str, part: str, value: str) -> str:
    """The file with one more value, as a layer of what was measured."""
    return f'{text}\n[[layer]]\nkind = "measured"\nset = {{ "{part}" = {value} }}\n'


@dataclass(frozen=True, slots=True)
class Narrowed:
    """One reading's band before and after a measurement [SI], by slopes at one common score: two scores differ by chance.

    inside: the sampled band after lies in the one before, three standard deviations of an end's own chance apart.
    """

    id: str
    share: float
    before: float
    after: float
    inside: bool


def narrowed(before: Ladder, after: Ladder, part: str) -> Iterator[Narrowed]:
    """Every numeric reading; share: of its variance that the part makes before it was measured.

    Twins that no longer are twins lose half of their samples, so their ends move by chance: three standard deviations of
    an end's own distance from the middle are not outside.
    """
    found = before.sheet.found
    own = [k for k, name in enumerate(found.parts) if name == part]
    score = before.expected.score
    widths = [np.subtract(*reversed(ends(sheet, score))) for sheet in (before.sheet, after.sheet)]
    place = {r.id: k for k, r in enumerate(after.sheet.readings)}
    for i, r in enumerate(before.sheet.readings):
        one, other = before.expected.by_id[r.id], after.expected.by_id.get(r.id)
        if other is None or one.on is None or None in (one.low, one.high, other.low, other.high):
            continue
        whole = float((found.sigmas[:, i] ** 2).sum())
        share = float((found.sigmas[own, i] ** 2).sum()) / whole if whole else 0.0
        step = one.on.step
        chance = 3.0 * OUTER / after.expected.samples**0.5
        below, above = (step + chance * abs(one.expected - end) for end in (one.low, one.high))  # type: ignore[operator]
        inside = one.low - below <= other.low and other.high <= one.high + above  # type: ignore[operator]
        yield Narrowed(r.id, share, float(widths[0][i]), float(widths[1][place[r.id]]), inside)
