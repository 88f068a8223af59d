"""What is past a limit on today's mains: the very stresses that the parts audit finds, running and at a cold start.

Valves pulled, standby, a hot restart and a neighbour's fault are ``firstglow parts``' own: a line here says so.
"""

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.audit.figures import changed, cold
from firstglow.audit.parts import KINDS
from firstglow.audit.proposal import said
from firstglow.audit.stress import WORST, Stress
from firstglow.audit.stress_restart import Restart
from firstglow.audit.ways import Array, Level, Stood, Way, ways
from firstglow.solver.circuit import Circuit
from firstglow.solver.standing import SolveError, Standing

LOOKED_AT = "running and at a cold start"
"""What was looked at, in bench words."""
ALIKE = 0.005
"""Parts whose figures are nearer than this share a line."""


class AsItRuns(Stood):
    """Running and cold starts alone: no hot restart is worked out for it."""

    @cached_property
    def restart(self) -> Restart | None:
        """None."""
        return None


def as_it_runs(
    amplifier: Amplifier, circuit: Circuit, mains: Mapping[Level, float], pots: Mapping[str, float], warm: Array
) -> AsItRuns:
    """Running, and the moment before anything draws, on the mains as they are and on their highest. circuit: of the amplifier, or
    of it with a resistor of next to nothing in its line; warm: a solution (unknown, 1) to begin at. SolveError."""
    mine = tuple(w for w in ways(amplifier, mains, pots) if (w.runs or w.cold) and w.level != "low")
    laid = np.stack([_laid(circuit, w) for w in mine], axis=1)
    standing = circuit.solve(laid, np.repeat(warm, len(mine), axis=1), strict=False)
    for way, good in zip(mine, standing.settled, strict=True):
        if not good:
            raise SolveError(f"{way.text}: would not settle; `firstglow check` first, or try less mains", "HT")
    return AsItRuns(amplifier, circuit, mine, standing, (), dict(mains), dict(pots))


def _laid(circuit: Circuit, way: Way) -> Array:
    laid = changed(circuit, way.situation, {})
    return cold(circuit, laid) if way.cold else laid


def past(stood: AsItRuns) -> Iterator[str]:
    """Every limit that is passed, by more than its own print, in the words of the parts table; parts that stand alike share a
    line. Heaters are told elsewhere, all of a winding in one line."""
    lines: list[tuple[Stress, list[str]]] = []
    for part in stood.amplifier.parts.values():
        if part.kind == "heater":
            continue
        for s in KINDS[part.kind](stood, part):
            if s.verdict != "unfit" or s.stress.endswith(WORST):  # past it running too: told by that row
                continue
            mine = next((names for one, names in lines if _alike(one, s)), None)
            if mine is None:
                lines.append((s, [part.name]))
            else:
                mine.append(part.name)
    for s, names in lines:
        yield f"{', '.join(names)}: {s.stress}: {said(s)} ({s.situation})"


def hurt(
    amplifier: Amplifier, circuit: Circuit, at: Situation, shorted: Standing, faults: Sequence[tuple[str, tuple[Fault, ...]]]
) -> dict[str, tuple[str, ...]]:  # fmt: skip
    """What each fault that settled takes past its rating, the faulty part itself left out: text -> parts. at: as it runs;
    shorted: its columns are the faults'. The same stresses as the parts audit's, on these mains."""
    keep = [k for k in range(len(faults)) if shorted.settled[k]]
    # a limit of the highest mains asks for a way of standing on them too: these mains are all there are here
    healthy = [Way("running", at, level, runs=True) for level in ("now", "high")]
    found = [*healthy, *(Way(faults[k][0], at, "now", faults=faults[k][1]) for k in keep)]
    laid = np.stack([circuit.vector(w.situation, w.faults) for w in found], axis=1)
    alone = circuit.solve(laid[:, :1])
    start = np.concatenate([alone.x, alone.x, shorted.x[:, keep]], axis=1)
    standing = circuit.solve(laid, start, strict=False, thorough=False)
    mains: dict[Level, float] = {"now": at.mains_volts, "high": at.mains_volts, "low": at.mains_volts}
    stood = AsItRuns(amplifier, circuit, tuple(found), standing, (), mains, dict(at.pots))
    out: dict[str, list[str]] = {w.text: [] for w in found[len(healthy) :]}
    for part in amplifier.parts.values():
        if part.kind == "fuse":
            continue
        for s in KINDS[part.kind](stood, part):
            if s.survives is False and part.name not in out[s.situation]:
                out[s.situation].append(part.name)
    return {text: tuple(names) for text, names in out.items()}


def _alike(one: Stress, other: Stress) -> bool:
    same = (one.stress, one.unit, one.rating, one.situation) == (
        other.stress,
        other.unit,
        other.rating,
        other.situation,
    )
    return same and abs(one.value - other.value) <= ALIKE * abs(one.value)
