"""Parts that pass dc one way only and stand in no charging path: gas tubes, clamping and protecting diodes."""

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.devices.semiconductor import JunctionLaw, junction_diode, selenium_law, silicon_law
from firstglow.devices.smooth import softplus
from firstglow.solver.frame import Array, Coefficients, Frame
from firstglow.solver.linear_parts import siemens
from firstglow.solver.passive import junction_amps
from firstglow.solver.stamps import merge

GLOW_VOLTS = 0.5
"""Width over which a gas tube takes up its running volts [V]: a rounding for the solution, far below any tube's spread."""


def gas_current(volts: Array, running: Array, ohms: Array) -> tuple[Array, Array]:
    """Current of a gas tube [A] and its slope [S]: running volts, then a slope resistance; nothing below.

    Where it is lit or not is not told apart between running and striking volts: it is taken as lit.
    """
    value, slope = softplus((volts - running) / GLOW_VOLTS)
    g = siemens(ohms)
    return g * GLOW_VOLTS * value, g * slope


def diode_law(part: Part) -> JunctionLaw:
    """The drawn law of a diode or selenium stack."""
    if part.type == "selenium":
        return selenium_law(junction_amps(part), part.value("plates"), part.value("age"))
    return silicon_law(junction_amps(part), part.value("series_ohms"))


class OddParts:
    """One term and one slope each."""

    constant = False

    def __init__(self, frame: Frame) -> None:
        f, self.frame = frame, frame
        self.parts = [p for p in f.amplifier.of_kind("gas tube", "diode") if p.name not in f.charging]
        self.fitted, self.sense, self.own = [], [], []
        for part in self.parts:
            rows = merge((f.dc(f.lead(part, "anode")), 1.0), (f.dc(f.lead(part, "cathode")), -1.0))
            f.plan.slope(f.plan.term(rows), rows)
            self.fitted.append(f.rows.fixed(f"{part.name} anode fitted", 1.0, part.name, "fitted"))
            self.sense.append(f.rows.fixed(f"{part.name} sense", 1.0, part.name, "sense"))
            gas = part.kind == "gas tube"
            self.own.append((f.rows.of(part, "volts"), f.rows.of(part, "ohms")) if gas else None)
        self.terms = self.slopes = len(self.parts)
        self.a = np.array([f.dc(f.lead(p, "anode")) for p in self.parts], dtype=int)
        self.b = np.array([f.dc(f.lead(p, "cathode")) for p in self.parts], dtype=int)

    def prepare(self, p: Array) -> Coefficients:
        c = {"fitted": p[self.fitted], "sense": p[self.sense]}
        for k, rows in enumerate(self.own):
            if rows is not None:
                c[f"volts {k}"], c[f"ohms {k}"] = p[rows[0]], p[rows[1]]
        return c

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        for k, part in enumerate(self.parts):
            sense, fitted = c["sense"][k], c["fitted"][k]
            volts = sense * (x[self.a[k]] - x[self.b[k]])
            if part.kind == "gas tube":
                i, g = gas_current(volts, c[f"volts {k}"], c[f"ohms {k}"])
            else:
                i, g = junction_diode(diode_law(part), volts)
            terms[k], slopes[k] = sense * fitted * i, fitted * g
