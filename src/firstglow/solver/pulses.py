"""Rectifiers on their reservoirs, averaged over the cycle: one group for the legs that charge the same thing.

Unknown ``emf NAME n`` of each leg: what would stand across its windings if this group drew nothing, volts rms. The
pulses meet the resistance of windings and mains side pulse by pulse, in parallel with the sine loads of the other
windings; everything else, another rectifier on the same winding too, sees the fundamental.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from firstglow.amplifier.legs import Leg
from firstglow.devices.emission import COLD_KNEE, HEATER_POWER, emission_limit
from firstglow.solver import leg_pairs
from firstglow.solver.averaged import Averaged, Cell, Inputs
from firstglow.solver.averaged import Leg as CycleLeg
from firstglow.solver.bare import held
from firstglow.solver.cells import Along
from firstglow.solver.charging import NOT_THERE_OHMS, LegRows, LoopRows, touched
from firstglow.solver.choke_input import choke_input
from firstglow.solver.frame import Array, Coefficients, Frame
from firstglow.solver.heaters import HeaterRatio, heaters_on
from firstglow.solver.linear_parts import siemens
from firstglow.solver.mains_side import ahead_of
from firstglow.solver.pumps import pumped_joint
from firstglow.solver.reservoir import NoReservoir, ReservoirRows
from firstglow.solver.stamps import merge

MOST_OHMS = 1e4
"""An open mains side counts as this [ohm]: nothing flows then, whatever it is."""
FULL_PASSES = 60
PASSES, FIRST_PASSES = 2, 3
"""Passes of the cycle in one step of the whole: all but the last, without slopes, bring its inner unknowns to where the last step
left the others. Without them they lag a step, and the whole converges with the order 1.4 of a secant instead of Newton's 2.
The first step of all starts from another amplifier's cycle."""
MOST_TRIES = 3
ASTRAY = 3
"""Steps in a row that leave a cycle unsettled by more than ``NEAR``, after which it is begun from nothing."""
NEAR = 0.01


def emf_name(name: str, leg: int) -> str:
    """The unknown of one leg's emf."""
    return f"emf {name} {leg + 1}"


def in_phase_name(name: str, leg: int) -> str:
    """The unknown of one leg's in-phase amps, where another cell asks for them."""
    return f"in phase {name} {leg + 1}"


Halves = Mapping[tuple[str, int], Sequence[tuple[tuple[str, int], Leg]]]
"""Legs of other cells by (cell, leg): see ``charging.other_halves``."""


class Pulses:
    """Legs with one start and one end. Terms: dc amps and in-phase amps of every plate, each leg's emf, harmonics.

    Causes of its slopes: reservoir volts, each leg's emf, core, lamp ohms, then two heater differences of each valve.
    """

    constant = False

    def __init__(
        self, frame: Frame, name: str, legs: Sequence[Leg], loops: Sequence[LoopRows] = (), halves: Halves | None = None
    ) -> None:
        f, self.frame, self.name = frame, frame, name
        self.legs: Sequence[LegRows] = loops or [LegRows(f, leg) for leg in legs]
        self.loops = loops
        self.pumped = None if loops or len(legs) != 1 else pumped_joint(f.amplifier, legs[0])
        kinds = tuple(CycleLeg(r.phase, "valve" if r.valve else "junction") for r in self.legs)
        self.cell = Cell(kinds, pumped=self.pumped is not None)
        beside = [leg for n in range(len(legs)) for _, leg in (halves or {}).get((name, n), ())]
        self.reservoir = NoReservoir() if loops else ReservoirRows(f, legs[0], beside)
        self.plus, self.minus = (f.ground, f.ground) if loops else (f.dc(legs[0].end), f.dc(legs[0].start))
        choke = None if loops else legs[0].choke
        self.henries = None if choke is None else f.rows.of(f.amplifier.parts[choke], "henries")
        self.hertz = f.rows.fixed("mains hertz", f.amplifier.mains_hz)
        self.valves = [n for n, leg in enumerate(self.legs) if leg.valve]
        self.emfs = [f.index[emf_name(name, n)] for n in range(len(self.legs))]
        transformer = next((w.part for leg in legs for w in leg.windings if w.winding), None)
        self.core = f.index.get(f"core {transformer}", f.ground)
        self.lamp = f.index.get("lamp ohms", f.ground) if transformer else f.ground
        self.rest = f.index.get("lamp harmonics", f.ground) if transformer else f.ground
        self.ahead, self.primaries = ahead_of(f, transformer) if transformer else ([], [])
        self.loss = f.rows.of(f.amplifier.parts[transformer], "core_loss_watts") if transformer else None
        self.heaters = heaters_on(f, transformer) if transformer else []
        common = () if loops else leg_pairs.common_returns(f.amplifier, legs)
        self.returns = [f.rows.of(f.amplifier.parts[name], "ohms") for name in common if name in f.amplifier.parts]
        self.ratio = HeaterRatio(f, [r.envelope for r in self.legs])
        halves = {} if loops or halves is None else halves
        self.echoes = [n for n in range(len(self.legs)) if in_phase_name(name, n) in f.index]
        self.others = [
            (n, f.index[in_phase_name(*two)], LegRows(f, leg))
            for n in range(len(self.legs))
            for two, leg in halves.get((name, n), ())
        ]
        self._plan()

    def _plan(self) -> None:
        f, plan = self.frame, self.frame.plan
        self.causes: list[dict[int, float]] = [
            merge((self.plus, 1.0), (self.minus, -1.0)),
            *({e: 1.0} for e in self.emfs),
            {self.core: 1.0},
            {self.lamp: 1.0},
        ]
        self.envelopes = list(dict.fromkeys(r.envelope for r in self.legs if r.envelope))
        for envelope in self.envelopes:
            self.causes += self.ratio.columns([r.envelope for r in self.legs].index(envelope))
        self.uses: list[tuple[int, float, bool]] = []
        rows: list[dict[int, float]] = []
        for n, leg in enumerate(self.legs):
            for stage in leg.stages:
                for plate in stage:
                    share = 1.0 / len(stage)
                    rows.append(merge((f.dc(plate.anode), 1.0), (f.dc(plate.cathode), -1.0)))
                    self.uses.append((n, share, True))
                    a, b = (f.ac(j) for j in leg.ac_ends(plate))
                    rows.append(merge((a, 1.0), (b, -1.0)))
                    self.uses.append((n, share * leg.phase, False))
        rows += [{e: 1.0} for e in self.emfs]
        rows += [{f.index[in_phase_name(self.name, n)]: 1.0} for n in self.echoes]
        rows.append({self.rest: -1.0})
        terms = [plan.term(row) for row in rows]
        for term in terms:
            for cause in self.causes:
                plan.slope(term, cause)
        # the windings' own volts in each emf's equation
        self.across = [leg.across() for leg in self.legs]
        for n, columns in enumerate(self.across):
            plan.slope(terms[len(self.uses) + n], columns)
        for k, n in enumerate(self.echoes):
            at = len(self.uses) + len(self.legs) + k
            plan.slope(terms[at], {f.index[in_phase_name(self.name, n)]: -1.0})
        for n, unknown, _ in self.others:
            plan.slope(terms[len(self.uses) + n], {unknown: 1.0})
        self.terms = len(rows)
        self.slopes = len(rows) * len(self.causes) + len(self.legs) + len(self.echoes) + len(self.others)

    def prepare(self, p: Array) -> Coefficients:
        nominal = self.frame.amplifier.mains_volts
        values = [leg.values(p) for leg in self.legs]
        ripple = 2.0 * np.pi * p[self.hertz] * (2.0 if len(self.legs) > 1 else 1.0)
        around = self.reservoir.values(p, ripple)
        pump_leaks = np.zeros(p.shape[1], dtype=bool)
        if self.pumped is not None and isinstance(self.reservoir, ReservoirRows):
            around = self.reservoir.pump(p, self.pumped)
            for v in values:
                v.ohms[:] += NOT_THERE_OHMS * self.reservoir.pump_open(p)
            pump_leaks = self.reservoir.pump_leaks(p, 2.0 * np.pi * p[self.hertz])
        n = p.shape[1]
        there = np.any([leg.there(p) for leg in self.loops], axis=0) if self.loops else np.ones(n, dtype=bool)
        c = {"there": there, "pump leaks": pump_leaks} | {
            name: np.array([getattr(v, name) for v in values])
            for name in ("turns", "ohms", "scale", "limit", "leak", "sense")
        }
        c["shared"] = np.array([[one.shared(other, p) for other in self.legs] for one in self.legs])
        bad = leg_pairs.at_once(self, c)
        into = around.bare & (around.henries > 0.0) & ~bad & (self.henries is None)
        c["into"], c["choke ohms"] = np.where(into, around.henries, 0.0), around.choke_ohms
        # with nothing to hold the joint's volts the legs hand its current on within a cell
        c["at once"] = bad | (around.bare & ~into & (len(self.legs) > 1) & (self.henries is None))
        like = leg_pairs.alike(self, p, c["sense"])
        like[:, :, c["at once"]] = np.eye(len(like))[:, :, None]
        c["together"] = like.sum(axis=1)
        c["ohms"] = c["ohms"] + ((like - np.eye(len(like))[:, :, None]) * np.abs(c["shared"])).sum(axis=1)
        c["dropped"] = np.array([self.legs[k].shared(leg, p) for k, _, leg in self.others]).reshape(-1, n)
        c["pulls"] = np.array([c["turns"][k] * leg.source(p)[0] for k, _, leg in self.others]).reshape(-1, n)
        # a reversed rectifier conducts in the other half's own half cycle, which meets what it draws
        theirs = [leg.values(p) for _, _, leg in self.others]
        turned = [(c["sense"][k] < 0.0) != (v.sense < 0.0) for (k, *_), v in zip(self.others, theirs, strict=True)]
        apart = ~np.array(turned, dtype=bool).reshape(-1, n)
        c["dropped"], c["pulls"] = apart * c["dropped"], apart * c["pulls"]
        leaks = [np.minimum(c["leak"][k], v.leak) for (k, *_), v in zip(self.others, theirs, strict=True)]
        c["other leak"] = np.array(leaks).reshape(-1, n)
        if self.primaries:
            per = [(sum(p[t] for t in turns) / nominal) ** 2 for _, turns in self.primaries]
            own = [sum(1.0 / siemens(p[r]) for r in ohms) for ohms, _ in self.primaries]
            share = sum(s / r for r, s in zip(own, per, strict=True))
            core = 1.0 / share + sum((1.0 / siemens(p[r]) for r in self.ahead), np.zeros(n)) / per[0]
            c |= {"core ohms": np.minimum(core, MOST_OHMS), "per lamp": 1.0 / per[0]}
        else:
            c |= {"core ohms": np.zeros(n), "per lamp": np.zeros(n)}
        c["heaters"] = sum((p[v] * p[a] * p[i] * p[w] for v, a, i, w in self.heaters), np.zeros(n)) / nominal**2
        c["core loss"] = np.zeros(n) if self.loss is None else p[self.loss] / nominal**2
        return c | {
            "henries": np.zeros(n) if self.henries is None else p[self.henries],
            "farads": around.farads, "esr": around.esr, "drain": around.drain, "hertz": p[self.hertz], "heater": p[self.ratio.volts]
        }  # fmt: skip

    def source(self, x: Array, c: Coefficients) -> tuple[Array, Array, Array, Array]:
        """Resistance that the pulses meet on the core, in primary volts per amp-turn, and what share of the pulses the
        mains side carries: each (sample,) with its slopes by core and lamp (2, sample).

        The heaters and the core's loss stand in parallel with the mains side, each with its resistance of the moment.
        """
        k = c["core ohms"] + x[self.lamp] * c["per lamp"]
        nominal = self.frame.amplifier.mains_volts
        warmth = (x[self.core] / nominal) ** 2 + COLD_KNEE**2
        heat = c["heaters"] * warmth ** ((HEATER_POWER - 1.0) / 2.0)
        g = heat + c["core loss"]
        by_core = (HEATER_POWER - 1.0) * heat * x[self.core] / nominal**2 / warmth
        share = 1.0 / (1.0 + k * g)
        d_share = -(share**2) * np.array([k * by_core, g * c["per lamp"]])
        d_value = k * d_share
        d_value[1] += share * c["per lamp"]
        return k * share, d_value, share, d_share

    def run(
        self,
        x: Array,
        c: Coefficients,
        source: Array,
        passes: int,
        along: Sequence[Along] | None,
        limit: Array | None = None,
    ) -> Averaged:
        """The cycle at these unknowns; the last state is where it starts. limit: see ``inputs``."""
        inputs = self.inputs(x, c, source, limit)
        exact = "exact" in c
        for _ in range(1 if exact else MOST_TRIES):
            state = c.get("state")
            most = FULL_PASSES if exact or state is None else passes
            if self.henries is None:
                result = held(self.cell, inputs, state, most, along)
            else:
                result = choke_input(self.cell, inputs, c["henries"], 0.0, state, FULL_PASSES, along)
            c["state"], c["unsettled"] = result.state, result.unsettled
            if result.unsettled.max(initial=0.0) < NEAR:
                break
        if self.henries is None and not exact:
            result = self._from_nothing(c, inputs, along, result)
        return _only(result, c["there"]) if self.loops else result

    def _from_nothing(
        self, c: Coefficients, inputs: Inputs, along: Sequence[Along] | None, result: Averaged
    ) -> Averaged:
        """The cycle solved afresh where step after step has left it astray: at an emf that goes at once (the plug is pulled)
        what is carried along from its pulses leads nowhere."""
        astray = bool(result.unsettled.max(initial=0.0) >= NEAR)
        steps = int(c["astray"]) + 1 if astray and "astray" in c else int(astray)
        if steps >= ASTRAY:
            result = held(self.cell, inputs, None, FULL_PASSES, along)
            c["state"], c["unsettled"], steps = result.state, result.unsettled, 0
        c["astray"] = np.array(steps)
        return result

    def _carry_along(self, c: Coefficients, around: Array) -> int:
        """Move the state of the last step to where the unknowns are now, and how many passes are left to do: one, or
        ``PASSES`` where nothing is known of how it goes."""
        carry = c.pop("carry", None)
        if carry is None or "exact" in c:
            return PASSES if "unsettled" in c else FIRST_PASSES
        legs, by = len(self.legs), around - c["around"]
        at = [r.envelope for r in self.legs]
        ways = [*by[1 : 2 + legs], *(by[2 + legs + at.index(e)] for e in self.envelopes)]
        c["state"] = carry.state(c["state"], by[0], np.array(ways))
        return 1

    def _emitted(self, c: Coefficients, ratio: Array) -> tuple[Array, Array]:
        """Limit of each leg at these heater ratios [A], start current of a junction, and its slope by the ratio: (leg, sample)."""
        limit, rate = np.array(c["limit"]), np.zeros_like(c["limit"])
        if self.valves:
            limit[self.valves], rate[self.valves] = emitted_limit(c["limit"][self.valves], ratio[self.valves])
            limit[self.valves] += touched(c["leak"][self.valves])
        return limit, rate

    def inputs(self, x: Array, c: Coefficients, source: Array, limit: Array | None = None) -> Inputs:
        """What stands around the cell at these unknowns. limit: what ``_emitted`` found, where it is known."""
        if limit is None:
            limit = self._emitted(c, self.ratio.ratios(x, c)[0])[0]
        turned = bool((c["sense"] < 0.0).any())
        leaks = bool(np.isfinite(c["leak"]).any())
        together = bool(c["at once"].any())
        return Inputs(
            x[self.plus] - x[self.minus], np.maximum(x[self.emfs], 0.0), c["ohms"] + c["together"] * c["turns"] ** 2 * source,
            c["scale"], limit, c["farads"], c["hertz"], c["esr"], c["drain"],
            c["leak"] if leaks else None, c["sense"] if turned else None, None,
            c["at once"] if together else None, leg_pairs.mutual(self, c, source) if together else None,
            c["into"] if c["into"].any() else None, c["choke ohms"],
        )  # fmt: skip

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        legs, causes = len(self.legs), len(self.causes)
        whole = self.terms * causes
        slopes[whole:] = -1.0
        table = slopes[:whole].reshape(self.terms, causes, -1)
        if self.loops and not c["there"].any():
            c.pop("unsettled", None)  # nothing left that could be
            self._idle(x, terms, table)
            return
        turns = c["turns"]
        source, by_source, share, d_share = self.source(x, c)
        if self.others:
            slopes[-len(self.others) :] = -(c["dropped"] + c["pulls"] * source)
        ratio, by_volts = self.ratio.ratios(x, c)
        along = [Along(emf=_one(n, turns) * (x[self.emfs] > 0.0)) for n in range(legs)] + [
            Along(ohms=c["together"] * turns**2, mutual=leg_pairs.paired(self, turns) if c["at once"].any() else None)
        ]
        limit, rate = self._emitted(c, ratio)
        for envelope in self.envelopes:
            own = np.array([[leg.envelope == envelope] for leg in self.legs])
            along.append(Along(limit=rate * own))
        around = np.concatenate([(x[self.plus] - x[self.minus])[None], x[self.emfs], source[None], ratio])
        found = self.run(x, c, source, self._carry_along(c, around), along, limit)
        c["carry"], c["around"] = (None if self.henries is not None or self.loops else found.carry), around
        amps, in_phase, square = (
            self._causes(d, by_source, by_volts) for d in (found.d_amps, found.d_in_phase, found.d_square)
        )
        for t, (n, part, dc) in enumerate(self.uses):
            value, d = (found.each_amps, amps) if dc else (found.each_in_phase, in_phase)
            terms[t] = part * value[n]
            np.multiply(d[n], part, out=table[t])
        flow = (turns * found.each_in_phase).sum(axis=0)
        d_flow = (turns[:, None] * in_phase).sum(axis=0)
        at = len(self.uses)
        for n in range(legs):
            pull = c["shared"][n]
            terms[at + n] = x[self.emfs[n]] - self.volts_across(n, x) - turns[n] * source * flow
            terms[at + n] -= (pull * found.each_in_phase).sum(axis=0) + leg_pairs.not_met(self, n, x, c, source)
            row = table[at + n]
            np.multiply(d_flow, -turns[n] * source, out=row)
            row -= (pull[:, None] * in_phase).sum(axis=0)
            theirs = sum(
                (c["pulls"][k] * x[u] for k, (m, u, _) in enumerate(self.others) if m == n), np.zeros_like(flow)
            )
            row[1 + legs : 3 + legs] -= (turns[n] * flow + theirs) * by_source
            row[1 + n] += 1.0
        for k, n in enumerate(self.echoes):
            row = at + legs + k
            terms[row] = x[self.frame.index[in_phase_name(self.name, n)]] - found.each_in_phase[n]
            np.negative(in_phase[n], out=table[row])
        weight = c["together"] * turns**2
        squares = (weight * found.each_square).sum(axis=0), (weight[:, None] * square).sum(axis=0)
        if found.cross is not None and found.d_cross is not None:
            shared = leg_pairs.paired(self, turns)
            moved = (shared[:, :, None] * found.d_cross).sum(axis=1)
            squares = (
                squares[0] + (shared * found.cross).sum(axis=(0, 1)),
                squares[1] + self._causes(moved, by_source, by_volts).sum(axis=0),
            )
        self._harmonics(c, squares, (flow, d_flow), (share, d_share), (terms[-1], table[-1]))

    def volts_across(self, leg: int, x: Array) -> Array:
        """Ac volts across a leg's windings as they stand, in the leg's own phase."""
        return np.asarray(sum((sign * x[k] for k, sign in self.across[leg].items()), np.zeros(x.shape[1])))

    def _idle(self, x: Array, terms: Array, table: Array) -> None:
        """No such way anywhere in the batch: only the emfs' own equations are left."""
        terms[:], table[:] = 0.0, 0.0
        at = len(self.uses)
        for n in range(len(self.legs)):
            terms[at + n] = x[self.emfs[n]] - self.volts_across(n, x)
            table[at + n, 1 + n] = 1.0

    def _causes(self, d: Array, by_source: Array, by_volts: Array) -> Array:
        """Slopes (leg, cause, sample): the source's split into core and lamp, each heater ratio's into its two differences."""
        known = 1 + len(self.legs)
        parts = [d[:, :known], d[:, known, None] * by_source]
        for k, envelope in enumerate(self.envelopes):
            at = [r.envelope for r in self.legs].index(envelope)
            parts.append(d[:, known + 1 + k, None] * by_volts[:, at])
        return np.concatenate(parts, axis=1)

    def _harmonics(
        self, c: Coefficients, squares: tuple[Array, Array], flow: tuple[Array, Array], share: tuple[Array, Array],
        out: tuple[Array, Array],
    ) -> None:  # fmt: skip
        """What the pulses add to the lamp's mean square beyond their fundamental [A^2]. squares: mean square of the core's
        amp-turns."""
        at = 1 + len(self.legs)
        rest, d_rest = squares[0] - flow[0] ** 2, squares[1] - 2.0 * flow[0] * flow[1]
        part = share[0] ** 2 * c["per lamp"]
        out[0][:] = part * rest
        out[1][:] = part * d_rest
        out[1][at : at + 2] += 2.0 * share[0] * c["per lamp"] * rest * share[1]


def _only(found: Averaged, there: Array) -> Averaged:
    """Nothing at all where there is no such way: what a batch holds beside a sample must not move it by a nanoamp."""
    names = ("each_amps", "each_in_phase", "each_square", "d_amps", "d_in_phase", "d_square")
    return replace(found, **{name: getattr(found, name) * there for name in names})


def _one(leg: int, like: Array) -> Array:
    """1 in one leg's row, 0 in the others."""
    out = np.zeros_like(like)
    out[leg] = 1.0
    return out


def emitted_limit(rated_limit: Array, ratio: Array) -> tuple[Array, Array]:
    """Emission limit [A] of a cathode rated ``rated_limit`` [A] at a heater ratio, and its slope by the ratio."""
    limit, _, slope = emission_limit(1e9, ratio, rated_limit)
    return limit, slope
