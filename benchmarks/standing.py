"""The standing solution against two peers on the same equations: ``OPENBLAS_NUM_THREADS=1 python -m benchmarks.standing``.

Ours: ``Circuit.newton``, sparse straight-line elimination with the batch as last axis, from the nominal answer in proportion
to the mains. The peers get our residual and our Jacobian (the same vectorised numpy functions), laid out densely, and the
parameters prepared for them:

(i) a loop over ``scipy.optimize.root(method="hybr", jac=...)``, a sample at a time, from the nominal answer;
(ii) Newton's rule for the whole batch with ``numpy.linalg.solve``, with our start, our stop and our dropping of settled
samples.

Times are the process's own CPU seconds, best of several turns that take ours and the peers by turns, so that what else the
machine does counts for little. A peer that would take minutes gets fewer samples: the table says how many. Each answer is
compared with ours. ``FIRSTGLOW_PLAIN=1`` before it: plain numpy; without it the compiled library, which the peers' residual has the
use of too. Then: the share that each gets right from cold starts, multiply-adds beside the dense count, and what an
amplifier four times larger costs.
"""

import argparse
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import root

from firstglow.amplifier import Amplifier, load
from firstglow.amplifier.model import Part
from firstglow.amplifier.situation import Situation
from firstglow.readings.spreads import draw
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.compiled.library import library
from firstglow.solver.equations import Equations, Prepared
from firstglow.solver.newton import INNER, SETTLED, newton
from firstglow.solver.nodes import CHASSIS

EXAMPLE = Path(__file__).parent.parent / "examples" / "a-linden-twin.toml"
SIZES = (1, 10, 100, 1_000, 10_000)
SEED = 5
MOST_LOOPED, MOST_DENSE = 20, 2_000
DENSE_CHUNK = 500
FLOATING_OHMS = 1e8
"""A joint that has at least this much to everything else is held by insulation: its volts are compared relatively."""
RIGHT = 1e-6
"""Relative difference from the proved answer up to which a cold-started peer counts as right."""
Array = NDArray[np.float64]


class Dense:
    """The circuit's equations with the Jacobian as full matrices."""

    def __init__(self, equations: Equations) -> None:
        self.equations = equations
        slots = equations.elimination.slot
        self.rows, self.columns = np.array(list(slots)).T
        self.slots = np.array(list(slots.values()))

    def batch(self, x: Array, at: Prepared) -> tuple[Array, Array]:
        """Residual (unknown, sample) and Jacobian (sample, unknown, unknown)."""
        residual, slots = self.equations.evaluate(x, at)
        matrix = np.zeros((x.shape[1], len(x), len(x)))
        matrix[:, self.rows, self.columns] = slots[self.slots].T
        return residual, matrix


def looped(circuit: Circuit, p: Array, start: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Peer (i): answers (unknown, sample) and whether scipy calls each a success. start: (unknown, sample)."""
    dense = Dense(circuit.equations)
    whole = circuit.equations.prepare(p)
    out, good = np.empty_like(start), np.zeros(p.shape[1], dtype=bool)
    for k in range(p.shape[1]):
        # hybr wants a function of x alone: the rectifiers' cycles are settled at each call, from where they last stood
        at = one_of(whole, k)

        def residual(x: Array, at: Prepared = at) -> Array:
            return np.asarray(circuit.equations.evaluate(x[:, None], at)[0][:, 0])

        def jacobian(x: Array, at: Prepared = at) -> Array:
            return dense.batch(x[:, None], at)[1][0]

        found = root(residual, start[:, k], jac=jacobian, method="hybr", options={"xtol": 1e-12})
        out[:, k], good[k] = found.x, found.success
    return out, good


def one_of(whole: Prepared, k: int) -> Prepared:
    """One sample of a prepared batch, as views, its cycles to be settled at each call."""
    n = whole.samples

    def cut(a: Array) -> Array:
        return a[..., k : k + 1] if a.ndim and a.shape[-1] == n else a

    kept = tuple({name: cut(a) for name, a in c.items()} | {"exact": np.array(True)} for c in whole.coefficients)
    return Prepared(kept, whole.fixed[:, k : k + 1])


def batched(circuit: Circuit, p: Array, start: Array | None = None, steps: int = 14) -> tuple[Array, NDArray[np.bool_]]:
    """Peer (ii): answers (unknown, sample) and which settled; from our own start unless one is given."""
    out, good = np.empty((len(circuit.unknowns), p.shape[1])), np.zeros(p.shape[1], dtype=bool)
    for first in range(0, p.shape[1], DENSE_CHUNK):
        part = slice(first, first + DENSE_CHUNK)
        out[:, part], good[part] = _batched(circuit, p[:, part], None if start is None else start[:, part], steps)
    return out, good


def _batched(circuit: Circuit, p: Array, start: Array | None, steps: int) -> tuple[Array, NDArray[np.bool_]]:
    dense, unit = Dense(circuit.equations), circuit.equations.unit[:, None]
    at, warm = circuit.equations.prepare(p), circuit.warm_start
    x = np.array(start) if start is not None else circuit.start(p) if warm is None else warm(p, at)
    out, good, live = np.array(x), np.zeros(p.shape[1], dtype=bool), np.arange(p.shape[1])
    for _ in range(steps):
        residual, matrix = dense.batch(x, at)
        dx = -np.linalg.solve(matrix, residual.T[:, :, None])[:, :, 0].T
        x = x + dx
        done = (np.abs(dx) / (unit + np.abs(x))).max(axis=0) < SETTLED
        for c in at.coefficients:
            if "unsettled" in c:
                done &= c["unsettled"] < INNER
        out[:, live] = x
        good[live[done]] = True
        if done.all():
            break
        if done.mean() >= 0.25:
            live, x, at = live[~done], x[:, ~done], at.keep(~done)
    return out, good


def ours(circuit: Circuit, p: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Answers (unknown, sample) and which settled."""
    found = circuit.newton(p)
    return found.x, found.settled


def ours_cold(circuit: Circuit, p: Array) -> tuple[Array, NDArray[np.bool_]]:
    """The same with nothing known of the dc (no ramp: none of these needs one)."""
    found = newton(circuit.equations, p, lambda q, _: circuit.start(q), lambda q, _: q, thorough=False)
    return found.x, found.settled


@dataclass(frozen=True, slots=True)
class Difference:
    """volts: the largest between answers, of what is held. floating: the largest relative one of what floats, and of
    what is not volts."""

    volts: float
    floating: float


def difference(circuit: Circuit, held: NDArray[np.bool_], one: Array, two: Array) -> Difference:
    """Between two answers (unknown, sample)."""
    miss = np.abs(one - two)
    relative = miss / (circuit.equations.unit[:, None] * 1e-3 + np.abs(two))
    return Difference(float(miss[held].max()), float(relative[~held].max(initial=0.0)))


def held_joints(circuit: Circuit, p: Array) -> NDArray[np.bool_]:
    """Unknowns that are the volts of a joint with something firmer than insulation on it."""
    standing = circuit.solve(p[:, :1])
    held = np.zeros(len(circuit.unknowns), dtype=bool)
    for k, name in enumerate(circuit.unknowns):
        kind, _, joint = name.partition(" ")
        if kind == "dc":
            held[k] = joint == CHASSIS or standing.source_ohms(joint)[0] < FLOATING_OHMS
        elif kind in {"ac", "quadrature", "emf"}:
            held[k] = True
    return held


def timed(work: Callable[[], object]) -> float:
    """CPU seconds."""
    start = time.process_time()
    work()
    return time.process_time() - start


def best(turns: int, *works: Callable[[], object]) -> list[float]:
    """The least CPU seconds of each, all taken by turns."""
    return [min(row) for row in zip(*([timed(w) for w in works] for _ in range(turns)), strict=True)]


def speeds(circuit: Circuit, p: Array, nominal: Array) -> None:
    """The table of times."""
    held = held_joints(circuit, p)
    print("Innermost loops compiled\n" if library() is not None else "Plain numpy\n")
    print("| samples | ours, µs a sample | with its proof | (i) hybr | (ii) dense Newton | (i)/ours | (ii)/ours |")
    print("|---|---|---|---|---|---|---|")
    told = []
    for n in SIZES:
        q = p[:, :n]
        fewer, some = q[:, : min(n, MOST_LOOPED)], q[:, : min(n, MOST_DENSE)]
        start = np.repeat(nominal[:, None], fewer.shape[1], axis=1)
        turns = 5 if n <= 10 else 2
        a, b, c, d = best(
            turns,
            lambda q=q: ours(circuit, q),
            lambda q=q: circuit.solve(q),
            lambda fewer=fewer, start=start: looped(circuit, fewer, start),
            lambda some=some: batched(circuit, some),
        )
        a, b, c, d = (1e6 * t / m.shape[1] for t, m in ((a, q), (b, q), (c, fewer), (d, some)))
        print(f"| {n} | {a:.0f} | {b:.0f} | {c:.0f} | {d:.0f} | {c / a:.1f} | {d / a:.1f} |", flush=True)
        if n in {1, 100}:
            x = ours(circuit, some)[0]
            one, two = looped(circuit, fewer, start)[0], batched(circuit, some)[0]
            told.append((difference(circuit, held, one, x[:, : fewer.shape[1]]), difference(circuit, held, two, x)))
    print(
        f"\n(i) was timed on at most {MOST_LOOPED} samples of each batch and (ii) on at most {MOST_DENSE}: both cost the"
        " same for each further one."
    )
    for k, name in enumerate(("(i)", "(ii)")):
        volts, floating = max(t[k].volts for t in told), max(t[k].floating for t in told)
        print(
            f"{name} differs from ours by at most {volts:.1e} V; floating joints, what is no volts: {floating:.1e} relative."
        )


def from_nominal(circuit: Circuit, p: Array, nominal: Array) -> None:
    """(ii) as one would write it without our start: from the nominal answer, like (i)."""
    start = np.repeat(nominal[:, None], p.shape[1], axis=1)
    a, d = best(3, lambda: ours(circuit, p), lambda: batched(circuit, p, start))
    print(
        f"(ii) from the nominal answer, {p.shape[1]} samples: {1e6 * d / p.shape[1]:.0f} µs a sample, {d / a:.1f} times ours."
    )


def polished(circuit: Circuit, p: Array, nominal: Array) -> None:
    """How much of the difference to (i) is (i)'s own: one more Newton step from its answers."""
    x, held = ours(circuit, p)[0], held_joints(circuit, p)
    y = looped(circuit, p, np.repeat(nominal[:, None], p.shape[1], axis=1))[0]
    at = circuit.equations.prepare(p)
    for c in at.coefficients:
        c["exact"] = np.array(True)
    residual, matrix = Dense(circuit.equations).batch(y, at)
    y = y - np.linalg.solve(matrix, residual.T[:, :, None])[:, :, 0].T
    told = difference(circuit, held, y, x)
    print(f"One more Newton step from (i)'s answers brings it to {told.volts:.1e} V and {told.floating:.1e}.")


def cold_shares(circuit: Circuit, p: Array) -> None:
    """Who gets it right from a cold start: ours with and without what it does when plain steps fail."""
    x = circuit.solve(p).x
    unit = circuit.equations.unit[:, None]

    def share(found: Array) -> str:
        with np.errstate(all="ignore"):
            good = (np.abs(found - x) / (unit + np.abs(x))).max(axis=0) < RIGHT
        return f"{100.0 * good.mean():.1f} % of {good.size}"

    few = min(p.shape[1], 5 * MOST_LOOPED)
    zeros = np.zeros((len(x), few))
    everything, x = x, x[:, :few]
    with np.errstate(all="ignore"):
        from_zeros = share(looped(circuit, p[:, :few], zeros)[0])
        from_cold = share(looped(circuit, p[:, :few], circuit.start(p[:, :few]))[0])
        x = everything
        print(f"\nRight from a cold start (within {RIGHT:g} of the proved answer):")
        print(f"(i) {from_zeros} from all zeros, {from_cold} from our own cold start;")
        dense, own = share(batched(circuit, p, circuit.start(p))[0]), share(ours_cold(circuit, p)[0])
        print(f"(ii) {dense} from our cold start; ours {own} from the same.")


def fourfold(amplifier: Amplifier, copies: int = 4) -> Amplifier:
    """As many of the same amplifier, each with its transformers, behind one plug, fuse and switch."""
    parts = amplifier.parts
    common = {p.name for p in parts.values() if p.kind in {"inlet", "fuse", "switch", "wire"}}
    shared = {j for name in common for j in parts[name].leads.values()} | {CHASSIS}

    def name(k: int, text: str) -> str:
        return f"copy{k} {text}"

    def copy(k: int, part: Part) -> Part:
        leads = {lead: j if j in shared else name(k, j) for lead, j in part.leads.items()}
        envelope = None if part.envelope is None else name(k, part.envelope)
        return replace(part, name=renamed(k, part), leads=leads, envelope=envelope, aliases=(), twin=None)

    def renamed(k: int, part: Part) -> str:
        return name(k, part.name)

    every = range(copies)
    new = {n: parts[n] for n in common}
    new |= {renamed(k, p): copy(k, p) for k in every for p in parts.values() if p.name not in common}
    joints = {n: j for n, j in amplifier.joints.items() if n in shared}
    joints |= {
        name(k, n): replace(j, name=name(k, n), terminals=tuple(name(k, t) for t in j.terminals), aliases=())
        for k in every
        for n, j in amplifier.joints.items()
        if n not in shared
    }
    links = {
        name(k, n): replace(
            v, name=name(k, n), part=name(k, v.part), tie=v.tie if v.tie is None or v.tie in shared else name(k, v.tie)
        )
        for k in every
        for n, v in amplifier.links.items()
    }
    return replace(amplifier, parts=new, joints=joints, links=links, idle={}, aliases={}, digest="", channels=())


def sizes(circuit: Circuit, samples: int) -> None:
    """Multiply-adds, and four times the amplifier."""
    large = compile_circuit(fourfold(circuit.amplifier))
    told = []
    for c in (circuit, large):
        e = c.equations.elimination
        told.append((c, samples_of(c, samples)))
        print(
            f"{e.size} unknowns, {len(e.slot)} slots: {e.multiply_adds} multiply-adds a factorisation"
            f" (dense, n^3/3: {e.size**3 / 3:.0f})"
        )
    one, four = best(3, *(lambda c=c, p=p: ours(c, p) for c, p in told))
    settled = [ours(c, p)[1].mean() for c, p in told]
    print(
        f"{samples} samples: {1e6 * one / samples:.0f} µs a sample, four times larger {1e6 * four / samples:.0f} µs:"
        f" {four / one:.2f} times as much; settled {100 * settled[0]:.1f} % and {100 * settled[1]:.1f} %"
    )


def samples_of(circuit: Circuit, samples: int) -> Array:
    """Amplifiers drawn from their own spreads, mains within 10 %, everything in, as the file stands."""
    drawn = draw(circuit, samples, 0.1, SEED).values
    return circuit.apply(drawn, Situation(circuit.amplifier.mains_volts))


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", nargs="?", type=Path, default=EXAMPLE)
    parser.add_argument("--large", type=int, default=500, help="samples for the amplifier four times larger")
    parser.add_argument("--cold", type=int, default=1_000, help="samples for the cold starts")
    asked = parser.parse_args()
    circuit = compile_circuit(load(asked.file))
    print(f"{circuit.amplifier.name}; OPENBLAS_NUM_THREADS={os.environ.get('OPENBLAS_NUM_THREADS', 'not set')}\n")
    p = samples_of(circuit, max(SIZES))
    nominal = circuit.solve(circuit.vector(Situation(circuit.amplifier.mains_volts))).x[:, 0]
    speeds(circuit, p, nominal)
    with np.errstate(all="ignore"):
        from_nominal(circuit, p[:, :MOST_DENSE], nominal)
        polished(circuit, p[:, :MOST_LOOPED], nominal)
    cold_shares(circuit, p[:, : asked.cold])
    print()
    sizes(circuit, asked.large)


if __name__ == "__main__":
    main()
