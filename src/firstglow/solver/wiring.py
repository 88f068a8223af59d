"""Where each lead stands in a situation: links lifted or tied, a test resistor in the loop, leads exchanged."""

from collections.abc import Iterable

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.misfits import Misfits, misfits


class Wiring:
    """Joints of all leads, and which parts are there at all.

    A lifted lead without a tie hangs free on the joint "PART LEAD lifted".
    """

    def __init__(self, amplifier: Amplifier, situation: Situation, faults: Iterable[Fault] = ()) -> None:
        self.amplifier = amplifier
        self.situation = situation
        self.misfits: Misfits = misfits(amplifier, faults)
        self._moved: dict[tuple[str, str], str] = {}
        self.inserted: list[tuple[str, str, str]] = []
        wanted = set(situation.lifted)
        for link in amplifier.links.values():
            loop = link.feedback
            if link.name in wanted or (loop and situation.feedback == "open"):
                self._moved[link.part, link.lead] = link.tie or _free(link.part, link.lead)
            elif loop and situation.feedback == "test" and situation.test_ohms:
                inside = f"{link.part} {link.lead} test"
                self.inserted.append((link.part, inside, amplifier.joint_of(link.part, link.lead)))
                self._moved[link.part, link.lead] = inside
        for name in wanted - set(amplifier.links):
            part, lead = _terminal(amplifier, name)
            self._moved[part, lead] = _free(part, lead)

    def joint(self, part: Part, lead: str) -> str:
        """Canonical joint that a lead stands on now."""
        moved = self._moved.get((part.name, lead))
        if moved is not None:
            return moved
        return part.leads[self.misfits.leads.get((part.name, lead), lead)]

    def free_ends(self) -> list[tuple[Part, str]]:
        """Lifted leads that hang free: part and lead."""
        parts = self.amplifier.parts
        return [(parts[name], lead) for (name, lead), to in self._moved.items() if to == _free(name, lead)]

    def fitted(self, part: Part) -> bool:
        """Whether the part is there at all: valves, rectifiers and heaters leave with their envelope."""
        return part.envelope is None or part.envelope not in self.situation.out


def _free(part: str, lead: str) -> str:
    return f"{part} {lead} lifted"


def _terminal(amplifier: Amplifier, name: str) -> tuple[str, str]:
    """Part and lead of a terminal's name ("D1 cathode"); ValueError for what is neither a link nor a terminal."""
    for part in amplifier.parts.values():
        lead = name.removeprefix(f"{part.name} ")
        if lead != name and lead in part.leads:
            return part.name, lead
    raise ValueError(f"lifted {name}: neither a link nor a terminal of a part")
