"""Are the parts fit? Every electrical part's worst stress over all the ways the amplifier can stand, beside its rating."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from firstglow.amplifier.model import Amplifier, Part
from firstglow.audit.ageing import ages
from firstglow.audit.looks import look
from firstglow.audit.pieces import Item
from firstglow.audit.proposal import Proposal
from firstglow.audit.replace import propose
from firstglow.audit.stress import Stress, Verdict, worst
from firstglow.audit.stress_passive import PASSIVE
from firstglow.audit.stress_valves import VALVES
from firstglow.audit.stress_windings import WINDINGS
from firstglow.audit.together import Together, one_word, together
from firstglow.audit.ways import Stood, stood
from firstglow.solver.stores import Stores

KINDS: Mapping[str, Callable[[Stood, Part], Iterator[Stress]]] = {**PASSIVE, **VALVES, **WINDINGS}


@dataclass(frozen=True, slots=True)
class Audited:
    """One part with all its stresses. ages: why a part of its kind is renewed anyway, "" where it is not. proposal: of every
    part that is tight, unfit or ageing."""

    part: str
    kind: str
    stresses: tuple[Stress, ...]
    verdict: Verdict
    ages: str
    proposal: Proposal | None

    def looks(self) -> tuple[str, ...]:
        """Where its missing ratings stand, one line each."""
        return tuple(f"{s.stress}: {look(self.kind, s.stress)}" for s in self.stresses if s.missing)


@dataclass(frozen=True, slots=True)
class Audit:
    """parts: every part of the amplifier once, in its own order. more: parts of which nothing is asked as they stand, and something once
    the order list is fitted, as they stand then. stays: what then is still tight or past a rating, by part; None where that could not
    be worked out. drains: the bleeders that are bought, by capacitor."""

    parts: tuple[Audited, ...]
    stood: Stood
    more: tuple[Audited, ...] = ()
    stays: Mapping[str, tuple[Stress, ...]] | None = None
    drains: Mapping[str, Item] = field(default_factory=dict)

    def of(self, part: str) -> Audited:
        """One part; KeyError if it is none."""
        for a in self.parts:
            if a.part == part:
                return a
        raise KeyError(part)


def audit(amplifier: Amplifier, mains_now: float | None = None, whole: bool = True) -> Audit:
    """Every part of the amplifier. mains_now: at the socket today [V rms]. whole: the order list fitted and audited again, half the
    time; False: each proposal by itself, ``stays`` None. Raises SolveError."""
    at = stood(amplifier, mains_now)
    return audit_of(at) if whole else _audit(at, whole=False)


def audit_of(at: Stood) -> Audit:
    """Every part of a solved amplifier; kept with it, for it is asked part by part."""
    if "audit" not in at.__dict__:
        at.__dict__["audit"] = _audit(at)
    kept: Audit = at.__dict__["audit"]
    return kept


def _audit(at: Stood, whole: bool = True) -> Audit:
    amplifier = at.amplifier
    stresses = {p.name: tuple(KINDS[p.kind](at, p)) for p in amplifier.parts.values()}
    alone = {p.name: propose(at, p, stresses[p.name], ages(p)) for p in amplifier.parts.values()}
    proposals = {name: p for name, p in alone.items() if p is not None}
    made = together(at, stresses, proposals) if whole else Together(one_word(at, proposals), {}, None)

    def audited(part: Part, rows: tuple[Stress, ...], proposal: Proposal | None, why: str) -> Audited:
        return Audited(part.name, part.kind, rows, worst(rows), why, proposal)

    found = (audited(p, stresses[p.name], made.proposals.get(p.name), ages(p)) for p in amplifier.parts.values())
    more = (audited(amplifier.parts[n], rows, proposal, "") for n, (rows, proposal) in made.more.items())
    return Audit(tuple(found), at, tuple(more), made.stays, made.drains)


def document(found: Audit) -> dict[str, Any]:
    """CONTRACTS' document."""
    from firstglow.audit.idle_band import idle_bands
    from firstglow.audit.order import document as order

    idles = {i.valve: i.row() for i in idle_bands(found.stood)}
    return {
        "parts": [
            {
                "part": a.part,
                "stresses": [s.row() | {"look": _look(a.kind, s)} for s in a.stresses],
                "verdict": a.verdict,
                "ageing": a.ages or None,
                "idle": idles.get(a.part),
                "proposal": None if a.proposal is None else a.proposal.row(),
            }
            for a in found.parts
        ],
        "order": order(found),
        "fitted": _fitted(found),
        "mains": dict(found.stood.mains),
        "unsolved": unsolved(found),
    }


def _fitted(found: Audit) -> dict[str, Any] | None:
    """With the whole order list in: what it alone asks of parts that are fit as they stand, and what stays tight or past a rating."""
    if found.stays is None:
        return None
    asks = [{"part": a.part, "verdict": a.verdict, "proposal": a.proposal.row()} for a in found.more if a.proposal]
    return {
        "asks": asks,
        "stays": [{"part": n, "stresses": [s.row() for s in rows]} for n, rows in found.stays.items()],
    }


def unsolved(found: Audit) -> list[str]:
    """Ways that would not settle, by their text."""
    amplifier = found.stood.amplifier
    asked = amplifier.of_kind("inlet") and amplifier.of_kind("valve") and Stores(found.stood.circuit).names
    lost = asked and found.stood.restart is None
    return [*found.stood.unsolved, *(["hot restart"] if lost else [])]


def _look(kind: str, stress: Stress) -> str | None:
    if stress.verdict != "rating unknown":
        return None
    return look(kind, stress.stress) if stress.judged else "nothing to look for: no sheet that was read rates it so"
