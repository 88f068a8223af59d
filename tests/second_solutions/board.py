"""A board of joints: resistances and valves between them, dc balance found by scipy.optimize.root."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import root

from second_solutions import laws


@dataclass
class Valve:
    """law: "mu" and the rest; screen "" for a triode. limit: saturated amps of this section's cathode."""

    law: laws.Law
    plate: str
    grid: str
    cathode: str
    screen: str
    limit: float

    def amps(self, x: Mapping[str, float]) -> dict[str, float]:
        """Amps into plate, grid (and screen), within what the cathode gives."""
        k = x[self.cathode]
        grid = laws.grid_current(x[self.grid] - k)
        if not self.screen:
            i = laws.within([laws.triode(self.law, x[self.plate] - k, x[self.grid] - k), grid], self.limit)
            return dict(zip(("plate", "grid"), i, strict=True))
        plate, screen = laws.pentode(self.law, x[self.plate] - k, x[self.screen] - k, x[self.grid] - k)
        return dict(zip(("plate", "screen", "grid"), laws.within([plate, screen, grid], self.limit), strict=True))


@dataclass
class Board:
    """held: joints whose volts are given (the chassis is 0)."""

    held: dict[str, float]
    resistances: list[tuple[str, str, float]] = field(default_factory=list)
    valves: dict[str, Valve] = field(default_factory=dict)

    def r(self, a: str, b: str, ohms: float) -> None:
        self.resistances.append((a, b, ohms))

    def out_of(self, joint: str, x: Mapping[str, float]) -> float:
        """Amps that leave a held joint into the board."""
        total = 0.0
        for a, b, ohms in self.resistances:
            i = (x[a] - x[b]) / ohms
            total += i * ((a == joint) - (b == joint))
        for valve in self.valves.values():
            for electrode, i in valve.amps(x).items():
                total += i * ((getattr(valve, electrode) == joint) - (valve.cathode == joint))
        return total

    def solve(self, guess: Mapping[str, float]) -> dict[str, float]:
        """Volts of every joint; what ``guess`` does not name starts at 0."""
        known = {"chassis": 0.0, **self.held}
        free = dict.fromkeys(j for a, b, _ in self.resistances for j in (a, b) if j not in known)
        names = list(free)
        number = {name: k for k, name in enumerate(names)}

        def excess(y: np.ndarray) -> np.ndarray:
            x = known | dict(zip(names, y.tolist(), strict=True))
            out = np.zeros(len(names) + 1)  # the last collects what flows into held joints
            for a, b, ohms in self.resistances:
                i = (x[a] - x[b]) / ohms
                out[number.get(a, -1)] += i
                out[number.get(b, -1)] -= i
            for valve in self.valves.values():
                for electrode, i in valve.amps(x).items():
                    out[number.get(getattr(valve, electrode), -1)] += i
                    out[number.get(valve.cathode, -1)] -= i
            return 1e3 * out[:-1]

        start = [guess.get(name, 0.0) for name in names]
        found = root(excess, start, method="hybr", options={"xtol": 1e-13, "maxfev": 200 * (len(names) + 1)})
        assert np.abs(found.fun).max() < 1e-6, found.message  # a nanoampere
        return known | dict(zip(names, found.x.tolist(), strict=True))
