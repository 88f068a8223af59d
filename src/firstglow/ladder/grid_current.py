"""A direct-coupled stage that draws grid current as drawn: its grid stands where it conducts before anything is wrong."""

from collections.abc import Iterator

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.role_types import SmallValve
from firstglow.amplifier.roles import roles
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.dials import E12
from firstglow.ladder.frame import Frame
from firstglow.ladder.overloads import as_it_stands

# Grid current of a small valve begins about half a volt negative of its cathode, a few tenths earlier or later from one
# valve to the next (contact potential; common practice).
BEGINS = -0.5
# Where a stage that is mended should at least stand [V]: the valves' spread clear of where it begins.
CLEAR = -0.9
STEPS = 8  # of the E12 series that a resistor is tried up to: past four times its value it is another stage


def findings(amplifier: Amplifier, physics: SolverPhysics) -> tuple[str, ...]:
    """A line for each such stage: part, line of the file, what it draws and what would take it out of that."""
    return tuple(_said(amplifier, physics, s) for s in roles(amplifier).smalls if _drawn_into_it(amplifier, physics, s))


def _drawn_into_it(amplifier: Amplifier, physics: SolverPhysics, s: SmallValve) -> bool:
    if not s.direct_coupled_from:
        return False
    row = physics.standing(as_it_stands(amplifier)).part(s.valve)
    return float(np.ravel(row["plate_amps"])[0]) > 0.0 and float(np.ravel(row["grid_volts"])[0]) > BEGINS


def _said(amplifier: Amplifier, physics: SolverPhysics, s: SmallValve) -> str:
    row = physics.standing(as_it_stands(amplifier)).part(s.valve)
    volts, amps = (float(np.ravel(row[key])[0]) for key in ("grid_volts", "grid_amps"))
    driver = s.direct_coupled_from[0]
    line = amplifier.parts[s.valve].origin.line
    found = (
        f"GRID CURRENT as drawn: {s.valve} (line {line}): its grid stands at {volts:+.2f} V to its cathode and draws "
        f"{1e3 * amps:.2g} mA through what feeds {driver}. Healthy ones stand either side of that, and clip there first."
    )
    mend = next(_mends(amplifier, physics, s), None)
    if mend is None:
        return f"{found} Lower the volts of {driver} that drive it, or its own current."
    part, ohms, then = mend
    was = amplifier.parts[part]
    drawn = f"line {was.origin.line}, {Frame.ohms_text(was.value('ohms'))} as drawn"
    return f"{found} With {Frame.ohms_text(ohms)} for {part} ({drawn}) it would stand at {then:+.1f} V."


def _mends(amplifier: Amplifier, physics: SolverPhysics, s: SmallValve) -> Iterator[tuple[str, float, float]]:
    """(part, ohms, grid volts then), the least change first, of what lowers the volts that drive it or its own current."""
    driver = next((d for d in roles(amplifier).smalls if d.valve == s.direct_coupled_from[0]), None)
    names = [*(driver.plate_load if driver else ()), *([s.cathode_resistor] if s.cathode_resistor else [])]
    names = [n for n in names if amplifier.parts[n].kind == "resistor"]
    if not names:
        return
    circuit, at = physics.circuit, as_it_stands(amplifier).but(idle={})
    tried = [(n, ohms) for n in names for ohms in _above(amplifier.parts[n].value("ohms"))]
    values = np.repeat(circuit.vector(at)[:, None], len(tried), axis=1)
    for column, (name, ohms) in enumerate(tried):
        values[circuit.column[f"{name} ohms"], column] = ohms
    found = circuit.solve(values, strict=False)
    volts = np.where(found.settled, np.ravel(found.part(s.valve)["grid_volts"]), 0.0)
    good = [(n, ohms, float(v)) for (n, ohms), v in zip(tried, volts, strict=True) if v <= CLEAR]
    yield from sorted(good, key=lambda g: g[1] / amplifier.parts[g[0]].value("ohms"))


def _above(ohms: float) -> list[float]:
    """The standard values above a resistor's own, nearest first [ohm]."""
    every = sorted(step * 10.0**decade for decade in range(8) for step in E12)
    return [v for v in every if v > 1.01 * ohms][:STEPS]
