"""Reforming an old electrolytic on a supply of its own: steps of volts, what the series resistor drops, when to go on, when to
give up.

The leak that is let pass at each step is the one that an old electrolytic may have (``markings.incoming``: JAN-C-62 after
reforming), and never more than a tenth of the volts through the series resistor: else the capacitor does not stand at them. How
fast a film grows again nobody can foretell: no course of the leak is drawn, only its ends.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log
from shlex import quote

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.mistakes import an
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.options import SituationError, parts_called
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import supplies
from firstglow.audit.ageing import ages
from firstglow.audit.stored import all_but_rectifiers
from firstglow.markings.incoming import leak_test
from firstglow.markings.series import next_up
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.discharge import WORKING_VOLTS, tool_ohms

Array = NDArray[np.float64]

SHARES = (0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
"""Steps of the volts, as the dial's at a first power-up (common practice)."""
STANDS = 0.1
"""Part of the volts that the resistor may drop when the step is done: the capacitor has the rest."""
GIVE_UP = 0.5
"""Part of the volts that it drops of a capacitor that holds none."""
LEAST_MINUTES, MOST_MINUTES = 5.0, 60.0
"""A leak counts after five minutes (IEC 60384-4); an hour is what reforming takes (IEC 60384-4, pre-conditioning)."""
CHARGED = 0.1
"""Of what is let pass: what the charge may still add when the leak alone is read."""
SHORT_AMPS = 5e-3
"""What the series resistor lets through a shorted one (restorers' practice, seen quoted; 90 kohm at 450 V)."""
DIALS = np.linspace(0.02, 1.2, 60)
"""Shares of the marked mains among which a dial is looked for."""


@dataclass(frozen=True, slots=True)
class Step:
    """supply: volts of the supply; dial: the share of the marked mains at which its own rail gives them with every valve but
    rectifiers out (None: not from this amplifier). at_once: drop as it is raised [V], from the step before; alone: seconds until
    the leak alone is read. go_on, give_up: drop across the resistor below which, above which [V]; *_amps the same as leak."""

    supply: float
    dial: float | None
    at_once: float
    alone: float
    go_on: float
    give_up: float
    go_on_amps: float
    give_up_amps: float


@dataclass(frozen=True, slots=True)
class Reform:
    """One electrolytic. why: what says it is old, "" where only the asker does. rated: None where the file has none; meets: the
    most it stands at here, valves out or all in [V]; target: volts to come to, that and no more than it is made for. ohms, watts:
    the series resistor; twice what a shorted capacitor leaves it. behind_valve: its rail comes through a rectifier valve. beside:
    others on that rail."""

    part: str
    why: str
    farads: float
    rated: float | None
    meets: float
    target: float
    ohms: float
    watts: float
    steps: tuple[Step, ...]
    behind_valve: bool
    beside: tuple[str, ...]
    source: str
    doubt: str

    @property
    def discharged(self) -> float:
        """Seconds until the discharge tool has brought it below 10 V from all it was tried at."""
        return tool_ohms(self.target) * self.farads * log(max(self.target / WORKING_VOLTS, 1.0))


def reform(amplifier: Amplifier, names: Sequence[str] = (), mains: float | None = None) -> tuple[Reform, ...]:
    """Those named, or all that the file calls old. mains: highest at the socket [V rms], default the highest the file allows.
    SituationError for a name that is no electrolytic."""
    named = [amplifier.parts[n] for word in names for n in parts_called(amplifier, word)]
    for part in named:
        if part.kind != "capacitor" or part.type != "electrolytic":
            known = [c.name for c in amplifier.of_kind("capacitor") if c.type == "electrolytic"]
            kind = an(f"{part.type or ''} {part.kind}".strip())
            raise SituationError(
                "PART", f"{part.name!r} is {kind}", "an electrolytic", quote(known[0]) if known else "another file"
            )
    old = [c for c in amplifier.of_kind("capacitor") if c.type == "electrolytic" and ages(c)]
    parts = named or old
    if not parts:
        return ()
    volts = amplifier.mains_volts * (1.0 + amplifier.mains_spread) if mains is None else mains
    return tuple(_one(amplifier, part, volts) for part in parts)


def _one(amplifier: Amplifier, part: Part, mains: float) -> Reform:
    across, running = _across(amplifier, part, mains)
    meets = max(float(np.interp(mains / amplifier.mains_volts, DIALS, across)), running)
    rated = part.value("volts") if "volts" in part.values and part.value("volts") > 0.0 else None
    target = meets if rated is None else min(meets, rated)
    if target < 1.0:
        raise SituationError("PART", f"{part.name} meets {target:.1f} V here", "volts to reform it at", "another part")
    farads = part.value("farads")
    last = leak_test("electrolytic", "old", farads, target)
    ohms = next_up(target / SHORT_AMPS, "E12")
    mine = [s for s in supplies(amplifier) if {part.leads["+"], part.leads["-"]} <= {s.joint, s.ret, *s.nodes}]
    valve = any(s.kind == "valve" for s in mine)
    steps = []
    before = 0.0
    for share in SHARES:
        supply = share * target
        jan = leak_test("electrolytic", "old", farads, supply).good_amps
        go_on, give_up = min(STANDS * supply, jan * ohms), min(GIVE_UP * supply, jan * ohms)
        give_up = max(give_up, go_on)
        at_once = supply - before
        alone = ohms * farads * max(0.0, log(at_once / (CHARGED * go_on)))
        dial = None if valve or not mine else _dial(across, supply)
        steps.append(Step(supply, dial, at_once, alone, go_on, give_up, go_on / ohms, give_up / ohms))
        before = supply - go_on
    joints = {j for s in mine for j in (s.joint, *s.nodes)}
    beside = tuple(
        c.name for c in amplifier.of_kind("capacitor") if c.name != part.name and set(c.leads.values()) & joints
    )
    return Reform(
        part.name, ages(part), farads, rated, meets, target, ohms, 2.0 * target**2 / ohms, tuple(steps), valve,
        beside, last.source, last.doubt,
    )  # fmt: skip


def _across(amplifier: Amplifier, part: Part, mains: float) -> tuple[Array, float]:
    """Volts across it at every dial of ``DIALS`` with all valves but rectifiers out, and with everything in on ``mains``, by size."""
    circuit = compile_circuit(amplifier)
    out = all_but_rectifiers(amplifier)
    stands = [Situation(float(d) * amplifier.mains_volts, out=out) for d in DIALS] + [Situation(mains)]
    standing = circuit.solve(np.array([circuit.vector(s) for s in stands]).T, strict=False)
    volts = np.abs(np.asarray(standing.dc(part.leads["+"]) - standing.dc(part.leads["-"])))
    return volts[:-1], float(volts[-1])


def _dial(across: Array, volts: float) -> float | None:
    """Share of the marked mains that gives so many volts; None beyond the dial."""
    if across[-1] < volts:
        return None
    return float(np.interp(volts, np.maximum.accumulate(across), DIALS))
