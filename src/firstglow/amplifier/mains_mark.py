"""How far the mains may be from what a primary is marked for: one rule for the file, the bench and the command line."""

from firstglow.amplifier.model import Amplifier, Problem

HEATER_VOLTS, MOST_HEATER_VOLTS = 6.3, 6.9
"""A heater's marked volts, and the most it may ever get: 10 % over (makers' absolute limit, common practice) [V]."""
MOST_OVER = 1.005 * MOST_HEATER_VOLTS / HEATER_VOLTS
"""Mains over the volts that the primary is marked for: with the 10 % of EN 50160 a heater is just at its limit."""
MOST_SOLVED = 1.3
"""Mains over the mark up to which a standing solution is given: what a wrong tap does (FILE.md 4). No ladder goes there."""
LEAST_OVER = 0.85
"""Below this no heater is warm enough to mean anything (15 % under, common practice)."""


def mains_refused(amplifier: Amplifier, volts: float) -> Problem | None:
    """Why no ladder is made for so many volts at the socket; None where the primary in use can live on them."""
    told = over_mark(amplifier, volts)
    if not told:
        return None
    low, high = LEAST_OVER * amplifier.mains_volts, MOST_OVER * amplifier.mains_volts
    remedy = _remedy(amplifier, volts)
    line = amplifier.lines.get("amplifier.mains", 1)
    return Problem(amplifier.file, line, "mains", told, f"{low:.0f} to {high:.0f} V at the socket", remedy)


def _remedy(amplifier: Amplifier, volts: float) -> str:
    """The tap of the primary that is nearest to so many volts, where one can live on them; else mains that it can."""
    taps = sorted(primary_volts(amplifier), key=lambda tap: abs(volts / tap - 1.0))
    if taps and LEAST_OVER <= volts / taps[0] <= MOST_OVER:
        return f"the tap marked for {taps[0]:g} V, said in the file as mains and as the primary's lead"
    # no tap is made up: what the transformer does not have is not asked for
    return f"the volts at the socket read again; as drawn it is a set for {amplifier.mains_volts:g} V"


def primary_volts(amplifier: Amplifier) -> tuple[float, ...]:
    """Volts that the primaries are marked for: from the start of each to each of its leads."""
    found = []
    for part in amplifier.of_kind("transformer"):
        total: dict[str, float] = {}
        for w in part.windings:
            if w.role == "primary":
                name = w.start.rsplit(" ", 1)[0]
                total[name] = total.get(name, 0.0) + w.turns.value
                found.append(total[name])
    return tuple(found)


def over_mark(amplifier: Amplifier, volts: float) -> str:
    """Why so many volts at the socket cannot be lived with on the primary in use; "" where they can."""
    over = volts / amplifier.mains_volts
    if LEAST_OVER <= over <= MOST_OVER:
        return ""
    return f"{volts:g} V on a primary marked {amplifier.mains_volts:g} V: {heater_told(over)}"


def heater_told(over: float) -> str:
    """What the heaters would get from so many times the marked volts."""
    volts = f"a {HEATER_VOLTS} V heater would get {HEATER_VOLTS * over:.1f} V"
    return (
        f"{volts}, and {MOST_HEATER_VOLTS} V is the most it stands" if over > 1 else f"{volts}, too little to judge by"
    )
