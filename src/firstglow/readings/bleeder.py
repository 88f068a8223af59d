"""A resistor across a supply's capacitors with which they are empty within a minute of switch-off."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.markings.made import made_watts
from firstglow.markings.series import next_down, preferred
from firstglow.solver.discharge import HAZARD_VOLTS, Tool, discharge

MINUTE = 60.0
"""A capacitor that is not below 60 V by then gets a bleeder proposed [s]."""
TRIES = 36
"""E24 steps down from four times what the capacitors alone ask for."""
EXACT = 0.05
"""A bleeder's own tolerance, which slows it."""
HALF = 0.5
"""Part of its rating that a bleeder is let run at, for years in a warm chassis (common practice)."""
RESISTOR_VOLTS = 350.0
"""Volts that one film resistor of 1 to 3 W stands (common practice; the maker's figure counts)."""

LEAST_FARADS = 1e-6
"""Less asks for no fewer ohms: begun from there [F]."""
LEAST_WATTS = 1.0
"""Smaller ones stand fewer volts: 250 V of a quarter watt (common practice)."""


@dataclass(frozen=True, slots=True)
class Bleeder:
    """across: the capacitor. ohms: of all in series, each ``each_ohms``, ``count`` of them. each_volts: on each.
    each_watts: a made rating, run at half of it. seconds: until its supply is below 60 V with it.
    """

    across: str
    ohms: float
    count: int
    each_ohms: float
    each_volts: float
    each_watts: float
    seconds: float


def bleeder(
    amplifier: Amplifier, name: str, with_it: Sequence[str], start: Mapping[str, float], faults: Sequence[Fault] = ()
) -> Bleeder | None:
    """A resistor across a capacitor (E24, as many in series as its volts ask for) with which it and those of ``with_it`` are
    below 60 V within a minute, capacitance and resistance at the high end of their spreads; None where none does."""
    leads, volts = amplifier.parts[name].leads, abs(start[name])
    above = max(max(abs(start[n]) for n in with_it) / HAZARD_VOLTS, 1.1)
    farads = sum(amplifier.parts[n].value("farads") for n in with_it)
    count = max(int(np.ceil(volts / RESISTOR_VOLTS)), 1)
    farads = max(farads, LEAST_FARADS)
    each = preferred(4.0 * MINUTE / (farads * float(np.log(above))) / count, "E24")
    for _ in range(TRIES):
        tool = Tool(leads["+"], leads["-"], each * count * (1.0 + EXACT))
        fall = discharge(amplifier, Situation(0.0), start, faults, high=True, tool=tool)
        seconds = max(float(np.max(fall.of(n).below_60_s)) for n in with_it)
        if seconds <= MINUTE:
            watts = max((volts / count) ** 2 / each / HALF, LEAST_WATTS)
            made = made_watts(watts, "film") or made_watts(watts, "wirewound")
            return None if made is None else Bleeder(name, each * count, count, each, volts / count, made, seconds)
        each = next_down(0.99 * each, "E24")  # at or below: one step of a series of twenty-four is 10 %
    return None
