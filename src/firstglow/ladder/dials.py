"""How far the dial may go on each rung, and which load resistors let it go further.

Ceiling of a rung: the smallest of (working volts of a capacitor) over (volts it stands at full mains in THIS state).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import pi, sqrt
from typing import TYPE_CHECKING

import numpy as np

from firstglow.amplifier.roles_ends import is_safety
from firstglow.amplifier.situation import Situation
from firstglow.ladder.places import mains_joints
from firstglow.solver.frame import Array
from firstglow.solver.pumps import crest_across, pumped_joints

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

# Below this part of the mains a valve rectifier, or any other heater, means nothing (emission against heater volts; +-10
# points).
LEAST_VALVE = 0.65
FIRST_TURN, FIRST_VOLTS = 0.10, 55.0  # silicon: judged at 10 % of the dial, below 60 V
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)  # IEC 60063
MOST_WATTS = 25.0  # the largest load resistor a bench is asked for
LEAST_OHMS = 470.0
# What a meter may be wrong by of the mains that the dial is set to (an ordinary digital one: 1 % and counts, 1.5 % in all)
# and of HT itself (0.5 %), and what else moves HT by a little (common practice): no healthy one may read past a rating.
READ = 0.03


@dataclass(frozen=True, slots=True)
class Ceiling:
    """dial: fraction of the socket's volts, at most 1. part: the capacitor that sets it, None where none does.
    volts: what that capacitor stands at full mains in this state [V]. high: the same in an amplifier at the upper end
    of its transformer's tolerance, as a meter may show it. rating: what it may stand [V] (its working volts; V ac of class X or Y, and so
    are volts and high then)."""

    dial: float
    part: str | None = None
    volts: float = 0.0
    rating: float = 0.0
    high: float = 0.0


@dataclass(frozen=True, slots=True)
class Dials:
    """dial: rung -> fraction. ceilings: rung -> what sets it. loads: joint -> ohms from it to chassis, rung 4 on.

    unfit: by capacitor, rung -> its ceiling, for every rung whose full mains would pass its rating with nothing on HT
        to help ("2b" is the bias alone, "4" nothing drawing). stops_after: last rung that may follow, "" for all.
    ends_at: what ends the ladder there. choke_load: the load is there because the supply has a choke input.
    """

    dial: Mapping[str, float]
    ceilings: Mapping[str, Ceiling]
    loads: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    unfit: Mapping[str, Mapping[str, Ceiling]] = field(default_factory=dict)
    stops_after: str = ""
    ends_at: Ceiling | None = None
    choke_load: bool = False


def high(frame: "Frame", capacitor: str) -> float:
    """What a capacitor may read in an amplifier at the upper end of its transformer's tolerance, over the nominal: by the
    windings of the supply that it hangs on; one on no supply stands at HT while a valve is out. One of several in series gets more
    where the resistor that shares the volts to it is at the upper end of its own. One across the mains stands the mains."""
    reach = {"uniform": 1.0, "normal": 3.0, "exact": 0.0}
    leads = set(frame.part(capacitor).leads.values()) - {"chassis"}
    if leads & mains_joints(frame.amplifier):
        return 1.0
    own = [s for s in frame.roles.supplies if leads & set(s.nodes)] or frame.supplies("ht") or frame.roles.supplies
    steps = {(w.part, w.winding) for s in own for leg in s.legs for w in leg.windings}
    windings = (w for t in frame.amplifier.of_kind("transformer") for w in t.windings if (t.name, w.name) in steps)
    most = max((reach[w.turns.shape] * w.turns.spread for w in windings), default=0.0)
    steady = {"chassis"}.union(*({s.ret, s.joint, *s.nodes} for s in own))
    if leads <= steady:
        return 1.0 + READ + most
    across = (
        r
        for r in frame.amplifier.of_kind("resistor")
        if set(r.leads.values()) == set(frame.part(capacitor).leads.values())
    )
    share = max((reach[q.shape] * q.spread for q in (r.values["ohms"] for r in across)), default=0.0)
    return (1.0 + READ + most) * (1.0 + share)


def stands(frame: "Frame", capacitor: str, joints: Mapping[str, tuple[float, float]]) -> float:
    """The most volts across a capacitor [V]: an electrolytic's dc; what a winding's crest adds to any other's; of class X or
    Y, marked in V ac, the rms of that. joints: dc volts and ac volts rms."""
    part = frame.part(capacitor)
    if part.type == "electrolytic":
        plus, minus = (joints.get(part.leads[end], (0.0, 0.0)) for end in ("+", "-"))
        return abs(plus[0] - minus[0])

    def at(joint: str) -> tuple[Array, Array]:
        dc, ac = joints.get(joint, (0.0, 0.0))
        return np.asarray(dc), np.asarray(ac)

    crest = float(crest_across(part, pumped_joints(frame.amplifier), at))
    if not is_safety(part.type):
        return crest
    dc = min(crest, abs(float(at(part.leads["+"])[0] - at(part.leads["-"])[0])))
    return dc + (crest - dc) / sqrt(2.0)


def stressed(frame: "Frame", situation: Situation) -> dict[str, Ceiling]:
    """Every capacitor that passes its rating in a state at full mains, at the upper end of the tolerances."""
    joints = frame.physics.joints(situation)
    found = {}
    for name, rating in frame.rated.items():
        volts, over = stands(frame, name, joints), high(frame, name)
        if volts * over > rating:
            found[name] = Ceiling(rating / (volts * over), name, volts, rating, volts * over)
    return found


def ceiling(frame: "Frame", situation: Situation) -> Ceiling:
    """The ceiling of a state; ``situation`` is that state at full mains."""
    return min(stressed(frame, situation).values(), key=lambda c: c.dial, default=Ceiling(1.0))


def dials(frame: "Frame") -> Dials:
    """Dial and loads of every rung from 4 on, and where the ladder ends."""
    states = later(frame)
    bias = frame.alone()
    frame.physics.prepare([bias, frame.ht_only(), *states.values()])
    unfit = _unfit(frame, {"2b": bias, "4": frame.ht_only(), **states})
    low = ceiling(frame, bias)
    if low.dial < 1.0:  # a bias at less than full mains proves nothing
        return Dials({"4": 0.0}, {"4": low}, {}, unfit, "2a", low)
    bare = ceiling(frame, frame.ht_only())
    loads = _choke_loads(frame, bare)
    choke = bool(loads)
    first = ceiling(frame, frame.ht_only(loads=loads)) if loads else bare
    if first.dial < _least(frame, "4"):
        loads = loads or _rescue(frame, bare)
        first = ceiling(frame, frame.ht_only(loads=loads))
        if first.dial < _least(frame, "4"):
            return Dials({"4": 0.0}, {"4": bare}, {}, unfit, "3", bare)
    dial, found, carried = {"4": first.dial}, {"4": first}, {"4": loads}
    last, ends = "", None
    for rung, state in states.items():
        # every switch-on is a cold start: until the valves draw, the capacitors stand what they stand on rung 4
        here = min(first, ceiling(frame, state.but(loads=loads)), key=lambda c: c.dial)
        dial[rung], found[rung], carried[rung] = here.dial, here, loads
        if here.dial < _least(frame, rung) and not last:
            last, ends = _before(rung, states), here
    if not last and unfit:
        last, ends = "8", min((c for at in unfit.values() for c in at.values()), key=lambda c: c.dial)
    return Dials(dial, found, carried, unfit, last, ends, choke)


def _unfit(frame: "Frame", states: Mapping[str, Situation]) -> dict[str, dict[str, Ceiling]]:
    found: dict[str, dict[str, Ceiling]] = {}
    for rung, state in states.items():
        for part, here in stressed(frame, state).items():
            found.setdefault(part, {})[rung] = here
    return found


def _least(frame: "Frame", rung: str) -> float:
    """The lowest dial that means anything on a rung: heaters below two thirds of their volts emit next to nothing."""
    if not frame.gear.variable_transformer:
        return 1.0
    return LEAST_VALVE if frame.ht_rectifiers or rung != "4" else FIRST_TURN


def _before(rung: str, later: Mapping[str, Situation]) -> str:
    order = ["4", *later]
    return order[order.index(rung) - 1]


def later(frame: "Frame") -> dict[str, Situation]:
    """State of each later rung at full mains."""
    states = {"5": frame.small()}
    fitted: list[str] = []
    for number, (_, valves) in enumerate(frame.output_groups):
        fitted += [v.valve for v in valves]
        states[frame.output_rung(number)] = frame.playing(fitted)
    states["7"] = states["8"] = states["9"] = states["10"] = frame.playing(fitted)
    return states


def _choke_loads(frame: "Frame", bare: Ceiling) -> Mapping[str, float]:
    """Choke input with capacitors not rated for the peak: a load that keeps the choke's current unbroken."""
    loads = {}
    for supply in frame.supplies("ht"):
        if supply.input == "choke" and supply.first_choke is not None and bare.dial < 1.0:
            henries = frame.part(supply.first_choke).value("henries")
            loads[supply.nodes[0]] = lower(6 * pi * frame.amplifier.mains_hz * henries)
    return loads


def _rescue(frame: "Frame", bare: Ceiling) -> Mapping[str, float]:
    """The largest load resistor on the weakest capacitor's joint that brings the ceiling to full mains; empty if its
    watts cannot be had."""
    if bare.part is None:
        return {}
    leads = frame.part(bare.part).leads
    joint = leads["+"] if leads["+"] != "chassis" else leads["-"]
    for ohms in reversed(standard(LEAST_OHMS, 220e3)):
        loads = {joint: ohms}
        if ceiling(frame, frame.ht_only(loads=loads)).dial >= 1.0:
            watts = bare.rating**2 / ohms
            return loads if watts <= MOST_WATTS else {}
    return {}


def first_turn(frame: "Frame") -> float:
    """Dial at which diode-fed HT is first judged: 10 %, or lower where that would already pass 55 V."""
    if not frame.gear.variable_transformer:
        return 1.0
    joints = frame.physics.joints(frame.ht_only(FIRST_TURN, loads=frame.ht_loads))
    top = max((abs(joints[s.joint][0] - joints.get(s.ret, (0.0, 0.0))[0]) for s in frame.supplies("ht")), default=0.0)
    return FIRST_TURN if top <= FIRST_VOLTS else FIRST_TURN * FIRST_VOLTS / top


def standard(low: float, high: float) -> list[float]:
    """Standard values [ohm] from ``low`` to ``high``, rising."""
    values = [step * 10.0**decade for decade in range(8) for step in E12]
    return [v for v in values if low <= v <= high]


def lower(ohms: float) -> float:
    """The largest standard value not above ``ohms``."""
    return max(v for v in standard(1.0, 1e8) if v <= ohms * (1 + 1e-9))


def higher(ohms: float) -> float:
    """The smallest standard value not below ``ohms``."""
    return min(v for v in standard(1.0, 9e7) if v >= ohms * (1 - 1e-9))
