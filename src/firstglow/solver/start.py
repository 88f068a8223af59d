"""Where the solution starts: dc at 0 V, the windings and heaters at what they stand at with warm heaters and no pulses."""

import numpy as np

from firstglow.solver.equations import Equations
from firstglow.solver.frame import Array, Frame
from firstglow.solver.heaters import Heaters
from firstglow.solver.linear_parts import siemens
from firstglow.solver.mains_side import ahead_of
from firstglow.solver.parameters import CONTACT_OHMS
from firstglow.solver.pulses import MOST_OHMS, Pulses


class ColdStart:
    """The first guess for any parameters: worked out once at nominal mains, in proportion to the mains after that.

    Heaters take their rated resistance, so that cathodes are warm from the first step; nothing is known of the dc.
    """

    def __init__(self, frame: Frame, equations: Equations) -> None:
        self.mains = frame.rows.row["mains volts"]
        self.nominal = frame.amplifier.mains_volts
        p = np.array([[q.nominal] for q in frame.rows.parameters])
        self.base = np.zeros(equations.size)
        index = frame.index
        driven = [k for name, k in index.items() if name.startswith("core in phase ")]
        driven += [index[f"core {t.name}"] for t in frame.amplifier.of_kind("transformer")]
        self.base[driven] = self.nominal
        for group in equations.groups:
            if isinstance(group, Pulses):
                self.base[group.emfs] = group.prepare(p)["turns"][:, 0] * self.nominal
        self.lamp = index.get("lamp ohms")
        self.lamp_rows = [frame.rows.row.get(f"lamp {name}") for name in ("in", "watts")]
        self.ahead = [ahead_of(frame, t.name) for t in frame.amplifier.of_kind("transformer")]
        self.load = 0.0
        loose = [k for name, k in index.items() if name.startswith("ac ")]
        if loose:
            self._windings(frame, equations, p, loose)

    def _windings(self, frame: Frame, equations: Equations, p: Array, loose: list[int]) -> None:
        """Solve the ac joints alone, the cores at nominal volts."""
        at = equations.prepare(p)
        size = equations.size
        x = np.zeros((size + 1, 1))
        x[:size, 0] = self.base
        matrix = np.zeros((size, size))
        for (i, j), slot in equations.elimination.slot.items():
            matrix[i, j] = at.fixed[slot, 0]
        linear = equations.groups[0]
        terms = np.empty((equations.incidence.shape[1], 1))
        terms[:] = 0.0
        linear.flows(x, at.coefficients[0], terms[equations.term_spans[0]], np.empty((linear.slopes, 1)))
        residual = equations.incidence @ terms
        for group in equations.groups:
            if isinstance(group, Heaters):
                for piece, g in group.warm(p):
                    self.load += (
                        float(p[group.amps[group.pieces.index(piece)], 0])
                        * piece.share
                        * float(p[group.volts[group.pieces.index(piece)], 0])
                    )
                    for i, si in ((piece.a, 1.0), (piece.b, -1.0)):
                        for j, sj in ((piece.a, 1.0), (piece.b, -1.0)):
                            if size not in (i, j):
                                matrix[i, j] += si * sj * g
        line = frame.index.get("ac line")
        if line is not None:
            matrix[line, line] += 1.0 / CONTACT_OHMS
            residual[line] -= self.nominal / CONTACT_OHMS
        keep = np.ix_(loose, loose)
        self.base[loose] = np.linalg.solve(matrix[keep], -residual[loose, 0])

    def __call__(self, p: Array) -> Array:
        """First guess (unknown, sample) for parameters (parameter, sample)."""
        lamp = np.full(p.shape[1], CONTACT_OHMS)
        if self.lamp is not None:
            lit, watts = (p[row] for row in self.lamp_rows)
            lamp = CONTACT_OHMS + lit * 0.3 * self.nominal**2 / watts
        ohms = [sum(1.0 / siemens(p[r]) for r in (*ahead, *(r for r, _ in own))) for ahead, own in self.ahead]
        path = np.min(ohms, axis=0) if ohms else np.zeros(p.shape[1])
        # what heaters alone leave of the mains; nothing where the mains cannot reach any core
        share = np.where(path < MOST_OHMS, 1.0 / (1.0 + (path + lamp) * self.load / self.nominal**2), 0.0)
        x = self.base[:, None] * (share * p[self.mains] / self.nominal)
        if self.lamp is not None:
            x[self.lamp] = lamp
        return x
