"""Valve laws: how well the fits meet the published figures, what left-out publications show, and what a call costs.

python benchmarks/valves.py
"""

import time

import numpy as np

from firstglow.devices.catalogue import valve_type
from firstglow.devices.emission import emission_limit
from firstglow.devices.fit_blind import blind_study
from firstglow.devices.fit_report import FittedRow, fit_report
from firstglow.devices.fit_rows import CURRENTS, CUTOFF_AMPS
from firstglow.devices.fit_types import type_entry
from firstglow.devices.grid import grid_current
from firstglow.devices.pentode import pentode_currents
from firstglow.devices.published import published_types
from firstglow.devices.smooth import stack
from firstglow.devices.triode import triode_current


def family(name: str, kind: str) -> str:
    """Triode, small pentode or power valve."""
    if kind == "triode":
        return "triode"
    return "power valve" if published_types()[name]["limits"]["pentode"]["pa_max_W"] > 5 else "small pentode"


def quantity(row: FittedRow) -> str | None:
    """What a row counts under, or None."""
    if row.bound or not row.used:
        return None
    if row.what not in CURRENTS:
        return row.what
    if row.published < CUTOFF_AMPS:
        return None
    return "current in circuit" if row.in_circuit else "current, fixed bias"


def fitted() -> None:
    """Medians by family, published rows against their own fit."""
    found: dict[tuple[str, str], list[float]] = {}
    for name, table in published_types().items():
        if "points" in table:
            for section in fit_report(name).sections:
                for row in section.rows:
                    if what := quantity(row):
                        found.setdefault((family(name, section.kind), what), []).append(abs(row.error))
    print("fitted rows: family, figure, rows, median, 90 %, worst")
    for (kind, what), errors in sorted(found.items()):
        e = 100 * np.array(errors)
        print(f"  {kind:14} {what:20} {len(e):4} {np.median(e):6.1f} {np.quantile(e, 0.9):6.1f} {e.max():6.1f} %")


def left_out() -> None:
    """Currents predicted without their publication."""
    start = time.perf_counter()
    rows = list(blind_study())
    off = np.array([abs(np.expm1(r.off)) for r in rows])
    staged = np.array([r.row.stage is not None for r in rows])
    printed = np.array([max(0.02, r.row.sigma / 2 if r.row.why else 0.0) for r in rows])
    inside = np.abs([r.off for r in rows]) < 2 * np.hypot([r.law_sigma for r in rows], printed)
    print(f"left out: {len(rows)} currents of {len({r.type for r in rows})} types, {time.perf_counter() - start:.1f} s")
    fixed, circuit = 100 * np.median(off[~staged]), 100 * np.median(off[staged])
    print(f"  median {100 * np.median(off):.1f} % (fixed bias {fixed:.1f}, in circuit {circuit:.1f}), ", end="")
    print(f"90 % within {100 * np.quantile(off, 0.9):.0f} %; inside two sigma {100 * np.mean(inside):.1f} %")


def cost() -> None:
    """Time of one call by size."""
    rng = np.random.default_rng(1)
    triode = stack([valve_type("12AX7").sections[0].law] * 4)
    pentode = stack([valve_type("6V6GT").sections[0].law] * 4)
    print("nanoseconds an element, 4 sections: samples, triode, pentode, grid, emission")
    for n in (1, 250, 500, 1000, 2000):
        plate, screen, grid = rng.uniform(100, 300, (4, n)), rng.uniform(100, 300, (4, n)), rng.uniform(-20, 0, (4, n))
        factor = rng.uniform(0.9, 1.1, (4, n))
        calls = (
            lambda p=plate, g=grid, f=factor: triode_current(triode, p, g, f, f, f - 1),
            lambda p=plate, s=screen, g=grid, f=factor: pentode_currents(pentode, p, s, g, f, f, f - 1),
            lambda g=grid, f=factor: grid_current(g, f - 1),
            lambda f=factor: emission_limit(0.01 * f, f, 0.05, f),
        )
        best = []
        for call in calls:
            times = []
            for _ in range(100):
                start = time.perf_counter()
                call()
                times.append(time.perf_counter() - start)
            best.append(min(times) / (4 * n) * 1e9)
        print(f"  {n:5}" + "".join(f"{b:9.1f}" for b in best))


def main() -> None:
    """Print all of it."""
    start = time.perf_counter()
    names = [n for n, t in published_types().items() if "points" in t]
    for name in names:
        type_entry(name)
    print(f"{len(names)} types fitted in {time.perf_counter() - start:.1f} s")
    fitted()
    left_out()
    cost()


if __name__ == "__main__":
    main()
