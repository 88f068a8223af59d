"""What the bench's ammeter may show while the mains come up for a set-up that reads no mains current itself."""

from math import floor, log10
from typing import TYPE_CHECKING

from firstglow.amplifier.situation import Situation
from firstglow.solver.standing import SolveError

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

TWICE = 2.0  # of the computed draw, as with the transformer alone (common practice)


def most_amps(frame: "Frame", at: Situation) -> float | None:
    """Twice what the amplifier draws by its solution in this situation [A rms]. None where nothing is solved, or where the
    limiter lamp lets no more through than that: then its glow is what tells.

    The lamp is taken as out: it only lessens what is drawn, so what stands behind it never draws more.
    """
    if at.mains_volts <= 0.0:
        return None
    try:
        most = TWICE * frame.physics.mains_amps(at.but(lamp_watts=None, stimulus_volts=0.0, stimulus_hz=1000.0))
    except SolveError:
        return None
    if at.lamp_watts is not None and most >= at.lamp_watts / frame.gear.mains_now:
        return None
    return most


def amps_text(amps: float) -> str:
    """An alternating current in two figures, rounded down: 0.95 A, 210 mA."""
    step = 10.0 ** (floor(log10(amps)) - 1)
    down = floor(amps / step + 1e-9) * step
    return f"{down:.2g} A" if down >= 1.0 else f"{down * 1e3:.3g} mA"
