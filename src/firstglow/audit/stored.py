"""What every capacitor keeps once the plug is out: from the most that stands on it on the highest mains, with its path and
without it. The wait is the ladder's (``solver.kept``).

Slow by tolerance and without help from leakage, the figures a person waits for. Arithmetic on the drawing, never a promise:
a joint counts as discharged when a meter has read it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.mistakes import an
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.named import check_names
from firstglow.amplifier.options import SituationError
from firstglow.amplifier.situation import Fault, Situation
from firstglow.amplifier.supplies import supplies
from firstglow.audit.parted import Parted, bleeders, hot_joint, parted
from firstglow.audit.ways import laid_for
from firstglow.readings.bleeder import MINUTE, Bleeder
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.discharge import (
    HAZARD_VOLTS,
    NEVER_SECONDS,
    Discharge,
    capacitor_starts,
    discharge,
    tool_ohms,
    tool_watts,
)
from firstglow.solver.idle import stand
from firstglow.solver.kept import LONGEST_SECONDS, STEP_SECONDS, Stands, most_kept, wait_told
from firstglow.solver.overshoot import overshoot

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Kept:
    """One capacitor after switch-off. volts: + minus -. below_60, below_10 [s], None: not by itself within a day.

    path: parts it empties through. without_60, without_10: the same with the resistors of its path open.
    mains_side: it stands on the mains. watts: peak of the discharge resistor. joint: its hot end, where it is read.
    """

    part: str
    volts: float
    joules: float
    below_60: float | None
    below_10: float | None
    path: tuple[str, ...]
    without_60: float | None
    without_10: float | None
    mains_side: bool
    watts: float
    joint: str

    @property
    def slow(self) -> bool:
        """Does it stand above 60 V after a minute?"""
        late = self.below_60 is None or self.below_60 > MINUTE
        return late and not self.mains_side and abs(self.volts) > HAZARD_VOLTS


@dataclass(frozen=True, slots=True)
class Stored:
    """rows: HT first, bias last. mains: at the socket [V rms]. ohms, watts: of the discharge resistor at the highest volts.
    wait: until the last one that falls by itself, but those on the mains side, is below 60 V, in whole steps [s]; last: of
    the last ones the one that holds most, None where all are at once. wait_mains: the mains that the wait is of. never:
    those that do not, but those on the mains side. bleeders: proposed, by capacitor. opened: taken as open. on_mains:
    it has a plug; False on a bench supply. bias: it has a negative supply, which is emptied last. parted: switches, fuses and links
    that part one from its drain; behind: of a capacitor with a bleeder which of those may be open meanwhile."""

    rows: tuple[Kept, ...]
    mains: float
    bleeders: Mapping[str, Bleeder]
    ohms: float
    watts: float
    highest: float
    wait: float
    last: Kept | None
    never: tuple[str, ...]
    wait_mains: float
    opened: tuple[str, ...]
    fall: Discharge
    on_mains: bool = True
    bias: bool = True
    parted: tuple[Parted, ...] = ()
    behind: Mapping[str, str] = field(default_factory=dict)

    @property
    def told(self) -> float | None:
        """The wait as the ladder's foot has it [s]; None where it does not fall by itself."""
        return None if self.never else wait_told(self.wait, LONGEST_SECONDS)

    @property
    def rated(self) -> float:
        """What the discharge resistor is made for [W]; ``watts`` is its peak, for a moment."""
        return tool_watts(self.highest)

    @property
    def plug(self) -> tuple[Kept, ...]:
        """Those on the mains side: behind the switch, and on the pins of the plug."""
        return tuple(r for r in self.rows if r.mains_side)


OPENED = ("resistor", "choke", "switch", "fuse", "wire")
"""Kinds that may be taken as open."""


def checked(amplifier: Amplifier, opened: Sequence[str]) -> list[Fault]:
    """The parts taken as open as faults. SituationError for a name that is nothing of ``OPENED`` here."""
    faults = [Fault(name, "open") for name in opened]
    check_names(amplifier, Situation(0.0), faults)
    wrong = [name for name in opened if amplifier.parts[name].kind not in OPENED]
    if wrong:
        kind = an(amplifier.parts[wrong[0]].kind)
        raise SituationError(
            "--open", f"{wrong[0]!r} is {kind}", "a resistor, choke, switch, fuse or wire", f"it without {wrong[0]!r}"
        )
    return faults


def stored(amplifier: Amplifier, highest: Mapping[str, float], mains: float, opened: Sequence[str] = ()) -> Stored:
    """highest: volts across each capacitor to start from (``ColdStart.highest``). mains: at the socket [V rms]. opened:
    parts taken as open (see ``checked``)."""
    faults = checked(amplifier, opened)
    on_mains = capacitor_starts(amplifier, mains, lambda _: np.zeros(1))
    start = {name: highest.get(name, float(volts[0])) for name, volts in on_mains.items()}
    fall = discharge(amplifier, Situation(mains), start, faults, high=True)
    by_name = {c.part: c for c in fall.capacitors}
    order = sorted((n for n in by_name if start[n]), key=_order(amplifier, start))
    most = max((abs(v) for v in start.values()), default=0.0)
    ohms = tool_ohms(most)
    rows = []
    for name in order:
        path, without = by_name[name].path, None
        gone = [p for p in path if amplifier.parts[p].kind == "resistor"] if set(path) <= set(amplifier.parts) else []
        if gone:
            lost = [Fault(p, "open") for p in gone if p not in [f.part for f in faults]]
            without = discharge(amplifier, Situation(mains), start, [*faults, *lost], high=True).of(name)
        mine = by_name[name]
        open_too = without or mine
        rows.append(
            Kept(
                name, start[name], float(mine.joules[0]), _whole(mine.below_60_s), _whole(mine.below_10_s), path,
                _whole(open_too.below_60_s), _whole(open_too.below_10_s), bool(on_mains[name][0]), start[name] ** 2 / ohms,
                hot_joint(amplifier, name),
            )
        )  # fmt: skip
    inside = [r for r in rows if not r.mains_side]
    seconds = max((r.below_60 for r in inside if r.below_60 is not None), default=0.0)
    # capacitors of one rail come down together: told is the one that holds most
    late = [r for r in inside if r.below_60 and r.below_60 > seconds - STEP_SECONDS]
    last = max(late, key=lambda r: r.joules, default=None)
    wait = wait_told(seconds, NEVER_SECONDS) or 0.0
    never = tuple(r.part for r in inside if r.below_60 is None)
    apart = parted(amplifier, start, fall, faults, [r.part for r in inside])
    slow = {r.part for r in rows if r.slow}
    proposed, behind = bleeders(amplifier, start, [r.part for r in rows], slow, faults, apart)
    return Stored(
        tuple(rows), mains, proposed, ohms, most**2 / ohms, most, wait, last, never, mains, tuple(opened), fall,
        bool(amplifier.of_kind("inlet")), any(s.use in ("bias", "negative") for s in supplies(amplifier)),
        apart, behind,
    )  # fmt: skip


def highest_mains(amplifier: Amplifier) -> float:
    """The most that the file says the socket may give [V rms]."""
    return amplifier.mains_volts * (1.0 + amplifier.mains_spread)


def at_worst(
    amplifier: Amplifier,
    mains: float | None = None,
    opened: Sequence[str] = (),
    met: Mapping[str, float] | None = None,
) -> Stored:
    """What is kept on ``mains`` [V rms], default the highest; the wait is that of the highest whatever they are today. met: what
    each capacitor met in a start on these mains, where it was worked out: for its volts, not for the wait, which is one for
    the ladder and for this. Raises SolveError."""
    high = highest_mains(amplifier)
    volts = high if mains is None else mains
    stands, more = most_on(amplifier, volts), met or {}
    start = {name: max(v, more.get(name, 0.0), key=abs) for name, v in stands.items()}
    here = stored(amplifier, start, volts, opened)
    if volts >= high and not more:
        return here
    worst = stored(amplifier, most_on(amplifier, high), high, opened)
    return replace(here, wait=worst.wait, last=worst.last, wait_mains=high)


def most_on(amplifier: Amplifier, mains: float) -> dict[str, float]:
    """The most volts that these mains put on each capacitor: everything in and warm, with every cathode cold, and with every valve
    but rectifiers out, each with the presets at their idle and at both ends, the ring of a choke included. Raises SolveError."""
    circuit = compile_circuit(amplifier)
    targets = {v: t.amps.value for v, t in amplifier.idle.items() if t.pot}
    idle = stand(circuit, Situation(amplifier.mains_volts, idle=targets))
    pots = {k: float(at[0]) for k, at in idle.pots.items()}
    settings = [pots, *(dict.fromkeys(pots, end) for end in (0.0, 1.0) if pots)]
    out = all_but_rectifiers(amplifier)
    situations = [Situation(mains, pots=at) for at in settings]
    warm = len(situations)
    situations += [Situation(mains, pots=at, out=o) for at in settings for o in (frozenset(), out)]
    laid = np.stack([laid_for(circuit, at, k >= warm, ()) for k, at in enumerate(situations)], axis=1)
    standing = circuit.solve(laid, np.repeat(idle.standing.x, len(situations), axis=1))
    whole = circuit.vector(situations[0])

    def stands(k: int) -> Stands:
        def dc(joint: str) -> Array:
            return standing.dc(joint)[k : k + 1] if f"dc {joint}" in circuit.index else np.zeros(1)

        def ring(red: str, black: str, settled: float) -> float:
            return overshoot(circuit, whole, red, black, settled)

        return Stands(mains, dc, ring if k >= warm else None)

    return most_kept(amplifier, [stands(k) for k in range(len(situations))])


def all_but_rectifiers(amplifier: Amplifier) -> frozenset[str]:
    """Glasses that come out for the barest HT: their heaters load no winding."""
    kept = {p.envelope for p in amplifier.of_kind("rectifier")}
    return frozenset(str(p.envelope) for p in amplifier.of_kind("valve") if p.envelope not in kept)


def _order(amplifier: Amplifier, start: Mapping[str, float]) -> Callable[[str], tuple[bool, bool, float, str]]:
    """HT reservoirs first, then by volts, the negative supplies' last: bias gone first would leave hot valves conducting."""
    first = {c for s in supplies(amplifier) if s.use == "ht" for c in (s.reservoirs or (s.reservoir,)) if c}
    negative = {n for s in supplies(amplifier) if s.use in ("bias", "negative") for n in (s.joint, *s.nodes)}
    last = {c.name for c in amplifier.of_kind("capacitor") if set(c.leads.values()) & negative} - first
    return lambda name: (name in last, name not in first, -abs(start[name]), name)


def _whole(seconds: Array) -> float | None:
    value = float(np.max(seconds))
    return value if isfinite(value) else None
