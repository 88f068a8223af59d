"""One leg of a rectifier as parameter rows: its emf, its ohms, its law, its reservoir. What ``pulses`` feeds the cycle with."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstglow.amplifier.legs import Leg, Plate
from firstglow.amplifier.model import Part
from firstglow.devices.rectifier import SMALLEST_PERVEANCE
from firstglow.devices.semiconductor import selenium_law, silicon_law
from firstglow.solver.frame import Array, Frame
from firstglow.solver.linear_parts import siemens
from firstglow.solver.nodes import CHASSIS
from firstglow.solver.valves import law_row

LEAST_START_AMPS = 1e-20
"""Start current of a junction that is not there [A]."""
NOT_THERE_OHMS = 1e12
"""Series ohms of a junction that is not there: its winding's volts drive less than a nanoamp."""


STRAY_FARADS = 1e-8
"""What winding, rectifier and wiring hold a joint by without any reservoir [F] (common practice: some nanofarads)."""
NO_LEAK = 1e-30
"""Siemens of no leak at all."""


class PlateRows:
    """One rectifying path: a diode, or one plate of a rectifier valve."""

    def __init__(self, frame: Frame, plate: Plate) -> None:
        f = frame
        self.part: Part = f.amplifier.parts[plate.part]
        self.lead = plate.lead
        self.valve = self.part.kind == "rectifier"
        self.anode, self.cathode = f.lead(self.part, plate.lead), f.lead(self.part, "cathode")
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
            law = selenium_law(self.part.value("amps"), 1.0, p[self.rows["age"]])  # type: ignore[arg-type]
            series = plates * law.series_ohms + p[self.rows["series_ohms"]]
            return law.slope_volts * plates, law.start_amps * one, series, plates * law.leak_ohms
        law = silicon_law(self.part.value("amps"), 0.0)
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
        self.turns: list[tuple[int, float]] = []
        self.ohms: list[int] = []
        nominal = 0.0
        for w in leg.windings:
            part = f.amplifier.parts[w.part]
            if w.winding:
                self.turns.append((f.rows.row[f"{w.part} {w.winding} turns"], w.sign))
                self.ohms.append(f.rows.row[f"{w.part} {w.winding} ohms"])
                nominal += w.sign * next(x.turns.value for x in part.windings if x.name == w.winding)
            else:
                self.turns.append((f.rows.of(part, "volts"), w.sign))
                self.ohms.append(f.rows.of(part, "ohms"))
                nominal += w.sign * part.value("volts")
        self.ohms += [f.rows.of(f.amplifier.parts[n], "ohms") for n in (*leg.series_ac, *leg.series_dc)]
        self.phase = 1 if nominal >= 0 else -1

    def values(self, p: Array) -> LegValues:
        """Everything at these parameters."""
        turns = self.phase * sum(p[row] * sign for row, sign in self.turns) / self.frame.amplifier.mains_volts
        ohms = sum(1.0 / siemens(p[row]) for row in self.ohms)
        one = np.ones(p.shape[1])
        if self.valve:
            stages = [self._valves(stage, p) for stage in self.stages if stage[0].valve]
            # stages in series share a current: their drops (i/k)^(2/3) add
            scale = sum(k ** (-2.0 / 3.0) for k, *_ in stages) ** -1.5
            limit = np.min([limit for _, limit, *_ in stages], axis=0)
            ohms = ohms + sum(r for *_, r, _ in stages)
            leak = sum(1.0 / (g + NO_LEAK) for *_, g in stages)
            return LegValues(np.maximum(turns, 0.0), ohms, scale, limit, leak, one)
        stages = [self._junctions(stage, p) for stage in self.stages]
        slope, start, series, leak = (np.array(column) for column in zip(*stages, strict=True))
        ohms = ohms + series.sum(axis=0)
        sense = np.prod([p[plate.sense] for plate in self.plates], axis=0)
        return LegValues(np.maximum(turns, 0.0), ohms, slope.sum(axis=0), start.min(axis=0), leak.sum(axis=0), sense)

    def _valves(self, stage: Sequence[PlateRows], p: Array) -> tuple[Array, Array, Array, Array]:
        """Perveance, limit, own series ohms and leak siemens of plates in parallel."""
        k = [plate.law.perveance * np.prod(p[plate.scale], axis=0) * p[plate.inside] * p[plate.fitted] for plate in stage]
        limit = [plate.law.rated_amps * p[plate.emission] for plate in stage]
        touching = sum(p[plate.short] * p[plate.inside] for plate in stage)
        return np.maximum(sum(k), SMALLEST_PERVEANCE), sum(limit), self._own(stage, p), touching

    @staticmethod
    def _own(stage: Sequence[PlateRows], p: Array) -> Array:
        ohms = [sum((1.0 / siemens(p[r]) for r in plate.series), np.zeros(p.shape[1])) for plate in stage]
        return np.array(ohms).mean(axis=0) / len(stage)

    def _junctions(self, stage: Sequence[PlateRows], p: Array) -> tuple[Array, Array, Array, Array]:
        """Slope volts, start current, series ohms and leak ohms of equal diodes in parallel."""
        n = len(stage)
        slope, start, series, leak = stage[0].junction(p)
        fitted = sum(p[plate.fitted] for plate in stage)
        leak = 1.0 / (fitted / leak + sum(p[plate.short] for plate in stage) + NO_LEAK)
        start = np.maximum(start * fitted, LEAST_START_AMPS)
        # a small start current alone would only cost two volts more: what is not there has no way through
        gone = np.where(fitted > 0.0, 0.0, NOT_THERE_OHMS)
        return slope, start, series / n + self._own(stage, p) + gone, leak


class ReservoirRows:
    """What the legs charge: farads between start and end, and how the load takes the ripple."""

    def __init__(self, frame: Frame, leg: Leg) -> None:
        f = self.frame = frame
        start, end = leg.start, leg.end
        hot, cold = (end, start) if start == CHASSIS or end != CHASSIS else (start, end)
        self.direct, self.at_hot, self.at_cold = [], [], []
        self.esr: int | None = None
        for part in f.amplifier.of_kind("capacitor"):
            ends = {part.leads["+"], part.leads["-"]}
            row = f.rows.of(part, "farads")
            if part.name in leg.coupling or ends == {hot, cold}:
                self.direct.append(row)
            elif hot in ends:
                self.at_hot.append(row)
            elif cold in ends and cold != CHASSIS:
                self.at_cold.append(row)
            else:
                continue
            if self.esr is None:
                self.esr = f.rows.of(part, "esr_ohms")
        self.grounded = cold == CHASSIS
        self.resistors = [
            f.rows.of(part, "ohms")
            for part in f.amplifier.of_kind("resistor")
            if hot in part.leads.values() and part.leads["1"] != part.leads["2"]
        ]
        self.chokes = [f.rows.of(c, "henries") for c in f.amplifier.of_kind("choke") if hot in c.leads.values()]

    def values(self, p: Array, ripple: Array) -> tuple[Array, Array, Array]:
        """Farads, their series ohms, and the conductance that the load shows the ripple, at ``ripple`` [rad/s]."""
        nothing = np.zeros(p.shape[1])
        farads = sum((p[r] for r in self.direct), nothing)
        hot = sum((p[r] for r in self.at_hot), nothing)
        if self.grounded:
            farads = farads + hot
        elif self.at_hot and self.at_cold:
            cold = sum((p[r] for r in self.at_cold), nothing)
            farads = farads + hot * cold / (hot + cold + 1e-15)
        for row in self.chokes:
            farads = farads - 1.0 / (ripple**2 * p[row])
        drain = sum((siemens(p[r]) for r in self.resistors), nothing)
        esr = nothing if self.esr is None else p[self.esr]
        return np.maximum(farads, STRAY_FARADS), esr, drain
