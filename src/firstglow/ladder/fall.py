"""How the capacitors fall from the moment the plug is out: what the countdown shows and what the meter is held to."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.situation import Situation
from firstglow.ladder.frame import Frame
from firstglow.ladder.make_safe import NEVER, on_mains
from firstglow.ladder.rung_cold import large_capacitors
from firstglow.solver.discharge import HAZARD_VOLTS, WORKING_VOLTS, Discharge, capacitor_starts, discharge, tool_ohms
from firstglow.solver.kept import wait_told

# Below this a meter's own step and the last few seconds decide: nothing is called slow there.
SLOW_FLOOR = 5.0  # V


@dataclass(frozen=True, slots=True)
class Place:
    """One capacitor to be read across its own two ends. part: its name. red, black: where the clips go, in words."""

    part: str
    red: str
    black: str


@dataclass(frozen=True, slots=True)
class Fall:
    """One switch-off.

    places: capacitors in the order they are discharged, HT first, bias last. start: volts on each at switch-off.
    wait_seconds: until all are below 60 V by themselves, slow by tolerance, from what was read and from the highest mains;
    None where that is never.
    ohms: the discharge resistor. watts: peak watts it takes. also: open switches and lifted links, both sides of which
    are read. plug: capacitors on the mains side with the volts that the worst moment leaves on the pins.
    """

    places: tuple[Place, ...]
    start: Mapping[str, float]
    wait_seconds: float | None
    ohms: float
    watts: float
    also: tuple[str, ...]
    plug: tuple[tuple[str, float], ...]
    slow: Discharge

    def volts(self, part: str, seconds: float) -> float:
        """Volts left on a capacitor, slow by tolerance: the most a healthy amplifier leaves there."""
        if abs(self.start.get(part, 0.0)) == 0.0:
            return 0.0
        return abs(float(self.slow.capacitor_volts(part, np.array([max(seconds, 0.0)]))[0, 0]))

    def falls_first(self, most: float) -> tuple[Place, ...]:
        """The first in order with more than ``most`` volts at switch-off, whose fall is worth reading; none where none has."""
        return tuple(p for p in self.places if abs(self.start.get(p.part, 0.0)) > most)[:1]

    def highest(self, seconds: float) -> tuple[str, float]:
        """(the capacitor with the most volts left, those volts)."""
        left = [(p.part, self.volts(p.part, seconds)) for p in self.places]
        return max(left, key=lambda found: found[1], default=("", 0.0))

    def is_slow(self, part: str, volts: float, seconds: float) -> bool:
        """Has it fallen twice as slowly as predicted: does it stand where it should have stood at half the time?"""
        return abs(volts) > max(SLOW_FLOOR, self.volts(part, seconds / 2.0))


def fall(
    frame: Frame, situations: Sequence[Situation], measured: Mapping[str, float] | None = None, told: float | None = 0.0
) -> Fall:
    """The fall from the volts that stand in these situations, the highest of each capacitor.

    measured: joint -> dc volts to chassis as read in this stage; they go before what was predicted. told: what the rung's
    foot says [s] (None: never): nobody is told a shorter wait than stands on the sheet. Without a powered
    situation every large capacitor is taken as charged to nothing known: its place is there, its fall is not.
    """
    powered = [at for at in situations if at.mains_volts > 0.0]
    mains = on_mains(frame)
    every = [p for p in large_capacitors(frame) if p.name not in mains]
    start = {p.name: 0.0 for p in frame.amplifier.of_kind("capacitor")}
    for at in powered:
        joints = {name: dc for name, (dc, _) in frame.physics.joints(at).items()} | dict(measured or {})
        for name, volts in capacitor_starts(frame.amplifier, at.mains_volts, _dc(joints)).items():
            if abs(volts[0]) > abs(start[name]):
                start[name] = float(volts[0])
    at = powered[-1] if powered else (situations[-1] if situations else Situation(0.0))
    slow = discharge(frame.amplifier, at, start, high=True)
    worst = _seconds(slow, mains)
    highest = max((abs(v) for name, v in start.items() if name not in mains), default=0.0)
    ohms = tool_ohms(highest)
    names = [p.name for p in every]
    return Fall(
        tuple(_place(frame, name) for name in _order(frame, names, start)),
        start,
        _wait(worst, told) if powered else 0.0,
        ohms,
        highest**2 / ohms,
        tuple(sorted(at.lifted | at.switches_open)),
        tuple((name, abs(start[name])) for name in sorted(mains) if start[name]),
        slow,
    )


def _wait(own: float, told: float | None) -> float | None:
    mine = wait_told(own, NEVER)
    return None if mine is None or told is None else max(mine, told)


def _seconds(slow: Discharge, but: Iterable[str]) -> float:
    """When the last capacitor but these is below 60 V [s]."""
    relaxation, left_out = slow.relaxation, set(but)
    if relaxation is None:
        return 0.0
    numbers = [k for k, store in enumerate(relaxation.stores) if store.part not in left_out]
    return max((float(np.max(relaxation.volts(k).last_above(HAZARD_VOLTS))) for k in numbers), default=0.0)


def _dc(joints: Mapping[str, float]) -> Callable[[str], NDArray[np.float64]]:
    return lambda joint: np.full(1, joints.get(joint, 0.0))


def _order(frame: Frame, names: Iterable[str], start: Mapping[str, float]) -> list[str]:
    """HT reservoirs first, whatever is thought to stand on them; then by name, each time in the same order, for figures are
    typed by habit; the bias supplies' last.

    Bias gone first would leave hot output valves conducting.
    """
    first = {c for s in frame.supplies("ht") for c in (s.reservoirs or (s.reservoir,)) if c}
    last = {c for s in frame.negatives for n in (s.joint, *s.nodes) for c in frame.capacitors_on(n, s.ret)}
    kept = [
        n for n in names if n in first or n in last or abs(start.get(n, 0.0)) > WORKING_VOLTS or not any(start.values())
    ]
    return sorted(kept, key=lambda c: (c in last, c not in first, -abs(start.get(c, 0.0)) if c in first else 0.0, c))


def _place(frame: Frame, name: str) -> Place:
    leads = frame.part(name).leads
    return Place(name, f"{name} + ({leads['+']})", f"{name} - ({leads['-']})")
