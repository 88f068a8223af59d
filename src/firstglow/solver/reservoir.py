"""What rectifiers charge, as parameter rows: the reservoir, and how the load beyond it takes the ripple.

A reservoir that is open leaves the rectifiers bare. Then a choke behind it is the first thing that holds anything: its own
current is solved round the cycle (``choke_input``), broken or not. Without a choke the load sees the rectified wave itself,
and its legs, which hand its current on to one another, are solved together (``together``).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.legs import Leg
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.supplies import Supply
from firstglow.solver.frame import Array, Frame
from firstglow.solver.linear_parts import siemens
from firstglow.solver.nodes import CHASSIS

STRAY_FARADS = 1e-7
"""A reservoir of less is none [F]: 0.1 uF is 16 kohm to full-wave ripple."""
BARE_FARADS = 2e-9
"""What stands at a bare rectifier's joint [F]: winding and wiring are some nanofarads (common practice)."""
HELD_FARADS = 1e-6
"""Behind a choke a joint with more than this is held against what the choke lets through [F]: 10 H and 1 uF leave a
thirtieth of the full-wave ripple."""
LEAST_HENRIES = 1e-9
RESISTIVE = 4.0
"""A choke of more ohms than this many times its reactance is a resistor to the ripple, within 3 % of it (an open one always is):
its current follows the volts within a cell of the cycle."""
OPEN_PUMP_FARADS = 1e-9
"""A pump of less is open [F]: nothing comes through it."""
NO_MOVE = 1e-12


@dataclass(frozen=True, slots=True)
class Around:
    """What the legs of a group work on, each (sample,): farads, their series ohms, the conductance that the load shows the
    ripple [S], henries and ohms of the choke whose current is the load of a bare rectifier (0: there is none), and which
    samples are bare."""

    farads: Array
    esr: Array
    drain: Array
    henries: Array
    choke_ohms: Array
    bare: NDArray[np.bool_]


class NoReservoir:
    """What stands across a loop: nothing, at 0 V."""

    def values(self, p: Array, ripple: Array) -> Around:
        """Farads that never move, no series ohms, no load."""
        none = np.zeros(p.shape[1])
        return Around(none + 1.0, none, none, none, none, none > 0.0)


class ReservoirRows:
    """What the legs charge: farads between start and end, and how the load takes the ripple. A capacitor that ``others``
    charge (the other half of a full-wave doubler) holds nothing of its own here: it hands on to what stands beyond it."""

    def __init__(self, frame: Frame, leg: Leg, others: Sequence[Leg] = ()) -> None:
        f = self.frame = frame
        start, end = self.ends = leg.start, leg.end
        hot, cold = (end, start) if start == CHASSIS or end != CHASSIS else (start, end)
        self.direct, self.at_hot, self.at_cold = [], [], []
        self.leaks: list[int] = []
        self.esr: list[int] = []
        self.chains = [
            chain for chain in _chains(f.amplifier, hot, cold) if not any(p.name in leg.coupling for p in chain)
        ]
        chained = {p.name for chain in self.chains for p in chain}
        theirs = [{other.start, other.end} for other in others if {other.start, other.end} != {start, end}]
        every = [(part, {part.leads["+"], part.leads["-"]}) for part in f.amplifier.of_kind("capacitor")]
        handed = [(part, ends) for part, ends in every if hot in ends and cold not in ends and ends in theirs]
        hots = {hot}.union(*(ends for _, ends in handed))
        for part, ends in every:
            if (part, ends) in handed or part.name in chained:
                continue
            row, leak = f.rows.of(part, "farads"), f.rows.of(part, "leak_ohms")
            if part.name in leg.coupling or ends == {hot, cold}:
                self.direct.append(row)
                self.leaks.append(leak)
            elif len(hots & ends) == 1:
                self.at_hot.append(row)
                self.leaks += [leak] if cold == CHASSIS else []
            elif cold in ends and cold != CHASSIS:
                self.at_cold.append(row)
            else:
                continue
            if not self.esr:
                self.esr = [f.rows.of(part, "esr_ohms")]
        if self.chains and not self.esr:
            self.esr = [f.rows.of(part, "esr_ohms") for part in self.chains[0]]
        self.in_series = [
            [(f.rows.of(part, "farads"), f.rows.of(part, "leak_ohms")) for part in chain] for chain in self.chains
        ]
        self.grounded = cold == CHASSIS
        self.holds = self.grounded or bool(self.direct) or bool(self.at_hot and self.at_cold) or bool(self.chains)
        self.branches = [
            self._branch(part, hots, cold)
            for part in f.amplifier.of_kind("resistor", "choke")
            if len(hots & set(part.leads.values())) == 1
            and part.leads["1"] != part.leads["2"]
            and part.name != leg.choke
        ]

    def _branch(self, part: Part, hots: set[str], cold: str) -> tuple[int, int | None, list[int] | None]:
        """Rows of ohms and henries of a part that leads on from the hot joints, and of the capacitors it leads to: none
        there (a screen's resistor, a set without a capacitor) leaves its far joint to follow; None for chassis or ``cold``,
        which hold whatever comes."""
        f = self.frame
        far = next(j for j in part.leads.values() if j not in hots)
        beyond = None if far in {CHASSIS, cold} else [
            f.rows.of(c, "farads")
            for c in f.amplifier.of_kind("capacitor")
            if far in c.leads.values() and not hots & set(c.leads.values())
        ]  # fmt: skip
        return f.rows.of(part, "ohms"), f.rows.of(part, "henries") if part.kind == "choke" else None, beyond

    @property
    def once(self) -> frozenset[str]:
        """Of each chain all but the first: what ``each`` says of them is the same current again."""
        return frozenset(part.name for chain in self.chains for part in chain[1:])

    def pump(self, p: Array, joint: str) -> Around:
        """What stands in a leg of a pump: its capacitor, in series with what holds the leg's other end; the pump's joint is
        ``joint``, and nothing drains it but the other rectifier."""
        nothing = np.zeros(p.shape[1])
        pump = sum((p[r] for r in self.direct), nothing)
        held = sum((p[r] for r in self._held(joint)), nothing)
        farads = np.where(held > 0.0, pump * held / (pump + held + 1e-15), pump)
        return Around(
            np.where(pump < OPEN_PUMP_FARADS, STRAY_FARADS, farads), nothing, nothing, nothing, nothing, nothing > 0.0
        )

    def pump_open(self, p: Array) -> NDArray[np.bool_]:
        """Where the pump's capacitor is open (sample,)."""
        return np.asarray(sum((p[r] for r in self.direct), np.zeros(p.shape[1])) < OPEN_PUMP_FARADS)

    def pump_leaks(self, p: Array, w: Array) -> NDArray[np.bool_]:
        """Where the pump's capacitor leaks more than a hundredth of what it carries at ``w`` [rad/s] (sample,): shorted."""
        own = zip(self.leaks, self.direct, strict=False)
        return np.asarray(
            np.any([p[leak] * w * np.maximum(p[farads], OPEN_PUMP_FARADS) < 100.0 for leak, farads in own], axis=0)
            & (w > 0.0)
        )

    def _held(self, joint: str) -> list[int]:
        """Rows of the farads that hold the end of the leg that is not ``joint``; none where that is the chassis."""
        f = self.frame
        far = next(j for j in self.ends if j != joint)
        return [
            f.rows.of(c, "farads")
            for c in (f.amplifier.of_kind("capacitor") if far != CHASSIS else ())
            if far in c.leads.values() and joint not in c.leads.values()
        ]

    def each(self, p: Array) -> dict[str, Array]:
        """The farads that each capacitor shows the charging current: what it takes of it for a volt of the reservoir's."""
        name = {row: q.part for row, q in enumerate(self.frame.rows.parameters)}
        out = {name[r]: p[r] for r in self.direct}
        for chain, rows in zip(self.chains, self.in_series, strict=True):
            whole = 1.0 / sum((1.0 / (p[farads] + 1e-15) for farads, _ in rows), np.zeros(p.shape[1]))
            out |= {part.name: whole for part in chain}  # one current goes through all of them
        hot, cold = (sum((p[r] for r in rows), np.zeros(p.shape[1])) for rows in (self.at_hot, self.at_cold))
        if self.grounded:
            out |= {name[r]: p[r] for r in self.at_hot}
        elif self.at_hot and self.at_cold:  # in series through the chassis: each side's share of one current
            out |= {name[r]: p[r] * cold / (hot + cold + 1e-15) for r in self.at_hot}
            out |= {name[r]: p[r] * hot / (hot + cold + 1e-15) for r in self.at_cold}
        return out

    def values(self, p: Array, ripple: Array) -> Around:
        """What stands there, the load's part at ``ripple`` [rad/s]."""
        nothing = np.zeros(p.shape[1])
        farads = sum((p[r] for r in self.direct), nothing)
        hot = sum((p[r] for r in self.at_hot), nothing)
        if self.grounded:
            farads = farads + hot
        elif self.at_hot and self.at_cold:
            cold = sum((p[r] for r in self.at_cold), nothing)
            farads = farads + hot * cold / (hot + cold + 1e-15)
        # a shorted one holds nothing in any cell: what it leaks is there at every moment
        drain = sum((siemens(p[row]) for row in self.leaks), nothing)
        for rows in self.in_series:
            ohms = sum((1.0 / (1j * ripple * p[c] + siemens(p[leak]) + 1e-15) for c, leak in rows), nothing)
            drain, farads = drain + (1.0 / ohms).real, farads + (1.0 / ohms).imag / ripple
        own, steady, moves, lost = farads, drain, nothing, nothing
        for ohms, henries, beyond in self.branches:
            r = 1.0 / siemens(p[ohms])
            across = nothing if henries is None else ripple * p[henries]
            held = sum((p[row] for row in beyond or ()), nothing)
            if beyond is not None:  # what is beyond holds its joint by 1/(w C)
                across = across - 1.0 / (ripple * (held + STRAY_FARADS))
            size = r * r + across * across
            drain, farads = drain + r / size, farads - across / size / ripple
            steadies = np.ones_like(nothing, dtype=bool)
            if henries is not None:
                steadies = ((across < 0.0) & (held > HELD_FARADS)) | (r > RESISTIVE * np.abs(across))
            own, steady = own - steadies * across / size / ripple, steady + steadies * r / size
            if henries is not None:
                there = (across > 0.0) & (held > HELD_FARADS) & ~steadies
                move = np.where(there, 1.0 / (p[henries] + LEAST_HENRIES), 0.0)
                moves, lost = moves + move, lost + move * move * r
        bare = (own < STRAY_FARADS) & self.holds
        esr = sum((p[row] for row in self.esr), nothing)
        # a load that shows the pulses less than the esr (a short) lies beside it: they do not go through it
        esr = esr / (1.0 + 10.0 * (esr * drain) ** 2)
        return Around(
            np.where(bare, BARE_FARADS, np.maximum(farads, STRAY_FARADS)),
            np.where(bare, 0.0, esr),
            np.where(bare, steady, drain),
            np.where(bare & (moves > 0.0), 1.0 / np.maximum(moves, NO_MOVE), 0.0),
            lost / np.maximum(moves, NO_MOVE) ** 2,  # two chokes side by side share as their henries have it
            bare,
        )


def _chains(amplifier: Amplifier, hot: str, cold: str) -> list[list[Part]]:
    """Capacitors in series from ``hot`` to ``cold``: the joints between them hold nothing but capacitors and the resistors that
    share the volts out."""
    capacitors, plain = amplifier.of_kind("capacitor"), ("capacitor", "resistor")
    on: dict[str, list[Part]] = {}
    for part in amplifier.parts.values():
        for joint in dict.fromkeys(part.leads.values()):
            on.setdefault(joint, []).append(part)
    out = []
    for first in (c for c in capacitors if hot in c.leads.values() and cold not in c.leads.values()):
        chain, joint = [first], next(j for j in first.leads.values() if j != hot)
        while joint not in (hot, cold) and all(p.kind in plain for p in on[joint]):
            onward = [p for p in on[joint] if p.kind == "capacitor" and p not in chain]
            if len(onward) != 1:
                break
            chain.append(onward[0])
            joint = next(j for j in onward[0].leads.values() if j != joint)
        if joint == cold and len(chain) > 1:
            out.append(chain)
    return out


def charged_farads(amplifier: Amplifier, supply: Supply) -> float:
    """What a supply's rectifiers charge [F]: its reservoirs, one in series with others as what the chain comes to."""
    start, end = supply.legs[0].outer
    hot, cold = (end, start) if start == CHASSIS or end != CHASSIS else (start, end)
    chain_of = {part.name: chain for chain in _chains(amplifier, hot, cold) for part in chain}
    total, seen = 0.0, set[str]()
    for name in supply.reservoirs or ((supply.reservoir,) if supply.reservoir else ()):
        if name not in seen:
            chain = chain_of.get(name, [amplifier.parts[name]])
            seen |= {part.name for part in chain}
            total += 1.0 / sum(1.0 / part.value("farads") for part in chain)
    return total
