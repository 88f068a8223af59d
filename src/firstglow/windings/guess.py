"""Which winding was the primary, and what the others were for: ranked guesses, for a person to confirm.

Two clues. With mains on the right winding the others come out 2 to 15 % above figures that valves ask for (5 V, 6.3 V, HT
pairs); and the primary carries all the volt-amps, so its ohms over volts squared are the least.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, log

from firstglow.windings.coils import Coil
from firstglow.windings.facts import Facts, Pair, WindingsError, pair_of

# Heater windings of valves [V], how usual against 6.3 V (natural logarithm), and what such a winding is called.
HEATERS = ((6.3, 0.0, "heat"), (5.0, -0.3, "rect"), (12.6, -2.0, "heat"), (2.5, -3.0, "heat"), (4.0, -2.0, "heat"))
# Unloaded over rated: heaters mostly 2 to 9 % above (common practice).
OVER, OVER_SPREAD = 1.055, 0.03
# Marks that primaries bear [V] (common practice).
MARKS = (10, 20, 100, 105, 110, 115, 117, 120, 125, 127, 130, 150, 200, 210, 220, 225, 230, 240, 245, 250, 260)  # fmt: skip
# Those that most of them bear; another one, and a tap of a few volts at the common end, is by so much rarer (natural
# logarithm; common practice).
USUAL_MARKS, RARER = (100, 110, 115, 117, 120, 125, 127, 220, 230, 240), 1.5
EQUAL_TURNS, EQUAL_OHMS = 0.03, 0.25  # two primaries wound alike: the outer one has the longer turns
MOST_VOLTS = 1500.0


@dataclass(frozen=True, slots=True)
class Use:
    """What a winding may be for. word: its name in the file without a number; volts: rated figure it was taken for, None
    where none is usual; score: natural logarithm of how well it fits."""

    word: str
    volts: float | None
    score: float


@dataclass(frozen=True, slots=True)
class Guess:
    """One way to put the mains on. spans: the leads between which they go, two spans for two primaries; joined: "series",
    "parallel" or "alone"; mark [V]: over all of it; per_turn: volts of a winding over its ``turns`` then; uses: of every
    other winding by its first lead; chance: among the guesses [1]."""

    spans: tuple[Pair, ...]
    joined: str
    mark: float
    per_turn: float
    uses: Mapping[str, Use]
    score: float
    chance: float = 0.0

    @property
    def text(self) -> str:
        """As it is confirmed."""
        words = [" + ".join(f"{a} {b}" for a, b in self.spans)]
        if self.joined != "alone":
            words.append(self.joined)
        return " ".join([*words, f"{self.mark:g}V"])


def use_of(coil: Coil, volts: float, doubt: float) -> Use:
    """The likeliest use of a winding of so many open-circuit volts; doubt: the most they may be off, a fraction."""
    options = [Use("aux", None, -7.0)]
    spread = (OVER_SPREAD**2 + (doubt / 1.7) ** 2) ** 0.5
    for rated, usual, word in HEATERS:
        options.append(Use(word, rated, usual - 0.5 * (log(volts / (rated * OVER)) / spread) ** 2))
    if coil.middle is not None and 240 <= volts <= 1300:
        options.append(Use("ht", None, -0.5))
    if 120 <= volts <= 700:
        options.append(Use("ht", None, -2.0))
    if 14 <= volts <= 120:
        options.append(Use("bias", None, -2.0))
    if volts > MOST_VOLTS:
        return Use("aux", None, -25.0)
    return max(options, key=lambda u: u.score)


def guesses(coils: Sequence[Coil], mains: float) -> tuple[Guess, ...]:
    """Every way to put the mains on that makes sense, the likeliest first."""
    found: list[Guess] = []
    other = 120.0 if mains > 170 else 230.0
    for coil in coils:
        for span, mark, score in _spans(coil, mains):
            found.append(_made((span,), "alone", mark, coils, score))
        if len(coil.leads) == 2:
            found.append(_made((coil.ends,), "alone", other, coils, -4.0))
    for n, one in enumerate(coils):
        for two in coils[n + 1 :]:
            if alike(one, two):
                spans = (one.ends, two.ends)
                for joined, usual in (("series", mains > 170), ("parallel", mains <= 170)):
                    found.append(_made(spans, joined, mains, coils, 0.0 if usual else -1.5))
    best = max(g.score for g in found)
    weights = [exp(g.score - best) for g in found]
    ranked = sorted(zip(found, weights, strict=True), key=lambda x: -x[1])
    total = sum(weights)
    return tuple(Guess(g.spans, g.joined, g.mark, g.per_turn, g.uses, g.score, w / total) for g, w in ranked[:6])


def alike(one: Coil, two: Coil) -> bool:
    """Two windings of two leads with equal turns and nearly equal ohms."""
    if len(one.leads) != 2 or len(two.leads) != 2:
        return False
    room = max(EQUAL_TURNS, one.doubt + two.doubt) if min(one.whole, two.whole) > 0 else 0.0
    same_turns = abs(one.whole - two.whole) <= min(room, 0.06) * max(one.whole, two.whole)
    room_ohms = EQUAL_OHMS * max(one.ohms[-1], two.ohms[-1]) + one.ohms_error[-1] + two.ohms_error[-1]
    return same_turns and abs(one.ohms[-1] - two.ohms[-1]) <= room_ohms


def _spans(coil: Coil, mains: float) -> list[tuple[Pair, float, float]]:
    """(leads, mark, score) for the mains on one winding: whole, or up to a tap where taps fall on usual marks."""
    if len(coil.leads) == 2:
        return [(coil.ends, mains, 0.0)]
    out = []
    for side in (coil, coil.turned()):
        for n in range(1, len(side.leads) - 1):
            out += [((side.leads[0], side.leads[n]), mark, score) for mark, score in _tapped(side, n, mains)]
    # the mains on the whole of it: from the end where its taps fall on marks the better
    last = len(coil.leads) - 1
    ends = [dict(_tapped(side, last, mains)) for side in (coil, coil.turned())]
    for mark in ends[0]:
        turned = ends[1].get(mark, -99.0) > ends[0][mark]
        side = coil.turned() if turned else coil
        out.append(((side.leads[0], side.leads[last]), mark, max(e.get(mark, -99.0) for e in ends)))
    return out


def _tapped(side: Coil, n: int, mains: float) -> list[tuple[float, float]]:
    """(mark, score) with the mains from the first lead to lead ``n``."""
    found = []
    for mark in dict.fromkeys([mains, *(float(m) for m in MARKS if 0.92 <= m / mains <= 1.09)]):
        others = [mark * t / side.turns[n] for k, t in enumerate(side.turns) if k not in {0, n}]
        if max(others, default=0.0) > 270:
            continue
        score = -1.0 if mark == mains else -1.7
        found.append((mark, max(score + sum(marked(v) for v in (mark, *others)), -14.0)))
    return found


def marked(volts: float) -> float:
    """How well some volts of a primary fall on a mark (natural logarithm)."""
    if volts <= 5:
        return -9.0
    return max(-0.5 * (log(volts / mark) / 0.012) ** 2 - (0.0 if mark in USUAL_MARKS else RARER) for mark in MARKS)


def _made(spans: tuple[Pair, ...], joined: str, mark: float, coils: Sequence[Coil], score: float) -> Guess:
    mine = [next(c for c in coils if span[0] in c.leads) for span in spans]
    turns = sum(_between(c, s) for c, s in zip(mine, spans, strict=True))
    if joined == "parallel":
        turns /= len(spans)
    per_turn = mark / turns
    doubt = max(c.doubt for c in mine)
    uses = {c.leads[0]: use_of(c, c.whole * per_turn, (c.doubt**2 + doubt**2) ** 0.5) for c in coils if c not in mine}
    score += sum(u.score for u in uses.values()) + _copper(mine, [c for c in coils if c not in mine])
    if not any(u.word == "heat" for u in uses.values()):
        score -= 1.0
    return Guess(spans, joined, mark, per_turn, uses, score)


def _between(coil: Coil, span: Pair) -> float:
    at = dict(zip(coil.leads, coil.turns, strict=True))
    return abs(at[span[1]] - at[span[0]])


def _copper(primaries: Sequence[Coil], others: Sequence[Coil]) -> float:
    """How well the primary's ohms over turns squared are the least: it carries all the volt-amps."""
    own = sum(c.ohms[-1] / c.whole**2 for c in primaries) / len(primaries) ** 2
    rest = [c.ohms[-1] / c.whole**2 for c in others if c.ohms_known]
    if not rest or not all(c.ohms_known for c in primaries):
        return 0.0
    return -0.5 * (max(0.0, log(own / min(rest))) / 0.4) ** 2


def confirmed(facts: Facts, coils: Sequence[Coil], mains: float) -> Guess:
    """The primary that a person confirmed: "1 2", "1 2 + 3 4 series", "1 4 220V"."""
    text = facts.primary or ""
    found = re.fullmatch(
        r"(?P<spans>.+?)(?:\s+(?P<joined>series|parallel))?(?:\s+(?P<mark>\d+(?:\.\d+)?)\s*V)?", text.strip()
    )
    spans = tuple(pair_of(p, facts.leads, "primary") for p in (found["spans"] if found else text).split("+"))
    joined = (found["joined"] if found else None) or "alone"
    mark = float(found["mark"]) if found and found["mark"] else mains
    remedy = '"1 2" or "1 2 + 3 4 series"'
    if len(spans) > 2 or (joined == "alone") != (len(spans) == 1):
        raise WindingsError("primary", f'"{text}"', "one pair, or two pairs in series or in parallel", remedy)
    homes = [[c for c in coils if {*span} <= {*c.leads}] for span in spans]
    if not all(homes):
        raise WindingsError("primary", f'"{text}" is not on one winding', "two leads of one winding", remedy)
    mine = [h[0] for h in homes]
    if len(spans) == 2 and (
        mine[0] is mine[1] or not alike(*mine) or any({*s} != {*c.ends} for s, c in zip(spans, mine, strict=True))
    ):
        raise WindingsError("primary", f'"{text}": these two windings differ', "equal turns and nearly equal ohms: two different "
                            "ones joined on the mains drive current round each other", remedy)  # fmt: skip
    if not 90 <= mark <= 260:
        raise WindingsError("primary", f"marked for {mark:g} V", "90 to 260 V", '"230V"')
    return _made(spans, joined, mark, coils, 0.0)
