"""A dial instead of a supply of its own: which share of the marked mains gives a reformed capacitor its volts in the amplifier, and
from where on something else there would pass its rating.

A capacitor on HT is reformed on HT, every valve but rectifiers out. One of another supply (bias) is reformed with HT impossible, as
the ladder has it on rung 2b: the HT rectifier valve out, diode-fed HT opened at what the ladder lifts.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.roles_ends import is_safety
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import Supply, supplies
from firstglow.audit.stored import all_but_rectifiers
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.pumps import crest_across, pumped_joints
from firstglow.solver.standing import Standing

Array = NDArray[np.float64]

DIALS = np.linspace(0.02, 1.2, 60)
"""Shares of the marked mains among which a dial is looked for."""
ROOM = 1.06
"""What another capacitor may stand over what is worked out: 3 % of the meter on the dial and 3 % of the winding's turns, as the ladder
counts (common practice)."""
NO_VOLTS = 1.0
"""An electrolytic whose rating nobody knows gets no more than this from a dial that is turned for another [V]."""


@dataclass(frozen=True, slots=True)
class Limit:
    """What ends the dial. part: another capacitor; rating: what it is made for, None where the file has none [V]; dial: the share of
    the marked mains from which on it would stand more."""

    part: str
    rating: float | None
    dial: float


@dataclass(frozen=True)
class Rail:
    """Its own rail from the dial. across: volts across it at each of ``DIALS``; running: with everything in. supplies: those that it
    hangs on; out: rectifiers' glasses that come out besides the other valves, lifted: what is opened, so that HT is impossible; limit:
    None where nothing ends the dial."""

    across: Array
    running: float
    supplies: tuple[Supply, ...]
    out: tuple[str, ...]
    lifted: tuple[str, ...]
    limit: Limit | None

    def dial(self, volts: float) -> float | None:
        """The share that gives so many volts; None beyond the dial, behind a rectifier valve or past the limit."""
        if not self.supplies or any(s.kind == "valve" for s in self.supplies) or self.across[-1] < volts:
            return None
        share = float(np.interp(volts, np.maximum.accumulate(self.across), DIALS))
        return None if self.limit is not None and share >= self.limit.dial else share


def rail(amplifier: Amplifier, part: Part, mains: float) -> Rail:
    """mains: the highest at the socket [V rms]. Raises SolveError where nothing settles."""
    circuit = compile_circuit(amplifier)
    every = supplies(amplifier)
    mine = tuple(s for s in every if {part.leads["+"], part.leads["-"]} <= {s.joint, s.ret, *s.nodes})
    bare = all_but_rectifiers(amplifier)
    on_ht = not mine or any(s.use == "ht" for s in mine)
    out, lifted = ((), ()) if on_ht else _no_ht(amplifier, every, mine)
    at_dial = [
        Situation(float(d) * amplifier.mains_volts, out=bare | frozenset(out), lifted=frozenset(lifted)) for d in DIALS
    ]
    # what it meets is of the amplifier as it stands, whatever is taken out for the dial
    stands = [
        Situation(mains),
        *(Situation(float(d) * amplifier.mains_volts, out=bare) for d in DIALS),
        *(() if on_ht else at_dial),
    ]
    standing = circuit.solve(np.array([circuit.vector(s) for s in stands]).T, strict=False)
    volts = np.abs(np.asarray(standing.dc(part.leads["+"]) - standing.dc(part.leads["-"])))
    meets = max(float(volts[0]), float(np.interp(mains / amplifier.mains_volts, DIALS, volts[1 : 1 + len(DIALS)])))
    columns = slice(len(stands) - len(DIALS), len(stands))
    limit = min(_limits(circuit, standing, columns, part), key=lambda found: found.dial, default=None)
    return Rail(volts[columns], meets, mine, out, lifted, limit)


def _no_ht(
    amplifier: Amplifier, every: tuple[Supply, ...], mine: tuple[Supply, ...]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(rectifier valves to take out, leads to lift) so that no HT comes while this supply does."""
    own = {amplifier.parts[r].envelope for s in mine for r in s.rectifiers}
    ht = [s for s in every if s.use == "ht"]
    glass = {str(amplifier.parts[r].envelope) for s in ht if s.kind == "valve" for r in s.rectifiers} - own
    return tuple(sorted(glass)), tuple(sorted({lead for s in ht if s.kind != "valve" for lead in s.dc_lead}))


def _limits(circuit: Circuit, standing: Standing, columns: slice, part: Part) -> list[Limit]:
    """Every other capacitor that some dial would take past its rating; of an electrolytic without one, past next to nothing."""
    amplifier, found = circuit.amplifier, []
    pumped = pumped_joints(amplifier)

    def at(joint: str) -> tuple[Array, Array]:
        dc = standing.dc(joint)[columns] if f"dc {joint}" in circuit.index else np.zeros(len(DIALS))
        return dc, standing.ac(joint)[columns] if standing.has_ac(joint) else np.zeros(len(DIALS))

    for other in amplifier.of_kind("capacitor"):
        rating = other.value("volts") if other.values.get("volts") and other.value("volts") > 0.0 else None
        electrolytic = other.type == "electrolytic"
        if other.name == part.name or is_safety(other.type) or (rating is None and not electrolytic):
            continue
        if electrolytic:
            volts = np.abs(at(other.leads["+"])[0] - at(other.leads["-"])[0])
        else:
            volts = np.abs(np.asarray(crest_across(other, pumped, at)))
        most = NO_VOLTS if rating is None else rating / ROOM
        if float(volts[-1]) > most:
            dial = float(np.interp(most, np.maximum.accumulate(volts), DIALS))
            found.append(Limit(other.name, rating, 0.0 if volts[0] > most else dial))
    return found
