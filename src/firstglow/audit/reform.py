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

from firstglow.amplifier.mistakes import an
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.options import SituationError, parts_called
from firstglow.audit.ageing import ages
from firstglow.audit.reform_dial import Limit, rail
from firstglow.markings.incoming import leak_test
from firstglow.markings.series import next_up
from firstglow.solver.discharge import WORKING_VOLTS, tool_ohms

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
LEAST_VOLTS = 9.0
"""One that stands at less here is formed to this, a battery's, where it is made for so much [V]: less shows no leak."""


@dataclass(frozen=True, slots=True)
class Step:
    """supply: volts of the supply; dial: the share of the marked mains at which its own rail gives them (``reform_dial``; None: not
    from this amplifier). at_once: drop as it is raised [V], from the step before; alone: seconds until the leak alone is read. go_on,
    give_up: drop across the resistor below which, above which [V]; *_amps the same as leak."""

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
    """One electrolytic. why: what says it is old, "" where only the asker does. rated: None where the file has none, and then there
    is no target and no step: what nobody knows it stands, nobody puts on it. meets: the most it stands at here, valves out or all in
    [V]; target: volts to come to, that and no more than it is made for. ohms, watts: the series resistor; twice what a shorted
    capacitor leaves it. behind_valve: its rail comes through a rectifier valve. beside: others on that rail. out, lifted: rectifier
    valves taken out and leads opened for the dial; limit: what ends it, or leaves none."""

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
    out: tuple[str, ...]
    lifted: tuple[str, ...]
    limit: Limit | None
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
    own = rail(amplifier, part, mains)
    meets, mine = own.running, own.supplies
    rated = part.value("volts") if "volts" in part.values and part.value("volts") > 0.0 else None
    farads, valve = part.value("farads"), any(s.kind == "valve" for s in mine)
    joints = {j for s in mine for j in (s.joint, *s.nodes)}
    beside = tuple(
        c.name for c in amplifier.of_kind("capacitor") if c.name != part.name and set(c.leads.values()) & joints
    )
    if rated is None:
        return Reform(
            part.name, ages(part), farads, None, meets, 0.0, 0.0, 0.0, (), valve, beside, own.out, own.lifted, own.limit, "", "",
        )  # fmt: skip
    target = min(max(meets, LEAST_VOLTS), rated)
    last = leak_test("electrolytic", "old", farads, target)
    ohms = next_up(target / SHORT_AMPS, "E12")
    steps = []
    before = 0.0
    for share in SHARES:
        supply = share * target
        jan = leak_test("electrolytic", "old", farads, supply).good_amps
        most = jan * ohms / (1.0 + jan * ohms / supply)  # as ``leak_test`` reads it: the resistor takes its share
        go_on, give_up = min(STANDS * supply, most), min(GIVE_UP * supply, most)
        give_up = max(give_up, go_on)
        at_once = supply - before
        alone = ohms * farads * max(0.0, log(at_once / (CHARGED * go_on)))
        # volts that it does not meet here come from no dial
        dial = own.dial(supply) if target <= meets else None
        steps.append(Step(supply, dial, at_once, alone, go_on, give_up, go_on / ohms, give_up / ohms))
        before = supply - go_on
    return Reform(
        part.name, ages(part), farads, rated, meets, target, ohms, 2.0 * target**2 / ohms, tuple(steps), valve,
        beside, own.out, own.lifted, own.limit, last.source, last.doubt,
    )  # fmt: skip
