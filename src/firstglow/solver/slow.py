"""Slow time: the amplifier over seconds, from switch-on to warm, off again, and on once more.

The standing equations with what they leave out: every capacitor's charge, the chokes' currents, wires and cathodes that
warm up. The rectifiers stay averaged over the mains cycle, so a step may be longer than a cycle; the first few cycles after
switch-on are smoothed. Steps are implicit and variable (second-order backward differences; E. Hairer and G. Wanner, "Solving
Ordinary Differential Equations II", Springer 1996, chapter III.5 and V; from memory); a step is as long as the difference
between what was foreseen and what came lets it be.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.circuit import Circuit
from firstglow.solver.equations import Prepared
from firstglow.solver.frame import Array
from firstglow.solver.standing import SolveError
from firstglow.solver.stores import Companion, Stores
from firstglow.solver.warming import Warming

FIRST = 1e-3
"""First step after anything is switched [s]."""
SHORTEST = 1e-7
LONGEST = 5.0
TOLERANCE = 1e-3
"""Error of one step that is let pass, of each quantity's own size."""
SMALL_VOLTS, SMALL_AMPS = 0.5, 1e-3
"""What counts as a small number of a capacitor's volts and a choke's amps."""
NEWTON = 10
SETTLED = 1e-5
INNER = 1e-5
GROW, SHRINK = 2.5, 0.3


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time in which nothing is switched. seconds: its length. values: (parameter, sample)."""

    seconds: float
    values: Array


@dataclass(frozen=True, slots=True)
class Course:
    """What came of it.

    seconds: (moment,). x: (moment, unknown, sample). temperatures: (moment, 2, envelope, sample), wires and cathodes over
    their working temperature. amps: (moment, choke, sample). steps, solutions: how many steps and Newton steps it took.
    values: (parameter, sample) of every stretch; stretch: (moment,), which of them a moment belongs to. end: to go on from.
    """

    seconds: Array
    x: Array
    temperatures: Array
    amps: Array
    steps: int
    solutions: int
    circuit: Circuit
    stores: Stores
    warming: Warming
    values: tuple[Array, ...]
    stretch: NDArray[np.int64]
    end: "Moment"

    def dc(self, joint: str) -> Array:
        """Dc volts of a joint to chassis, (moment, sample)."""
        row = self.circuit.index.get(f"dc {joint}")
        return np.zeros((len(self.seconds), self.x.shape[2])) if row is None else np.asarray(self.x[:, row])

    def across(self, capacitor: str) -> Array:
        """Volts across a capacitor, (moment, sample)."""
        k = self.stores.names.index(capacitor)
        wide = np.concatenate([self.x, np.zeros((len(self.x), 1, self.x.shape[2]))], axis=1)
        return np.asarray(wide[:, self.stores.a[k]] - wide[:, self.stores.b[k]])

    def cathode_amps(self, valve: str) -> Array:
        """Cathode current of a valve section, (moment, sample) [A]: its own law at every moment's volts and warmth."""
        out = np.zeros((len(self.seconds), self.x.shape[2]))
        for number, p in enumerate(self.values):
            chosen = np.flatnonzero(self.stretch == number)
            if chosen.size:
                wide = self.x[chosen].transpose(1, 0, 2).reshape(self.x.shape[1], -1)
                warm = self.temperatures[chosen].transpose(1, 2, 0, 3).reshape(*self.temperatures.shape[1:3], -1)
                amps = self.warming.cathode_amps(valve, wide, np.tile(p, chosen.size), warm)
                out[chosen] = amps.reshape(chosen.size, -1)
        return out

    def sample(self, number: int, copies: int = 1) -> "Moment":
        """Where one sample ended, as often as wanted side by side."""
        at = self.end
        return Moment(at.at, *(np.repeat(a[..., number : number + 1], copies, -1) for a in (at.x, at.held, at.heat)))


@dataclass(frozen=True, slots=True)
class Moment:
    """Where it stands. at [s]; x: (unknown, sample); held: (store, sample), capacitors' volts and chokes' amps; heat: (2,
    envelope, sample), temperatures of wires and cathodes over the working ones."""

    at: float
    x: Array
    held: Array
    heat: Array


class Slow:
    """One circuit in slow time."""

    def __init__(
        self, circuit: Circuit, warmup: Mapping[str, Array] | None = None, tolerance: float = TOLERANCE
    ) -> None:
        """warmup: seconds to warm up by envelope, (sample,), where they are not the type's own. tolerance: error of one step
        that is let pass; larger where only the moment is wanted at which something comes."""
        self.tolerance = tolerance
        self.circuit = circuit
        self.stores, self.warming = Stores(circuit), Warming(circuit, warmup or {})
        self.solutions = 0

    def rest(self, values: Array) -> Moment:
        """Unplugged for a night: everything empty and cold."""
        samples = values.shape[1]
        x = np.zeros((self.circuit.equations.size, samples))
        return Moment(0.0, x, np.zeros((len(self.stores.names), samples)), self.warming.cold(samples))

    def run(self, stretches: Sequence[Stretch], begin: Moment | None = None) -> Course:
        """Through every stretch in turn. SolveError where a step would not settle however short."""
        now = begin or self.rest(stretches[0].values)
        moments, steps = [now], 0
        self.solutions = 0
        of = [0]
        for number, stretch in enumerate(stretches):
            with np.errstate(all="ignore"):
                course = self._stretch(stretch, moments[-1])
            moments += course
            steps += len(course)
            of += [number] * len(course)
        n = self.stores.capacitors
        return Course(
            np.array([m.at for m in moments]), np.array([m.x for m in moments]), np.array([m.heat for m in moments]),
            np.array([m.held[n:] for m in moments]), steps, self.solutions, self.circuit, self.stores, self.warming,
            tuple(s.values for s in stretches), np.array(of), moments[-1],
        )  # fmt: skip

    def _stretch(self, stretch: Stretch, begin: Moment) -> list[Moment]:
        equations, p = self.circuit.equations, stretch.values
        at = equations.prepare(p)
        end, h = begin.at + stretch.seconds, min(FIRST, stretch.seconds)
        past: list[Moment] = [begin]  # newest last; no difference reaches back over a switch
        out: list[Moment] = []
        while past[-1].at < end - 1e-9:
            h = min(h, LONGEST, end - past[-1].at)
            if end - past[-1].at - h < 0.1 * h:
                h = end - past[-1].at
            found = self._step(at, p, past, h)
            if found is None:
                h *= SHRINK
                at = equations.prepare(p)
                if h < SHORTEST:
                    raise SolveError(f"would not go on {past[-1].at:.3f} s after switching; check the parts", "")
                continue
            moment, error = found
            if error > 1.0 and h > 10.0 * SHORTEST:
                h *= max(SHRINK, 0.9 * error ** (-1.0 / 3.0))
                continue
            past = [*past[-2:], moment]
            out.append(moment)
            h *= min(GROW, 0.9 * max(error, 1e-6) ** (-1.0 / 3.0))
        return out

    def _step(self, at: Prepared, p: Array, past: Sequence[Moment], h: float) -> tuple[Moment, float] | None:
        """One step of h seconds and its error over what is let pass; None where it would not settle."""
        last = past[-1]
        if len(past) == 1:
            weight, keep = 1.0 / h, [(1.0 / h, last)]
        else:
            r = h / (last.at - past[-2].at)
            weight = (1.0 + 2.0 * r) / (1.0 + r) / h
            keep = [((1.0 + r) / h, last), (-r * r / (1.0 + r) / h, past[-2])]
        held, kept = (np.asarray(sum(w * getattr(m, name) for w, m in keep)) for name in ("held", "heat"))
        foreseen = Moment(last.at + h, *(_ahead(past, h, name) for name in ("x", "held", "heat")))
        volts = self.warming.volts(foreseen.x, p)  # of the step before, where something was just switched
        heat = self.warming.step(kept, weight, volts, foreseen.heat)
        self.warming.lay(at, heat)
        made = self.stores.companion(p, weight, held)
        x = self._settle(at, made, foreseen.x)
        if x is None:
            return None
        moment = Moment(last.at + h, x, self.stores.held(x, self.stores.choke_amps(p, x, made)), heat)
        return moment, self._error(past, foreseen, moment, h)

    def _settle(self, at: Prepared, made: Companion, x: Array) -> Array | None:
        equations = self.circuit.equations
        x, unit = np.array(x), equations.unit[:, None]
        longest = 0.5 * equations.highest
        before = 1e-300  # of the first step nothing is foretold
        for _ in range(NEWTON):
            self.solutions += 1
            residual, slots = equations.evaluate(x, at)
            self.stores.stamp(x, made, residual, slots)
            dx = -residual
            equations.elimination.factored(slots).solve(dx)
            far = np.abs(dx[: equations.joints]).max(initial=0.0)
            if not np.isfinite(far):
                return None
            if far > longest:
                dx *= longest / far
            x += dx
            size = (np.abs(dx) / (unit + np.abs(x))).max()
            left = max((float(c["unsettled"].max()) for c in at.coefficients if "unsettled" in c), default=0.0)
            # what the next step would move, were it only as much smaller again (Hairer and Wanner, IV.8): it shrinks faster
            if min(size, size * size / before) < SETTLED and left < INNER:
                return x
            before = size
        return None

    def _error(self, past: Sequence[Moment], foreseen: Moment, now: Moment, h: float) -> float:
        """Largest error of the step over what is let pass."""
        if len(past) == 1:
            k = 0.5
        elif len(past) == 2:
            h1 = past[-1].at - past[-2].at
            k = 0.5 * h / (h + h1)
        else:
            h1, h2 = past[-1].at - past[-2].at, past[-2].at - past[-3].at
            e = h * (h + h1) / (2.0 * h + h1)
            k = e / (h + h1 + h2 + e)
        n = self.stores.capacitors
        small = np.concatenate([np.full((n, 1), SMALL_VOLTS), np.full((len(now.held) - n, 1), SMALL_AMPS)])
        held = np.abs(now.held - foreseen.held) / (small + np.abs(now.held))
        heat = np.abs(now.heat - foreseen.heat)
        return k * max(float(held.max(initial=0.0)), float(heat.max(initial=0.0))) / self.tolerance


def _ahead(past: Sequence[Moment], h: float, name: str) -> Array:
    """What the last moments lead to h seconds on: the parabola, the line, or where it stands."""
    t = [m.at - past[-1].at for m in past]
    values = [getattr(m, name) for m in past]
    out = np.zeros_like(values[-1])
    for k, value in enumerate(values):
        weight = 1.0
        for j, other in enumerate(t):
            if j != k:
                weight *= (h - other) / (t[k] - other)
        out = out + weight * value
    return np.asarray(out)
