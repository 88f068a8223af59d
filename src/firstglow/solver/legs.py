"""Where the rectifiers' pulses flow: from a reservoir's minus through winding and rectifiers to its plus."""

from collections.abc import Iterator
from dataclasses import dataclass

from firstglow.amplifier.model import Amplifier, Part
from firstglow.solver.nodes import Nodes

RESERVOIR_FARADS = 0.6e-6
"""Less than this holds no rectifier's volts [F]."""
MOST_SERIES_OHMS = 20e3
MOST_STEPS = 9


@dataclass(frozen=True, slots=True)
class Step:
    """One thing a pulse passes: kind "winding" (sign +1: emf positive at the end reached when the dots are positive),
    "rectifier" (leads named) or "ohms" (a two-lead part)."""

    kind: str
    part: str
    winding: str = ""
    sign: int = 1
    lead_in: str = ""
    lead_out: str = ""
    start: str = ""
    end: str = ""


@dataclass(frozen=True, slots=True)
class Leg:
    """One way of the pulses, minus joint to plus joint."""

    steps: tuple[Step, ...]

    @property
    def rectifiers(self) -> tuple[Step, ...]:
        """The rectifying steps, in order."""
        return tuple(s for s in self.steps if s.kind == "rectifier")

    @property
    def windings(self) -> tuple[Step, ...]:
        """The winding steps, in order."""
        return tuple(s for s in self.steps if s.kind == "winding")


@dataclass(frozen=True, slots=True)
class Reservoir:
    """The legs that feed one capacitor, between nodes ``minus`` and ``plus``."""

    part: str
    minus: str
    plus: str
    legs: tuple[Leg, ...]


def find_reservoirs(amplifier: Amplifier, nodes: Nodes) -> tuple[Reservoir, ...]:
    """Every reservoir with its legs."""
    edges = _edges(amplifier, nodes)
    big = [c for c in amplifier.of_kind("capacitor") if c.value("farads") >= RESERVOIR_FARADS]
    held = {nodes.lead(c, lead) for c in big for lead in ("+", "-")}
    found: dict[tuple[str, str], Reservoir] = {}
    for c in big:
        minus, plus = nodes.lead(c, "-"), nodes.lead(c, "+")
        if (minus, plus) in found:
            continue
        legs = tuple(Leg(path) for path in _paths(edges, minus, plus, held))
        if legs:
            found[minus, plus] = Reservoir(c.name, minus, plus, legs)
    return tuple(found.values())


def _edges(amplifier: Amplifier, nodes: Nodes) -> dict[str, list[Step]]:
    out: dict[str, list[Step]] = {}

    def add(step: Step) -> None:
        out.setdefault(step.start, []).append(step)

    for part in amplifier.parts.values():
        for step in _ways(part, nodes):
            add(step)
    return out


def _ways(part: Part, nodes: Nodes) -> Iterator[Step]:
    at = {lead: nodes.lead(part, lead) for lead in part.leads}
    if part.kind == "transformer":
        for w in part.windings:
            if w.role != "primary":
                a, b = at[w.start], at[w.end]
                yield Step("winding", part.name, w.name, -1, start=a, end=b)
                yield Step("winding", part.name, w.name, 1, start=b, end=a)
    elif part.kind == "rectifier":
        for plate in ("plate 1", "plate 2"):
            if plate in at:
                yield Step("rectifier", part.name, "", 1, plate, "cathode", at[plate], at["cathode"])
    elif part.kind == "diode":
        yield Step("rectifier", part.name, "", 1, "anode", "cathode", at["anode"], at["cathode"])
    elif part.kind in {"wire", "fuse", "switch"} or (
        part.kind == "resistor" and part.value("ohms") <= MOST_SERIES_OHMS
    ):
        yield Step("ohms", part.name, start=at["1"], end=at["2"])
        yield Step("ohms", part.name, start=at["2"], end=at["1"])


def _paths(edges: dict[str, list[Step]], start: str, goal: str, held: set[str]) -> Iterator[tuple[Step, ...]]:
    """Simple paths with a winding and a rectifier that pass no other held joint."""
    todo: list[tuple[str, tuple[Step, ...], frozenset[str]]] = [(start, (), frozenset({start}))]
    while todo:
        here, path, seen = todo.pop()
        for step in edges.get(here, ()):
            if step.end == goal:
                whole = (*path, step)
                kinds = {s.kind for s in whole}
                if {"winding", "rectifier"} <= kinds:
                    yield whole
            elif step.end not in seen and step.end not in held and len(path) < MOST_STEPS:
                todo.append((step.end, (*path, step), seen | {step.end}))
