"""The foot of every rung: off, unplug, wait the computed fall, discharge, below 10 V."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite
from typing import Any

import numpy as np

from firstglow.amplifier.situation import Situation
from firstglow.ladder.drains import starts
from firstglow.ladder.frame import Frame
from firstglow.ladder.places import mains_joints
from firstglow.ladder.rung_cold import large_capacitors
from firstglow.ladder.unfit import most_mains
from firstglow.solver.discharge import HAZARD_VOLTS, WORKING_VOLTS, Discharge, discharge, tool_ohms, tool_watts
from firstglow.solver.kept import LONGEST_SECONDS, wait_told

NEVER = LONGEST_SECONDS


@dataclass(frozen=True, slots=True)
class Held:
    """What one capacitor holds at switch-off on the highest mains. volts: + minus -. joules. below_60, below_10: from when on
    its size stays below, slow by tolerance [s]; None: not by itself within a day. mains_side: it hangs on the plug."""

    part: str
    volts: float
    joules: float
    below_60: float | None
    below_10: float | None
    mains_side: bool

    def json(self) -> dict[str, Any]:
        """A capacitor's row, named as ``firstglow discharge`` names it."""
        return {
            "part": self.part, "volts": round(self.volts, 1) + 0.0, "joules": self.joules, "below_60_s": self.below_60,
            "below_10_s": self.below_10, "mains_side": self.mains_side,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class MakeSafe:
    """What the foot says.

    wait_seconds: until every capacitor is below 60 V by itself, slow by tolerance, from the highest mains; None where that
        takes over ten minutes. ohms, watts: the discharge tool. order: capacitors in the order they are discharged, the bias last.
    plug: capacitors on the mains side, with the volts that the worst moment of switch-off leaves on each; wait_seconds
        says nothing about them. capacitors: what each holds, the most joules first.
    """

    needed: bool
    wait_seconds: float | None = None
    ohms: float | None = None
    watts: float | None = None
    below_volts: float | None = None
    order: tuple[str, ...] = ()
    plug: tuple[tuple[str, float], ...] = ()
    capacitors: tuple[Held, ...] = ()

    def json(self) -> dict[str, Any]:
        """As CONTRACTS.md names it, the order, and what may stand on the pins of the plug."""
        return {
            "needed": self.needed,
            "wait_seconds": self.wait_seconds,
            "ohms": self.ohms,
            "watts": self.watts,
            "below_volts": self.below_volts,
            "order": list(self.order),
            "plug": [{"part": part, "volts": round(volts, 1)} for part, volts in self.plug],
            "capacitors": [held.json() for held in self.capacitors],
        }


def make_safe(frame: Frame, rungs: Sequence[Sequence[Situation]]) -> list[MakeSafe]:
    """For each rung, from the highest volts that its situations leave on each capacitor on the highest mains.

    Rungs whose links, switches and load resistors stand alike share one network and are emptied as one batch.
    """
    made = [MakeSafe(False)] * len(rungs)
    batches: dict[str, list[int]] = {}
    worst = _at_worst(frame, rungs)
    begin = {n: starts(frame, situations) for n, situations in enumerate(worst)}
    last = {n: [at for at in situations if at.mains_volts > 0] for n, situations in enumerate(rungs)}
    for n, powered in last.items():
        if powered:
            batches.setdefault(_network(powered[-1]), []).append(n)
    for members in batches.values():
        at = last[members[0]][-1]
        volts = {name: np.array([begin[n][name] for n in members]) for name in begin[members[0]]}
        slow = discharge(frame.amplifier, at, volts, high=True)
        mains = on_mains(frame)
        for column, n in enumerate(members):
            made[n] = _one(frame, begin[n], _held(slow, column, mains))
    return made


def _network(at: Situation) -> str:
    """What of a situation changes the power-off network."""
    return repr(
        (sorted(at.lifted), sorted(at.switches_open), sorted(at.loads.items()), at.feedback, at.test_ohms, at.load)
    )


def on_mains(frame: Frame) -> frozenset[str]:
    """Capacitors on the mains side: across the line, or from it to chassis."""
    covered = mains_joints(frame.amplifier)
    return frozenset(p.name for p in frame.amplifier.of_kind("capacitor") if covered & set(p.leads.values()))


def plug_lines(frame: Frame) -> tuple[str, ...]:
    """What is said once of the pins of the plug, where a capacitor stands behind them."""
    parts = sorted(on_mains(frame))
    if not parts:
        return ()
    fill = {"parts": ", ".join(parts), "volts": f"{2**0.5 * most_mains(frame):.0f}", "hazard": f"{HAZARD_VOLTS:.0f}"}
    return (frame.words.text("rung.note.plug", **fill),)


def _held(slow: Discharge, column: int, mains: frozenset[str]) -> tuple[Held, ...]:
    """Every capacitor of one column of a batch."""
    found = []
    for c in slow.capacitors:
        volts, joules, late, low = (
            float(v[column if np.size(v) > 1 else 0]) for v in (c.start_volts, c.joules, c.below_60_s, c.below_10_s)
        )
        found.append(Held(c.part, volts, joules, _finite(late), _finite(low), c.part in mains))
    # a millionth apart is the rounding of a solution: twins stand by name
    return tuple(sorted(found, key=lambda held: (-float(f"{held.joules:.6g}"), held.part)))


def _finite(seconds: float) -> float | None:
    return seconds if isfinite(seconds) else None


def _one(frame: Frame, start: dict[str, float], held: tuple[Held, ...]) -> MakeSafe:
    highest = max((abs(v) for v in start.values()), default=0.0)
    plug = tuple((name, start[name]) for name in sorted(on_mains(frame)))
    order = _order(frame, start)
    ohms = tool_ohms(highest)
    watts = tool_watts(highest)
    falls = [inf if h.below_60 is None else h.below_60 for h in held if not h.mains_side]
    wait = wait_told(max(falls, default=0.0), NEVER)
    return MakeSafe(True, wait, ohms, watts, WORKING_VOLTS, order, plug, held)


def before_warm(frame: Frame, at: Situation) -> Situation | None:
    """How HT stands in a situation until the cathodes are warm: nothing draws yet. None where no HT is on."""
    here = frame.physics.joints(at)
    if not any(abs(here[s.joint][0]) > HAZARD_VOLTS for s in frame.supplies("ht")):
        return None
    return frame.ht_only(loads=at.loads).but(mains_volts=at.mains_volts)


def while_warming(frame: Frame, at: Situation) -> tuple[Situation, ...]:
    """How a situation stands on its way to warm: nothing draws yet; then small valves draw and output valves, slower or fitted
    last, do not. Nothing where no HT is on."""
    cold = before_warm(frame, at)
    if cold is None:
        return ()
    if not frame.output_envelopes - at.out or not frame.small_envelopes - at.out:
        return (cold,)
    return cold, at.but(out=at.out | frame.output_envelopes, idle={})


def _at_worst(frame: Frame, rungs: Sequence[Sequence[Situation]]) -> list[list[Situation]]:
    """Of each rung every powered situation on the highest mains, and how each stands while it warms: who switches off then
    leaves that behind. All of them are asked of the physics together."""
    more = max(1.0, most_mains(frame) / frame.gear.mains_now)
    warm = [[at.but(mains_volts=more * at.mains_volts) for at in rung if at.mains_volts > 0.0] for rung in rungs]
    frame.physics.prepare([at for rung in warm for at in rung])
    cold = [[c for at in rung for c in while_warming(frame, at)] for rung in warm]
    frame.physics.prepare([at for rung in cold for at in rung])
    return [[*w, *c] for w, c in zip(warm, cold, strict=True)]


def _order(frame: Frame, start: dict[str, float]) -> tuple[str, ...]:
    """Reservoirs, then every other large capacitor above 10 V by its volts, the bias supplies' last."""
    large = {p.name for p in large_capacitors(frame)} - on_mains(frame)
    charged = [name for name, volts in start.items() if name in large and abs(volts) > WORKING_VOLTS]
    first = {s.reservoir for s in frame.supplies("ht")}
    last = {c for s in frame.negatives for n in (s.joint, *s.nodes) for c in frame.capacitors_on(n, s.ret)}
    return tuple(sorted(charged, key=lambda c: (c in last, c not in first, -abs(start[c]), c)))
