"""One leg of a rectifier as parameter rows: its emf, its ohms, its law, its reservoir. What ``pulses`` feeds the cycle with."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstglow.amplifier.legs import Leg, Plate
from firstglow.amplifier.model import Amplifier, Part
from firstglow.devices.rectifier import SMALLEST_PERVEANCE
from firstglow.devices.semiconductor import selenium_law, silicon_law
from firstglow.solver.frame import Array, Frame
from firstglow.solver.linear_parts import siemens
from firstglow.solver.nodes import CHASSIS
from firstglow.solver.passive import junction_amps
from firstglow.solver.stamps import merge
from firstglow.solver.valves import law_row

LEAST_START_AMPS = 1e-20
"""Start current of a junction that is not there [A]."""
NOT_THERE_OHMS = 1e12
"""Series ohms of a junction that is not there: its winding's volts drive less than a nanoamp."""


BROKEN_OHMS = 1e8
"""A winding of more ohms than this is broken [ohm]."""
LEAST_LEAK_OHMS = 1e8
"""A leak of more ohms than this is left out of the cycle [ohm]: a good silicon junction's, less than its insulation."""
LEAST_TOUCH, TOUCH_AMPS = 1e-3, 100.0
"""Siemens from which on a path beside a plate is a touch and no leak, and amps that a siemens of it passes at least."""
NO_LEAK = 1e-30
"""Siemens of no leak at all."""


class PlateRows:
    """One rectifying path: a diode, or one plate of a rectifier valve."""

    def __init__(self, frame: Frame, plate: Plate, backwards: bool = False) -> None:
        f = frame
        self.way = -1.0 if backwards else 1.0
        self.part: Part = f.amplifier.parts[plate.part]
        self.lead = plate.lead
        self.valve = self.part.kind == "rectifier"
        ends = f.lead(self.part, plate.lead), f.lead(self.part, "cathode")
        self.anode, self.cathode = ends[::-1] if backwards else ends
        self.series = [f.rows.of(f.amplifier.parts[name], "ohms") for name in plate.series]
        self.fitted = f.rows.fixed(f"{plate.part} {plate.lead} fitted", 1.0, plate.part, "fitted")
        short = f"{plate.lead} to cathode siemens"
        self.short = f.rows.fixed(f"{plate.part} {short}", 0.0, plate.part, short)
        self.sense: int | None = None
        if self.valve:
            section = f.types(self.part.type or "").sections[0]
            self.law = section.law
            self.scale = [f.rows.of(self.part, "perveance"), law_row(f, self.part, section, "perveance")]
            self.emission = f.rows.of(self.part, "emission")
            self.inside = f.envelope_row(self.part.envelope)
        else:
            self.rows = {a: f.rows.of(self.part, a) for a in ("series_ohms", "plates", "age")}
            self.sense = f.rows.fixed(f"{plate.part} sense", 1.0, plate.part, "sense")

    def junction(self, p: Array) -> tuple[Array, Array, Array, Array]:
        """Slope volts, start current, series ohms and reverse leak ohms of a diode or stack."""
        one = np.ones(p.shape[1])
        if self.part.type == "selenium":
            plates = p[self.rows["plates"]]
            law = selenium_law(junction_amps(self.part), 1.0, p[self.rows["age"]])
            series = plates * law.series_ohms + p[self.rows["series_ohms"]]
            return law.slope_volts * plates, law.start_amps * one, series, plates * law.leak_ohms
        law = silicon_law(junction_amps(self.part), 0.0)
        return law.slope_volts * one, law.start_amps * one, p[self.rows["series_ohms"]], law.leak_ohms * one


@dataclass(frozen=True, slots=True)
class LegValues:
    """A leg's inputs to the cycle (sample,) and what its emission limit is at rated heater volts [A]."""

    turns: Array
    ohms: Array
    scale: Array
    limit: Array
    leak: Array
    sense: Array


class LegRows:
    """Parameter rows of one leg. phase: +1 where its emf is positive as the primary's dot is."""

    def __init__(self, frame: Frame, leg: Leg) -> None:
        f, self.frame, self.leg = frame, frame, leg
        self.stages = [[PlateRows(f, plate) for plate in stage] for stage in leg.stages]
        self.plates = [plate for stage in self.stages for plate in stage]
        self.valve = any(plate.valve for plate in self.plates)
        self.envelope = next((plate.part.envelope for plate in self.plates if plate.valve), None)
        self.windings: list[tuple[int, int, int, float]] = []
        for w in leg.windings:
            part = f.amplifier.parts[w.part]
            if w.winding:
                rows = [f.rows.row[f"{w.part} {w.winding} {what}"] for what in ("turns", "ohms", "short siemens")]
                self.windings.append((rows[0], rows[1], rows[2], w.sign))
            else:
                none = f.rows.fixed("nothing", 0.0)
                self.windings.append((f.rows.of(part, "volts"), f.rows.of(part, "ohms"), none, w.sign))
        self.ohms = [f.rows.of(f.amplifier.parts[n], "ohms") for n in (*leg.series_ac, *leg.series_dc)]
        self.phase = leg_phase(f.amplifier, leg)
        ends = {leg.start, leg.end}
        held = any(set(c.leads.values()) == ends for c in f.amplifier.of_kind("capacitor"))
        # a winding that only rides on a steady end (the rectifier's own heater on the HT) drives nothing there: the
        # pulses' fundamental is the cycle's, and such a joint's ac is none of theirs
        self.middle = next(
            (j for j in (leg.start, leg.end) if held and f"ac {j}" in f.index and j in self._winding_ends()), CHASSIS
        )

    def ac_ends(self, plate: PlateRows) -> tuple[str, str]:
        """Where a plate's in-phase current leaves and enters; the chassis for the leg's own steady ends, unless the pulse
        comes to them from a winding through a capacitor (a cascade doubler's pump), or a reservoir from one to the other
        takes it back to the winding (a full-wave doubler's middle)."""
        one, two = (self._behind(j) if j in {self.leg.start, self.leg.end} else j for j in (plate.anode, plate.cathode))
        return one, two

    def _winding_ends(self) -> set[str]:
        """The ends of the windings that drive the leg."""
        f, out = self.frame, set[str]()
        for w in self.leg.windings:
            part = f.amplifier.parts[w.part]
            out |= {f.lead(part, lead) for x in part.windings if x.name == w.winding for lead in (x.start, x.end)}
        return out

    def _behind(self, joint: str) -> str:
        for name in self.leg.coupling:
            ends = set(self.frame.amplifier.parts[name].leads.values())
            far = ends - {joint}
            if (
                joint in ends
                and not far & {self.leg.start, self.leg.end}
                and all(f"ac {j}" in self.frame.index for j in far)
            ):
                return far.pop()
        return self.middle

    def across(self) -> dict[int, float]:
        """Unknowns whose signed sum is the ac across the leg's windings, in the leg's own phase."""
        pairs: list[tuple[int, float]] = []
        for w in self.leg.windings:
            part = self.frame.amplifier.parts[w.part]
            one, two = ("+", "-")
            if w.winding:
                one, two = next((x.start, x.end) for x in part.windings if x.name == w.winding)
            sign = self.phase * w.sign
            pairs += [
                (self.frame.ac(self.frame.lead(part, one)), sign),
                (self.frame.ac(self.frame.lead(part, two)), -sign),
            ]
        return {k: s for k, s in merge(*pairs).items() if k != self.frame.ground}

    def shared(self, other: "LegRows", p: Array) -> Array:
        """Ohms of the windings that two legs have in common, signed as one's current moves the other's emf (sample,)."""
        out = np.zeros(p.shape[1])
        for row, own, short, sign in self.windings:
            for row2, _, _, sign2 in other.windings:
                if row == row2:
                    r = 1.0 / siemens(p[own])
                    r = np.where(r < BROKEN_OHMS, r, 0.0)  # nothing flows in a broken one
                    out = out + self.phase * other.phase * sign * sign2 * r / (1.0 + r * p[short])
        return out

    def source(self, p: Array) -> tuple[Array, Array]:
        """Turns of the windings that drive the leg, and the ohms in series with them."""
        turns, ohms = np.zeros(p.shape[1]), sum((1.0 / siemens(p[row]) for row in self.ohms), np.zeros(p.shape[1]))
        for row, own, short, sign in self.windings:
            r = 1.0 / siemens(p[own])
            # what a short across a winding leaves of its emf and of its ohms (Thevenin)
            left = 1.0 / (1.0 + r * p[short])
            turns, ohms = turns + self.phase * sign * p[row] * left, ohms + r * left
        return turns / self.frame.amplifier.mains_volts, ohms

    def values(self, p: Array) -> LegValues:
        """Everything at these parameters."""
        turns, ohms = self.source(p)
        one = np.ones(p.shape[1])
        if self.valve:
            stages = [self._valves(stage, p) for stage in self.stages if stage[0].valve]
            # stages in series share a current: their drops (i/k)^(2/3) add
            scale = sum(k ** (-2.0 / 3.0) for k, *_ in stages) ** -1.5
            limit = np.min([limit for _, limit, *_ in stages], axis=0)
            ohms = ohms + sum(r for *_, r, _ in stages)
            leak = no_small_leak(np.sum([1.0 / (g + NO_LEAK) for *_, g in stages], axis=0))
            return LegValues(np.maximum(turns, 0.0), ohms, scale, limit, leak, one)
        stages = [self._junctions(stage, p) for stage in self.stages]
        slope, start, series, leak = (np.array(column) for column in zip(*stages, strict=True))
        ohms = ohms + series.sum(axis=0)
        senses = np.array([p[plate.sense] for plate in self.plates])
        sense = np.where((senses < 0.0).all(axis=0), -1.0, 1.0)
        # one of several in series turned round: the way is closed in both directions
        ohms = ohms + np.where((senses < 0.0).any(axis=0) & (sense > 0.0), NOT_THERE_OHMS, 0.0)
        return LegValues(np.maximum(turns, 0.0), ohms, slope.sum(axis=0), start.min(axis=0), leak.sum(axis=0), sense)

    def _valves(self, stage: Sequence[PlateRows], p: Array) -> tuple[Array, Array, Array, Array]:
        """Perveance, limit, own series ohms and leak siemens of plates in parallel."""
        k = [
            plate.law.perveance * np.prod(p[plate.scale], axis=0) * p[plate.inside] * p[plate.fitted] for plate in stage
        ]
        limit = [plate.law.rated_amps * p[plate.emission] for plate in stage]
        touching = sum(p[plate.short] * p[plate.inside] for plate in stage)
        # plate on cathode passes both ways, whatever the cathode emits: forward as much as its ohms would at a volt or two
        through = touching * (touching > LEAST_TOUCH)
        return (
            np.maximum(sum(k) + through, SMALLEST_PERVEANCE),
            sum(limit) + TOUCH_AMPS * through,
            self._own(stage, p),
            touching,
        )

    @staticmethod
    def _own(stage: Sequence[PlateRows], p: Array) -> Array:
        ohms = [sum((1.0 / siemens(p[r]) for r in plate.series), np.zeros(p.shape[1])) for plate in stage]
        return np.asarray(np.mean(ohms, axis=0) / len(stage))

    def _junctions(self, stage: Sequence[PlateRows], p: Array) -> tuple[Array, Array, Array, Array]:
        """Slope volts, start current, series ohms and leak ohms of equal diodes in parallel."""
        n = len(stage)
        slope, start, series, leak = stage[0].junction(p)
        fitted = sum(p[plate.fitted] for plate in stage)
        leak = 1.0 / (fitted / leak + sum(p[plate.short] for plate in stage) + NO_LEAK)
        start = np.maximum(start * fitted, LEAST_START_AMPS)
        # a small start current alone would only cost two volts more: what is not there has no way through
        gone = np.where(fitted > 0.0, 0.0, NOT_THERE_OHMS)
        return slope, start, series / n + self._own(stage, p) + gone, no_small_leak(leak)


class LoopRows(LegRows):
    """The way that a reversed or shorted rectifier of a bridge opens: round through its neighbour, across the winding alone.

    leg: the neighbour's own leg, whose winding drives the loop; stage 0 is the bad rectifier passed backwards. beside: the
    other one of the bad one's own leg; with both of them reversed that leg itself passes backwards, and is the whole way.
    """

    def __init__(self, frame: Frame, leg: Leg, bad: Plate, good: Plate, beside: Plate) -> None:
        super().__init__(frame, leg)
        self.bad, self.good = PlateRows(frame, bad, backwards=True), PlateRows(frame, good)
        self.beside = PlateRows(frame, beside).sense
        self.stages = [[self.bad], [self.good]]
        self.plates = [self.bad, self.good]
        self.valve = self.good.valve
        self.envelope = self.good.part.envelope if self.valve else None

    def there(self, p: Array) -> Array:
        """Which samples have such a way (sample,)."""
        turned = np.zeros(p.shape[1], dtype=bool) if self.bad.sense is None else p[self.bad.sense] < 0.0
        if self.beside is not None:
            turned &= p[self.beside] > 0.0
        fitted = p[self.bad.fitted] > 0.0
        return np.asarray((turned & fitted) | (p[self.bad.short] > 0.0))

    def values(self, p: Array) -> LegValues:
        """As for a leg; what is not there has no way through."""
        turns, ohms = self.source(p)
        short = p[self.bad.short]
        slope, start, series = np.zeros(p.shape[1]), np.full(p.shape[1], np.inf), np.zeros(p.shape[1])
        if self.bad.sense is not None:
            turned = (p[self.bad.sense] < 0.0) & (p[self.bad.fitted] > 0.0) & (short <= 0.0)
            a, i, r, _ = self.bad.junction(p)
            slope, start, series = np.where(turned, a, 0.0), np.where(turned, i, np.inf), np.where(turned, r, 0.0)
        ohms = ohms + series + np.where(short > 0.0, 1.0 / (short + NO_LEAK), 0.0)
        if self.valve:
            scale, limit, own, _ = self._valves([self.good], p)
        else:
            a, limit, own, _ = self._junctions([self.good], p)
            scale, limit = slope + a, np.minimum(start, limit)
            own = own + np.where(p[self.good.sense] < 0.0, NOT_THERE_OHMS, 0.0)
        ohms = ohms + own + np.where(self.there(p), 0.0, NOT_THERE_OHMS)
        one = np.ones(p.shape[1])
        return LegValues(np.maximum(turns, 0.0), ohms, scale, limit, np.inf * one, one)


def leg_phase(amplifier: Amplifier, leg: Leg) -> int:
    """+1 where a leg conducts as the primary's dot is positive."""
    total = 0.0
    for w in leg.windings:
        part = amplifier.parts[w.part]
        total += w.sign * (
            next(x.turns.value for x in part.windings if x.name == w.winding) if w.winding else part.value("volts")
        )
    return 1 if total >= 0.0 else -1


def other_halves(
    amplifier: Amplifier, cells: Mapping[str, Sequence[Leg]]
) -> dict[tuple[str, int], list[tuple[str, int]]]:
    """For each leg: those of other cells on the same winding that conduct while it does not. What they drop in the winding
    it never meets, though the fundamental has a part of it."""
    every = {(name, n): leg for name, legs in cells.items() for n, leg in enumerate(legs)}
    out: dict[tuple[str, int], list[tuple[str, int]]] = {}
    for one, leg in every.items():
        own = {(w.part, w.winding) for w in leg.windings}
        for two, other in every.items():
            shared = own & {(w.part, w.winding) for w in other.windings}
            if one[0] != two[0] and shared and leg_phase(amplifier, leg) != leg_phase(amplifier, other):
                out.setdefault(one, []).append(two)
    return out


def bridge(legs: Sequence[Leg]) -> Sequence[Leg]:
    """The legs, if they are a bridge's: two legs of two single rectifiers each; else none."""
    return legs if len(legs) == 2 and all([len(stage) for stage in leg.stages] == [1, 1] for leg in legs) else ()


def loops_of(frame: Frame, legs: Sequence[Leg]) -> list[LoopRows]:
    """The loops of a bridge."""
    return [
        LoopRows(frame, own, other.stages[k][0], own.stages[k][0], other.stages[1 - k][0])
        for own, other in ((legs[0], legs[1]), (legs[1], legs[0]))
        for k in range(2)
    ]


def touched(leak: Array) -> Array:
    """Amps that a plate on its cathode passes forward without any emission, by its ohms; 0 where that is a leak at most."""
    return np.where(leak * LEAST_TOUCH < 1.0, TOUCH_AMPS / np.maximum(leak, 1.0 / TOUCH_AMPS), 0.0)


def no_small_leak(ohms: Array) -> Array:
    """Leak ohms, infinite where they would not matter."""
    return np.where(ohms > LEAST_LEAK_OHMS, np.inf, ohms)
