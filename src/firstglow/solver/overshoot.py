"""How far behind a choke the volts swing past where they settle, when a supply that is there at once is switched on.

Silicon charges the reservoir in a cycle or two, while every cathode is cold and nothing draws: choke and capacitor then
ring. Worked out in slow time for the nominal amplifier; within half a percent of the whole waveform where a reservoir
stands ahead of the choke (tests/solver); in a doubler and behind a choke input 2 to 5 % under it (waveforms integrated by hand).
"""

from functools import lru_cache

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.solver.circuit import Circuit
from firstglow.solver.frame import Array
from firstglow.solver.slow import Slow, Stretch
from firstglow.solver.standing import SolveError

SECONDS = 1.0
"""No ring of a power supply's choke outlasts this, and no cathode warms within it."""


def rings(amplifier: Amplifier) -> bool:
    """Is there a choke, and HT before any cathode is warm?"""
    return bool(amplifier.of_kind("choke")) and not amplifier.of_kind("rectifier")


def overshoot(circuit: Circuit, laid: Array, red: str, black: str, settled: float) -> float:
    """Highest volts between two joints in the first second over the ``settled`` ones with everything cold, 1 and more.

    laid: the amplifier as it stands (parameter,). 1.0 where nothing rings, or where it would not settle.
    """
    if not rings(circuit.amplifier) or settled == 0.0:
        return 1.0
    highest = _highest(circuit, laid.tobytes())
    between = highest.get(red, np.zeros(1)) - highest.get(black, np.zeros(1))
    return max(1.0, float((between / settled).max()))


@lru_cache(maxsize=4)
def _highest(circuit: Circuit, laid: bytes) -> dict[str, Array]:
    """Dc volts of every joint through the first second, (moment,); none where it would not settle."""
    try:
        course = Slow(circuit).run([Stretch(SECONDS, np.frombuffer(laid)[:, None])])
    except SolveError:
        return {}
    return {name[3:]: course.x[:, row, 0] for name, row in circuit.index.items() if name.startswith("dc ")}
