"""Heaters and pilot lamps on their windings or on dc, and the heater volts that the cathodes' emission follows.

Lamps on the mains: ``mains_lamps``.
"""

from dataclasses import dataclass

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.devices.emission import heater_current
from firstglow.solver.frame import Array, Coefficients, Frame, smooth_size
from firstglow.solver.mains_lamps import on_mains
from firstglow.solver.nodes import GROUNDED, series_edges, spread
from firstglow.solver.stamps import merge

EDGE = 1e-4
"""Heater volts over rated are rounded over this width at 0 V [1]."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A whole heater, or one half of one with a centre tap: unknowns a and b, and what part of the rated volts it takes."""

    row: int
    a: int
    b: int
    share: float
    envelope: str


class Heaters:
    """All heaters, and the pilot lamps that are not on the mains. A term and a slope each piece; ``ratios`` serves the valves.

    A heater on a winding draws rms amps from it; its dc path is its hot resistance. One on a rectified supply draws dc.
    """

    constant = False

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self.pieces: list[Piece] = []
        volts: list[int] = []
        amps: list[int] = []
        factors: list[tuple[int, int]] = []
        for part in frame.amplifier.of_kind("heater", "lamp"):
            if part.kind == "lamp" and on_mains(frame, part):
                continue
            inside = frame.rows.fixed("always", 1.0) if part.envelope is None else frame.envelope_row(part.envelope)
            fitted = frame.rows.fixed(f"{part.name} fitted", 1.0, part.name, "fitted")
            v, a = frame.rows.of(part, "volts"), frame.rows.of(part, "amps")
            for ends, share in halves(part):
                node = _source(frame, part)
                i, j = (node(frame.lead(part, lead)) for lead in ends)
                self.pieces.append(Piece(len(volts), i, j, share, part.envelope or ""))
                volts.append(v)
                amps.append(a)
                factors.append((inside, fitted))
        self.volts, self.amps = volts, amps
        self.inside, self.fitted = ([f[k] for f in factors] for k in (0, 1))
        self.share = np.array([[p.share] for p in self.pieces])
        self.a = np.array([p.a for p in self.pieces], dtype=int)
        self.b = np.array([p.b for p in self.pieces], dtype=int)
        self.terms = self.slopes = len(self.pieces)
        for piece in self.pieces:
            rows = merge((piece.a, 1.0), (piece.b, -1.0))
            frame.plan.slope(frame.plan.term(rows), rows)

    def prepare(self, p: Array) -> Coefficients:
        if not self.pieces:
            return {}
        return {"volts": p[self.volts] * self.share, "amps": p[self.amps] * p[self.inside] * p[self.fitted]}

    def warm(self, p: Array) -> list[tuple[Piece, float]]:
        """Each piece with its conductance at rated volts [S], for one sample."""
        c = self.prepare(p)
        return [(piece, float(c["amps"][k, 0] / c["volts"][k, 0])) for k, piece in enumerate(self.pieces)]

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        if not self.pieces:
            return
        terms[:], slopes[:] = heater_current(x[self.a] - x[self.b], c["volts"], c["amps"])
        if "wires" in c:  # slow time: as many ohms as the wire is warm, not as its volts would have it in the end
            warm = c["wires"] * c["amps"] / c["volts"]
            slow = np.isfinite(warm)
            terms[:] = np.where(slow, warm * (x[self.a] - x[self.b]), terms)
            slopes[:] = np.where(slow, warm, slopes)


def as_wired(part: Part) -> tuple[float, float]:
    """Rated volts and amps of a heater as its leads go: halves side by side take half its volts and twice its amps [V, A]."""
    volts, amps = part.value("volts"), part.value("amps")
    if "ct" in part.leads and part.leads["1"] == part.leads["2"]:
        return volts / 2.0, 2.0 * amps
    return volts, amps


def halves(part: Part) -> tuple[tuple[tuple[str, str], float], ...]:
    """The pieces of a heater as (leads, share of the rated volts)."""
    if "ct" in part.leads:
        return (("1", "ct"), 0.5), (("ct", "2"), 0.5)
    return ((("1", "2"), 1.0),)


def _source(frame: Frame, part: Part):  # type: ignore[no-untyped-def]
    """Which volts heat this part: a winding's, or (a rectified heater line) dc."""
    alternating = all(frame.carries_ac(frame.lead(part, lead)) for lead in part.leads)
    return frame.ac if alternating else frame.dc


def heaters_on(frame: Frame, transformer: str) -> list[tuple[int, int, int, int]]:
    """Rows (volts, amps, in, fitted) of the heaters and pilot lamps that a transformer's windings heat."""
    part = frame.amplifier.parts[transformer]
    leads = [frame.lead(part, lead) for w in part.windings if w.role != "primary" for lead in (w.start, w.end)]
    reached = set(spread(leads, series_edges(frame.amplifier, frame.nodes.at), GROUNDED)) - GROUNDED
    out = []
    for heater in frame.amplifier.of_kind("heater", "lamp"):
        if {frame.lead(heater, lead) for lead in heater.leads} & reached:
            inside = frame.rows.fixed("always", 1.0) if heater.envelope is None else frame.envelope_row(heater.envelope)
            fitted = frame.rows.fixed(f"{heater.name} fitted", 1.0, heater.name, "fitted")
            out.append((frame.rows.of(heater, "volts"), frame.rows.of(heater, "amps"), inside, fitted))
    return out


class HeaterRatio:
    """Heater volts over rated, for a list of envelopes; 1 where the file draws no heater (a fragment).

    Each envelope has at most two pieces; absent ones point at the ground with a share that gives 0.
    """

    def __init__(self, frame: Frame, envelopes: list[str | None]) -> None:
        self.frame = frame
        ground = frame.ground
        self.a = np.full((2, len(envelopes)), ground)
        self.b = np.full((2, len(envelopes)), ground)
        self.volts = np.zeros(len(envelopes), dtype=int)
        self.base = np.zeros((len(envelopes), 1))
        always = frame.rows.fixed("always", 1.0)
        for k, envelope in enumerate(envelopes):
            heater = frame.amplifier.parts.get(f"{envelope} heater")
            if heater is None:
                self.volts[k], self.base[k] = always, 1.0
                continue
            self.volts[k] = frame.rows.of(heater, "volts")
            node = _source(frame, heater)
            for n, (ends, _) in enumerate(halves(heater)):
                self.a[n, k], self.b[n, k] = (node(frame.lead(heater, lead)) for lead in ends)

    def columns(self, k: int) -> list[dict[int, float]]:
        """The two differences of unknowns that envelope k's ratio depends on."""
        return [merge((int(self.a[n, k]), 1.0), (int(self.b[n, k]), -1.0)) for n in range(2)]

    def ratios(self, x: Array, c: Coefficients) -> tuple[Array, Array]:
        """(envelope, sample) ratio, and its slopes by the two differences (2, envelope, sample).

        c: with ``heater``, the rated volts; where ``cathodes`` stands there too, they are as warm as those ratios say,
        whatever the heaters' volts are at the moment (slow time).
        """
        if "cathodes" in c:
            return c["cathodes"], np.zeros((2, *c["cathodes"].shape))
        volts = c["heater"]
        v = (x[self.a] - x[self.b]) / volts
        size, d = smooth_size(v, EDGE)
        return self.base + size[0] + size[1], d / volts
