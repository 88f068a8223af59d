"""A resistor behind silicon that replaces a rectifier valve: how many ohms, how many watts, at WHICH current it matches the
valve, and what a switch-on does, which no resistor can imitate.

A valve drops volts as its current to the power two thirds and only once it is warm; a resistor in proportion, at once. The
two agree at one current. Everything here is the amplifier solved three times: with the valve, with bare silicon, and with
silicon and the resistor, presets set again in each.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.roles import roles
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import Supply
from firstglow.audit.altered import BEHIND, with_ohms_behind, with_silicon, with_valve
from firstglow.audit.figures import changed, run
from firstglow.audit.mains_now import Held, held
from firstglow.audit.mains_ways import e24
from firstglow.audit.ways import Array, levels
from firstglow.markings.made import made_watts
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.slow import Slow, Stretch
from firstglow.solver.standing import SolveError, Standing

SHARES = (1.0, 1.25, 1.5, 2.0)
"""Currents at which the three are compared, over what flows at idle."""
SPAN = 0.15, 1.2
"""Resistors tried, of the ohms that Ohm's law asks for with the dc alone: pulses make a resistor drop more."""
TWICE = 2.0
SECONDS = 40.0
"""Long enough for every cathode to warm."""
COARSE = 5e-3
"""Error of a step of the switch-on that is let pass: volts within half a percent."""
THERE, TENTH = 0.9, 0.1
"""HT is there at nine tenths of its highest; an output valve draws at a tenth of its idle."""


@dataclass(frozen=True, slots=True)
class Compared:
    """At one current [A]: HT volts with the valve, with bare silicon, with silicon and the resistor."""

    amps: float
    valve: float
    silicon: float
    resistor: float


@dataclass(frozen=True, slots=True)
class SwitchOn:
    """most: highest HT volts on the highest mains; at: when [s]; there: when nine tenths of it stood [s]; draws: when the
    first output valve draws a tenth of its idle [s], None: never."""

    most: float
    at: float
    there: float
    draws: float | None


@dataclass(frozen=True, slots=True)
class Behind:
    """One supply. valve: the type that silicon replaces. ohms; amps_rms through it at the highest current compared; heat,
    rated [W]. rows: compared. matches: dc amps at which the resistor gives the valve's HT (None: at none of those
    compared). resistor_on, valve_on: a switch-on with each (None where
    nothing says what heated the valve). held: what it puts on the capacitors. real: silicon stands in
    the amplifier as the file has it; False: asked for with --silicon."""

    supply: str
    valve: str
    ohms: float
    amps_rms: float
    heat: float
    rated: float | None
    rows: tuple[Compared, ...]
    matches: float | None
    resistor_on: SwitchOn
    valve_on: SwitchOn | None
    held: tuple[Held, ...]
    real: bool


def behind_silicon(
    amplifier: Amplifier, drawn: Amplifier | None = None, mains_now: float | None = None, replaced: str | None = None,
    as_if: bool = False,
) -> tuple[Behind, ...]:  # fmt: skip
    """Every HT supply whose silicon stands where a rectifier valve stood: by ``drawn``, the same file as drawn, or by the type
    named as ``replaced``. as_if: take silicon for the rectifier valves that stand there now. ValueError for a supply in which
    no valve could stand; SolveError."""
    out = []
    for supply in roles(amplifier).supplies:
        if supply.use != "ht" or supply.sign < 0:
            continue
        if supply.kind == "valve":
            if as_if:
                silicon = with_silicon(amplifier, supply)
                kind = str(amplifier.parts[supply.rectifiers[0]].type)
                out.append(_one(silicon, amplifier, supply.joint, kind, mains_now, real=False))
            continue
        was = _as_drawn(amplifier, drawn, supply)
        kind = replaced or next((str(p.type) for p in was if p.kind == "rectifier"), "")
        if kind:
            valve = with_valve(amplifier, supply, kind, () if replaced else was)
            out.append(_one(amplifier, valve, supply.joint, kind, mains_now, real=True))
    return tuple(out)


def _as_drawn(amplifier: Amplifier, drawn: Amplifier | None, supply: Supply) -> list[Part]:
    """The rectifier valves that fed the same joint in the drawing, and their heaters, on the joints as they are named now."""
    if drawn is None:
        return []
    for other in roles(drawn).supplies:
        if other.joint == supply.joint and other.kind == "valve":
            names = [*other.rectifiers, *(f"{drawn.parts[r].envelope} heater" for r in other.rectifiers)]
            return [_joined(amplifier, drawn, drawn.parts[n]) for n in names if n in drawn.parts]
    return []


def _joined(amplifier: Amplifier, drawn: Amplifier, part: Part) -> Part:
    """A drawn part's leads on the joints that hold the same terminals now."""
    now = {t: j.name for j in amplifier.joints.values() for t in j.terminals}
    leads = {}
    for lead, joint in part.leads.items():
        same = [now[t] for t in drawn.joints[joint].terminals if t in now]
        leads[lead] = joint if joint in amplifier.joints or not same else same[0]
    return replace(part, leads=leads)


def _one(silicon: Amplifier, valve: Amplifier, joint: str, kind: str, mains_now: float | None, real: bool) -> Behind:
    mains = levels(silicon, mains_now)
    now, high = mains["now"], max(mains["high"], mains["now"])
    mine = _supply(silicon, joint)
    bare, tube = _Stand(silicon, joint, now), _Stand(valve, joint, now)
    padded = _Stand(with_ohms_behind(silicon, mine), joint, now)
    (volts,), (amps,) = tube.volts([0.0]), tube.amps([0.0])
    bare_volts = bare.volts([0.0])[0]
    if bare_volts <= volts:
        raise SolveError(f"{joint}: silicon gives no more than the {kind}; nothing to drop", joint)
    first = (bare_volts - volts) / amps
    values = e24(SPAN[0] * first, SPAN[1] * first)
    tried = padded.each(values)
    ohms = values[int(np.argmin(np.abs(tried - volts)))]
    padded.ohms = ohms
    extra = [(s - 1.0) * amps for s in SHARES]
    drops = [tube.volts(extra), bare.volts(extra), padded.volts(extra)]
    at = tube.amps(extra)
    rows = tuple(Compared(*(float(v) for v in row)) for row in zip(at, *drops, strict=True))
    rms = float(padded.rms(extra)[-1])
    heat = ohms * rms**2
    return Behind(
        joint, kind, ohms, rms, heat, made_watts(max(TWICE * heat, 3.0), "wirewound"), rows, _crossing(rows),
        _switched(padded, high), _switched(tube, high) if _heated(valve, joint) else None,
        held(silicon, roles(silicon), padded.circuit, padded.high(high)), real,
    )  # fmt: skip


def _heated(valve: Amplifier, joint: str) -> bool:
    """Is the rectifier valve's heater drawn, so that it warms up?"""
    return all(f"{valve.parts[r].envelope} heater" in valve.parts for r in _supply(valve, joint).rectifiers)


def _supply(amplifier: Amplifier, joint: str) -> Supply:
    return next(s for s in roles(amplifier).supplies if s.joint == joint)


class _Stand:
    """One of the three amplifiers on today's mains, its presets set at idle."""

    def __init__(self, amplifier: Amplifier, joint: str, now: float) -> None:
        self.amplifier, self.joint, self.now = amplifier, joint, now
        self.circuit: Circuit = compile_circuit(amplifier)
        self.ohms: float | None = None
        self.supply = _supply(amplifier, joint)
        self._kept: dict[tuple[float | None, tuple[float, ...]], tuple[Standing, list[dict[str, float]]]] = {}

    def solved(self, extra: Sequence[float]) -> tuple[Standing, list[dict[str, float]]]:
        """Drawing so many amps more from the first HT joint than at idle (by a resistor: as many as it then takes)."""
        key = self.ohms, tuple(extra)
        if key not in self._kept:
            idle = self._idle()
            about = float(idle.dc(self.joint)[0])
            loads: list[Mapping[str, float]] = [{self.joint: about / a} if a > 0.0 else {} for a in extra]
            found = run(self.circuit, [Situation(self.now, loads=x) for x in loads], [self.change()] * len(extra))
            self._kept[key] = _proved(found, self.joint)
        return self._kept[key]

    def _idle(self) -> Standing:
        return _proved(run(self.circuit, [Situation(self.now)], [self.change()]), self.joint)[0]

    def change(self) -> dict[str, float]:
        """Its resistor, where one is chosen."""
        return {} if self.ohms is None else {f"{BEHIND} ohms": self.ohms}

    def each(self, values: Sequence[float]) -> Array:
        """HT volts at idle with each of these resistors."""
        changes = [{f"{BEHIND} ohms": r} for r in values]
        return _proved(run(self.circuit, [Situation(self.now)] * len(values), changes), self.joint)[0].dc(self.joint)

    def volts(self, extra: Sequence[float]) -> Array:
        """HT volts."""
        return self.solved(extra)[0].dc(self.joint)

    def amps(self, extra: Sequence[float]) -> Array:
        """Dc amps that the rectifiers give."""
        standing = self.solved(extra)[0]
        return np.asarray(sum(np.abs(standing.part(r)["amps"]) for r in self.supply.giving))

    def rms(self, extra: Sequence[float]) -> Array:
        """Amps rms of the pulses of all legs together."""
        standing = self.solved(extra)[0]
        wave = np.sum([standing.waves.rectifiers[name] for name in sorted(self.supply.giving)], axis=0)
        return np.asarray(np.sqrt((wave**2).mean(axis=0)))

    def high(self, volts: float) -> Array:
        """At a switch-on on these mains, nothing drawing: (parameter,)."""
        from firstglow.audit.figures import cold

        pots = self.solved([0.0])[1][0]
        return cold(self.circuit, changed(self.circuit, Situation(volts, pots=pots), self.change()))


def _proved(found: tuple[Standing, list[dict[str, float]]], joint: str) -> tuple[Standing, list[dict[str, float]]]:
    if not found[0].settled.all():
        raise SolveError(f"{joint}: with another rectifier it would not settle", joint)
    return found


def _crossing(rows: Iterable[Compared]) -> float | None:
    """Amps at which resistor and valve give the same HT, straight between the rows; from the two nearest, where it lies just
    outside of them."""
    at = list(rows)
    misses = [r.resistor - r.valve for r in at]
    for a, b, one, two in zip(at, at[1:], misses, misses[1:], strict=False):
        if one * two <= 0.0 and one != two:
            return a.amps + (b.amps - a.amps) * one / (one - two)
    slope = (misses[1] - misses[0]) / (at[1].amps - at[0].amps)
    guess = at[0].amps - misses[0] / slope if slope else float("nan")
    return guess if 0.5 * at[0].amps < guess < at[0].amps else None


def _switched(stand: _Stand, high: float) -> SwitchOn:
    """From cold, on the highest mains."""
    pots = stand.solved([0.0])[1][0]
    laid = changed(stand.circuit, Situation(high, pots=pots), stand.change())
    course = Slow(stand.circuit, tolerance=COARSE).run([Stretch(SECONDS, laid[:, None])])
    volts, t = course.dc(stand.joint)[:, 0], course.seconds
    top = int(volts.argmax())
    there = int(np.argmax(volts >= THERE * volts[top]))
    draws = []
    for o in roles(stand.amplifier).outputs:
        amps = course.cathode_amps(o.valve)[:, 0]
        up = np.flatnonzero(amps >= TENTH * amps[-1])
        if amps[-1] > 0.0 and up.size:
            draws.append(float(t[int(up[0])]))
    return SwitchOn(float(volts[top]), float(t[top]), float(t[there]), min(draws, default=None))
