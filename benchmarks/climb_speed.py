"""How long an answer takes: ``python -m benchmarks.climb_speed [FILE]`` (the first example unless told).

A careful person climbs a virtual amplifier with bands that learn; wall clock from an answer to its verdict, for every
reading and every step of making safe. Goal: 100 ms.
"""

import argparse
import time
from pathlib import Path

import numpy as np

from firstglow.amplifier import load
from firstglow.ladder.careful import Careful, Clock
from firstglow.ladder.climb import Climb
from firstglow.ladder.ladder import build
from firstglow.ladder.virtual import Virtual
from firstglow.records.store import MemoryStore

EXAMPLE = Path(__file__).parent.parent / "examples" / "a-linden-twin.toml"


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", nargs="?", type=Path, default=EXAMPLE)
    asked = parser.parse_args()
    ladder = build(load(asked.file))
    clock = Clock()
    climb = Climb(ladder, MemoryStore(), clock=clock)
    climb.begin()
    took: dict[str, list[float]] = {}

    def timed(name: str) -> None:
        real = getattr(climb, name)

        def run(text: str) -> object:
            start = time.perf_counter()
            try:
                return real(text)
            finally:
                took.setdefault(name, []).append(time.perf_counter() - start)

        setattr(climb, name, run)

    timed("read")
    timed("answer")
    outcome = Careful(climb, Virtual(ladder, (), 2), clock).run()
    top = "to the top" if outcome.stopped_at is None else f"to {outcome.stopped_at.reading.id}"
    print(f"{ladder.expected.amplifier}: {len(outcome.taken)} readings, {top}")
    for name, seconds in took.items():
        ms = 1e3 * np.array(seconds)
        print(
            f"  {name}: {len(ms)}, median {np.median(ms):.1f} ms, 99 % {np.quantile(ms, 0.99):.1f} ms, most {ms.max():.1f} ms"
        )


if __name__ == "__main__":
    main()
