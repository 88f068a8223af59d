"""Where the solution starts.

Cold: dc at 0 V, the windings and heaters at what they stand at with warm heaters and no pulses. Warm: the solution of the
amplifier as its file has it, in proportion to the mains.
"""

from collections.abc import Callable
from functools import cached_property

import numpy as np

from firstglow.solver.equations import Equations, Prepared
from firstglow.solver.frame import Array, Frame
from firstglow.solver.heaters import Heaters
from firstglow.solver.linear_parts import siemens
from firstglow.solver.mains_side import ahead_of
from firstglow.solver.parameters import CONTACT_OHMS
from firstglow.solver.pulses import MOST_OHMS, Pulses

CHOKE_INPUT = 0.9
"""Mean of a rectified sine wave over its rms, 2 sqrt 2/pi."""


class ColdStart:
    """The first guess for any parameters: worked out once at nominal mains, in proportion to the mains after that.

    Heaters take their rated resistance, so that cathodes are warm from the first step; nothing is known of the dc but what
    a choke input stands at.
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
        self.emfs: list[int] = []
        self.supplies = [abs(part.value("volts")) for part in frame.amplifier.of_kind("supply")]
        for group in equations.groups:
            if isinstance(group, Pulses):
                self.emfs += group.emfs
                self.base[group.emfs] = group.prepare(p)["turns"][:, 0] * self.nominal
                self._choke(frame, group)
        self.lamp = index.get("lamp ohms")
        self.lamp_rows = [frame.rows.row.get(f"lamp {name}") for name in ("in", "watts")]
        self.ahead = [ahead_of(frame, t.name) for t in frame.amplifier.of_kind("transformer")]
        self.load = 0.0
        self.heaters = [group for group in equations.groups if isinstance(group, Heaters)]
        loose = [k for name, k in index.items() if name.startswith("ac ")]
        if loose:
            self._windings(frame, equations, p, loose)

    def _choke(self, frame: Frame, group: Pulses) -> None:
        """A choke input stands at 0.9 of the winding's rms on both sides of the choke: at 0 V it would pass no bounds."""
        leg = group.legs[0].leg
        if group.henries is not None and leg.beyond is not None:
            sign, near = (-1.0, leg.start) if leg.choke_first else (1.0, leg.end)
            for joint in (near, leg.beyond):
                if f"dc {joint}" in frame.index:
                    self.base[frame.dc(joint)] = sign * CHOKE_INPUT * self.base[group.emfs].max()

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

    @property
    def highest(self) -> float:
        """Peak volts of the highest emf, or volts of a bench supply; infinite if there is nothing of the kind."""
        return max([2.0**0.5 * float(self.base[k]) for k in self.emfs] + self.supplies, default=0.0) or np.inf

    def drawn(self, p: Array) -> Array:
        """Watts of the heaters and pilot lamps that are in (sample,)."""
        total = np.zeros(p.shape[1])
        for c in (group.prepare(p) for group in self.heaters if group.pieces):
            total += (c["volts"] * c["amps"]).sum(axis=0)
        return total

    def share(self, p: Array, load: Array | float) -> tuple[Array, Array]:
        """What is left of the nominal mains at the cores (sample,), where heaters draw ``load`` watts, and the lamp's ohms."""
        lamp = np.full(p.shape[1], CONTACT_OHMS)
        if self.lamp is not None:
            lit, watts = (p[row] for row in self.lamp_rows)
            lamp = CONTACT_OHMS + lit * 0.3 * self.nominal**2 / watts
        ohms = [
            np.sum([1.0 / siemens(p[r]) for r in (*ahead, *(r for ohms, _ in own for r in ohms))], axis=0)
            for ahead, own in self.ahead
        ]
        path = np.min(np.array(ohms), axis=0) if ohms else np.zeros(p.shape[1])
        # what heaters alone leave of the mains; nothing where the mains cannot reach any core
        share = np.where(path < MOST_OHMS, 1.0 / (1.0 + (path + lamp) * load / self.nominal**2), 0.0)
        return np.asarray(share * p[self.mains] / self.nominal), lamp

    def __call__(self, p: Array) -> Array:
        """First guess (unknown, sample) for parameters (parameter, sample)."""
        share, lamp = self.share(p, self.load)
        x = self.base[:, None] * share
        if self.lamp is not None:
            x[self.lamp] = lamp
        return x


MANY = 100
"""From this many samples on the slopes of the solved amplifier by every parameter with a spread are worth their work."""
ALIKE = 0.2
"""Up to this part more or less of the mains is lost ahead of the cores than in the solved amplifier: no lamp, nothing open."""
LIT_OHMS = 1.0
"""From here up the limiter lamp is in [ohm]."""
FARTHEST = 5.0
"""Standard deviations beyond which a parameter is not what a slope can tell of: a fault, a part pulled or turned."""


class WarmStart:
    """The first guess from a solved amplifier; the rectifiers' cycles begin where they stand there.

    x: the solution (unknown,) at the parameters p (parameter,). sigma: of every parameter, 0 for those without a spread.
    slopes: makes d x / d parameter (unknown, row) for some rows of the parameters.
    """

    def __init__(
        self, cold: ColdStart, equations: Equations, x: Array, p: Array, sigma: Array, slopes: Callable[[Array], Array]
    ) -> None:
        self.cold, self.x, self.p, self.sigma = cold, x, p, sigma
        self.rows = np.flatnonzero(sigma > 0.0)
        self.share = float(cold.share(p[:, None], cold.drawn(p[:, None]))[0][0] * cold.nominal / p[cold.mains])
        self._slopes = slopes
        at = equations.prepare(p[:, None])
        equations.fill(x[:, None], at)
        self.states = [c.get("state") for c in at.coefficients]

    @cached_property
    def slopes(self) -> Array:
        """d x / d parameter beyond the proportion to the mains (unknown, row)."""
        found = np.array(self._slopes(self.rows))
        found[:, self.rows == self.cold.mains] -= (self.x / self.p[self.cold.mains])[:, None]
        return found

    def __call__(self, p: Array, at: Prepared) -> Array:
        """First guess (unknown, sample) for parameters (parameter, sample); the rectifiers' state is put into ``at``."""
        share, lamp = self.cold.share(p, self.cold.drawn(p))
        mains = p[self.cold.mains] / self.p[self.cold.mains]
        left = np.divide(share, self.share * mains, out=np.ones_like(share), where=mains > 0.0)
        # ordinary drops are the slopes' own business; what a limiter lamp takes is none, however little
        alike = (np.abs(left - 1.0) < ALIKE) & (lamp < LIT_OHMS)
        share = mains * np.where(alike, 1.0, left)
        for c, state in zip(at.coefficients, self.states, strict=True):
            if state is not None:
                c["state"] = state * share
        x = self.x[:, None] * share
        if p.shape[1] >= MANY:
            moved = p[self.rows] - self.p[self.rows, None]
            moved[np.abs(moved) > FARTHEST * self.sigma[self.rows, None]] = 0.0
            x += self.slopes @ moved
        if self.cold.lamp is not None:
            x[self.cold.lamp] = lamp
        return np.asarray(x)
