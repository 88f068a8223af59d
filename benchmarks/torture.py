"""Random states of the examples: ``python -m benchmarks.torture [COUNT] [EXAMPLE ...]`` (20,000 each unless told).

Mains 0 to 130 %, valves and links out, up to three parts open, shorted, x 0.1 or x 10. Printed: how many would not settle
or are not borne out by their own currents, and the worst Kirchhoff residual of the rest. Each state that is left is tried
again by two others: a mains ramp of 100 steps, and ``scipy.optimize.root(method="lm")`` on the same equations from the cold
start, from the nominal answer and from where Newton stopped. An answer of theirs counts when the proof bears it out.
"""

import sys
import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import root

from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.newton import damped
from firstglow.solver.standing import Standing

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests" / "solver"))
COUNT, CHUNK, SEED = 20_000, 2_000, 7
RAMP = 100
Array = NDArray[np.float64]


def main() -> None:
    """Run it."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    for file in sorted((ROOT / "examples").glob("*.toml")):
        if not sys.argv[2:] or file.stem in sys.argv[2:]:
            torture(file, count)


def torture(file: Path, count: int) -> None:
    """One example."""
    from torture import columns, random_state

    amplifier = load(file)
    circuit = compile_circuit(amplifier)
    nominal = circuit.solve(circuit.vector(Situation(amplifier.mains_volts)), strict=False).x
    rng = np.random.default_rng(SEED)
    lost, worst, took, told = 0, 0.0, 0.0, []
    for first in range(0, count, CHUNK):
        states = [random_state(amplifier, rng) for _ in range(min(CHUNK, count - first))]
        laid = columns(circuit, states)
        start = time.perf_counter()
        standing = circuit.solve(laid, strict=False)
        took += time.perf_counter() - start
        worst = max(worst, float(np.max(np.asarray(standing.residual_amps)[standing.settled])))
        for k in np.flatnonzero(~standing.settled):
            lost += 1
            told.append(f"  state {first + k}: {states[k]}")
            told.append(f"    stands at {standing.residual_amps[k]:.1e} A ({standing.proof.worst[k]})")
            told += again(circuit, laid[:, k : k + 1], standing.x[:, k : k + 1], nominal)
    print(f"{file.stem}: {lost} of {count} without a proved answer; worst residual {worst:.1e} A; {took:.0f} s")
    print("\n".join(told), flush=True)


def again(circuit: Circuit, p: Array, stopped: Array, nominal: Array) -> list[str]:
    """What a long ramp and Levenberg-Marquardt make of a state (parameter, 1) that was not solved."""
    out = [f"    ramp of {RAMP}: {verdict(circuit, p, ramp(circuit, p))}"]
    starts = {"cold": circuit.start(p), "nominal": nominal, "where it stopped": stopped}
    out += [f"    lm from {name}: {verdict(circuit, p, lm(circuit, p, x))}" for name, x in starts.items()]
    return out


def verdict(circuit: Circuit, p: Array, x: Array) -> str:
    """What the proof says of an answer (unknown, 1)."""
    proof = Standing(x, p, np.ones(1, dtype=bool), np.zeros(1, dtype=np.int64), circuit).proof
    return f"{'SOLVED' if proof.holds[0] else 'not solved'}, {proof.residual_amps[0]:.1e} A ({proof.worst[0]})"


def ramp(circuit: Circuit, p: Array) -> Array:
    """From a hundredth of the mains up, each step damped Newton from the last one's answer."""
    q, mains = np.array(p), circuit.column["mains volts"]
    q[mains] = p[mains] / RAMP
    x = circuit.start(q)
    with np.errstate(all="ignore"):
        for k in range(1, RAMP + 1):
            q[mains] = p[mains] * k / RAMP
            found = damped(circuit.equations, q, lambda _, x=x: x).x
            x = np.where(np.isfinite(found), found, x)
    return x


def lm(circuit: Circuit, p: Array, start: Array) -> Array:
    """scipy's Levenberg-Marquardt with the Jacobian, both columns and rows in their own units."""
    equations = circuit.equations
    at = equations.prepare(p)
    for c in at.coefficients:
        c["exact"] = np.array(True)
    rows, columns = np.array(list(equations.elimination.slot)).T
    slots = np.array(list(equations.elimination.slot.values()))

    def both(x: Array) -> tuple[Array, Array]:
        with np.errstate(all="ignore"):
            residual, jacobian = equations.evaluate(x[:, None], at)
        dense = np.zeros((equations.size, equations.size))
        inside = slots < len(jacobian)
        dense[rows[inside], columns[inside]] = jacobian[slots[inside], 0]
        return np.nan_to_num(residual[:, 0]), np.nan_to_num(dense)

    found = root(both, start[:, 0], jac=True, method="lm", options={"xtol": 1e-13, "ftol": 1e-13, "maxiter": 4000})
    return np.asarray(found.x)[:, None]


if __name__ == "__main__":
    main()
