"""Random states of the examples: ``python -m benchmarks.torture [COUNT]`` (20,000 each unless told).

Mains 0 to 130 %, valves and links out, up to three parts open, shorted, x 0.1 or x 10. Printed: how many would not settle
or are not borne out by their own currents, and the worst Kirchhoff residual of the rest.
"""

import sys
import time
from pathlib import Path

import numpy as np

from firstglow.amplifier import load
from firstglow.solver.circuit import compile_circuit

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests" / "solver"))
COUNT, CHUNK = 20_000, 2_000


def main() -> None:
    """Run it."""
    from torture import columns, random_state

    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    for file in sorted((ROOT / "examples").glob("*.toml")):
        amplifier = load(file)
        circuit = compile_circuit(amplifier)
        rng = np.random.default_rng(7)
        lost, worst, start = 0, 0.0, time.perf_counter()
        for first in range(0, count, CHUNK):
            states = [random_state(amplifier, rng) for _ in range(min(CHUNK, count - first))]
            standing = circuit.solve(columns(circuit, states), strict=False)
            lost += int((~standing.settled).sum())
            worst = max(worst, float(np.max(np.asarray(standing.residual_amps)[standing.settled])))
        took = time.perf_counter() - start
        print(f"{file.stem}: {lost} of {count} without a proved answer; worst residual {worst:.1e} A; {took:.0f} s")


if __name__ == "__main__":
    main()
