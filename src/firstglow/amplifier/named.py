"""Whether every name in a situation and its faults is this amplifier's: for callers from Python and situation files."""

from collections.abc import Iterable, Sequence

from firstglow.amplifier.mistakes import nearest
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.options import SituationError
from firstglow.amplifier.situation import Fault, Situation


def check_names(amplifier: Amplifier, situation: Situation, faults: Sequence[Fault] = ()) -> None:
    """SituationError naming what is near for the first name that is not this amplifier's; ``feedback`` "test" needs ohms."""
    parts = amplifier.parts.values()
    glass = [p.envelope for p in parts if p.envelope]
    terminals = [f"{p.name} {lead}" for p in parts for lead in p.leads]
    _all("out", situation.out, glass, "valves", glass)
    _all("lifted", situation.lifted, [*amplifier.links, *terminals], "links", list(amplifier.links))
    for what, names, kind in (("pots", situation.pots, "pot"), ("switches_open", situation.switches_open, "switch")):
        known = [p.name for p in amplifier.of_kind(kind)]
        _all(what, names, known, "here", known)
    valves = [p.name for p in amplifier.of_kind("valve")]
    _all("idle", situation.idle, valves, "valves", valves)
    _all("loads", situation.loads, amplifier.joints, "joints", ())
    _all("faults", [f.part for f in faults], amplifier.parts, "parts", ())
    if situation.feedback == "test" and situation.test_ohms is None:
        raise SituationError("feedback", "'test' without test_ohms", "the ohms that stand in the loop", "test_ohms=1e5")


def _all(what: str, names: Iterable[str], known: Iterable[str], noun: str, shown: Iterable[str]) -> None:
    every = list(dict.fromkeys(known))
    for name in names:
        if name not in every:
            listed = ", ".join(sorted(set(shown))) or "the names that the file gives" if shown else "the file's names"
            near = nearest(name, every) or next(iter(every), None)
            remedy = repr(near) if near else f"it without {what}"
            raise SituationError(what, f"{name!r} is not here", f"{noun}: {listed}", remedy)
