"""Rectifiers on their reservoirs, averaged over the cycle: one group for the legs that charge the same thing.

Unknown ``drive NAME``: core volts before this rectifier's own pulses drop any. The pulses meet the resistance of the
mains side pulse by pulse, in parallel with the sine loads of the other windings; everything else sees the fundamental.
"""

from collections.abc import Sequence

import numpy as np

from firstglow.amplifier.legs import Leg
from firstglow.devices.emission import COLD_KNEE, HEATER_POWER, emission_limit
from firstglow.solver.averaged import Averaged, Cell, Inputs, averaged
from firstglow.solver.averaged import Leg as CycleLeg
from firstglow.solver.charging import LegRows, ReservoirRows
from firstglow.solver.cycle import Along
from firstglow.solver.frame import Array, Coefficients, Frame
from firstglow.solver.heaters import HeaterRatio, heaters_on
from firstglow.solver.linear_parts import siemens
from firstglow.solver.mains_side import ahead_of
from firstglow.solver.stamps import merge

MOST_OHMS = 1e4
"""An open mains side counts as this [ohm]: nothing flows then, whatever it is."""
FULL_PASSES = 60
MOST_TRIES = 3
NEAR = 0.01


class Pulses:
    """Legs with one start and one end. Terms: dc amps and in-phase amps of every plate, the drive's equation, harmonics.

    Causes of its slopes: reservoir volts, drive, core, lamp ohms, then two heater differences of the valve.
    """

    constant = False

    def __init__(self, frame: Frame, name: str, legs: Sequence[Leg]) -> None:
        f, self.frame, self.name = frame, frame, name
        self.legs = [LegRows(f, leg) for leg in legs]
        self.cell = Cell(tuple(CycleLeg(r.phase, "valve" if r.valve else "junction") for r in self.legs))
        self.reservoir = ReservoirRows(f, legs[0])
        self.plus, self.minus = f.dc(legs[0].end), f.dc(legs[0].start)
        self.hertz = f.rows.fixed("mains hertz", f.amplifier.mains_hz)
        self.drive = f.index[f"drive {name}"]
        transformer = next((w.part for leg in legs for w in leg.windings if w.winding), None)
        self.core = f.index.get(f"core {transformer}")
        self.lamp = f.index.get("lamp ohms", f.ground) if transformer else f.ground
        self.rest = f.index.get("lamp harmonics", f.ground) if transformer else f.ground
        self.ahead, self.primaries = ahead_of(f, transformer) if transformer else ([], [])
        self.heaters = heaters_on(f, transformer) if transformer else []
        self.ratio = HeaterRatio(f, [r.envelope for r in self.legs])
        self._plan()

    def _plan(self) -> None:
        f, plan = self.frame, self.frame.plan
        self.causes: list[dict[int, float]] = [
            merge((self.plus, 1.0), (self.minus, -1.0)),
            {self.drive: 1.0},
            {self.core: 1.0} if self.core is not None else {},
            {self.lamp: 1.0},
        ]
        self.envelopes = list(dict.fromkeys(r.envelope for r in self.legs if r.envelope))
        for envelope in self.envelopes:
            self.causes += self.ratio.columns([r.envelope for r in self.legs].index(envelope))
        self.uses: list[tuple[int, float, bool]] = []
        rows: list[dict[int, float]] = []
        for n, leg in enumerate(self.legs):
            joints = {leg.leg.start, leg.leg.end}
            for stage in leg.stages:
                for plate in stage:
                    share = 1.0 / len(stage)
                    rows.append(merge((f.dc(plate.anode), 1.0), (f.dc(plate.cathode), -1.0)))
                    self.uses.append((n, share, True))
                    a, b = (f.ground if j in joints else f.ac(j) for j in (plate.anode, plate.cathode))
                    rows.append(merge((a, 1.0), (b, -1.0)))
                    self.uses.append((n, share * leg.phase, False))
        rows.append({self.drive: 1.0})
        rows.append({self.rest: -1.0})
        for row in rows:
            term = plan.term(row)
            for cause in self.causes:
                plan.slope(term, cause)
        self.terms = len(rows)
        self.slopes = len(rows) * len(self.causes)

    def prepare(self, p: Array) -> Coefficients:
        nominal = self.frame.amplifier.mains_volts
        values = [leg.values(p) for leg in self.legs]
        ripple = 2.0 * np.pi * p[self.hertz] * (2.0 if len(self.legs) > 1 else 1.0)
        farads, esr, drain = self.reservoir.values(p, ripple)
        n = p.shape[1]
        c = {
            name: np.array([getattr(v, name) for v in values])
            for name in ("turns", "ohms", "scale", "limit", "leak", "sense")
        }
        if self.primaries:
            per = [(p[t] / nominal) ** 2 for _, t in self.primaries]
            share = sum(s * siemens(p[r]) for (r, _), s in zip(self.primaries, per, strict=True))
            core = 1.0 / share + sum((1.0 / siemens(p[r]) for r in self.ahead), np.zeros(n)) / per[0]
            c |= {"core ohms": np.minimum(core, MOST_OHMS), "per lamp": 1.0 / per[0]}
        else:
            c |= {"core ohms": np.zeros(n), "per lamp": np.zeros(n)}
        c["heaters"] = sum((p[v] * p[a] * p[i] * p[w] for v, a, i, w in self.heaters), np.zeros(n)) / nominal**2
        return c | {
            "farads": farads, "esr": esr, "drain": drain, "hertz": p[self.hertz], "heater": p[self.ratio.volts]
        }  # fmt: skip

    def source(self, x: Array, c: Coefficients) -> tuple[Array, Array, Array, Array]:
        """Resistance that the pulses meet on the core, in primary volts per amp-turn, and what share of the pulses the
        mains side carries: each (sample,) with its slopes by core and lamp (2, sample).

        The heaters stand in parallel with the mains side, each with its resistance of the moment.
        """
        k = c["core ohms"] + x[self.lamp] * c["per lamp"]
        if self.core is None:
            none = np.zeros((2, *k.shape))
            return k, none, np.ones_like(k), none
        nominal = self.frame.amplifier.mains_volts
        warmth = (x[self.core] / nominal) ** 2 + COLD_KNEE**2
        g = c["heaters"] * warmth ** ((HEATER_POWER - 1.0) / 2.0)
        by_core = (HEATER_POWER - 1.0) * g * x[self.core] / nominal**2 / warmth
        share = 1.0 / (1.0 + k * g)
        d_share = -(share**2) * np.array([k * by_core, g * c["per lamp"]])
        d_value = k * d_share
        d_value[1] += share * c["per lamp"]
        return k * share, d_value, share, d_share

    def run(self, x: Array, c: Coefficients, source: Array, passes: int, along: Sequence[Along] | None) -> Averaged:
        """The cycle at these unknowns; the last state is where it starts."""
        ratio, _ = self.ratio.ratios(x, c["heater"])
        limit = np.array(c["limit"])
        for n, leg in enumerate(self.legs):
            if leg.valve:
                limit[n] = emitted_limit(c["limit"][n], ratio[n])[0]
        turned = bool((c["sense"] < 0.0).any())
        leaks = bool((c["leak"] < 1e7).any())
        inputs = Inputs(
            x[self.plus] - x[self.minus], c["turns"] * x[self.drive], c["ohms"] + c["turns"] ** 2 * source, c["scale"],
            limit, c["farads"], c["hertz"], c["esr"], c["drain"],
            c["leak"] if leaks else None, c["sense"] if turned else None,
        )  # fmt: skip
        exact = "exact" in c
        for _ in range(1 if exact else MOST_TRIES):
            state = c.get("state")
            result = averaged(self.cell, inputs, state, FULL_PASSES if exact or state is None else 1, along)
            c["state"] = result.state
            if result.unsettled.max(initial=0.0) < NEAR:
                break
        return result

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        turns, drive = c["turns"], x[self.drive]
        source, by_source, share, d_share = self.source(x, c)
        ratio, by_volts = self.ratio.ratios(x, c["heater"])
        along = [Along(emf=turns)] + [Along(ohms=turns**2 * d) for d in by_source]
        for envelope in self.envelopes:
            rate = np.zeros_like(turns)
            for n, leg in enumerate(self.legs):
                if leg.envelope == envelope:
                    rate[n] = emitted_limit(c["limit"][n], ratio[n])[1]
            along.append(Along(limit=rate))
        found = self.run(x, c, source, 1, along)
        table = slopes.reshape(self.terms, len(self.causes), -1)
        amps = self._causes(found.d_amps, by_volts)
        in_phase = self._causes(found.d_in_phase, by_volts)
        square = self._causes(found.d_square, by_volts)
        for t, (n, part, dc) in enumerate(self.uses):
            value, d = (found.each_amps, amps) if dc else (found.each_in_phase, in_phase)
            terms[t] = part * value[n]
            np.multiply(d[n], part, out=table[t])
        flow = (turns * found.each_in_phase).sum(axis=0)
        d_flow = (turns[:, None] * in_phase).sum(axis=0)
        core = self.frame.amplifier.mains_volts if self.core is None else x[self.core]
        terms[-2] = drive - core - source * flow
        table[-2] = -source * d_flow
        table[-2][2:4] -= by_source * flow
        table[-2][1] += 1.0
        table[-2][2] -= 1.0
        self._harmonics(c, found.each_square, square, (flow, d_flow), (share, d_share), (terms[-1], table[-1]))

    def _causes(self, d: Array, by_volts: Array) -> Array:
        """Slopes (leg, cause, sample) with each heater ratio's split into its two differences of unknowns."""
        known = 4
        parts = [d[:, :known]]
        for k, envelope in enumerate(self.envelopes):
            at = [r.envelope for r in self.legs].index(envelope)
            parts += [d[:, known + k, None] * by_volts[n, at] for n in range(2)]
        return np.concatenate(parts, axis=1)

    def _harmonics(
        self, c: Coefficients, each: Array, d_each: Array, flow: tuple[Array, Array], share: tuple[Array, Array],
        out: tuple[Array, Array],
    ) -> None:  # fmt: skip
        """What the pulses add to the lamp's mean square beyond their fundamental [A^2]."""
        weight = c["turns"] ** 2
        rest = (weight * each).sum(axis=0) - flow[0] ** 2
        d_rest = (weight[:, None] * d_each).sum(axis=0) - 2.0 * flow[0] * flow[1]
        part = share[0] ** 2 * c["per lamp"]
        out[0][:] = part * rest
        out[1][:] = part * d_rest
        out[1][2:4] += 2.0 * share[0] * c["per lamp"] * rest * share[1]


def emitted_limit(rated_limit: Array, ratio: Array) -> tuple[Array, Array]:
    """Emission limit [A] of a cathode rated ``rated_limit`` [A] at a heater ratio, and its slope by the ratio."""
    limit, _, slope = emission_limit(1e9, ratio, rated_limit)
    return limit, slope


