"""What the bands are worth: ``python -m benchmarks.bands [FILE ...]`` (all three examples unless told).

Healthy: amplifiers drawn afresh from the stated spreads, and the same with a second valve law, that pass the whole
ladder. Sick: every part and mode of the fault table at log-uniform severity, seen by powered readings and with the
unplugged ones; the list of what is not seen is printed in full.
"""

import argparse
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from firstglow.amplifier import Amplifier, all_faults, load
from firstglow.devices.catalogue import ValveType, valve_type
from firstglow.devices.pentode import PentodeLaw
from firstglow.devices.rectifier import RectifierLaw
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.gear import Gear
from firstglow.ladder.plan import plan
from firstglow.readings.expect import expect_with_sheet
from firstglow.readings.meters import digital
from firstglow.readings.observe import Observer
from firstglow.readings.spreads import draw
from firstglow.readings.trial import Sick, cases, healthy, sick
from firstglow.solver.circuit import compile_circuit

EXAMPLES = Path(__file__).parent.parent / "examples"
FRESH = 10_000
SEED = 777


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--healthy", type=int, default=FRESH, help="healthy amplifiers")
    parser.add_argument("--each", type=int, default=2, help="severities of each fault; 0: healthy ones only")
    parser.add_argument("--list", action="store_true", help="print every case, not only what is not seen")
    asked = parser.parse_args()
    for file in asked.files or sorted(EXAMPLES.glob("*.toml")):
        one(load(file), asked.healthy, asked.each, asked.list)


def second_law(name: str) -> ValveType:
    """The catalogue's type as other valves might be: exponent +3 %, perveance +12 %, knee +15 %."""
    valve = valve_type(name)
    sections = []
    for section in valve.sections:
        law = section.law
        if not isinstance(law, RectifierLaw):
            law = replace(law, exponent=law.exponent * 1.03, perveance=law.perveance * 1.12)
        if isinstance(law, PentodeLaw):
            law = replace(law, knee=law.knee * 1.15)
        sections.append(replace(section, law=law))
    return replace(valve, sections=tuple(sections))


def one(amplifier: Amplifier, count: int, each: int, every: bool) -> None:
    """One amplifier."""
    observer = Observer(amplifier)
    rungs = plan(amplifier, Gear(amplifier.mains_volts), SolverPhysics(amplifier, observer.circuit))
    start = time.perf_counter()
    ladder, sheet = expect_with_sheet(amplifier, rungs, digital(), observer=observer)
    took = time.perf_counter() - start
    print(f"\n== {amplifier.name}: {len(list(ladder.readings()))} readings, {len(sheet.wanted)} situations")
    print(f"bands from {ladder.samples} samples in {took:.1f} s; common score {ladder.score:.2f}")
    for finding in ladder.findings:
        print(f"  finding: {finding}")
    draws = draw(observer.circuit, count, sheet.mains_width, SEED)
    found = healthy(ladder, sheet, draws)
    print(
        f"healthy: {100 * found.passed:.2f} % of {count} pass everything ({100 * found.in_bands:.2f} % by bands alone)"
    )
    for name, rate in found.worst[:6]:
        print(f"  {100 * rate:.3f} %  {name}")
    other = Observer(amplifier, compile_circuit(amplifier, second_law))
    bare = draw(observer.circuit, count, sheet.mains_width, SEED + 1, law=False)
    told = healthy(ladder, sheet, bare, other)
    print(f"  by the second valve law: {100 * told.passed:.2f} % of {count}")
    for name, rate in told.worst[:6]:
        print(f"  {100 * rate:.3f} %  {name}")
    if not each:
        return
    start = time.perf_counter()
    results = sick(ladder, sheet, draws, cases(all_faults(amplifier), min(count, 500), each))
    report(results, time.perf_counter() - start, every)


def report(results: Sequence[Sick], seconds: float, every: bool) -> None:
    """Counts, and what is not seen."""
    powered = np.mean([r.powered for r in results])
    both = np.mean([r.anyhow for r in results])
    alone, hot = np.mean([r.alone for r in results]), np.mean([r.alone_powered for r in results])
    lost = sum(r.alone and not r.anyhow for r in results)
    print(f"sick: {len(results)} cases in {seconds:.0f} s; seen by powered readings {100 * powered:.1f} %, ", end="")
    print(
        f"with the unplugged ones {100 * both:.1f} %; switched off {100 * np.mean([r.stopped for r in results]):.1f} %"
    )
    print(f"  each reading by itself would see {100 * hot:.1f} % powered, {100 * alone:.1f} % in all; ", end="")
    print(f"seen so and lost by what readings teach: {lost}")
    modes = Counter(r.case.fault.mode for r in results)
    for mode, number in modes.most_common():
        of = [r for r in results if r.case.fault.mode == mode]
        seen, either = sum(r.powered for r in of), sum(r.anyhow for r in of)
        print(f"  {mode:24s} {seen:4d} powered {either:4d} in all of {number}")
    for r in results:
        if every or not r.anyhow:
            fault = r.case.fault
            value = "" if fault.value is None else f"={fault.value:.3g}"
            word = "seen at " + (r.first or "") if r.first else "not seen"
            print(f"    {fault.part}:{fault.mode}{value}: {word}{' (would not settle)' if r.unsolved else ''}")


if __name__ == "__main__":
    main()
