"""From the socket to the core: limiter lamp, primary, magnetising current. In phase and quadrature, volts rms.

The mains are the reference phase. A core's emf has a part in phase and one in quadrature; its size drives everything on
the secondary side, whose loads are in phase with it. The magnetising current lags by a quarter turn.
"""

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.amplifier.primaries import primary_groups
from firstglow.devices.lamp import filament
from firstglow.solver.frame import Array, Coefficients, Frame
from firstglow.solver.parameters import CONTACT_OHMS
from firstglow.solver.stamps import merge

EDGE_VOLTS = 1e-5
"""Core volts below this are rounded to 0 [V]: no phase is left in them."""
KNEE_POWER = 8.0
"""How steeply the magnetising current bends up beyond the knee (silicon steel near 1.5 tesla, common practice: 7 to 12)."""


LEAST_OF_COLD = 0.5
"""Part of a lamp's cold ohms below which no iterate is taken at its word."""


class Feed:
    """The mains through the limiter lamp into the inlet. Terms: in phase, quadrature, lamp ohms' own equation."""

    constant = False

    def __init__(self, frame: Frame, inlet: Part) -> None:
        f, self.frame = frame, frame
        line, neutral = f.lead(inlet, "line"), f.lead(inlet, "neutral")
        self.line = f.ac(line), f.index.get(f"quadrature {line}", f.ground)
        self.neutral = f.ac(neutral), f.index.get(f"quadrature {neutral}", f.ground)
        self.lamp = f.index["lamp ohms"]
        self.rest = f.index["lamp harmonics"]
        self.volts = f.rows.row["mains volts"]
        self.watts = f.rows.fixed("lamp watts", 60.0, "lamp", "watts")
        self.inserted = f.rows.fixed("lamp in", 0.0, "lamp", "in")
        self.factor = f.rows.row["lamp ohms factor"]
        self.terms, self.slopes = 3, 0
        for a, b in zip(self.neutral, self.line, strict=True):
            rows = merge((a, 1.0), (b, -1.0))
            term = f.plan.term(rows)
            f.plan.slope(term, rows)
            f.plan.slope(term, {self.lamp: 1.0})
        own = f.plan.term({self.lamp: 1.0})
        for k in range(2):
            f.plan.slope(own, merge((self.neutral[k], 1.0), (self.line[k], -1.0)))
        f.plan.slope(own, {self.lamp: 1.0})
        f.plan.slope(own, {self.rest: 1.0})
        self.slopes = 8

    def prepare(self, p: Array) -> Coefficients:
        hot = p[self.factor] * self.frame.amplifier.mains_volts**2 / p[self.watts]
        return {"volts": p[self.volts], "hot": hot, "watts": p[self.watts], "in": p[self.inserted]}

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        # no filament is below its cold ohms: an iterate there is read as cold, so that the next step comes back
        least = c["in"] * c["hot"] * LEAST_OF_COLD * float(filament(0.0)[0]) + (1.0 - c["in"]) * CONTACT_OHMS
        real = x[self.lamp] > least
        ohms = np.where(real, x[self.lamp], least)
        g = 1.0 / ohms
        re = (c["volts"] + x[self.neutral[0]] - x[self.line[0]]) * g
        im = (x[self.neutral[1]] - x[self.line[1]]) * g
        terms[0], terms[1] = re, im
        slopes[0], slopes[1], slopes[2], slopes[3] = g, -re * g * real, g, -im * g * real
        square = re * re + im * im + x[self.rest]
        # slow time says how warm the filament is at such watts; else it stands where they keep it
        h, d = (c["filament"], c["by watts"]) if "filament" in c else filament(square * ohms / c["watts"])
        lit = c["in"] * c["hot"]
        terms[2] = x[self.lamp] - lit * h - (1.0 - c["in"]) * CONTACT_OHMS
        d = lit * d / c["watts"]
        slopes[4], slopes[5] = -d * 2.0 * re, -d * 2.0 * im
        # d(square * ohms)/d ohms at fixed volts: the squares of the fundamental fall as 1/ohms^2
        slopes[6] = 1.0 - d * (square - 2.0 * (re * re + im * im)) * real
        slopes[7] = -d * ohms


class Cores:
    """One transformer: amp-turns in phase and in quadrature, the size of its emf. Terms: size, load, two balances."""

    constant = False

    def __init__(self, frame: Frame, part: Part) -> None:
        f, self.frame = frame, frame
        names = ("core", "core load", "core in phase", "core quadrature")
        self.size, self.load, self.re, self.im = (f.index[f"{n} {part.name}"] for n in names)
        self.magnetising = f.rows.of(part, "magnetising_amps")
        self.knee = f.rows.of(part, "knee_volts")
        self.hertz = f.rows.fixed("mains hertz", f.amplifier.mains_hz)
        plan = f.plan
        own = plan.term({self.size: 1.0})
        for column in (self.size, self.re, self.im):
            plan.slope(own, {column: 1.0})
        for row in (self.re, self.im):
            term = plan.term({row: 1.0})
            for column in (self.load, self.re, self.im):
                plan.slope(term, {column: 1.0})
        self.terms, self.slopes = 3, 9

    def prepare(self, p: Array) -> Coefficients:
        flux = self.frame.amplifier.mains_hz / (p[self.hertz] * self.frame.amplifier.mains_volts)
        return {"flux": flux, "amps": p[self.magnetising], "knee": p[self.knee]}

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        re, im, load = x[self.re], x[self.im], x[self.load]
        square = re * re + im * im + EDGE_VOLTS**2
        root = np.sqrt(square)
        terms[0] = x[self.size] - (square - EDGE_VOLTS**2) / root
        bend = -(1.0 + EDGE_VOLTS**2 / square) / root
        slopes[0], slopes[1], slopes[2] = 1.0, re * bend, im * bend
        lag, d_lag = magnetising(root * c["flux"], c["amps"], c["knee"])
        d_lag = d_lag * c["flux"]
        a, b = load / root, lag / root
        # currents wanted by the core, as the emf's phase turns: load along it, magnetising a quarter turn behind
        terms[1] = -(a * re + b * im)
        terms[2] = -(a * im - b * re)
        da, db = -load / square / root, (d_lag - b) / square
        slopes[3], slopes[6] = -re / root, -im / root
        slopes[4] = -(a + da * re * re + db * re * im)
        slopes[5] = -(da * re * im + b + db * im * im)
        slopes[7] = -(da * re * im - b - db * re * re)
        slopes[8] = -(a + da * im * im - db * im * re)


def magnetising(flux: Array, amps: Array, knee: Array) -> tuple[Array, Array]:
    """Magnetising current [A rms] at ``flux`` (1 at nominal volts and hertz) and its derivative [A].

    amps: at flux 1. knee: flux where the bend is as large as the straight part. A plausible shape, not a fitted core.
    """
    scale = amps / (1.0 + knee**-KNEE_POWER)
    bend = (flux / knee) ** KNEE_POWER
    return scale * flux * (1.0 + bend), scale * (1.0 + (KNEE_POWER + 1.0) * bend)


Sides = list[tuple[list[int], list[int]]]
"""Rows of ohms and of turns of each chain of primary sides; the chains lie side by side (``primary_groups``)."""


def ahead_of(frame: Frame, transformer: str) -> tuple[list[int], Sides]:
    """What the pulses of a transformer's secondaries meet on the mains side: rows of the ohms in series with its
    primary, and its primary's sides."""
    f = frame
    part = f.amplifier.parts[transformer]
    row = f.rows.row
    rows = [
        ([row[f"{part.name} {w.name} ohms"] for w in chain], [row[f"{part.name} {w.name} turns"] for w in chain])
        for chain in primary_groups(f.amplifier, part)
    ]
    ahead = [
        f.rows.of(p, "ohms")
        for p in f.amplifier.of_kind("fuse", "switch", "wire", "resistor")
        if all(f.lead(p, lead) in f.nodes.mains for lead in ("1", "2"))
    ]
    return ahead, rows
