"""Are the parts fit? Every electrical part's worst stress over all the ways the amplifier can stand, beside its rating."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from firstglow.amplifier.model import Amplifier, Part
from firstglow.audit.ageing import ages
from firstglow.audit.looks import look
from firstglow.audit.proposal import Proposal
from firstglow.audit.replace import propose
from firstglow.audit.replace_capacitors import without_its_leak
from firstglow.audit.stress import Stress, Verdict, worst
from firstglow.audit.stress_passive import PASSIVE
from firstglow.audit.stress_valves import VALVES
from firstglow.audit.stress_windings import WINDINGS
from firstglow.audit.ways import Stood, stood

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
        return tuple(f"{s.stress}: {look(self.kind, s.stress)}" for s in self.stresses if s.verdict == "rating unknown")


@dataclass(frozen=True, slots=True)
class Audit:
    """parts: every part of the amplifier once, in its own order. unsolved: faults that would not settle."""

    parts: tuple[Audited, ...]
    stood: Stood

    def of(self, part: str) -> Audited:
        """One part; KeyError if it is none."""
        for a in self.parts:
            if a.part == part:
                return a
        raise KeyError(part)


def audit(amplifier: Amplifier, mains_now: float | None = None) -> Audit:
    """Every part of the amplifier. mains_now: at the socket today [V rms]. Raises SolveError."""
    at = stood(amplifier, mains_now)
    found = []
    for part in amplifier.parts.values():
        stresses = tuple(KINDS[part.kind](at, part))
        why = ages(part)
        proposal = propose(at, part, stresses, why)
        found.append(Audited(part.name, part.kind, stresses, worst(stresses), why, proposal))
    return Audit(tuple(_one_word(at, found)), at)


def _one_word(at: Stood, found: Sequence[Audited]) -> Iterator[Audited]:
    """What stands in for a part's own proposal is what the part says too: one value for one place."""
    over = {i.for_part: i for a in found if a.proposal is not None for i in a.proposal.items if i.over}
    for a in found:
        if a.proposal is None or a.part not in over:
            yield a
            continue
        what = f"{over[a.part].text}: the valve behind it asks for it with a lower grid leak"
        # the corner is told here: what its own value in the old place would do to it is no longer true
        rest = without_its_leak(at, at.amplifier.parts[a.part])
        changes = f"with the lower grid leak the bass corner stays{rest and f'; {rest}'}"
        yield replace(
            a, proposal=replace(a.proposal, what=what, changes=changes, alternatives=(), refused=(), items=())
        )


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
        "mains": dict(found.stood.mains),
        "unsolved": unsolved(found),
    }


def unsolved(found: Audit) -> list[str]:
    """Ways that would not settle, by their text."""
    amplifier = found.stood.amplifier
    lost = found.stood.restart is None and amplifier.of_kind("inlet") and amplifier.of_kind("valve")
    return [*found.stood.unsolved, *(["hot restart"] if lost else [])]


def _look(kind: str, stress: Stress) -> str | None:
    return look(kind, stress.stress) if stress.verdict == "rating unknown" else None
