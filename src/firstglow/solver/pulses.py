"""Rectifiers on their reservoirs, averaged over the cycle: one group a reservoir.

Unknown ``drive NAME``: core volts before this rectifier's own pulses drop any (they see the mains' resistance pulse by
pulse, everything else sees the fundamental).
"""

from typing import Any

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.devices.emission import emission_limit
from firstglow.devices.semiconductor import selenium_law, silicon_law
from firstglow.solver.averaged import Averaged, Cell, Inputs, averaged
from firstglow.solver.averaged import Leg as CycleLeg
from firstglow.solver.frame import Array, Coefficients, Frame
from firstglow.solver.heaters import HeaterRatio
from firstglow.solver.legs import Leg, Reservoir
from firstglow.solver.linear_parts import siemens
from firstglow.solver.mains_side import ahead_of
from firstglow.solver.stamps import merge
from firstglow.solver.valves import law_row

LEAST_DRIVE = 1e-3
"""Core volts below this drive no rectifier [V]."""


class LegRows:
    """Parameter rows of one leg, and what its law needs."""

    def __init__(self, frame: Frame, leg: Leg) -> None:
        f, self.frame, self.leg = frame, frame, leg
        parts = f.amplifier.parts
        self.turns = [(f.rows.row[f"{s.part} {s.winding} turns"], s.sign) for s in leg.windings]
        self.ohms = [f.rows.row[f"{s.part} {s.winding} ohms"] for s in leg.windings]
        self.ohms += [f.rows.of(parts[s.part], "ohms") for s in leg.steps if s.kind == "ohms"]
        self.rectifiers: list[Part] = [parts[s.part] for s in leg.rectifiers]
        first = self.rectifiers[0]
        self.valve = first.kind == "rectifier"
        nominal = sum(s.sign * _turns(parts[s.part], s.winding) for s in leg.windings)
        self.phase = 1 if nominal >= 0 else -1
        self.fitted = [f.rows.fixed(f"{s.part} {s.lead_in} fitted", 1.0, s.part, "fitted") for s in leg.rectifiers]
        if self.valve:
            section = f.types(first.type or "").sections[0]
            self.law = section.law
            self.perveance = [f.rows.of(first, "perveance"), law_row(f, first, section, "perveance")]
            self.emission = f.rows.of(first, "emission")
            self.inside = f.envelope_row(first.envelope)
        else:
            self.diodes = [
                {a: f.rows.of(d, a) for a in ("series_ohms", "plates", "age", "amps")} for d in self.rectifiers
            ]

    def emf_per_volt(self, p: Array) -> Array:
        """Turns of the leg's windings, relative to the nominal mains volts; positive."""
        turns = sum(p[row] * sign for row, sign in self.turns)
        return np.abs(turns) / self.frame.amplifier.mains_volts

    def series(self, p: Array) -> Array:
        """Ohms of windings, resistors and diodes."""
        ohms = sum(1.0 / siemens(p[row]) for row in self.ohms)
        if not self.valve:
            ohms = ohms + sum(p[d["series_ohms"]] for d in self.diodes)
        return ohms


def _turns(part: Part, winding: str) -> float:
    return next(w.turns.value for w in part.windings if w.name == winding)


class Pulses:
    """One reservoir. Terms: dc amps and in-phase amps of every rectifying step, the drive's equation, harmonics."""

    constant = False

    def __init__(self, frame: Frame, reservoir: Reservoir) -> None:
        f, self.frame, self.reservoir = frame, frame, reservoir
        self.legs = [LegRows(f, leg) for leg in reservoir.legs]
        self.cell = Cell(tuple(CycleLeg(r.phase, "valve" if r.valve else "junction") for r in self.legs))
        transformer = self.legs[0].leg.windings[0].part
        self.core = f.index[f"core {transformer}"]
        self.drive = f.index[f"drive {reservoir.part}"]
        self.lamp = f.index.get("lamp ohms", f.ground)
        self.rest = f.index.get("lamp harmonics", f.ground)
        self.ahead, self.primaries = ahead_of(f, transformer)
        self.plus, self.minus = f.dc(reservoir.plus), f.dc(reservoir.minus)
        self.hertz = f.rows.fixed("mains hertz", f.amplifier.mains_hz)
        self._load()
        self.ratio = HeaterRatio(f, [r.rectifiers[0].envelope if r.valve else None for r in self.legs])
        self._plan()

    def _load(self) -> None:
        """What stands at the reservoir: its farads, resistors (drain) and chokes that lead on."""
        f = self.frame
        here = {self.reservoir.plus, self.reservoir.minus}
        self.farads, self.drains, self.chokes = [], [], []
        for part in f.amplifier.of_kind("capacitor", "resistor", "choke"):
            ends = {f.lead(part, lead) for lead in part.leads}
            if part.kind == "capacitor" and ends == here:
                self.farads.append((f.rows.of(part, "farads"), f.rows.of(part, "esr_ohms")))
            elif part.kind != "capacitor" and len(ends & here) == 1 and self.reservoir.plus in ends | {""}:
                rows = self.drains if part.kind == "resistor" else self.chokes
                rows.append(f.rows.of(part, "ohms" if part.kind == "resistor" else "henries"))

    def _plan(self) -> None:
        f = self.frame
        plan = f.plan
        self.causes: list[dict[int, float]] = [
            merge((self.plus, 1.0), (self.minus, -1.0)),
            {self.drive: 1.0},
            {self.lamp: 1.0},
        ]
        for k in range(len(self.legs)):
            self.causes += self.ratio.columns(k)
        self.uses: list[tuple[int, str]] = []
        rows: list[dict[int, float]] = []
        for n, leg in enumerate(self.legs):
            steps = leg.leg.steps
            for s in leg.leg.rectifiers:
                rows.append(merge((f.dc(s.start), 1.0), (f.dc(s.end), -1.0)))
                self.uses.append((n, "amps"))
                a = f.ground if s is steps[0] else f.ac(s.start)
                b = f.ground if s is steps[-1] else f.ac(s.end)
                rows.append(merge((a, 1.0), (b, -1.0)))
                self.uses.append((n, "in phase"))
        rows.append({self.drive: 1.0})
        rows.append({self.rest: -1.0} if self.rest != f.ground else {})
        for row in rows:
            plan.term(row)
        for row in rows:
            for cause in self.causes:
                plan.slope(row, cause)
        # the drive's own equation: drive - core - ...
        plan.slope({self.drive: 1.0}, {self.core: 1.0})
        self.terms = len(rows)
        self.slopes = len(rows) * len(self.causes) + 1

    def prepare(self, p: Array) -> Coefficients:
        farads = sum(p[row] for row, _ in self.farads)
        esr = p[self.farads[0][1]]
        ripple = 2.0 * np.pi * p[self.hertz] * (2.0 if len(self.legs) > 1 else 1.0)
        for row in self.chokes:
            farads = farads - 1.0 / (ripple**2 * p[row])
        turns = np.array([leg.emf_per_volt(p) for leg in self.legs])
        share = sum((p[t] / self.frame.amplifier.mains_volts) ** 2 * siemens(p[r]) for r, t in self.primaries)
        square = (p[self.primaries[0][1]] / self.frame.amplifier.mains_volts) ** 2
        return {
            "turns": turns,
            "series": np.array([leg.series(p) for leg in self.legs]),
            "core ohms": 1.0 / share + sum(1.0 / siemens(p[r]) for r in self.ahead) / square,
            "per lamp": 1.0 / square,
            "farads": np.maximum(farads, 0.0),
            "esr": esr,
            "drain": sum((siemens(p[r]) for r in self.drains), np.zeros(p.shape[1])),
            "hertz": p[self.hertz],
            "heater": p[self.ratio.volts],
            **self._laws(p),
        }

    def _laws(self, p: Array) -> dict[str, Array]:
        scale, limit = [], []
        for leg in self.legs:
            fitted = np.prod(p[leg.fitted], axis=0)
            if leg.valve:
                own = np.prod(p[leg.perveance], axis=0) * p[leg.inside] * fitted
                scale.append(np.maximum(leg.law.perveance * own, 1e-15))
                limit.append(leg.law.rated_amps * p[leg.emission])
            else:
                law = [_junction(d, rows, p) for d, rows in zip(leg.rectifiers, leg.diodes, strict=True)]
                scale.append(sum(s for s, _ in law))
                limit.append(np.min([i for _, i in law], axis=0) * fitted + 1e-20)
        return {"scale": np.array(scale), "limit": np.array(limit)}

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        drive, core = x[self.drive], x[self.core]
        lamp = x[self.lamp] if self.lamp != self.frame.ground else 0.0
        k = c["core ohms"] + lamp * c["per lamp"]
        ratio, by_volts = self.ratio.ratios(x, c["heater"])
        limit, by_ratio = self._limits(c, ratio)
        turns = c["turns"]
        emf = turns * drive
        result = averaged(
            self.cell,
            Inputs(
                x[self.plus] - x[self.minus], emf, c["series"] + turns**2 * k, c["scale"], limit,
                c["farads"], c["hertz"], c["esr"], c["drain"],
            ),
        )  # fmt: skip
        heat = by_ratio * by_volts  # d limit / d each heater difference, (2, leg, sample)
        per_ohm = turns**2 * c["per lamp"]
        n = len(self.legs)
        amps, d_amps = _chain(result.amps, result.amps_by, turns, per_ohm, heat)
        watts, d_watts = _chain(result.watts, result.watts_by, turns, per_ohm, heat)
        heating, d_heating = _chain(result.heating, result.heating_by, turns, per_ohm, heat)
        safe = drive * drive + LEAST_DRIVE**2
        inverse, d_inverse = drive / safe, (LEAST_DRIVE**2 - drive * drive) / safe**2
        flow = watts * inverse  # in-phase amp-turns of the whole cell
        d_flow = d_watts * inverse
        d_flow[1] += watts * d_inverse
        table = slopes[:-1].reshape(self.terms, len(self.causes), -1)
        for t, (leg, what) in enumerate(self.uses):
            if what == "amps":
                terms[t], table[t] = amps / n, d_amps / n
            else:
                scale = self.legs[leg].phase / (n * turns[leg])
                terms[t], table[t] = flow * scale, d_flow * scale
        terms[-2] = drive - core - k * flow
        table[-2] = -k * d_flow
        table[-2][1] += 1.0
        table[-2][2] -= c["per lamp"] * flow
        slopes[-1] = -1.0
        rest = heating * inverse**2 - flow**2
        terms[-1] = rest * c["per lamp"]
        table[-1] = (d_heating * inverse**2 - 2.0 * flow * d_flow) * c["per lamp"]
        table[-1][1] += 2.0 * heating * inverse * d_inverse * c["per lamp"]

    def _limits(self, c: Coefficients, ratio: Array) -> tuple[Array, Array]:
        """Emission limit of valve legs at today's heater volts; start current of junction legs."""
        limit, slope = np.array(c["limit"]), np.zeros_like(ratio)
        for n, leg in enumerate(self.legs):
            if leg.valve:
                limit[n], _, slope[n] = emission_limit(1e9, ratio[n], c["limit"][n], 1.0)
        return limit, slope


def _chain(value: Array, by: Any, turns: Array, per_ohm: Array, heat: Array) -> tuple[Array, Array]:
    """A result's slopes by the causes: reservoir volts, drive, lamp ohms, then two heater differences a leg."""
    first = [by.volts, (by.emf * turns).sum(axis=0), (by.ohms * per_ohm).sum(axis=0)]
    rest = [by.limit[n] * heat[k, n] for n in range(len(turns)) for k in range(2)]
    return value, np.array([*first, *rest])


def _junction(part: Part, rows: dict[str, int], p: Array) -> tuple[Array, Array]:
    """Slope volts and start current of a diode or selenium stack."""
    if part.type == "selenium":
        law = selenium_law(part.value("amps"), 1.0, 0.0)
        return law.slope_volts * p[rows["plates"]], np.full(p.shape[1], law.start_amps)
    law = silicon_law(part.value("amps"))
    one = np.ones(p.shape[1])
    return law.slope_volts * one, law.start_amps * one


__all__ = ["Averaged", "Pulses"]
