"""What to fit instead of one part, as data, and its figures in bench words."""

from dataclasses import dataclass
from typing import Any

from firstglow.audit.pieces import Item
from firstglow.audit.stress import Stress
from firstglow.quantities import show

REST = "ratings alone change: every reading stays"


@dataclass(frozen=True, slots=True)
class Proposal:
    """what: what to fit or do. why: what asks for it. changes: what reads differently then. keep: of a part that must stay, how
    it may. alternatives: other ways, tried like the first. refused: other ways that put something else past its rating, with
    what. items: what is bought for it. left: stresses that ask for it and that nothing bought here cures.
    may_stay: what the limit is there for is in bounds as it is."""

    what: str
    why: str
    changes: str = REST
    keep: str = ""
    alternatives: tuple[str, ...] = ()
    items: tuple[Item, ...] = ()
    refused: tuple[str, ...] = ()
    left: tuple[str, ...] = ()
    may_stay: bool = False

    def row(self) -> dict[str, Any]:
        """Of the document."""
        return {
            "what": self.what, "why": self.why, "changes": self.changes, "keep": self.keep or None,
            "alternatives": list(self.alternatives), "refused": list(self.refused),
            "left": list(self.left),
        }  # fmt: skip


def said(s: Stress) -> str:
    """Value and rating in bench words."""
    word = "of" if s.side == "at most" else "where it needs"
    rating = "" if s.rating is None else f" {word} {shown(s.rating, s.unit)}"
    return f"{shown(s.value, s.unit)}{rating}"


def shown(value: float, unit: str) -> str:
    """A figure with its unit; next to nothing as 0, a share in per cent."""
    if unit == "1":
        return f"{100.0 * value:.3g} %"
    unit_words = {"VA": "V", "ohm": "ohm"}.get(unit, unit)
    if abs(value) < 1e-6 and unit != "F":
        value = 0.0
    text = show(value, unit_words, 3)
    return f"{text}A" if unit == "VA" else text
