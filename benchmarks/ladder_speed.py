"""How long the ladder takes: ``python -m benchmarks.ladder_speed [FILE]`` (the first example unless told).

Four figures, best of three in one run, wall clock and processor time side by side (another program's load shows as the
difference): the printed bands of the whole ladder, the bands by sensitivities, one verdict after loading, ``--help``.
``FIRSTGLOW_PLAIN=1`` before it: without the compiled library.
"""

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

# as the command line has it (cli/main.py), before numpy is there: threads of small matrices only wait for each other
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from firstglow.amplifier import load
from firstglow.ladder.ladder import build
from firstglow.readings.expect import SAMPLES
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import verdict
from firstglow.solver.compiled.library import library

EXAMPLE = Path(__file__).parent.parent / "examples" / "a-linden-twin.toml"
GOALS = {"printed bands": 4.0, "sensitivities": 1.0, "one verdict": 0.05, "--help": 0.2}


def timed(what: Callable[[], object], times: int) -> tuple[float, float]:
    """(wall clock, processor) seconds of the best of some runs, children's processor time included."""
    best = (float("inf"), float("inf"))
    for _ in range(times):
        start, spent = time.perf_counter(), sum(os.times()[:4])
        what()
        best = min(best, (time.perf_counter() - start, sum(os.times()[:4]) - spent))
    return best


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", nargs="?", type=Path, default=EXAMPLE)
    parser.add_argument("--times", type=int, default=3)
    asked = parser.parse_args()
    amplifier = load(asked.file)
    made = build(amplifier, mode="fast")
    reading = next(r for r in made.expected.readings() if r.kind == "dc volts" and r.planned.situation.mains_volts > 0)
    taken = parse_taken(f'[readings]\n"{reading.id}" = "{reading.expected}"\n', "typed")
    help_command = [sys.executable, "-m", "firstglow", "--help"]
    jobs: dict[str, Callable[[], object]] = {
        "printed bands": lambda: build(amplifier, samples=SAMPLES),
        "sensitivities": lambda: build(amplifier, mode="fast"),
        "one verdict": lambda: verdict(made.expected, taken),
        "--help": lambda: subprocess.run(help_command, check=True, capture_output=True),
    }
    loops = "innermost loops compiled" if library() is not None else "plain numpy"
    print(
        f"{amplifier.name}: {len(made.expected.by_id)} readings, {SAMPLES} samples, {loops}, load {os.getloadavg()[0]:.1f}"
    )
    for name, job in jobs.items():
        wall, spent = timed(job, asked.times)
        print(f"{name:14s} {wall:7.3f} s (processor {spent:7.3f} s); goal {GOALS[name]:g} s")


if __name__ == "__main__":
    main()
