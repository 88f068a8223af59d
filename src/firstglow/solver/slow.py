"""Slow time: the amplifier over seconds, from switch-on to warm, off again, and on once more.

The standing equations with what they leave out: every capacitor's charge, the chokes' currents, wires and cathodes that
warm up. The rectifiers stay averaged over the mains cycle, so a step may be longer than a cycle; the first few cycles after
switch-on are smoothed. Steps are implicit and as long as their estimated error lets them be (``collocation``). The places of a
step are solved together, side by side as a batch is: what joins them are the stores alone.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.circuit import Circuit
from firstglow.solver.collocation import AMONG, COUNT, ESTIMATE, FILTER, FROM_START, HALFWAY, NODES, ahead, through
from firstglow.solver.compiled.elimination import serves
from firstglow.solver.elimination import DENSE_GAIN
from firstglow.solver.equations import Prepared
from firstglow.solver.frame import Array
from firstglow.solver.standing import SolveError
from firstglow.solver.stores import Joined, Stores
from firstglow.solver.warming import Warming

FIRST = 1e-5
"""First step after anything is switched [s]; nothing is asked of its error."""
SHORTEST = 1e-7
LONGEST = 5.0
TOLERANCE = 1e-3
"""Error of one step that is let pass, of each quantity's own size."""
SMALL_VOLTS, SMALL_AMPS = 0.5, 1e-3
"""What counts as a small number of a capacitor's volts and a choke's amps."""
NEWTON, FIRST_NEWTON = 6, 20
"""Newton steps in a step of time, and where nothing is foreseen; what takes more takes a shorter one."""
SETTLED = 1e-5
INNER = 1e-5
GROW, SHRINK = 5.0, 0.2
LEAST_ERROR = 1e-2
FORGET = 0.5
"""How fast the bend of the equations is taken for less than it once was."""
STRAIGHT = 0.25
"""Part of the tolerance within which straight lines between two moments stay."""
LEAST_MOMENTS, MOST_MOMENTS = 2, 24
"""How many moments of a step are kept."""
SURE = 0.9
"""Part of the step that the estimate would let be."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time in which nothing is switched. seconds: its length. values: (parameter, sample)."""

    seconds: float
    values: Array


@dataclass(frozen=True, slots=True)
class Course:
    """What came of it.

    seconds: (moment,), several a step. x: (moment, unknown, sample). temperatures: (moment, 2, envelope, sample), wires and
    cathodes over their working temperature, the limiter lamp's filament last (``warming``). amps: (moment, choke, sample).
    steps, solutions: how many steps and Newton steps it took. values: (parameter, sample) of every stretch; stretch: (moment,),
    which of them a moment belongs to. end: to go on from.
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

    def cathode_amps(self, valve: str, warm: bool = False) -> Array:
        """Cathode current of a valve section, (moment, sample) [A]: its own law at every moment's volts and warmth. warm: were its
        cathode at its working temperature all the time."""
        out = np.zeros((len(self.seconds), self.x.shape[2]))
        for number, p in enumerate(self.values):
            chosen = np.flatnonzero(self.stretch == number)
            if chosen.size:
                wide = self.x[chosen].transpose(1, 0, 2).reshape(self.x.shape[1], -1)
                heat = self.temperatures[chosen].transpose(1, 2, 0, 3).reshape(*self.temperatures.shape[1:3], -1)
                heat = np.ones_like(heat) if warm else heat
                amps = self.warming.cathode_amps(valve, wide, np.tile(p, chosen.size), heat)
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


@dataclass(frozen=True, slots=True)
class Step:
    """One step that settled: h [s], and at its start and its three places x (unknown, place, sample), held (store, place,
    sample), heat (2, envelope, place, sample); slopes: of the rates of heat by themselves at its end; slots: the Jacobian there
    without the stores."""

    h: float
    x: Array
    held: Array
    heat: Array
    slopes: Array
    slots: Array

    def rates(self, name: str) -> Array:
        """d/dt at the step's end of ``held`` or ``heat``."""
        weights = np.concatenate([FROM_START[-1:], AMONG[-1]]) / self.h
        return np.asarray(np.einsum("j,...jn->...n", weights, getattr(self, name)))

    def moments(self, at: float, small: Array, near: float) -> list[Moment]:
        """Its course, the step having begun ``at``: so many moments along the cubic that straight lines between them stay within
        ``near`` of each store's size and its ``small`` number; the last is the step's end."""
        middle = np.einsum("j,kjn->kn", HALFWAY, self.held)
        bent = np.abs(middle - 0.5 * (self.held[:, 0] + self.held[:, -1])) / (small + np.abs(self.held).max(axis=1))
        count = int(np.clip(np.ceil(np.sqrt(float(bent.max(initial=0.0)) / near)), LEAST_MOMENTS, MOST_MOMENTS))
        shares = np.arange(1, count + 1) / count
        weights = through(NODES, shares)
        of = [np.moveaxis(np.einsum("ij,...jn->...in", weights, a), -2, 0) for a in (self.x, self.held, self.heat)]
        return [Moment(at + self.h * share, *(a[k] for a in of)) for k, share in enumerate(shares)]


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
        chokes = len(self.stores.names) - self.stores.capacitors
        self.small = np.array([SMALL_VOLTS] * self.stores.capacitors + [SMALL_AMPS] * chokes).reshape(-1, 1)
        program = circuit.equations.elimination
        self.places = np.array(list(program.slot)[: program.entries]).T
        self.injected = self.stores.injected(circuit.equations.size)
        self.steps = self.solutions = 0
        self.bend: float | None = None

    def rest(self, values: Array) -> Moment:
        """Unplugged for a night: everything empty and cold."""
        samples = values.shape[1]
        x = np.zeros((self.circuit.equations.size, samples))
        return Moment(0.0, x, np.zeros((len(self.stores.names), samples)), self.warming.cold(samples))

    def run(self, stretches: Sequence[Stretch], begin: Moment | None = None) -> Course:
        """Through every stretch in turn. SolveError where a step would not settle however short."""
        now = begin or self.rest(stretches[0].values)
        moments = [now]
        self.steps, self.solutions, self.bend = 0, 0, None
        of = [0]
        for number, stretch in enumerate(stretches):
            with np.errstate(all="ignore"):
                course = self._stretch(stretch, moments[-1])
            moments += course
            of += [number] * len(course)
        n = self.stores.capacitors
        return Course(
            np.array([m.at for m in moments]), np.array([m.x for m in moments]), np.array([m.heat for m in moments]),
            np.array([m.held[n:] for m in moments]), self.steps, self.solutions, self.circuit, self.stores, self.warming,
            tuple(s.values for s in stretches), np.array(of), moments[-1],
        )  # fmt: skip

    def _stretch(self, stretch: Stretch, begin: Moment) -> list[Moment]:
        p = stretch.values
        every = np.tile(p, COUNT)
        at = self.circuit.equations.prepare(every)
        now, end, h = begin, begin.at + stretch.seconds, min(FIRST, stretch.seconds)
        past: Step | None = None  # nothing is foreseen over a switch
        was = (h, 1.0)  # the last step that was let pass, and its error
        out: list[Moment] = []
        while now.at < end - 1e-9:
            h = min(h, LONGEST, end - now.at)
            if end - now.at - h < 0.1 * h:
                h = end - now.at
            step = self._step(at, p, now, past, h)
            if step is None:
                at, h = self.circuit.equations.prepare(every), h * SHRINK
                if h < SHORTEST:
                    raise SolveError(f"would not go on {now.at:.3f} s after switching; check the parts", "")
                continue
            error = self._error(p, past, step)
            if error > 1.0 and h > 10.0 * SHORTEST:
                h *= max(SHRINK, SURE * error**-0.25)
                continue
            # just switched, what stood before is no part of the curve: its end alone is kept
            out += step.moments(now.at, self.small, STRAIGHT * self.tolerance)[-1 if past is None else 0 :]
            self.steps += 1
            now, past = out[-1], step
            grow = _growth(h, error, was)
            if error > 0.0:
                was = h, max(error, LEAST_ERROR)
            h *= grow
        return out

    def _step(self, at: Prepared, p: Array, now: Moment, past: Step | None, h: float) -> Step | None:
        """One step of h seconds; None where it would not settle."""
        samples = p.shape[1]
        if past is None:
            x, heat = (np.tile(a, COUNT) for a in (now.x, now.heat))
        else:
            x, heat = (ahead(a, past.h, h).reshape(*a.shape[:-2], COUNT * samples) for a in (past.x, past.heat))
        made = self.stores.joined(p, h, now.held)
        found = self._settle(at, np.tile(p, COUNT), made, now.heat, h, x, heat, NEWTON if past else FIRST_NEWTON)
        if found is None:
            return None
        x, heat, slopes, slots = found
        held = self.stores.held(x, self.stores.choke_amps_joined(p, x, made))
        x, held, heat = (
            np.concatenate([start[..., None, :], places.reshape(*start.shape[:-1], COUNT, samples)], axis=-2)
            for start, places in ((now.x, x), (now.held, held), (now.heat, heat))
        )
        return Step(h, x, held, heat, slopes[..., -samples:], slots[:, -samples:])

    def _settle(
        self, at: Prepared, p: Array, made: Joined, warm: Array, h: float, x: Array, heat: Array, most: int
    ) -> tuple[Array, Array, Array, Array] | None:
        """x (unknown, place sample), heat and the slopes of its rates (2, envelope, place sample), and the Jacobian without the
        stores, of a step that began at ``warm``; None where it would not settle."""
        equations = self.circuit.equations
        x, unit = np.array(x), equations.unit[:, None]
        longest = 0.5 * equations.highest
        before = np.inf
        for _ in range(most):
            self.solutions += 1
            heat, slopes, by_load = self.warming.collocate(warm, h, x, p, heat)
            self.warming.lay(at, heat, by_load)
            residual, slots = equations.evaluate(x, at)
            alone = np.array(slots)
            self.stores.stamp(self.stores.flows(x, made), made.own, residual, slots)
            dx = self._together(slots, residual, made)
            far = np.abs(dx[: equations.joints]).max(initial=0.0)
            if not np.isfinite(far):
                return None
            if far > longest:
                dx *= longest / far
            x += dx
            # a step that had to be cut foretells nothing
            size = np.inf if far > longest else float((np.abs(dx) / (unit + np.abs(x))).max())
            left = max((float(c["unsettled"].max()) for c in at.coefficients if "unsettled" in c), default=0.0)
            # what the next step would move (Hairer and Wanner, IV.8): it shrinks by the square, by as much as it last did
            if np.isfinite(before):
                self.bend = max(size / (before * before + 1e-300), FORGET * (self.bend or 0.0))
            foretold = size if self.bend is None else self.bend * size * size
            if min(size, foretold) < SETTLED and left < INNER:
                return x, heat, slopes, alone
            before = size
        return None

    def _together(self, slots: Array, residual: Array, made: Joined) -> Array:
        """Newton's step of all places: each by itself, and then what the stores carry from one to another (Woodbury)."""
        size, wide = residual.shape
        count = len(self.stores.names)
        sides = np.empty((size, count + 1, wide))
        sides[:, 0], sides[:, 1:] = -residual, self.injected[:, :, None]
        self._solve(slots, sides)
        alone, moved = sides[:, 0], sides[:, 1:]
        if not count:
            return alone
        other = made.siemens * (1.0 - np.eye(COUNT))[:, :, None]  # (store, place, place, sample)
        across = self.stores.volts(moved).reshape(count, count, COUNT, -1)
        matrix = np.einsum("klin,lijn->nikjl", across, other).reshape(-1, COUNT * count, COUNT * count)
        matrix += np.eye(COUNT * count)
        volts = self.stores.volts(alone).reshape(count, COUNT, -1)
        right = volts.transpose(2, 1, 0).reshape(-1, COUNT * count, 1)
        volts = np.linalg.solve(matrix, right).reshape(-1, COUNT, count).transpose(2, 1, 0)
        amps = np.einsum("kijn,kjn->kin", other, volts).reshape(count, wide)
        return np.asarray(alone - np.einsum("xkn,kn->xn", moved, amps))

    def _solve(self, slots: Array, sides: Array) -> None:
        """Replace ``sides`` (unknown, side, sample) by the solutions; as ``Elimination.factored`` with few samples, the places
        of its slots known beforehand."""
        program = self.circuit.equations.elimination
        n = slots.shape[1]
        if not serves(slots) and n * program.size**3 / 3.0 < DENSE_GAIN * program.multiply_adds:
            matrix = np.zeros((n, program.size, program.size))
            matrix[:, self.places[0], self.places[1]] = slots[: program.entries].T
            try:
                sides[:] = np.linalg.solve(matrix, sides.transpose(2, 0, 1)).transpose(1, 2, 0)
            except np.linalg.LinAlgError:
                pass
            else:
                return
        program.factored(slots).solve(sides)

    def _error(self, p: Array, past: Step | None, step: Step) -> float:
        """Largest error of the step over what is let pass."""
        if past is None:
            return 0.0
        weight = FILTER / step.h
        moved = [
            past.rates(name) + np.einsum("j,...jn->...n", ESTIMATE, of[..., 1:, :] - of[..., :1, :]) / step.h
            for name, of in (("held", step.held), ("heat", step.heat))
        ]
        # through the circuit as it stands: what dies out at once is no error
        made = self.stores.companion(p, weight, moved[0])
        x, slots = np.zeros((step.x.shape[0], p.shape[1])), np.array(step.slots)
        self.stores.stamp(-made.amps, made.siemens, x, slots)
        x = -x
        self._solve(slots, x[:, None])
        held = np.abs(self.stores.held(x, self.stores.choke_amps(p, x, made)))
        heat = np.abs(moved[1] / (weight - step.slopes))
        over = held / (self.small + np.abs(step.held[:, -1]))
        return max(float(over.max(initial=0.0)), float(heat.max(initial=0.0))) / self.tolerance


def _growth(h: float, error: float, was: tuple[float, float]) -> float:
    """How many times longer the next step may be; was: the last step's seconds and error (K. Gustafsson's control: Hairer and
    Wanner, IV.8)."""
    grow = SURE * max(error, 1e-9) ** -0.25
    if error > 0.0:
        grow *= min(1.0, h / was[0] * (was[1] / error) ** 0.25)
    return float(max(SHRINK, min(GROW, grow)))
