"""Pilot lamps on the mains side: across the primary or from line to neutral. In phase and quadrature, as all that stands there."""

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.devices.emission import heater_siemens
from firstglow.solver.frame import Array, Coefficients, Frame
from firstglow.solver.nodes import GROUNDED
from firstglow.solver.stamps import merge


class MainsLamps:
    """All of them. Each has two terms, its amps in phase and in quadrature, and two slopes a term: its ohms follow the size of
    its volts, so that either part of them moves both."""

    constant = False

    def __init__(self, frame: Frame) -> None:
        lamps = [p for p in frame.amplifier.of_kind("lamp") if on_mains(frame, p)]
        ends = [[frame.lead(p, lead) for lead in ("1", "2")] for p in lamps]
        self.volts = [frame.rows.of(p, "volts") for p in lamps]
        self.amps = [frame.rows.of(p, "amps") for p in lamps]
        self.fitted = [frame.rows.fixed(f"{p.name} fitted", 1.0, p.name, "fitted") for p in lamps]
        self.count = len(lamps)
        self.terms, self.slopes = 2 * self.count, 4 * self.count
        phases = ("ac", "quadrature")
        rows = {
            phase: [[frame.index.get(f"{phase} {n}", frame.ground) for n in pair] for pair in ends] for phase in phases
        }
        self.ends = {phase: np.array(found, dtype=int).reshape(self.count, 2) for phase, found in rows.items()}
        for n in range(self.count):
            parts = [merge((rows[phase][n][0], 1.0), (rows[phase][n][1], -1.0)) for phase in phases]
            for leaves in parts:
                term = frame.plan.term(leaves)
                for across in parts:
                    frame.plan.slope(term, across)

    def prepare(self, p: Array) -> Coefficients:
        return {"volts": p[self.volts], "amps": p[self.amps] * p[self.fitted]} if self.count else {}

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        if not self.count:
            return
        re, im = (x[found[:, 0]] - x[found[:, 1]] for found in self.ends.values())
        g, by_square = heater_siemens(re * re + im * im, c["volts"], c["amps"])
        terms[0::2], terms[1::2] = g * re, g * im
        slopes[0::4], slopes[3::4] = g + 2.0 * by_square * re * re, g + 2.0 * by_square * im * im
        slopes[1::4] = slopes[2::4] = 2.0 * by_square * re * im


def on_mains(frame: Frame, part: Part) -> bool:
    """Whether all of a part's leads stand on the mains side, or one does and the others are at rest."""
    joints = {frame.lead(part, lead) for lead in part.leads}
    mains = set(frame.nodes.mains)
    return bool(joints & mains) and joints <= mains | GROUNDED
