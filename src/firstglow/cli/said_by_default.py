"""The defaults of an amplifier in the order in which it pays to replace them by a measurement."""

import re
from collections.abc import Sequence

from firstglow.amplifier.model import Amplifier, DefaultUsed

MEASURE = "Worth measuring first (each narrows every band that leans on it):"
SMALL = "Taken for parts of little weight:"
VALVES = "Taken for the valves, by type:"
WIRED = "Taken as wired:"
# What moves readings most where nobody measured it: copper, the core, the choke, which way round a secondary is, and
# what a winding is rated for (benchmarks/bands lists the shares).
_FIRST = ("ohms", "in_phase", "rated amps", "primary_ohms", "secondary_ohms", "magnetising_amps", "core_loss_watts")
_OF_COPPER = frozenset({"transformer", "output transformer", "choke"})
_ORDER = ("in_phase", "ohms", "primary_ohms", "rated amps", "magnetising_amps", "core_loss_watts", "secondary_ohms")


def grouped(amplifier: Amplifier) -> list[tuple[str, list[str]]]:
    """(heading, lines) of every default; none is left out."""
    first: list[DefaultUsed] = []
    rest: list[DefaultUsed] = []
    wired: list[DefaultUsed] = []
    valves: list[DefaultUsed] = []
    for d in amplifier.defaults:
        part = amplifier.parts.get(d.part) or amplifier.parts.get(d.part.rsplit(" ", 2)[0])
        part = part or amplifier.parts.get(d.part.split(" ")[0])
        kind = part.kind if part is not None else ""
        if "wired" in d.spread or not re.search(r"\d|loop|likely|exact", d.spread):
            wired.append(d)
        elif kind in {"valve", "rectifier", "heater"}:
            valves.append(d)
        elif d.spread == "exact":
            wired.append(d)
        elif d.part == "mains" or (kind in _OF_COPPER and d.what in _FIRST):
            first.append(d)
        else:
            rest.append(d)
    first.sort(key=lambda d: (d.part != "mains", _ORDER.index(d.what) if d.what in _ORDER else 0))
    groups = [(MEASURE, _lines(first)), (SMALL, _lines(rest)), (VALVES, _by_type(amplifier, valves))]
    return [(head, lines) for head, lines in (*groups, (WIRED, _lines(wired))) if lines]


def _lines(defaults: Sequence[DefaultUsed]) -> list[str]:
    width = max((len(d.part) for d in defaults), default=0)
    return [f"{d.part:<{width}}  {d.what}: {d.value}  ({d.spread})" for d in defaults]


def _by_type(amplifier: Amplifier, defaults: Sequence[DefaultUsed]) -> list[str]:
    """One line a type: what was taken, and for which valves."""
    said: dict[tuple[str, str], list[str]] = {}
    for name in dict.fromkeys(d.part for d in defaults):
        part = amplifier.parts.get(name)
        text = ", ".join(_short(d) for d in defaults if d.part == name)
        said.setdefault((part.type or part.kind if part is not None else "valves", text), []).append(name)
    return [f"{kind} ({', '.join(names)}): {text}" for (kind, text), names in said.items()]


def _short(d: DefaultUsed) -> str:
    """ "mu 1 ± 3 %" for a default in a row of its valve's."""
    spread = d.spread.replace(" (1 sigma)", "").replace(" either way", "")
    return f"{d.what} {d.value}" + ("" if spread == "exact" else f" ± {spread}")
