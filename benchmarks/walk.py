"""The safety walk of 200 random kinds of amplifier with the real solver: ``python -m benchmarks.walk [FIRST [LAST]]``.

The tests walk all of them on a paper network and a dozen with the solver. Here each has its whole ladder worked out, bands by
sensitivities, and the document is walked; besides, no band may end past its range, and nothing healthy stand at its stop.
What would not settle, what has no ladder (and why), and every objection are printed.
"""

import sys
import time
from pathlib import Path

from firstglow.amplifier.model import Amplifier, AmplifierError
from firstglow.ladder.ladder import Ladder, build
from firstglow.ladder.walk import walk
from firstglow.readings.meters import ReadingsError
from firstglow.solver.standing import SolveError

TESTS = Path(__file__).parent.parent / "tests"
sys.path[:0] = [str(TESTS), str(TESTS / "ladder")]
COUNT = 200


def main() -> None:
    """Walk them."""
    from topologies import topology

    first, last = ([int(word) for word in sys.argv[1:3]] + [0, COUNT][len(sys.argv[1:3]) :])[:2]
    clean, begun = 0, time.perf_counter()
    for seed in range(first, last):
        choice, amplifier = topology(seed)
        objections = one(amplifier)
        clean += not objections
        for text in objections:
            print(f"{seed}: {text}; {choice}", flush=True)
    print(f"{clean} of {last - first} walked clean in {time.perf_counter() - begun:.0f} s", flush=True)


def one(amplifier: Amplifier) -> list[str]:
    """Everything that is wrong with one amplifier's ladder."""
    try:
        built = build(amplifier, mode="fast")
    except (AmplifierError, ReadingsError) as error:
        return [f"no ladder: {error}"]
    except SolveError as error:
        return [f"would not settle: {error}"]
    return [str(found) for found in walk(built.document, amplifier, built.frame.physics)] + edges(built)


def edges(built: Ladder) -> list[str]:
    """Bands past their range, and figures at or past their own stop."""
    out = []
    for r in built.expected.readings():
        if r.on is None or r.hidden or not isinstance(r.expected, float):
            continue
        if any(edge is not None and abs(edge) > r.on.full * (1 + 1e-9) for edge in (r.low, r.high)):
            out.append(f"{r.id}: band {r.low} to {r.high} past the range {r.on.full}")
        above, below = r.stop_above, r.stop_below
        told = any(r.planned.what in text for text in built.expected.findings)  # drawn past a rating, and said so
        if not told and ((above and above.limit <= r.expected) or (below and below.limit >= r.expected)):
            out.append(f"{r.id}: expected {r.expected} at its own stop")
    return out


if __name__ == "__main__":
    main()
