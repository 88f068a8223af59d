"""From when on the bias holds an output valve through a start: whatever the cathode's warmth, the hottest valve of the type would
stay within its watts at the grid volts of the moment and the HT that stands once all is warm (HT that has yet to come, or sags
under too much current, is no help to count on).

The hottest is looked for among valves three standard deviations off in perveance, mu or contact potential, either way, each with its
own preset set for the same idle: a preset scales what the supply gives it.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.role_types import OutputValve
from firstglow.devices.pentode import PentodeLaw, pentode_currents
from firstglow.devices.triode import triode_current
from firstglow.readings.rated import section_of
from firstglow.readings.safe_bias import grid_volts
from firstglow.solver.circuit import Circuit
from firstglow.solver.slow import Course

Array = NDArray[np.float64]

STRONGEST = 3.0
"""Standard deviations of the hottest valve, as for Vsafe."""
SETTLED_ROOM = 1.05
"""A valve that idles past its rating is another table's business: here it is held at a twentieth more than it idles at."""
OF = ("perveance", "mu", "contact")


class Hottest:
    """An output valve's hottest likes, against how it settles in ``cold`` (sample 0)."""

    def __init__(self, circuit: Circuit, cold: Course, output: OutputValve) -> None:
        """ValueError where its type has no plate watts, or nothing settles."""
        self.output, self.circuit = output, circuit
        part = circuit.amplifier.parts[output.valve]
        section = section_of(part)
        limits = section.limits
        if limits.plate_watts is None:
            raise ValueError(f"{part.type}: no plate watts are known")
        self.law = section.law
        self.factors = _factors(_sigmas(circuit, output.valve, str(part.type), section.name))
        plate, screen, grid = (float(v[-1]) for v in self._volts(cold, 0))
        self.plate, self.screen = plate, screen
        idle = float(cold.cathode_amps(output.valve)[-1, 0])
        if not (idle > 0.0 and grid < 0.0):
            raise ValueError(f"{output.valve} draws nothing")
        count = len(self.factors["mu"])
        own = grid_volts(self.law, idle, np.full(count, plate), np.full(count, screen), self.factors)
        self.scale = own / grid
        watts, screens = self._watts(np.array([plate]), np.array([screen]), np.array([grid]))
        self.watts = max(limits.plate_watts, SETTLED_ROOM * float(watts.max()))
        rated = limits.screen_watts
        self.screen_watts = np.inf if rated is None else max(rated, SETTLED_ROOM * float(screens.max()))

    def _volts(self, course: Course, k: int) -> tuple[Array, Array, Array]:
        """Plate, screen and grid to the cathode, (moment,)."""
        o = self.output
        cathode = course.dc(o.cathode)[:, k]
        plate = course.dc(o.plate)[:, k] - cathode
        screen = plate if o.screen is None else course.dc(o.screen)[:, k] - cathode
        return plate, screen, course.dc(o.grid)[:, k] - cathode

    def _watts(self, plate: Array, screen: Array, grid: Array) -> tuple[Array, Array]:
        """Watts of plate and screen, (valve, moment), were the cathode hot."""
        f = {name: value[:, None] for name, value in self.factors.items()}
        at = grid * self.scale[:, None]
        plate, screen = np.maximum(plate, 0.0), np.maximum(screen, 0.0)
        if isinstance(self.law, PentodeLaw):
            ia, ig2, _ = pentode_currents(self.law, plate, screen, at, f["perveance"], f["mu"], f["contact"])
            return plate * ia, screen * ig2
        ia = triode_current(self.law, plate, at, f["perveance"], f["mu"], f["contact"])[0]
        return np.asarray(plate * ia), np.zeros_like(ia)

    def over(self, course: Course, k: int) -> Array:
        """The worst watts over what is let pass, less 1, through sample k of a course, (moment,)."""
        grid = self._volts(course, k)[2]
        plate, screens = self._watts(np.full_like(grid, self.plate), np.full_like(grid, self.screen), grid)
        return np.asarray(np.maximum(plate / self.watts, screens / self.screen_watts).max(axis=0) - 1.0)

    def ht(self, course: Course, k: int) -> Array:
        """Plate or screen volts, whichever is nearer, over those that settle, through sample k of a course, (moment,)."""
        plate, screen, _ = self._volts(course, k)
        return np.maximum(plate / self.plate, screen / self.screen)

    def from_when(self, course: Course, k: int) -> float | None:
        """Seconds after switching on from which the bias holds it; None: not to the end."""
        t, over = course.seconds - course.seconds[0], self.over(course, k)
        bad = np.flatnonzero(over > 0.0)
        if not bad.size:
            return 0.0
        last = int(bad[-1])
        if last + 1 == len(t):
            return None
        share = over[last] / (over[last] - over[last + 1])
        return float(t[last] + share * (t[last + 1] - t[last]))

    def wanted(self) -> float:
        """Grid volts to the cathode, of the valve as drawn, that hold its hottest like at the HT that settles."""
        low, high = -400.0, 0.0
        for _ in range(50):
            middle = 0.5 * (low + high)
            watts, screens = self._watts(np.array([self.plate]), np.array([self.screen]), np.array([middle]))
            fits = watts.max() <= self.watts and screens.max() <= self.screen_watts
            low, high = (middle, high) if fits else (low, middle)
        return low


def _sigmas(circuit: Circuit, valve: str, kind: str, section: str) -> dict[str, float]:
    """One standard deviation of each of the valve's own and its type's factors together."""
    label = f"{kind} {section}".strip() if section in ("triode", "pentode") else kind
    out: dict[str, float] = {}
    for of in OF:
        rows = [circuit.column.get(name) for name in (f"{valve} {of}", f"type {label} {of}")]
        out[of] = float(np.sqrt(sum(circuit.parameters[row].sigma ** 2 for row in rows if row is not None)))
    return out


def _factors(sigmas: dict[str, float]) -> dict[str, Any]:
    """The valve as it is, then three standard deviations off, one thing at a time, either way: (valve,) each."""
    moves = np.zeros((len(OF), 1 + 2 * len(OF)))
    for n, of in enumerate(OF):
        moves[n, 1 + 2 * n], moves[n, 2 + 2 * n] = STRONGEST * sigmas[of], -STRONGEST * sigmas[of]
    return {
        "perveance": np.maximum(1.0 + moves[0], 0.05),
        "mu": np.maximum(1.0 + moves[1], 0.05),
        "contact": moves[2],
    }
