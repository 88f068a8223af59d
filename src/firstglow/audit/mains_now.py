"""How the amplifier stands on today's mains: heaters at the pins, HT, bias, output valves, and what a switch-on puts on the
capacitors, beside the same on the mains that the primary is marked for. Every figure is a full solution; none is scaled."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import Roles, roles
from firstglow.amplifier.situation import Situation
from firstglow.audit.altered import with_ohms_ahead
from firstglow.audit.cold_start import surge_volts
from firstglow.audit.figures import Figures, changed, cold, figures, full_power, mains_transformer, run, settled
from firstglow.audit.heater_life import LIMIT, PRINT
from firstglow.audit.mains_limits import as_it_runs, past
from firstglow.audit.ways import Level, levels
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.overshoot import overshoot
from firstglow.solver.standing import SolveError

OVER, UNDER = 0.02, 0.05
"""Mains over the mark by more than the one, or under it by more than the other (makers' 5 %), ask for something: a socket's
own wandering is as much."""


@dataclass(frozen=True, slots=True)
class Held:
    """What a switch-on puts on one HT capacitor before anything draws, on the highest mains. ring: how many times further
    than it settles it swings behind a choke. working, surge: None where the file says none."""

    part: str
    joint: str
    volts: float
    ring: float
    working: float | None
    surge: float | None

    @property
    def verdict(self) -> str:
        """As the cold start's own words."""
        if self.working is None or self.surge is None:
            return "rating unknown"
        if self.volts > self.surge:
            return "past its surge volts"
        return "past its working volts" if self.volts > self.working else "within its working volts"


@dataclass(frozen=True)
class Today:
    """mark: what the primary in use is marked for, now: at the socket, high: the most that it may give (``levels``)
    [V rms].

    circuit: the amplifier with a resistor of next to nothing in its line, so that every way of bringing the mains down is a
    column of it. at_mark, at_now: presets set for their idle on each; left: today with the presets as they were set on the
    mark. full: today at a guess of full power. pots, pots_mark: where the presets stand. extra: the guess's ohms on HT. past:
    what the stresses of the parts audit find beyond a limit (``mains_limits``); past_mark: the same with today's mains brought to
    the mark, the highest as much lower; empty where they are there.
    """

    amplifier: Amplifier
    roles: Roles
    circuit: Circuit
    mark: float
    now: float
    high: float
    at_mark: Figures
    at_now: Figures
    left: Figures
    full: Figures
    held: tuple[Held, ...]
    pots: Mapping[str, float]
    pots_mark: Mapping[str, float]
    extra: Mapping[str, float]
    past: tuple[str, ...]
    past_mark: tuple[str, ...]

    @property
    def over(self) -> float:
        """Mains today over the mark, less 1."""
        return self.now / self.mark - 1.0

    @property
    def needs(self) -> bool:
        """Is there anything to bring down (or up)?"""
        return needs(self.over)

    @property
    def high_on_mark(self) -> float:
        """The highest mains, once today's are brought to the mark [V rms]."""
        return self.high * self.mark / self.now

    @property
    def findings(self) -> tuple[str, ...]:
        """What is past a limit today, one line each."""
        out = []
        high = {e for e, (v, r) in self.at_now.heaters.items() if v / r > 1.0 + LIMIT + PRINT}
        low = {e for e, (v, r) in self.at_now.heaters.items() if v / r < 1.0 - LIMIT - PRINT}
        if high:
            out.append(f"heaters of {', '.join(sorted(high))}: more than 10 % over their rating")
        if low:
            out.append(f"heaters of {', '.join(sorted(low))}: more than 10 % under their rating")
        out += self.past
        for left, now in zip(self.left.outputs, self.at_now.outputs, strict=True):
            if left.limit is not None and left.watts > max(1.01 * left.limit, 1.01 * now.watts):
                out.append(
                    f"{left.valve}: plate watts: {left.watts:.3g} W of {left.limit:g} W (running, its preset left as set on "
                    f"{self.mark:g} V)"
                )
        return tuple(out)


def needs(over: float) -> bool:
    """Whether mains so far over the mark ask for something."""
    return not -UNDER <= over <= OVER


def today(amplifier: Amplifier, mains_now: float | None = None) -> Today:
    """The amplifier on the mark, on today's mains (default: the mark) and at their highest. Raises SolveError; ValueError for a
    fragment."""
    if mains_transformer(amplifier) is None:
        raise ValueError("a fragment on a bench supply has no mains side")
    found = roles(amplifier)
    mains = levels(amplifier, mains_now)
    mark, now, high = amplifier.mains_volts, mains["now"], max(mains["high"], mains["now"])
    # one for today's mains and for the mark's: what a cold start on the highest rings to is worked out for both at once
    circuit: Circuit = amplifier.once("ohms ahead", lambda a: compile_circuit(with_ohms_ahead(a)))
    standing, pots = run(circuit, [Situation(mark), Situation(now)], [{}, {}])
    if not standing.settled.all():
        raise SolveError(f"on {now:g} V it would not settle; `firstglow check` first", "HT")
    first, second = figures(amplifier, found, standing, 0), figures(amplifier, found, standing, 1)
    extra = full_power(amplifier, found, second)
    rest = [
        changed(circuit, Situation(now, pots=pots[0]), {}),
        changed(circuit, Situation(now, pots=pots[1], loads=extra), {}),
    ]
    more = settled(circuit, np.stack(rest, axis=1), np.repeat(standing.x[:, 1:], 2, axis=1))
    empty = cold(circuit, changed(circuit, Situation(high, pots=pots[1]), {}))
    switched = circuit.solve(empty, strict=False)
    if not (more.settled.all() and switched.settled.all()):
        raise SolveError(f"on {high:g} V it would not settle; `firstglow check` first", "HT")
    runs = as_it_runs(amplifier, circuit, {**mains, "high": high}, pots[1], standing.x[:, 1:])
    brought: tuple[str, ...] = ()
    if needs(now / mark - 1.0):
        down: dict[Level, float] = {"now": mark, "high": high * mark / now, "low": mains["low"] * mark / now}
        brought = tuple(past(as_it_runs(amplifier, circuit, down, pots[0], standing.x[:, :1])))
    return Today(
        amplifier, found, circuit, mark, now, high, first, second, figures(amplifier, found, more, 0),
        figures(amplifier, found, more, 1), held(amplifier, found, circuit, empty), pots[1], pots[0], extra,
        tuple(past(runs)), brought,
    )  # fmt: skip


def held(amplifier: Amplifier, found: Roles, circuit: Circuit, laid: np.ndarray) -> tuple[Held, ...]:
    """Every large HT capacitor with nothing drawing, those in series each with its own share. laid: (parameter,) of that moment."""
    standing = circuit.solve(laid)
    out = []
    for name in _large(amplifier, found):
        part = amplifier.parts[name]
        one, two = part.leads["+"], part.leads["-"]
        volts = float(standing.dc(one)[0] - standing.dc(two)[0])
        rated = part.values.get("volts")
        working = rated.value if rated is not None and rated.value > 0 else None
        ring = overshoot(circuit, laid, one, two, volts)
        surge = None if working is None else surge_volts(amplifier, name, working)
        out.append(Held(name, one, ring * volts, ring, working, surge))
    return tuple(out)


def _large(amplifier: Amplifier, found: Roles) -> list[str]:
    """What holds HT: on its nodes, what the rectifiers charge, and what follows one of those in series."""
    names = dict.fromkeys(name for node in found.ht_nodes for name in node.capacitors)
    names |= dict.fromkeys(c for s in found.supplies if s.use == "ht" for c in (s.reservoirs or (s.reservoir,)) if c)
    nodes = {node.joint for node in found.ht_nodes} | {"chassis"} | {s.ret for s in found.supplies}
    feet = {amplifier.parts[name].leads["-"] for name in names} - nodes
    names |= dict.fromkeys(c.name for c in amplifier.of_kind("capacitor") if c.leads["+"] in feet)
    return list(names)
