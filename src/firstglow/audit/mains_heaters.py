"""Ohms in a heater line whose heaters alone stand too high: one resistor in each lead, so that a centre tap stays in the
middle. Solved with the whole amplifier; nothing but that line's heaters moves by much."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import HeaterWinding
from firstglow.amplifier.situation import Situation
from firstglow.audit.figures import Figures, figures, run
from firstglow.audit.heater_life import GOOD, PRINT
from firstglow.audit.mains_now import Today
from firstglow.markings.made import made_watts
from firstglow.markings.series import preferred
from firstglow.solver.heaters import as_wired

LEAST_OHMS = 0.01
"""Less than this is wire, not a resistor [ohm]."""
TWICE, LEAST_WATTS = 2.0, 3.0
"""A resistor's mark over its heat, and the least that a wirewound of a fraction of an ohm is sold with [W] (common practice)."""


@dataclass(frozen=True, slots=True)
class Dropped:
    """line: the heater line. each: ohms of one resistor, count of them (one in each lead). amps: through them; heat, rated: of
    each [W]. before, after: its highest heater's volts over rated. at: running with them."""

    line: str
    envelopes: tuple[str, ...]
    each: float
    count: int
    amps: float
    heat: float
    rated: float | None
    before: float
    after: float
    at: Figures


def heater_resistors(today: Today, ratio: float = 1.0 + GOOD + PRINT) -> tuple[Dropped, ...]:
    """For every ac heater line with a heater above ``ratio`` times its rated volts today."""
    return tuple(_each(today, ratio))


def _each(today: Today, ratio: float) -> Iterator[Dropped]:
    for line in today.roles.heater_windings:
        mine = {e: today.at_now.heaters[e] for e in line.envelopes if e in today.at_now.heaters}
        if line.transformer is None or not mine:
            continue
        before = max(v / r for v, r in mine.values())
        if before > ratio and (found := _drop(today, line, mine, before)) is not None:
            yield found


def _drop(today: Today, line: HeaterWinding, mine: Mapping[str, tuple[float, float]], before: float) -> Dropped | None:
    """The E24 value nearest to what Ohm's law asks for, in as many leads as the winding has sides."""
    amplifier = today.amplifier
    asked = dropping(amplifier, line, mine)
    if asked is None:
        return None
    each = asked[0]
    transformer = amplifier.parts[str(line.transformer)]
    windings = [w for w in transformer.windings if w.name in line.windings]
    change = {f"{transformer.name} {w.name} ohms": w.ohms.value + each for w in windings}
    standing, _ = run(today.circuit, [Situation(today.now)], [change])
    if not standing.settled.all():
        return None
    at = figures(today.circuit.amplifier, today.roles, standing, 0)
    flows = float(standing.part(f"{transformer.name} {windings[0].name}")["amps_rms"][0])
    heat = each * flows**2
    after = max(at.heaters[e][0] / at.heaters[e][1] for e in mine)
    rated = made_watts(max(TWICE * heat, LEAST_WATTS), "wirewound")
    return Dropped(line.name, line.envelopes, each, len(windings), flows, heat, rated, before, after, at)


def dropping(
    amplifier: Amplifier, line: HeaterWinding, mine: Mapping[str, tuple[float, float]]
) -> tuple[float, int, float] | None:
    """(ohms of one resistor, count, amps through it): the E24 value nearest to what brings a line's hottest heater to its rated
    volts, one in each lead that the winding has; None where wire would do. mine: envelope -> (volts, rated volts). A heater's amps
    go as its volts to the power 0.6 (maker's curves, common practice)."""
    if line.transformer is None or not mine:
        return None
    parts = [p for p in amplifier.of_kind("heater") if p.envelope in mine]
    amps = sum(as_wired(p)[1] * (mine[str(p.envelope)][0] / mine[str(p.envelope)][1]) ** 0.6 for p in parts)
    volts, rated = max(mine.values(), key=lambda pair: pair[0] / pair[1])
    count = sum(w.name in line.windings for w in amplifier.parts[line.transformer].windings)
    ohms = (volts - rated) / amps / max(count, 1)
    return None if ohms < LEAST_OHMS else (preferred(ohms, "E24"), count, amps)
