"""The cold start on the highest mains: how high each HT joint goes, what the capacitors meet, which comes first, bias or
current; and the same once more after a few seconds off, with hot cathodes.

Presets stand where the idle targets put them at nominal mains. Warm-up times are each type's own; the band of the HT peaks
takes 10 to 20 s for indirectly and 2 to 4 s for directly heated cathodes (common practice), rectifiers fast while all
else is slow and the other way round.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier, AmplifierError, Problem
from firstglow.amplifier.role_types import OutputValve
from firstglow.amplifier.roles import roles
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import supplies
from firstglow.audit.bias_holds import Hottest
from firstglow.audit.bias_late import Late, before_its_bias
from firstglow.audit.bias_lifts import Lift, Off, lift, switched_off
from firstglow.audit.lamp_start import LampStart, lamp_start
from firstglow.audit.restarts import OFF_SECONDS, restarts
from firstglow.readings.stops import SURGE_HIGH, SURGE_LOW, SURGE_STEP_VOLTS
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.idle import stand
from firstglow.solver.slow import Course, Slow, Stretch
from firstglow.solver.standing import SolveError

Array = NDArray[np.float64]

SECONDS = 60.0
AGAIN_SECONDS = 20.0
INDIRECT, DIRECT = (10.0, 20.0), (2.0, 4.0)
"""Fast and slow warm-up [s] (common practice)."""
TENTH = 0.1
"""Part of its idle from which on an output valve is said to conduct."""
MUCH = 1.5
"""Times its idle from which on a start's current is told."""
THERE = 0.9
"""Part of the bias it runs on from which on the bias is said to be there."""


@dataclass(frozen=True, slots=True)
class Peak:
    """Highest volts of one supply joint to chassis. at [s]. low, high: of slow and fast warm-up. settled: warm. tenth: when
    it first stood at a tenth of what it settles at [s]."""

    joint: str
    volts: float
    at: float
    low: float
    high: float
    settled: float
    tenth: float | None


@dataclass(frozen=True, slots=True)
class Stress:
    """One capacitor: most volts across it (+ minus -, by size, the band's own included), when, on which start; working and
    surge volts (None where the file says none). reverse: the most the wrong way round [V]."""

    part: str
    volts: float
    at: float
    when: str
    working: float | None
    surge: float | None
    reverse: float

    @property
    def verdict(self) -> str:
        """Fit, past its working volts for a while, past its surge volts, or unknown."""
        if self.working is None or self.surge is None:
            return "rating unknown"
        if self.volts > self.surge:
            return "past its surge volts"
        return "past its working volts" if self.volts > self.working else "within its working volts"


@dataclass(frozen=True, slots=True)
class Coming:
    """One output valve through one start. off: seconds off before it (None: cold).

    conducts: when a tenth of its idle flows [s after switching on]. ready: when its bias stands at nine tenths of what it
    runs on. holds: from when on its bias holds the hottest valve of the type within its watts
    (``bias_holds``; where its watts are not known, ``ready``); None: never. most: highest cathode current [A], idle: what it
    settles at [A]. bias: volts of its grid to chassis when a tenth flows, settled: warm. wanted: grid volts to the cathode that
    hold the hottest (None where ``ready`` must do). lift: where it let go again after it had held, and why. before: what it draws
    until its bias holds, where that comes after its current (None where ``ready`` must do).
    """

    valve: str
    off: float | None
    conducts: float | None
    ready: float | None
    holds: float | None
    most: float
    idle: float
    bias: float | None
    settled: float
    fixed: bool
    wanted: float | None = None
    lift: Lift | None = None
    before: Late | None = None

    @property
    def ahead(self) -> float | None:
        """Seconds by which the bias holds before the current comes; negative: after it. None: one of them never comes."""
        return None if self.conducts is None or self.holds is None else self.conducts - self.holds

    @property
    def much(self) -> bool:
        """Does it draw well more than its idle?"""
        return self.most > MUCH * self.idle > 0.0

    @property
    def late(self) -> bool:
        """Does a tenth of its idle flow before its bias holds it?"""
        return self.fixed and self.conducts is not None and (self.holds is None or self.holds > self.conducts)


@dataclass(frozen=True)
class ColdStart:
    """What came of it. course: samples nominal, rectifiers fast and all else slow, the other way round; offs: seconds off before
    each restart; again: samples the restarts, time counted from the first switching on. gone: with the plug out, one after the
    other, from warm. no_restart: why no restart was worked out (``offs`` and ``gone`` are empty then, ``again`` is ``course``)."""

    amplifier: Amplifier
    circuit: Circuit
    mains: float
    pots: Mapping[str, float]
    course: Course
    offs: tuple[float, ...]
    again: Course
    gone: tuple[Course, ...] = ()
    no_restart: str = ""

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """Joints of all supplies' capacitors, each once."""
        return tuple(dict.fromkeys(n for s in supplies(self.amplifier) for n in (s.joint, *s.nodes)))

    @cached_property
    def peaks(self) -> tuple[Peak, ...]:
        """Every supply joint."""
        return tuple(_peak(self.course, n) for n in self.nodes)

    @cached_property
    def stresses(self) -> tuple[Stress, ...]:
        """Every capacitor."""
        return tuple(self._stress(name) for name in self.course.stores.names[: self.course.stores.capacitors])

    @cached_property
    def valves(self) -> tuple[Coming, ...]:
        """Every output valve: cold, then after each time off."""
        out = []
        for o in roles(self.amplifier).outputs:
            out.append(coming(self.circuit, self.course, self.course, 0, o, None))
            for k, seconds in enumerate(self.offs):
                out.append(coming(self.circuit, self.again, self.course, k, o, seconds))
        return tuple(out)

    @cached_property
    def switched_off(self) -> tuple[Off, ...]:
        """Every output valve, switched off warm."""
        cold = {v.valve: v for v in self.valves if v.off is None}
        outputs = roles(self.amplifier).outputs if self.gone else ()
        return tuple(switched_off(self.gone, o, cold[o.valve].fixed) for o in outputs)

    def _stress(self, name: str) -> Stress:
        part = self.amplifier.parts[name]
        cold, hot = self.course.across(name), self.again.across(name)
        of, when = (cold, "cold start") if np.abs(cold).max() >= np.abs(hot).max() else (hot, "hot restart")
        moment = int(np.abs(of).max(axis=1).argmax())
        seconds = (self.course if of is cold else self.again).seconds
        begin = 0.0 if of is cold else float(seconds[0])
        working = part.value("volts") if "volts" in part.values and part.value("volts") > 0 else None
        return Stress(
            name, float(np.abs(of).max()), float(seconds[moment]) - begin, when, working,
            None if working is None else surge_volts(self.amplifier, name, working), max(0.0, -float(min(cold.min(), hot.min()))),
        )  # fmt: skip

    def behind(self, watts: float, seconds: float) -> LampStart:
        """The same cold start through a limiter lamp of so many watts."""
        bare, lit = (self.circuit.vector(Situation(self.mains, pots=self.pots, lamp_watts=w)) for w in (None, watts))
        return lamp_start(self.circuit, bare, lit, watts, seconds)

    @property
    def highest(self) -> dict[str, float]:
        """Most volts on every capacitor through all of it, + minus -, with its sign."""
        out = {}
        for name in self.course.stores.names[: self.course.stores.capacitors]:
            every = np.concatenate([self.course.across(name).ravel(), self.again.across(name).ravel()])
            out[name] = float(every[np.abs(every).argmax()])
        return out


def surge_volts(amplifier: Amplifier, name: str, working: float) -> float:
    """A capacitor's surge volts: its own, else an electrolytic's by IEC 60384-4, else its working volts."""
    part = amplifier.parts[name]
    stated = part.values.get("surge_volts")
    if stated is not None and stated.value > 0:
        return stated.value
    if part.type != "electrolytic":
        return working
    return working * (SURGE_LOW if working <= SURGE_STEP_VOLTS else SURGE_HIGH)


def cold_start(
    amplifier: Amplifier, mains: float | None = None, seconds: float = SECONDS,
    offs: Sequence[float] = OFF_SECONDS, again_seconds: float = AGAIN_SECONDS,
) -> ColdStart:  # fmt: skip
    """A whole cold start, off for each of ``offs`` (rising) and on again. mains: default the highest that the file's mains
    may be. AmplifierError where no capacitor is drawn: there is nothing to charge. Raises SolveError."""
    circuit = compile_circuit(amplifier)
    if not Slow(circuit).stores.capacitors:
        found, allowed = "no capacitor is drawn", "a cold start is what its capacitors meet: the reservoir at least"
        raise AmplifierError(
            (Problem(amplifier.file, 1, "parts", found, allowed, 'C1 = ["22u 450V", "HT1", "chassis"]'),)
        )
    volts = amplifier.mains_volts * (1.0 + amplifier.mains_spread) if mains is None else mains
    targets = {v: t.amps.value for v, t in amplifier.idle.items() if t.pot}
    pots = {k: float(at[0]) for k, at in stand(circuit, Situation(amplifier.mains_volts, idle=targets)).pots.items()}
    on = circuit.vector(Situation(volts, pots=pots))[:, None]
    out = circuit.vector(Situation(0.0, pots=pots))[:, None]
    course = Slow(circuit, _warm_ups(circuit)).run([Stretch(seconds, np.repeat(on, 3, axis=1))])
    plain = Slow(circuit)
    try:
        gone, again = restarts(plain, course.sample(0), on, out, offs, again_seconds)
    except SolveError as error:  # what is known of the cold start stands all the same
        return ColdStart(amplifier, circuit, volts, pots, course, (), course, no_restart=str(error))
    return ColdStart(amplifier, circuit, volts, pots, course, tuple(offs), again, gone)


def _warm_ups(circuit: Circuit) -> dict[str, Array]:
    """(nominal, rectifiers fast and all else slow, the other way round) by envelope [s]."""
    rectifiers = {p.envelope for p in circuit.amplifier.of_kind("rectifier")}
    out: dict[str, Array] = {}
    for part in circuit.amplifier.of_kind("valve", "rectifier"):
        kind = circuit.frame.types(part.type or "")
        fast, slow = DIRECT if kind.heating == "direct" else INDIRECT
        fast, slow = min(fast, kind.warmup_s), max(slow, kind.warmup_s)
        ends = (fast, slow) if part.envelope in rectifiers else (slow, fast)
        out[part.envelope or part.name] = np.array([kind.warmup_s, *ends])
    return out


def _peak(course: Course, joint: str) -> Peak:
    volts, t = course.dc(joint), course.seconds
    sizes = np.abs(volts)
    k = int(sizes[:, 0].argmax())
    tops = [float(volts[int(sizes[:, n].argmax()), n]) for n in range(volts.shape[1])]
    low, high = sorted((min(tops, key=abs), max(tops, key=abs)), key=abs)
    settled = float(volts[-1, 0])
    return Peak(
        joint, float(volts[k, 0]), float(t[k]), low, high, settled, _first(t, sizes[:, 0] - TENTH * abs(settled))
    )


def _first(t: Array, over: Array) -> float | None:
    """When a quantity first is above nothing (straight between two moments) [s]; None for never."""
    up = np.flatnonzero(over >= 0.0)
    if not up.size:
        return None
    k = int(up[0])
    if k == 0:
        return float(t[0])
    return float(t[k - 1] + (t[k] - t[k - 1]) * over[k - 1] / (over[k - 1] - over[k]))


def coming(circuit: Circuit, course: Course, cold: Course, k: int, output: OutputValve, off: float | None) -> Coming:
    """Sample ``k`` of a course, against what sample 0 of ``cold`` ends on. off: as in ``Coming``."""
    t = course.seconds - course.seconds[0]
    amps, volts = course.cathode_amps(output.valve)[:, k], course.dc(output.grid)[:, k]
    idle, settled = float(cold.cathode_amps(output.valve)[-1, 0]), float(cold.dc(output.grid)[-1, 0])
    conducts = _first(t, amps - TENTH * idle) if idle > 0.0 else None
    fixed = output.bias in ("fixed", "mixed", "back") and settled < 0.0
    ready = _first(t, THERE * settled - volts) if fixed else None
    bias = None if conducts is None else float(np.interp(conducts, t, volts))
    plain = Coming(output.valve, off, conducts, ready, ready, float(amps.max()), idle, bias, settled, fixed)
    if not fixed:
        return plain
    try:
        hottest = Hottest(circuit, cold, output)
    except ValueError:
        return plain  # no watts to hold it by: nine tenths of its bias must do
    lifted = lift(hottest, course, k) if off is None else None
    found = replace(plain, holds=hottest.from_when(course, k), wanted=hottest.wanted(), lift=lifted)
    if not found.late or conducts is None:
        return found
    return replace(found, before=before_its_bias(hottest, course, k, conducts, found.holds, idle))
