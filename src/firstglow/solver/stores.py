"""What holds a charge or a current from one moment to the next: capacitors and chokes, as an implicit step sees them.

A step of time replaces d/dt by weights on the places of the step. A capacitor is then a conductance beside its leakage, a choke a
larger resistance, each with a source that remembers; from one place to another of the step they are conductances too.
"""

from dataclasses import dataclass

import numpy as np

from firstglow.solver.circuit import Circuit
from firstglow.solver.collocation import AMONG, COUNT, FROM_START
from firstglow.solver.frame import Array
from firstglow.solver.linear_parts import siemens


@dataclass(frozen=True, slots=True)
class Companion:
    """siemens, amps: (store, sample): current from a to b beyond the standing one is siemens * volts - amps."""

    siemens: Array
    amps: Array


@dataclass(frozen=True, slots=True)
class Joined:
    """The places of one step together. own: (store, place sample), each place's own siemens; siemens: (store, place, place,
    sample), what flows at one place for a volt at another; amps: (store, place, sample), as a companion's."""

    own: Array
    siemens: Array
    amps: Array


class Stores:
    """All capacitors, then all chokes that stand in no rectifier's own cycle.

    names: parts. a, b: unknowns of their ends (the ground is one past the last). capacitors: how many come first.
    """

    def __init__(self, circuit: Circuit) -> None:
        f, amplifier = circuit.frame, circuit.amplifier
        inside = {leg.choke for legs in f.cells.values() for leg in legs if leg.choke}
        filled = [(p, f.dc(f.lead(p, "+")), f.dc(f.lead(p, "-"))) for p in amplifier.of_kind("capacitor")]
        kept = [k for k in filled if k[1] != k[2]]
        self.capacitors = len(kept)
        chokes = [(p, f.dc(f.lead(p, "1")), f.dc(f.lead(p, "2"))) for p in amplifier.of_kind("choke")]
        kept += [k for k in chokes if k[0].name not in inside and k[1] != k[2]]
        self.names = tuple(part.name for part, _, _ in kept)
        self.a, self.b = (np.array([k[n] for k in kept], dtype=int) for n in (1, 2))
        self.farads = [f.rows.of(part, "farads") for part, _, _ in kept[: self.capacitors]]
        # the standing equations have no use for the henries of a choke away from a reservoir: then they are the file's own
        known = [circuit.column.get(f"{part.name} henries") for part, _, _ in kept[self.capacitors :]]
        self.henries = [-1 if row is None else row for row in known]
        self.drawn = np.array([[part.value("henries")] for part, _, _ in kept[self.capacitors :]]).reshape(-1, 1)
        self.ohms = [f.rows.of(part, "ohms") for part, _, _ in kept[self.capacitors :]]
        self._stamps(circuit)

    def _stamps(self, circuit: Circuit) -> None:
        size, slot = circuit.equations.size, circuit.equations.elimination.slot
        self.rows: list[tuple[int, int, float]] = []
        self.slots: list[tuple[int, int, float]] = []
        for k, (a, b) in enumerate(zip(self.a, self.b, strict=True)):
            ends = [(int(n), s) for n, s in ((a, 1.0), (b, -1.0)) if n != size]
            self.rows += [(n, k, s) for n, s in ends]
            self.slots += [(slot[n, m], k, s * t) for n, s in ends for m, t in ends]

    def volts(self, x: Array) -> Array:
        """Across every store, (store, ..., sample), of (unknown, ..., sample)."""
        wide = np.concatenate([x, np.zeros((1, *x.shape[1:]))])
        return np.asarray(wide[self.a] - wide[self.b])

    def held(self, x: Array, amps: Array) -> Array:
        """What is remembered: capacitors' volts [V], chokes' amps [A] (store, sample)."""
        return np.concatenate([self.volts(x)[: self.capacitors], amps])

    def companion(self, p: Array, weight: float, past: Array) -> Companion:
        """past: (store, sample), of what ``held`` gives, times 1/s."""
        n = self.capacitors
        farads, still = p[self.farads], siemens(p[self.ohms])
        henries = np.where(np.array(self.henries).reshape(-1, 1) < 0, self.drawn, p[self.henries])
        moving = 1.0 / (1.0 / still + henries * weight)
        return Companion(
            np.concatenate([farads * weight, moving - still]),
            np.concatenate([farads * past[:n], -henries * past[n:] * moving]),
        )

    def joined(self, p: Array, h: float, start: Array) -> Joined:
        """A step of h seconds that starts from ``start`` (store, sample), what ``held`` gave."""
        n, samples = self.capacitors, p.shape[1]
        farads, still = p[self.farads], siemens(p[self.ohms])
        henries = np.where(np.array(self.henries).reshape(-1, 1) < 0, self.drawn, p[self.henries])
        one = np.eye(COUNT)[:, :, None]
        among = AMONG[:, :, None] / h
        matrix = one / still[:, None, None] + henries[:, None, None] * among
        through = np.linalg.inv(matrix.transpose(0, 3, 1, 2)).transpose(0, 2, 3, 1)
        between = np.concatenate([farads[:, None, None] * among, through - one * still[:, None, None]])
        begun = FROM_START[:, None] / h * start[:, None]
        kept = np.einsum("kijn,kjn->kin", through, henries[:, None] * begun[n:])
        own = np.einsum("kiin->kin", between).reshape(len(between), COUNT * samples)
        return Joined(own, between, np.concatenate([-farads[:, None] * begun[:n], kept]))

    def flows(self, x: Array, made: Joined) -> Array:
        """Current from a to b of every store beyond the standing one, (store, place sample)."""
        volts = self.volts(x).reshape(made.amps.shape)
        amps = np.einsum("kijn,kjn->kin", made.siemens, volts) - made.amps
        return np.asarray(amps.reshape(made.own.shape))

    def choke_amps_joined(self, p: Array, x: Array, made: Joined) -> Array:
        """Current of each choke, (choke, place sample) [A]."""
        n = self.capacitors
        still = np.tile(siemens(p[self.ohms]), COUNT)
        return np.asarray(self.volts(x)[n:] * still + self.flows(x, made)[n:])

    def choke_amps(self, p: Array, x: Array, made: Companion) -> Array:
        """Current of each choke, (choke, sample) [A]."""
        n = self.capacitors
        volts = self.volts(x)[n:]
        return np.asarray(volts * (siemens(p[self.ohms]) + made.siemens[n:]) - made.amps[n:])

    def stamp(self, amps: Array, siemens: Array, residual: Array, slots: Array) -> None:
        """Add the stores' currents and own slopes, (store, sample), to a residual (unknown, sample) and a Jacobian (slot,
        sample)."""
        for row, k, sign in self.rows:
            residual[row] += sign * amps[k]
        for at, k, sign in self.slots:
            slots[at] += sign * siemens[k]

    def injected(self, size: int) -> Array:
        """What an amp through each store puts into every unknown's equation, (unknown, store)."""
        out = np.zeros((size, len(self.names)))
        for row, k, sign in self.rows:
            out[row, k] += sign
        return out
