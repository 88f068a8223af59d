"""A cold start by slow time beside scipy's solve_ivp on the same equations: ``python -m benchmarks.slow``.

The same equations: capacitors' volts, chokes' amps, wires and cathodes are the states; what the rest of the circuit does at
each moment is the standing solution with these held where they are (``Rates``). scipy gets it as dy/dt, with the whole batch of a
Jacobian's differences in one call. One run prints the seconds of each, their ratio, and how far each curve lies from the other.
"""

import argparse
import time
from pathlib import Path
from typing import Any

import numpy as np

from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.frame import Array
from firstglow.solver.linear_parts import siemens
from firstglow.solver.slow import SMALL_AMPS, SMALL_VOLTS, Course, Slow, Stretch
from firstglow.solver.stores import Companion, Stores
from firstglow.solver.warming import Warming

ROOT = Path(__file__).parent.parent
HOLD_SIEMENS = 1e3
"""What holds a capacitor's joints where its charge has them: an amp moves them by a millivolt."""
MOST_STEPS = 60
SETTLED = 1e-8
HASTY = 10
"""Newton steps taken whole before they are halved."""
NUDGE = 1e-5
"""Of each state's own size, or of its small number: how far the slopes look."""


class Rates:
    """dy/dt of one circuit at fixed parameters. y: (state,) or (state, sample): stores, then wires, then cathodes.

    evaluations: columns asked for so far; calls: in how many calls.
    """

    def __init__(self, circuit: Circuit, p: Array) -> None:
        self.circuit, self.p = circuit, p[:, None]
        self.stores, self.warming = Stores(circuit), Warming(circuit, {})
        self.x = np.zeros((circuit.equations.size, 1))
        self.evaluations = self.calls = 0
        self.prepared: dict[int, Any] = {}

    def rest(self) -> Array:
        """Empty and cold."""
        return np.concatenate([np.zeros(len(self.stores.names)), self.warming.cold(1).ravel()])

    def __call__(self, t: float, y: Array) -> Array:
        flat = y.ndim == 1
        y = y[:, None] if flat else y
        samples, stores, n = y.shape[1], len(self.stores.names), self.stores.capacitors
        self.evaluations, self.calls = self.evaluations + samples, self.calls + 1
        p = np.repeat(self.p, samples, axis=1)
        heat = np.maximum(
            y[stores:].reshape(2, -1, samples), self.warming.cold(1)
        )  # a trial may be colder than the room
        still = siemens(p[self.stores.ohms])
        made = Companion(
            np.concatenate([np.full((n, samples), HOLD_SIEMENS), -still]),
            np.concatenate([HOLD_SIEMENS * y[:n], -y[n:stores]]),
        )
        x = self._settle(t, p, made, heat)
        flowing = made.siemens * self.stores.volts(x) - made.amps
        henries = np.where(np.array(self.stores.henries).reshape(-1, 1) < 0, self.stores.drawn, p[self.stores.henries])
        out = np.concatenate(
            [
                flowing[:n] / p[self.stores.farads],
                (self.stores.volts(x)[n:] - y[n:stores] / still) / henries,
                self.warming.rate(heat, x, p).reshape(-1, samples),
            ]
        )
        return out[:, 0] if flat else out

    def slopes(self, t: float, y: Array) -> Array:
        """d rate / d state (state, state), all differences in one call: sparing scipy a call a state."""
        by = NUDGE * np.maximum(np.abs(y), 0.1)
        found = self(t, np.concatenate([y[:, None], y[:, None] + np.diag(by)], axis=1))
        return np.asarray((found[:, 1:] - found[:, :1]) / by)

    def _settle(self, t: float, p: Array, made: Companion, heat: Array) -> Array:
        """The standing solution around the stores; begins where the last call ended."""
        equations, samples = self.circuit.equations, p.shape[1]
        if samples not in self.prepared:
            self.prepared[samples] = equations.prepare(p)
        at = self.prepared[samples]
        self.warming.lay(at, heat)
        x = np.repeat(self.x[:, :1], samples, axis=1)
        unit, longest = equations.unit[:, None], 0.5 * equations.highest
        with np.errstate(all="ignore"):
            for tries in range(MOST_STEPS):
                residual, slots = equations.evaluate(x, at)
                self.stores.stamp(made.siemens * self.stores.volts(x) - made.amps, made.siemens, residual, slots)
                dx = -residual
                equations.elimination.factored(slots).solve(dx)
                far = np.abs(dx[: equations.joints]).max(initial=0.0)
                if far > longest:
                    dx *= longest / far
                x += dx if tries < HASTY else 0.5 * dx
                left = max((float(c["unsettled"].max()) for c in at.coefficients if "unsettled" in c), default=0.0)
                if (np.abs(dx) / (unit + np.abs(x))).max() < SETTLED and left < SETTLED:
                    break
            else:
                worst = int(np.argmax(np.abs(dx).max(axis=1)))
                raise RuntimeError(f"{self.circuit.unknowns[worst]} at {t} would not settle", dx[worst], x[worst], left)
        if samples == 1:
            self.x = x
        return x


def states_of(course: Course) -> Array:
    """(state, moment) of a course of one sample, as ``Rates`` orders them."""
    stores = course.stores
    volts = np.array([course.across(name)[:, 0] for name in stores.names[: stores.capacitors]])
    heat = course.temperatures[..., 0].reshape(len(course.seconds), -1).T
    return np.concatenate([volts, course.amps[..., 0].T, heat])


def apart(ours: Array, theirs: Array) -> Array:
    """Largest difference of each state over the curve's highest (state,), a thousandth of a volt at least."""
    return np.asarray(np.abs(ours - theirs).max(axis=1) / np.maximum(np.abs(theirs).max(axis=1), 1e-3))


def compared(
    circuit: Circuit, p: Array, seconds: float, method: str, rtol: float, helped: bool = True
) -> dict[str, Any]:
    """Both in one run: wall seconds, processor seconds, evaluations, and how far apart (see ``apart``), with the state's name.

    rtol: scipy's, of each state's size and of the small number that ours counts by. helped: whether scipy gets ``Rates.slopes``
    or, as it comes, takes its own differences one call a state.
    """
    from scipy.integrate import solve_ivp

    at, cpu = time.perf_counter(), time.process_time()
    course = Slow(circuit).run([Stretch(seconds, p[:, None])])
    ours = time.perf_counter() - at, time.process_time() - cpu
    rates = Rates(circuit, p)
    n = rates.stores.capacitors
    small = np.concatenate([np.full(n, SMALL_VOLTS), np.full(len(rates.stores.names) - n, SMALL_AMPS)])
    atol = rtol * np.concatenate([small, np.ones(len(rates.rest()) - len(small))])
    extra = {"jac": rates.slopes} if helped else {}
    at, cpu = time.perf_counter(), time.process_time()
    found = solve_ivp(
        rates, (0.0, seconds), rates.rest(), method=method, rtol=rtol, atol=atol, dense_output=True, **extra
    )
    theirs = time.perf_counter() - at, time.process_time() - cpu
    if not found.success:
        raise RuntimeError(found.message)
    far = apart(states_of(course), found.sol(course.seconds))
    return {
        "ours": ours, "theirs": theirs, "steps": course.steps, "solutions": course.solutions, "their steps": len(found.t) - 1,
        "evaluations": rates.evaluations, "calls": rates.calls, "apart": far, "course": course, "found": found,
        "names": names_of(course),
    }  # fmt: skip


def names_of(course: Course) -> list[str]:
    """Of every state."""
    bodies = [*course.warming.envelopes, "limiter lamp"][: course.warming.size]
    heat = [f"{what} of {e}" for what in ("wire", "cathode") for e in bodies]
    return [*course.stores.names, *heat]


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--file", type=Path, default=ROOT / "examples" / "a-linden-twin.toml")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--method", default="Radau")
    parser.add_argument("--rtol", type=float, default=1e-4, help="1e-3 leaves scipy itself 0.7 to 2.3 %% off")
    parser.add_argument("--as-it-comes", action="store_true", help="scipy takes its own differences")
    asked = parser.parse_args()
    a = load(asked.file)
    circuit = compile_circuit(a)
    p = circuit.vector(Situation(a.mains_volts * (1.0 + a.mains_spread)))
    Slow(circuit).run([Stretch(0.05, p[:, None])])  # tables read, memory there
    found = compared(circuit, p, asked.seconds, asked.method, asked.rtol, not asked.as_it_comes)
    ours, theirs = found["ours"], found["theirs"]
    print(
        f"{a.name}, {asked.seconds:g} s of cold start on {p[circuit.column['mains volts']]:.0f} V, {len(found['names'])} states"
    )
    print(
        f"slow time: {ours[0]:.2f} s ({ours[1]:.2f} s of processor), {found['steps']} steps, {found['solutions']} solutions"
    )
    way = "as it comes" if asked.as_it_comes else "given all slopes in one call"
    print(
        f"scipy {asked.method}, {way}, rtol {asked.rtol:g}: {theirs[0]:.2f} s ({theirs[1]:.2f} s of processor), "
        f"{found['their steps']} steps, {found['evaluations']} columns in {found['calls']} calls"
    )
    print(f"ratio: {theirs[0] / ours[0]:.0f} by the clock, {theirs[1] / ours[1]:.0f} by the processor")
    far = found["apart"]
    for k in np.argsort(-far)[:6]:
        print(f"  {found['names'][k]}: {100 * far[k]:.3f} % of its highest apart at worst")


if __name__ == "__main__":
    main()
