"""Valve sections: plate, screen and grid currents within what the cathode emits, gas current.

All sections of one kind are evaluated together, their laws stacked as columns (section, 1).
"""

from typing import Any

import numpy as np

from firstglow.amplifier.model import Part, Shape
from firstglow.devices.emission import emission_limit
from firstglow.devices.grid import grid_current
from firstglow.devices.pentode import pentode_currents
from firstglow.devices.smooth import stack
from firstglow.devices.triode import triode_current
from firstglow.solver.frame import Array, Coefficients, Frame
from firstglow.solver.heaters import HeaterRatio
from firstglow.solver.parameters import Parameter
from firstglow.solver.stamps import merge

FACTORS = ("perveance", "mu", "contact")
SPLIT = "screen"
"""The law's own uncertainty in how plate and screen share: ln of the factor on their ratio, so 0 as the law is."""
SPLIT_REACH = 2.0
"""Standard deviations of that at which it ends: how a type's grids share is bounded by how they are wound and lined up, so
its spread is taken as a rectangle out to where 19 in 20 published figures lie (JCGM 100:2008, 4.3.7), never as far as the
tail of a normal that a whole ladder asks for."""
FLOOR_AMPS = 1e-30


def section_of(frame: Frame, part: Part) -> Any:
    """The catalogue's section that a valve part is."""
    kind = frame.types(part.type or "")
    named = part.words.get("section")
    if named is not None:
        return next(s for s in kind.sections if s.name == str(named))
    suffix = part.name.removeprefix(part.envelope or part.name)
    order = {"": 0, "a": 0, "b": 1, "c": 2}.get(suffix.strip(), 0)
    return kind.sections[min(order, len(kind.sections) - 1)]


class Sections:
    """All triodes, or all pentodes. Terms of each: plate, (screen,) grid, gas. Slopes: each by each electrode and the heater."""

    constant = False

    def __init__(self, frame: Frame, parts: list[Part], screens: bool) -> None:
        self.frame, self.parts, self.screens = frame, parts, screens
        kinds = [section_of(frame, p) for p in parts]
        self.law = stack([k.law for k in kinds])
        self.rated = np.array([[k.rated_amps] for k in kinds])
        self.electrodes = ("plate", "grid", "screen") if screens else ("plate", "grid")
        self.currents = ("plate", "screen", "grid") if screens else ("plate", "grid")
        rows = frame.rows
        self.own = {a: [rows.of(p, a) for p in parts] for a in (*FACTORS, "emission", "gas")}
        shared = (*FACTORS, SPLIT) if screens else FACTORS
        self.type_rows = {a: [law_row(frame, p, k, a) for p, k in zip(parts, kinds, strict=True)] for a in shared}
        self.inside = [frame.envelope_row(p.envelope) for p in parts]
        self.ratio = HeaterRatio(frame, [p.envelope for p in parts])
        self.at = {e: np.array([frame.dc(frame.lead(p, e)) for p in parts]) for e in (*self.electrodes, "cathode")}
        self.size = len(parts)
        self._plan()

    def _plan(self) -> None:
        """Every (current, cause) pair is one block of slopes over the sections; the gas current comes last."""
        plan = self.frame.plan
        causes = len(self.electrodes) + 2
        currents = (*self.currents, "gas")
        terms = [[plan.term(self._rows(current, k)) for k in range(self.size)] for current in currents]
        for row in terms:
            for cause in range(causes):
                for k, term in enumerate(row):
                    plan.slope(term, self._columns(cause, k))
        self.terms = (len(self.currents) + 1) * self.size
        self.slopes = (len(self.currents) + 1) * causes * self.size

    def _rows(self, current: str, k: int) -> dict[int, float]:
        if current == "gas":  # positive ions: from the plate to the grid
            return merge((int(self.at["plate"][k]), 1.0), (int(self.at["grid"][k]), -1.0))
        return merge((int(self.at[current][k]), 1.0), (int(self.at["cathode"][k]), -1.0))

    def _columns(self, cause: int, k: int) -> dict[int, float]:
        if cause < len(self.electrodes):
            return merge((int(self.at[self.electrodes[cause]][k]), 1.0), (int(self.at["cathode"][k]), -1.0))
        return self.ratio.columns(k)[cause - len(self.electrodes)]

    def prepare(self, p: Array) -> Coefficients:
        inside = p[self.inside]
        split = {SPLIT: np.exp(p[self.type_rows[SPLIT]])} if self.screens else {}
        return split | {
            "perveance": p[self.own["perveance"]] * p[self.type_rows["perveance"]] * inside,
            "mu": p[self.own["mu"]] * p[self.type_rows["mu"]],
            "contact": p[self.own["contact"]] + p[self.type_rows["contact"]],
            "emission": p[self.own["emission"]],
            "gas": p[self.own["gas"]],
            "inside": inside,
            "heater": p[self.ratio.volts],
        }

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        cathode = x[self.at["cathode"]]
        volts = [x[self.at[e]] - cathode for e in self.electrodes]
        grid, d_grid = grid_current(volts[1], c["contact"])
        grid, d_grid = grid * c["inside"], d_grid * c["inside"]
        factors = (c["perveance"], c["mu"], c["contact"])
        if self.screens:
            plate, screen, d = pentode_currents(self.law, volts[0], volts[2], volts[1], *factors, c[SPLIT])
            wanted = [(plate, list(d[0])), (screen, list(d[1])), (grid, [0.0, d_grid, 0.0])]
        else:
            plate, d_plate, d_drive = triode_current(self.law, volts[0], volts[1], *factors)
            wanted = [(plate, [d_plate, d_drive]), (grid, [0.0, d_grid])]
        self._limit(x, c, wanted, terms.reshape(-1, self.size, x.shape[1]), slopes)

    def _limit(self, x: Array, c: Coefficients, wanted: list[Any], terms: Array, slopes: Array) -> None:
        """Scale all currents of a cathode by what it can give, and enter them with their slopes."""
        ratio, by_volts = self.ratio.ratios(x, c)
        total = sum(i for i, _ in wanted)
        given, by_total, by_ratio = emission_limit(total, ratio, self.rated, c["emission"])
        scale = (given + FLOOR_AMPS) / (total + FLOOR_AMPS)
        bend = (by_total - scale) / (total + FLOOR_AMPS)
        heat = by_ratio / (total + FLOOR_AMPS)
        d_total = [sum(d[n] for _, d in wanted) * bend for n in range(len(self.electrodes))]
        table = slopes.reshape(len(wanted) + 1, -1, self.size, x.shape[1])
        for n, (i, d) in enumerate(wanted):
            np.multiply(i, scale, out=terms[n])
            for e in range(len(self.electrodes)):
                table[n, e] = d[e] * scale + i * d_total[e]
            table[n, -2], table[n, -1] = i * heat * by_volts[0], i * heat * by_volts[1]
        np.multiply(terms[0], c["gas"], out=terms[len(wanted)])
        np.multiply(table[0], c["gas"], out=table[len(wanted)])


def law_row(frame: Frame, part: Part, section: Any, attribute: str) -> int:
    """Row of the type law's own uncertainty that all valves of the type share: a factor, an offset (contact) [V], or the
    natural logarithm of a factor (screen)."""
    kind = frame.types(part.type or "").name
    label = f"{kind} {section.name}" if section.name in ("triode", "pentode") else kind
    spread = float(section.law_uncertainty.get(attribute, 0.0))
    nominal = 0.0 if attribute in ("contact", SPLIT) else 1.0
    shape: Shape = "normal" if spread > 0 else "exact"
    if attribute == SPLIT and spread > 0:
        spread, shape = SPLIT_REACH * spread, "uniform"
    name = frame.law_names[part.name, attribute] = f"type {label} {attribute}"
    return frame.rows.add(Parameter(name, "", attribute, nominal, spread, shape, shared=True))
