"""An amplifier compiled into unknowns, parameters and stamps: one circuit for every situation, fault and tolerance."""

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np

from firstglow.amplifier.legs import Leg
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.amplifier.supplies import supplies
from firstglow.solver.charging import bridge, loops_of, other_halves
from firstglow.solver.equations import Equations
from firstglow.solver.frame import Array, Frame, Group
from firstglow.solver.heaters import Heaters
from firstglow.solver.idle import Idle, solve_idle
from firstglow.solver.leg_pairs import WAY_ROUND
from firstglow.solver.linear_parts import plan_linear
from firstglow.solver.mains_lamps import MainsLamps
from firstglow.solver.mains_side import Cores, Feed
from firstglow.solver.newton import Outcome, Start, newton
from firstglow.solver.odd_parts import OddParts
from firstglow.solver.overlay import overlay
from firstglow.solver.parameters import Parameter
from firstglow.solver.pulses import Pulses, emf_name, in_phase_name
from firstglow.solver.pumps import refuse_pumps
from firstglow.solver.sensitivity import Tangent
from firstglow.solver.standing import SolveError, Standing
from firstglow.solver.start import ColdStart, WarmStart
from firstglow.solver.valves import Sections, section_of

Types = Callable[[str], Any]


class Circuit:
    """See the module's text; made by ``compile_circuit``."""

    def __init__(self, amplifier: Amplifier, types: Types) -> None:
        self.amplifier = amplifier
        cells = charging_cells(amplifier)
        f = self.frame = Frame(amplifier, types, cells)
        inlets = amplifier.of_kind("inlet")
        loops = {f"{name} loop": found for name, legs in cells.items() if (found := bridge(legs))}
        emfs = [emf_name(name, n) for name, legs in cells.items() for n in range(len(legs))]
        emfs += [emf_name(name, n) for name, legs in loops.items() for n in range(2 * len(legs))]
        halves = {
            one: [(two, cells[two[0]][two[1]]) for two in others]
            for one, others in other_halves(amplifier, cells).items()
        }
        emfs += sorted({in_phase_name(*two) for others in halves.values() for two, _ in others})
        for name in emfs + (["lamp ohms", "lamp harmonics"] if inlets else []):
            f.unknown(name)
        f.start()
        spread = amplifier.mains_spread
        f.rows.add(Parameter("mains volts", "", "volts", amplifier.mains_volts, spread, "uniform", shared=True))
        f.rows.add(Parameter("lamp ohms factor", "lamp", "ohms factor", 1.0, 0.1, "uniform"))
        groups: list[Group] = [plan_linear(f)]
        if inlets:
            groups.append(Feed(f, inlets[0]))
        groups += [Cores(f, t) for t in amplifier.of_kind("transformer")]
        groups += [Heaters(f), MainsLamps(f)]
        valves = amplifier.of_kind("valve")
        for screens in (False, True):
            chosen = [v for v in valves if (section_of(f, v).kind == "pentode") == screens]
            if chosen:
                groups.append(Sections(f, chosen, screens))
        groups += [Pulses(f, name, legs, halves=halves) for name, legs in cells.items()]
        groups += [Pulses(f, name, legs, loops_of(f, legs)) for name, legs in loops.items()]
        groups.append(OddParts(f))
        for part in amplifier.of_kind("choke"):  # ripple and faults ask for it, of one further on no group has
            f.rows.of(part, "henries")
        self.equations = Equations(f, groups)
        self.unknowns = tuple(f.unknowns)
        self.parameters = tuple(f.rows.parameters)
        self.column = dict(f.rows.row)
        self.index = dict(f.index)
        self.start = ColdStart(f, self.equations)
        self.equations.highest = self.start.highest

    @property
    def nominal(self) -> Array:
        """Every parameter's nominal value, (parameter,)."""
        return np.array([q.nominal for q in self.parameters])

    def vector(self, situation: Situation, faults: Sequence[Fault] = ()) -> Array:
        """The nominal amplifier in a situation, (parameter,)."""
        return self.apply(self.nominal[:, None], situation, faults)[:, 0]

    def apply(self, values: Array, situation: Situation, faults: Sequence[Fault] = ()) -> Array:
        """Values (parameter, sample) with a situation and faults laid over them: a copy."""
        return overlay(self.amplifier, self.column, values, situation, faults)

    def solve(self, values: Array, start: Array | None = None, strict: bool = True, thorough: bool = True) -> Standing:
        """The standing solution of every column of ``values``, (parameter,) or (parameter, sample).

        start: a first guess (unknown,) or (unknown, sample), from a solution near by. strict: raise SolveError when a
        sample would not settle; else it is marked in ``settled``. thorough: see ``newton``.
        """
        p = np.asarray(values, dtype=float)
        p = p[:, None] if p.ndim == 1 else p
        found = self.newton(p, start, thorough)
        standing = Standing(found.x, p, found.settled, found.steps, self)
        if thorough:
            standing = self._rescued(standing)
        return self._proved(standing, found.moved, strict)

    def _rescued(self, standing: Standing) -> Standing:
        """The same batch, what its proof does not bear out tried once more; see ``rescue``."""
        lost = np.flatnonzero(~(standing.settled & standing.proof.holds))
        if not lost.size:
            return standing
        from firstglow.solver.rescue import rescue

        p, x, settled = standing.values, np.array(standing.x), np.array(standing.settled)
        x[:, lost], settled[lost] = rescue(
            self.equations, p[:, lost], x[:, lost], settled[lost], self.start, self._ramp,
            lambda q, found: Standing(found, q, np.ones(q.shape[1], bool), standing.steps, self).proof.holds,
        )  # fmt: skip
        return Standing(x, p, settled, standing.steps, self)

    def newton(self, p: Array, start: Array | None = None, thorough: bool = True) -> Outcome:
        """What ``solve`` rests on, not proved yet: every column of ``p`` (parameter, sample)."""
        warm = self.warm_start if start is None else None
        return newton(self.equations, p, self._first(p, start), self._ramp, thorough, warm)

    def solve_idle(
        self, laid: Array, targets: Mapping[str, Array], start: Array | None = None, strict: bool = True
    ) -> Idle:
        """Each valve's pot turned until its cathode amps are the target; see ``idle.solve_idle``."""
        return solve_idle(self, laid, targets, start, strict)

    def _proved(self, standing: Standing, moved: Array, strict: bool) -> Standing:
        """The same solution with what its proof does not bear out marked; SolveError when ``strict``."""
        good = standing.settled & standing.proof.holds
        if strict and not good.all():
            lost = np.flatnonzero(~good)
            k = int(lost[0])
            if standing.proof.worst[k].startswith(WAY_ROUND):
                supply = standing.proof.worst[k].removeprefix(WAY_ROUND).rsplit(" ", 1)[0]
                raise SolveError(
                    f"{supply}: its return is open, and it comes back through the rectifier of another supply on the same winding: "
                    "not worked out, and HT is not gone for it; try the fuse between rectifier and reservoir",
                    supply,
                    tuple(int(k) for k in lost),
                )
            if standing.settled[k]:
                name, what = (
                    standing.proof.worst[k].split(" ", 1)[-1],
                    "settled on what its own currents do not bear out",
                )
            else:
                name, what = self.unknowns[moved[k]].split(" ", 1)[1], "would not settle"
            message = f"{what}; {name} moved most; check the parts on {name}, or try less mains"
            raise SolveError(message, name, tuple(int(k) for k in lost))
        if not (good == standing.settled).all():
            standing.settled[:] = good
        return standing

    @cached_property
    def warm_start(self) -> WarmStart | None:
        """The amplifier's solution as its file has it, as a first guess for others; None if it would not settle."""
        p = self.vector(Situation(self.amplifier.mains_volts))
        found = newton(self.equations, p[:, None], lambda q, _: self.start(q), self._ramp)
        if not found.settled.all():
            return None
        sigma = np.array([q.sigma for q in self.parameters])

        def slopes(rows: Array) -> Array:
            tangent = Tangent(self, found.x, p[:, None])
            return -np.asarray(tangent.solve(tangent.residual_slopes(list(rows))))[..., 0]

        with np.errstate(all="ignore"):
            return WarmStart(self.start, self.equations, found.x[:, 0], p, sigma, slopes)

    def _first(self, p: Array, start: Array | None) -> Start:
        if start is None:
            return lambda q, which: self.start(q)
        given = start[:, None] if start.ndim == 1 else start
        given = np.broadcast_to(given, (given.shape[0], p.shape[1]))
        return lambda q, which: given[:, which]

    def _ramp(self, p: Array, share: float) -> Array:
        q = np.array(p)
        q[self.column["mains volts"]] *= share
        for part in self.amplifier.of_kind("supply"):
            q[self.column[f"{part.name} volts"]] *= share
        return q


def charging_cells(amplifier: Amplifier) -> dict[str, list[Leg]]:
    """Rectifier legs by what they charge, each under a name that is unique."""
    cells: dict[str, list[Leg]] = {}
    for supply in supplies(amplifier):
        names: dict[tuple[str, str], str] = {}
        for leg in supply.legs:
            number = len(names) + 1
            name = names.setdefault((leg.start, leg.end), supply.name if number == 1 else f"{supply.name} {number}")
            cells.setdefault(name, []).append(leg)
    return cells


def _made(amplifier: Amplifier, types: Types) -> Circuit:
    circuit = Circuit(amplifier, types)
    refuse_pumps(circuit)
    return circuit


_COMPILED: dict[str, Circuit] = {}
_KEPT = 8


def compile_circuit(amplifier: Amplifier, types: Types | None = None) -> Circuit:
    """Compile an amplifier; the last few are kept by their digest.

    types: valve type by name (the catalogue's ``valve_type`` unless given; another catalogue is never kept). AmplifierError
    where a capacitor feeds a rectifier more than it can be solved for (``pumps``).
    """
    if types is not None:
        return _made(amplifier, types)
    from firstglow.devices.catalogue import valve_type

    if not amplifier.digest:
        return _made(amplifier, valve_type)
    found = _COMPILED.pop(amplifier.digest, None) or _made(amplifier, valve_type)
    _COMPILED[amplifier.digest] = found
    while len(_COMPILED) > _KEPT:
        _COMPILED.pop(next(iter(_COMPILED)))
    return found
