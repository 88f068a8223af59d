"""Where the windings of a supply are read: each leg to the centre tap, else from end to end."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from firstglow.amplifier.legs import Leg
from firstglow.amplifier.supplies import Supply
from firstglow.ladder.places import End

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

Terminal = tuple[str, str]  # part, lead


def ends_of(frame: "Frame", legs: Iterable[Leg]) -> list[Terminal]:
    """The terminals at which a chain of windings ends: those that belong to one winding of it only."""
    count: dict[Terminal, int] = {}
    for part, name in dict.fromkeys((w.part, w.winding) for leg in legs for w in leg.windings):
        winding = next((w for w in frame.part(part).windings if w.name == name), None)
        if winding is None:  # a bench supply
            continue
        for lead in (winding.start, winding.end):
            count[part, lead] = count.get((part, lead), 0) + 1
    return [terminal for terminal, times in count.items() if times == 1]


def legs(frame: "Frame", supply: Supply) -> list[tuple[End, End, str]]:
    """(hot end, centre tap, valve or transformer it is read at) of each leg of a tapped winding; else empty."""
    if supply.form != "full wave":
        return []
    chains = [ends_of(frame, [leg]) for leg in supply.legs]
    joints = [{frame.part(p).leads[lead] for p, lead in chain} for chain in chains]
    shared = set.intersection(*joints) if joints else set()
    if len(shared) != 1:
        return []
    (centre,) = shared
    made = []
    for chain in chains:
        hot = next((t for t in chain if frame.part(t[0]).leads[t[1]] != centre), None)
        tap = next((t for t in chain if frame.part(t[0]).leads[t[1]] == centre), None)
        if hot is None or tap is None:
            return []
        end, owner = _at_rectifier(frame, supply, hot)
        made.append((end, frame.at(*tap), owner))
    return made


def winding_ends(frame: "Frame", supply: Supply) -> tuple[End, End] | None:
    """The two outer ends of a supply's winding, the hot one first, chassis last; None for a bench supply."""
    ends = [frame.at(*terminal) for terminal in ends_of(frame, supply.legs)]
    if len(ends) < 2:
        return None
    ends.sort(key=lambda end: end.joint == "chassis")
    return ends[0], ends[-1]


def _at_rectifier(frame: "Frame", supply: Supply, terminal: Terminal) -> tuple[End, str]:
    """A winding end as the rectifier's own pin where one stands on it directly, else as the transformer's lead."""
    part, lead = terminal
    joint = frame.part(part).leads[lead]
    for name in supply.rectifiers:
        rectifier = frame.part(name)
        for electrode, where in rectifier.leads.items():
            if where == joint and rectifier.kind == "rectifier":
                return frame.at(name, electrode), name
    return frame.at(part, lead), part
