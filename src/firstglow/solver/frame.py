"""What the part groups share while a circuit is compiled: unknowns by name, parameter rows, the plan of stamps."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.legs import Leg
from firstglow.amplifier.model import Amplifier, Part
from firstglow.solver.nodes import CHASSIS, Nodes, find_nodes
from firstglow.solver.parameters import Rows
from firstglow.solver.stamps import Plan

Array = NDArray[Any]
Coefficients = dict[str, Any]
"""What a group made of the parameters, arrays by name; a group may keep its own state between steps here too."""
Types = Callable[[str], Any]


class Group(Protocol):
    """Parts of one kind, evaluated together.

    terms, slopes: how many of each it owns; they lie one after another in the plan.
    constant: its slopes do not depend on the unknowns; they are the coefficient ``pull``.
    """

    terms: int
    slopes: int
    constant: bool

    def prepare(self, p: Array) -> Coefficients:
        """What depends on the parameters (parameter, sample) alone; arrays end in the sample axis."""

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        """Fill ``terms`` (term, sample) and ``slopes`` (slope, sample) for the unknowns x (unknown + ground, sample)."""


class Frame:
    """The circuit as far as it has been compiled."""

    def __init__(self, amplifier: Amplifier, types: Types, cells: Mapping[str, Sequence[Leg]]) -> None:
        self.amplifier, self.types, self.cells = amplifier, types, cells
        self.charging = frozenset(
            plate.part for legs in cells.values() for leg in legs for stage in leg.stages for plate in stage
        )
        self.nodes: Nodes = find_nodes(amplifier)
        self.rows = Rows()
        self.law_names: dict[tuple[str, str], str] = {}
        names = [f"dc {j}" for j in self.nodes.dc] + [f"ac {j}" for j in (*self.nodes.ac, *self.nodes.mains)]
        names += [f"quadrature {j}" for j in self.nodes.mains]
        for part in amplifier.of_kind("transformer"):
            names += [f"{what} {part.name}" for what in ("core", "core in phase", "core quadrature", "core load")]
        self.unknowns: list[str] = names
        self.index: dict[str, int] = {name: k for k, name in enumerate(names)}

    def unknown(self, name: str) -> int:
        """Make a further unknown; before the plan is started."""
        self.index[name] = len(self.unknowns)
        self.unknowns.append(name)
        return self.index[name]

    def start(self) -> None:
        """All unknowns are known by name: terms may be planned now."""
        self.plan = Plan(len(self.unknowns))

    @property
    def ground(self) -> int:
        """The index of what is always 0 V."""
        return len(self.unknowns)

    def dc(self, node: str) -> int:
        """Unknown of a node's dc volts; the ground for chassis and the mains side."""
        return self.index.get(f"dc {node}", self.ground)

    def ac(self, node: str) -> int:
        """Unknown of a node's winding volts in phase; the ground where it has none."""
        return self.index.get(f"ac {node}", self.ground)

    def carries_ac(self, node: str) -> bool:
        """Whether a winding's ac stands on this node (or it is chassis or earth, where it is 0)."""
        return node in {CHASSIS, "earth"} or f"ac {node}" in self.index

    def lead(self, part: Part, lead: str) -> str:
        """Node of a lead."""
        return self.nodes.lead(part, lead)

    def centred(self) -> list[tuple[str, str, str]]:
        """Windings between two rectifying stages (a bridge): (a joint of it, the leg's start, the leg's end). The pulses
        clamp it to either side by turns, so that its dc is the middle of both."""
        out: dict[str, tuple[str, str, str]] = {}
        for legs in self.cells.values():
            for leg in legs:
                if len(leg.stages) > 1:
                    joint = self.lead(self.amplifier.parts[leg.stages[0][0].part], "cathode")
                    out.setdefault(joint, (joint, leg.start, leg.end))
        return list(out.values())

    def balanced(self) -> list[tuple[str, str]]:
        """The two ends of each winding between two rectifying stages: their ac is equal and opposite to chassis. And of each
        that rides on a joint which no capacitor holds (a rectifier's heater ahead of a choke input): there the cycle alone
        knows the ac, and what the winding's own ends have of it in common would float by rounding for ever."""
        out: dict[frozenset[str], tuple[str, str]] = {}
        for legs in self.cells.values():
            for leg in legs:
                if len(leg.stages) > 1:
                    low = self.lead(self.amplifier.parts[leg.stages[0][0].part], "cathode")
                    high = self.lead(self.amplifier.parts[leg.stages[1][0].part], leg.stages[1][0].lead)
                    if low != high and {f"ac {low}", f"ac {high}"} <= set(self.index):
                        out.setdefault(frozenset((low, high)), (low, high))
                if leg.choke is not None or not leg.held:
                    for ends in self._riding(leg):
                        out.setdefault(frozenset(ends), ends)
        return list(out.values())

    def _riding(self, leg: Leg) -> list[tuple[str, str]]:
        """Ends of the windings that touch a leg's start or end and drive no rectifier."""
        own = {(w.part, w.winding) for legs in self.cells.values() for one in legs for w in one.windings}
        found = []
        for part in self.amplifier.of_kind("transformer"):
            for w in part.windings:
                ends = self.lead(part, w.start), self.lead(part, w.end)
                rides = bool(({leg.start, leg.end} - {CHASSIS}) & set(ends)) and (part.name, w.name) not in own
                if rides and ends[0] != ends[1] and {f"ac {j}" for j in ends} <= set(self.index):
                    found.append(ends)
        return found

    def envelope_row(self, envelope: str | None) -> int:
        """Row of the factor that is 1 while the valve is in its socket."""
        return self.rows.fixed(f"{envelope} in", 1.0, envelope or "", "in")


def smooth_size(v: Array, width: float) -> tuple[Array, Array]:
    """|v| rounded at 0 over ``width`` and right to (width/v)^2 / 2 beyond, and its derivative."""
    square = v * v + width * width
    root = np.sqrt(square)
    return v * v / root, v / root * (1.0 + width * width / square)
