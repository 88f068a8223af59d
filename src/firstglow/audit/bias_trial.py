"""A bias network tried on the whole amplifier: every design is a few dozen columns of one batch of standing solutions.

Mains low, nominal and high (the file's spread) with HT following; every output valve at its strongest, as published, and at
its weakest; each pot at its ends and middle with the valves out and in; each wiper open.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import OutputValve, roles
from firstglow.amplifier.situation import Fault, Situation
from firstglow.amplifier.supplies import supplies
from firstglow.audit.bias_found import Design, Ends, Found, Idle, WiperOpen
from firstglow.audit.bias_parts import Balance, BiasPot, Network
from firstglow.readings.observe import Observer
from firstglow.readings.rated import cathode_ohms, section_of
from firstglow.readings.safe_bias import STRONGEST, grid_volts
from firstglow.readings.vsafe import safe_bias, unloaded
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.ripple import ripple, sources_of
from firstglow.solver.slopes import valve_slopes
from firstglow.solver.standing import Standing
from firstglow.solver.wiring import Wiring

Array = NDArray[np.float64]

SIGMAS = (-STRONGEST, 0.0, STRONGEST)
"""Weakest, as published, strongest: one valve in 740 lies beyond either (``safe_bias``)."""
MIDDLE = 1
PLACES = ("most", "middle", "least")
SAME_VOLTS = 1e-6
"""Grid volts closer than this are the same: what the solver leaves [V]."""


@dataclass(frozen=True, slots=True)
class Column:
    """One amplifier: whose design, how it stands, what is wrong, how strong its output valves are [sigma]."""

    design: int
    situation: Situation
    faults: tuple[Fault, ...] = ()
    sigma: float = 0.0


class Trial:
    """One network, its circuit, its output valves with their spread."""

    def __init__(self, net: Network, mains: float | None = None) -> None:
        """mains: nominal today [V rms]; default the file's."""
        self.net, self.amplifier = net, net.amplifier
        self.circuit: Circuit = compile_circuit(net.amplifier)
        a = self.amplifier
        today = mains or a.mains_volts
        self.mains = tuple(today * (1.0 + k * a.mains_spread) for k in (-1, 0, 1))
        of = roles(replace_added(net))
        self.outputs: tuple[OutputValve, ...] = tuple(o for o in of.outputs if o.valve in net.valves)
        self.out = frozenset(o.envelope for o in of.outputs)
        self.targets = {v: a.idle[v].amps.value for v in net.valves}
        self.setters: tuple[BiasPot | Balance, ...] = (*net.pots, *net.balances)
        self.pot_of = {v: p for p in net.pots for v in p.valves}
        observer = Observer(a, self.circuit)
        idle = self.circuit.solve(self.circuit.apply(observer.nominal, Situation(self.mains[MIDDLE], out=self.out)))
        self._feed = {j: round(float(idle.dc(j)[0]), 1) for o in self.outputs for j in (o.plate, o.screen) if j}
        bare = [unloaded(observer, m) for m in self.mains]
        alike: dict[tuple[Any, ...], tuple[float, ...]] = {}
        for v in net.valves:
            if self._kind(v) not in alike:
                each = zip(self.mains, bare, strict=True)
                alike[self._kind(v)] = tuple(safe_bias(observer, v, m, bare=b) or 0.0 for m, b in each)
        self.safe = {v: alike[self._kind(v)] for v in net.valves}
        self.needs, self._strength = self._wanted()

    def _kind(self, valve: str) -> tuple[Any, ...]:
        """What its safe bias depends on, beside HT that all have in common."""
        part = self.amplifier.parts[valve]
        own = [
            self.circuit.parameters[self.circuit.column[f"{valve} {of}"]].sigma for of in ("perveance", "mu", "contact")
        ]
        plate, screen = part.leads["plate"], part.leads.get("screen")
        return (part.type, part.words.get("designation"), part.words.get("section"), self.targets[valve],
                cathode_ohms(self.amplifier, part), self._feed[plate], screen and self._feed[screen], *own)  # fmt: skip

    # -- what the valves want --------------------------------------------------------------------------------------
    def easy(self) -> dict[str, float]:
        """A design with more range than any that is made: only to bring every valve to its idle."""
        a, net = self.amplifier, self.net
        out = {f"{p} ohms": 0.2 * a.parts[p].value("ohms") for p in net.series}
        out |= {f"{p.foot} ohms": 0.2 * max(a.parts[p.foot].value("ohms"), 1.0) for p in net.pots}
        return out

    def _wanted(self) -> tuple[dict[str, Array], dict[str, dict[int, float]]]:
        """Grid volts to chassis for each valve's idle, (mains, weakest to strongest), with HT as all idle together; and how
        much one sigma toward strong moves each of its parameters."""
        values = self.laid([self.easy()], [Column(0, Situation(m)) for m in self.mains])
        got = self.circuit.solve_idle(values, {v: np.full(3, t) for v, t in self.targets.items()}, strict=False)
        needs, strength = {}, {}
        for o in self.outputs:
            part = self.amplifier.parts[o.valve]
            law, s = section_of(part), got.standing
            cathode = s.dc(o.cathode)
            plate = s.dc(o.plate) - cathode
            screen = s.dc(o.screen) - cathode if o.screen else plate
            kind = f"{part.type} {law.name}".strip() if law.name in ("triode", "pentode") else str(part.type)
            rows = [
                (of, row)
                for of in ("perveance", "mu", "contact")
                for name in (f"{o.valve} {of}", f"type {kind} {of}")
                if (row := self.circuit.column.get(name)) is not None and self.circuit.parameters[row].sigma > 0
            ]

            sigmas = np.array([self.circuit.parameters[row].sigma for _, row in rows])
            kinds = [of for of, _ in rows]
            volts = partial(_wanted_volts, law.law, self.targets[o.valve], plate, screen, kinds)
            moves = volts(np.concatenate([np.zeros((1, len(rows))), np.diag(sigmas)]))[:, MIDDLE]
            slopes = moves[1:] - moves[0]
            toward = -slopes / (float(np.sqrt((slopes**2).sum())) or 1.0)  # a stronger valve wants more bias
            needs[o.valve] = volts(np.outer(SIGMAS, toward * sigmas)).T + cathode[:, None]
            strength[o.valve] = {row: float(t * x) for (_, row), t, x in zip(rows, toward, sigmas, strict=True)}
        return needs, strength

    # -- laying out columns ----------------------------------------------------------------------------------------
    def laid(self, designs: Sequence[Design], columns: Sequence[Column]) -> Array:
        """(parameter, column)."""
        base = self.circuit.nominal
        made = []
        for design in designs:
            values = base.copy()
            for name, value in design.items():
                values[self.circuit.column[name]] = value
            made.append(values)
        out = []
        for c in columns:
            values = made[c.design].copy()
            if c.sigma:
                moves: dict[int, float] = {}
                for rows in self._strength.values():
                    moves |= rows
                for row, move in moves.items():
                    values[row] += c.sigma * move
            out.append(self.circuit.apply(values[:, None], c.situation, c.faults))
        return np.concatenate(out, axis=1)

    def placed(
        self, place: str, only: BiasPot | None = None, others: Mapping[str, float] | None = None
    ) -> dict[str, float]:
        """Pot positions: all (or ``only`` one) at a place, the others as given."""
        share = {"most": 0.0, "middle": 0.5, "least": 1.0}[place]
        moved = {p.name: abs(p.negative_end - share) for p in self.net.pots if only is None or p is only}
        return {**(others or {}), **moved}

    # -- the trial -------------------------------------------------------------------------------------------------
    def run(self, designs: Sequence[Design]) -> list[Found]:
        """Every design on the whole amplifier."""
        setting = [Column(d, Situation(m), (), s) for d in range(len(designs)) for m in self.mains for s in SIGMAS]
        wanted = {v: np.full(len(setting), t) for v, t in self.targets.items()}
        got = self.circuit.solve_idle(self.laid(designs, setting), wanted, strict=False)
        each = len(self.mains) * len(SIGMAS)
        nominal = MIDDLE * len(SIGMAS) + MIDDLE
        places = [{p: float(at[d * each + nominal]) for p, at in got.pots.items()} for d in range(len(designs))]
        blocks = [self._columns(d, places[d]) for d in range(len(designs))]
        keys = [(d, k) for d, b in enumerate(blocks) for k in b]
        standing = self.circuit.solve(self.laid(designs, [blocks[d][k] for d, k in keys]), strict=False)
        at = {key: n for n, key in enumerate(keys)}
        hum = self._hum(designs, got.standing, [d * each + nominal for d in range(len(designs))])
        return [
            self._found(d, design, got, slice(d * each, (d + 1) * each), places[d], standing, at, hum)
            for d, design in enumerate(designs)
        ]

    def _columns(self, d: int, pots: Mapping[str, float]) -> dict[tuple[Any, ...], Column]:
        out: dict[tuple[Any, ...], Column] = {}
        for place in PLACES:
            for m in self.mains:
                out["out", place, m] = Column(d, Situation(m, out=self.out, pots=self.placed(place)))
            for p in self.net.pots:
                out["in", place, p.name] = Column(d, Situation(self.mains[MIDDLE], pots=self.placed(place, p, pots)))
        for m in self.mains:
            out["set", m] = Column(d, Situation(m, pots=pots))
            for setter in self.setters:
                out["wiper", setter.name, m] = Column(d, Situation(m, pots=pots), (Fault(setter.name, "wiper open"),))
        return out

    def _found(self, d: int, design: Design, got: Any, mine: slice, pots: Mapping[str, float], s: Standing,
               at: Mapping[tuple[int, tuple[Any, ...]], int], hum: Mapping[str, Array]) -> Found:  # fmt: skip
        def of(values: Array, *key: Any) -> float:
            return float(values[at[d, key]])

        m = self.mains[MIDDLE]
        grid = {o.valve: s.dc(o.grid) for o in self.outputs}
        bias = {o.valve: s.dc(o.bias_joint) for o in self.outputs}
        amps = {o.valve: cathode_amps(s, o.valve) for o in self.outputs}
        travel = {p.name: np.abs(got.pots[p.name][mine] - p.negative_end) for p in self.net.pots if p.name in got.pots}
        short = {v: bool(np.any(got.out_of_travel[v][mine])) for v in self.targets}
        room = min((float(min(t.min(), 1.0 - t.max())) for t in travel.values()), default=0.0)
        mine_rows = [n for (k, _), n in at.items() if k == d]
        idle = {
            o.valve: self._idle(o, s, of, amps[o.valve], not short[o.valve], self.pot_of[o.valve]) for o in self.outputs
        }
        safe = {}
        for v, bounds in self.safe.items():
            rows = [(x, b, of(bias[v], "out", "most", x)) for x, b in zip(self.mains, bounds, strict=True)]
            safe[v] = max(rows, key=lambda r: r[2] - r[1])
        parts = self._network_parts()
        caps = [c for c in (*self.net.supply.reservoirs, self.net.filter) if c]
        return Found(
            design,
            bool(s.settled[mine_rows].all() and got.standing.settled[mine].all()),
            {v: Ends(*(of(g, "out", k, m) for k in PLACES)) for v, g in grid.items()},
            {v: Ends(*(of(g, "in", k, self.pot_of[v].name) for k in PLACES)) for v, g in grid.items()},
            idle, 0.0 if any(short.values()) else room,
{p.name: abs(pots[p.name] - p.negative_end) for p in self.net.pots if p.name in pots}, dict(pots),
            safe, tuple(self._wiper(p, of, amps, grid) for p in self.setters),
            {p: max(float(np.max(np.abs(s.part(p)["watts"][mine_rows]))), 0.0) for p in parts},
            {c: float(np.max(np.abs(s.part(c)["volts"][mine_rows]))) for c in caps},
            self._winding(s, mine_rows),
            {o.valve: of(s.source_ohms(o.grid), "out", "middle", m) for o in self.outputs},
            of(s.dc(self.net.supply.joint), "out", "most", m), of(s.dc(self.net.supply.joint), "set", m),
            {j: of(s.dc(j), "set", self.mains[-1]) for o in self.outputs for j in (o.plate, o.grid)},
            {v: float(h[d]) for v, h in hum.items()},
        )  # fmt: skip

    def _idle(self, o: OutputValve, s: Standing, of: Any, amps: Array, reached: bool, pot: BiasPot) -> Idle:
        limits, row, m = section_of(self.amplifier.parts[o.valve]).limits, s.part(o.valve), self.mains[MIDDLE]
        screen = row.get("screen_watts", np.zeros(s.samples))
        return Idle(
            o.valve, self.targets[o.valve], of(amps, "set", self.mains[0]), of(amps, "set", self.mains[-1]), of(amps, "set", m), reached,
            of(row["plate_watts"], "set", m), of(screen, "set", m), limits.plate_watts,
            of(s.dc(o.cathode), "set", m), of(amps, "in", "least", pot.name), of(row["plate_watts"], "in", "least", pot.name),
        )  # fmt: skip

    def _wiper(
        self, pot: BiasPot | Balance, of: Any, amps: Mapping[str, Array], grid: Mapping[str, Array]
    ) -> WiperOpen:
        rows = []
        for m in self.mains:
            now, was = ({v: of(x, *key) for v, x in amps.items()} for key in (("wiper", pot.name, m), ("set", m)))
            falls = all(of(g, "wiper", pot.name, m) <= of(g, "set", m) + SAME_VOLTS for g in grid.values())
            others = max((now[v] / was[v] - 1.0 for v in amps if v not in pot.valves), default=0.0)
            rows += [
                WiperOpen(pot.name, v, m, was[v], now[v], of(grid[v], "wiper", pot.name, m), others,
                          sum(now.values()) / sum(was.values()), falls)
                for v in pot.valves
            ]  # fmt: skip
        return max(rows, key=lambda r: (r.after - r.before, r.total))

    def _network_parts(self) -> list[str]:
        names = dict.fromkeys(b.part for b in self.net.branches)
        return [n for n in names if self.amplifier.parts[n].kind in ("resistor", "pot")]

    def _winding(self, s: Standing, rows: Sequence[int]) -> float | None:
        """Dc through the rectifiers: what a rectified winding's rating means."""
        supply = self.net.supply
        others = [x for x in supplies(self.amplifier) if x.name != supply.name and x.transformer == supply.transformer]
        if supply.form not in ("half wave", "full wave", "bridge") or set(supply.windings) & {
            w for x in others for w in x.windings
        }:
            return None
        amps = np.sum([np.abs(s.part(r)["amps"]) for r in supply.giving], axis=0)
        return float(np.max(amps[list(rows)]))

    def _hum(self, designs: Sequence[Design], standing: Standing, rows: Sequence[int]) -> dict[str, Array]:
        """Volts rms at the grids that the bias supply alone leaves there, the idles set on nominal mains, (design,)."""
        a, circuit = self.amplifier, self.circuit
        only = Standing(
            standing.x[:, rows], standing.values[:, rows], standing.settled[rows], standing.steps[rows], circuit
        )
        situation = Situation(self.mains[MIDDLE])
        sources = [
            x for x in sources_of(circuit, only, Wiring(a, situation, ()))
            if self.net.supply.joint in (x.hot, x.ret)
        ]  # fmt: skip
        values = {p.name: only.values[row] for row, p in enumerate(circuit.parameters)}
        seen = ripple(a, situation, valve_slopes(circuit, only.x, only.values), sources, values)
        return {o.valve: np.broadcast_to(seen.rms(o.grid), (len(designs),)) for o in self.outputs}


def _wanted_volts(law: Any, amps: float, plate: Array, screen: Array, kinds: Sequence[str], moves: Array) -> Array:
    """Grid volts to the cathode for an idle, (case, mains): ``moves`` (case, parameter) off the published valve, each in its
    parameter's own unit; plate and screen (mains,) to the cathode."""
    total = {"perveance": np.ones(len(moves)), "mu": np.ones(len(moves)), "contact": np.zeros(len(moves))}
    for of, move in zip(kinds, moves.T, strict=True):
        total[of] = total[of] + move
    shape = (len(moves), len(plate))
    flat = {k: np.repeat(v, len(plate)) for k, v in total.items()}
    found = grid_volts(law, amps, np.tile(plate, len(moves)), np.tile(screen, len(moves)), flat)
    return found.reshape(shape)


def cathode_amps(s: Standing, valve: str) -> Array:
    """Plate and screen current together (sample,) [A]."""
    row = s.part(valve)
    return np.asarray(row["plate_amps"] + row.get("screen_amps", 0.0))


def replace_added(net: Network) -> Amplifier:
    """The amplifier without the guards, for what the structure says."""
    guards = {p.guard for p in net.pots if not p.drawn_guard} | {g for b in net.balances for g in b.guards}
    parts = {n: p for n, p in net.amplifier.parts.items() if n not in guards}
    return replace(net.amplifier, parts=parts)
