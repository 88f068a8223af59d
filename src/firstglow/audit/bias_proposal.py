"""A bias network, solved, as it is shown."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from firstglow.audit.bias_checks import Check
from firstglow.audit.bias_found import Found
from firstglow.audit.bias_ready import Ready


@dataclass(frozen=True, slots=True)
class Proposal:
    """One network, solved. parts: what changes or is added, "R4 ohms" -> value. merits: why it is in the list. present: of a
    network that stands, part -> ohms or farads."""

    found: Found
    ready: Ready | None
    parts: Mapping[str, float]
    checks: tuple[Check, ...]
    merits: tuple[str, ...] = ()
    present: Mapping[str, float] = field(default_factory=dict)

    @property
    def good(self) -> bool:
        """Every demand holds that this network can meet."""
        return all(c.holds or c.as_drawn for c in self.checks)

    @property
    def fail_safe(self) -> bool:
        """No wiper that opens raises an idle current."""
        return all(w.safe for w in self.found.wipers)
