"""What flows in the line from switch-on to warm: cold heaters, empty capacitors, and what nobody can tell, the core.

Heaters, and capacitors behind rectifier valves, come out of slow time: the rms of a cycle at a time. Empty capacitors behind
silicon charge within the first cycles, which slow time averages: they are worked out wave by wave, at the worst moment of
switching. The core's own inrush hangs on that moment and on what the core remembers: a multiple of the full-load current for
a few half cycles (EI 10 to 15, toroid 20 to 50; transformer practice, from memory).
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.primaries import copper_ohms, primary_groups
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import Supply, supplies
from firstglow.audit.figures import changed, mains_transformer
from firstglow.audit.fuse_times import Fuse
from firstglow.audit.ways import Array
from firstglow.devices.emission import heater_power, ratio_of
from firstglow.solver.circuit import Circuit
from firstglow.solver.reservoir import charged_farads
from firstglow.solver.slow import Course, Slow, Stretch

SECONDS = 30.0
COARSE = 5e-3
"""Error of a step that is let pass."""
CHARGED = 0.15
"""By then what stands behind silicon is charged [s]."""
CYCLE = 0.02
"""The first cycle of 50 Hz mains [s]."""
PHASES, STEPS = 8, 400
"""Moments of switching tried in a half cycle; steps of a cycle."""
DROP = 0.8
"""Of one silicon junction at these currents [V]."""
CORE_TIMES = {"EI": (10.0, 15.0), "toroid": (20.0, 50.0)}
"""Peak of the core's inrush over the full-load current (transformer practice, from memory)."""
CORE_HALVES = 3
"""Half cycles that it lasts, as if each were as high as the first ("a few", from memory)."""


@dataclass(frozen=True, slots=True)
class Inrush:
    """seconds, amps: (moment,) since switching on, amps rms in the line, harmonics included, without the first charge behind
    silicon. running: what it settles at. charge: peak of that charge at its worst [A], charge_i2t its I2t [A2s]. core: (least, most)
    peak amps that the core may add, core_i2t its I2t at most; copper: what no peak can pass, the crest over the primary's
    copper."""

    seconds: Array
    amps: Array
    running: float
    charge: float
    charge_i2t: float
    core: tuple[float, float]
    core_i2t: float
    copper: float

    @property
    def first(self) -> float:
        """Amps rms as it is switched on, heaters at their coldest."""
        return float(self.amps[min(1, len(self.amps) - 1)])

    @property
    def cold(self) -> float:
        """Amps rms once the first cycle is over, heaters still cold."""
        return float(np.interp(CYCLE, self.seconds, self.amps))

    def used(self, fuse: Fuse) -> float:
        """Part of what surely holds that one start takes: dt over the time that each moment's amps are held, summed; the first
        charge's and the core's at their worst over the least I2t that melts it. Above 1 it may blow."""
        t, i = self.seconds, self.amps
        middle = 0.5 * (i[1:] + i[:-1])
        part = sum(float(dt) / fuse.holds(float(a)) for dt, a in zip(np.diff(t), middle, strict=True))
        return part + (self.core_i2t + self.charge_i2t) / fuse.melts


def inrush(circuit: Circuit, volts: float, full_amps: float, pots: dict[str, float]) -> Inrush:
    """A cold start on so many volts. full_amps: of the amplifier at full power, what the core's inrush is told in. SolveError."""
    amplifier = circuit.amplifier
    laid = changed(circuit, Situation(volts, pots=pots), {})
    course = _followed(circuit, laid)
    amps = line_amps(course)
    crest: dict[tuple[str, tuple[str, ...]], float] = {}
    i2t = 0.0
    for supply in supplies(amplifier):
        if supply.kind != "valve" and supply.input == "capacitor":
            one = first_charge(amplifier, supply, volts)
            # one winding's copper holds all that it charges to one peak
            at = supply.transformer, supply.windings[:1]
            crest[at] = max(crest.get(at, 0.0), one[0])
            i2t += one[1]
    peak = sum(crest.values())
    if i2t > amps[-1] ** 2 * CHARGED:  # slow time smears the first charge: heaters alone until it is over
        over = int(np.argmax(course.seconds >= CHARGED))
        near = (course.seconds >= CHARGED) & (course.seconds <= 1.5 * CHARGED)
        heat = _heater_watts(course)  # colder than they are then they draw more, in proportion
        usual = float(np.median(heat[near]))
        amps[:over] = np.minimum(amps[:over], np.median(amps[near]) * (heat[:over] / usual if usual > 0.0 else 1.0))
    part = mains_transformer(amplifier)
    low, high = CORE_TIMES["toroid" if part is not None and _build(part) == "toroid" else "EI"]
    copper = _copper(amplifier, part)
    limit = sqrt(2.0) * volts / copper if copper else float("inf")
    peaks = min(low * full_amps, limit), min(high * full_amps, limit)
    half = 0.5 / amplifier.mains_hz
    core = CORE_HALVES * 0.5 * peaks[1] ** 2 * half
    return Inrush(course.seconds, amps, float(amps[-1]), peak, i2t, peaks, core, limit)


def _followed(circuit: Circuit, laid: Array) -> Course:
    """The cold start, kept with the circuit's amplifier: the line's own fuse is judged by it, and what is past a limit."""

    def follow(_: Amplifier) -> Course:
        return Slow(circuit, tolerance=COARSE).run([Stretch(SECONDS, laid[:, None])])

    course: Course = circuit.amplifier.once(("cold start", circuit.frame.types, laid.tobytes()), follow)
    return course


def first_charge(amplifier: Amplifier, supply: Supply, volts: float) -> tuple[float, float]:
    """Peak [A] and I2t [A2s] in the line of the first charge of a supply's reservoir behind silicon, at the worst moment of
    switching: the winding's wave through all copper and the junctions into the empty capacitor."""
    wound = {(p.name, w.name): w for p in amplifier.of_kind("transformer") for w in p.windings}
    leg = supply.legs[0]
    mine = [wound[w.part, w.winding] for w in leg.windings if w.winding]
    whole = charged_farads(amplifier, supply)
    farads = amplifier.parts[supply.reservoirs[0]].value("farads") if supply.form == "full-wave doubler" else whole
    if supply.split:  # the whole winding on both capacitors in series
        mine = list(
            {
                w.name: w for x in supply.legs for y in x.windings if y.winding for w in (wound[y.part, y.winding],)
            }.values()
        )
        farads = 1.0 / sum(1.0 / amplifier.parts[name].value("farads") for name in supply.reservoirs)
    if through := list(
        dict.fromkeys(name for x in supply.legs for name in x.coupling)
    ):  # a pump's charge is its capacitor's
        farads = 1.0 / (1.0 / farads + sum(1.0 / amplifier.parts[name].value("farads") for name in through))
    if not mine:
        return 0.0, 0.0
    turns = sum(w.turns.value for w in mine) / amplifier.mains_volts
    parts = [amplifier.parts[n] for n in (*leg.series_ac, *leg.series_dc)]
    series = sum(p.value("ohms") for p in parts if "ohms" in p.values)
    ohms = (
        sum(w.ohms.value for w in mine) + series + _copper(amplifier, amplifier.parts[leg.windings[0].part]) * turns**2
    )
    both = supply.form in ("bridge", "full wave") or supply.split
    drop = DROP * len(leg.stages) * (2 if supply.split else 1)
    h = 1.0 / amplifier.mains_hz / STEPS
    angles = np.pi * np.arange(PHASES) / PHASES * (1.0 if both else 2.0)
    held, i2t, peak = np.zeros(PHASES), np.zeros(PHASES), 0.0
    fade = np.exp(-h / (ohms * farads))
    for n in range(int(CHARGED / h)):
        wave = sqrt(2.0) * turns * volts * np.sin(2.0 * np.pi * (n + 0.5) / STEPS + angles)
        push = (np.abs(wave) if both else wave) - drop - held
        amps = np.maximum(push, 0.0) / ohms
        # the mean over the step of what falls as the capacitor fills
        mean = amps * (1.0 - fade) * ohms * farads / h
        held = held + mean * h / farads
        i2t += (turns * mean) ** 2 * h
        peak = max(peak, float(turns * amps.max()))
    return peak, float(i2t.max())


def heaters_drawn(course: Course) -> Array:
    """Each heater's amps over rated, (moment, envelope)."""
    p = course.values[-1]
    volts = np.array([course.warming.volts(x, p)[:, 0] for x in course.x])
    wires = course.temperatures[:, 0, : len(course.warming.envelopes), 0]
    return np.asarray(volts * heater_power(ratio_of(wires))[1])


def _heater_watts(course: Course) -> Array:
    """What all heaters draw (moment,) [W], as the line feels it: at their windings' volts."""
    rated = {p.envelope: p.value("volts") * p.value("amps") for p in course.circuit.amplifier.of_kind("heater")}
    return np.asarray(heaters_drawn(course) @ np.array([rated.get(e, 0.0) for e in course.warming.envelopes]))


def line_amps(course: Course) -> Array:
    """Amps rms in the line (moment,), by the drop in the primaries' own copper: a fuse's drop is too small to be read to a part
    in a thousand from volts that have settled to one in a hundred thousand."""
    circuit = course.circuit
    amplifier, index = circuit.amplifier, circuit.index
    total = np.zeros((len(course.seconds), course.x.shape[2]), dtype=complex)
    for part in amplifier.of_kind("transformer"):
        core = (
            course.x[:, index[f"core in phase {part.name}"]] + 1j * course.x[:, index[f"core quadrature {part.name}"]]
        )
        p = course.values[-1]
        for chain in primary_groups(amplifier, part):
            w = max(chain, key=lambda s: s.ohms.value)
            a, b = (circuit.frame.lead(part, lead) for lead in (w.start, w.end))
            turns = p[circuit.column[f"{part.name} {w.name} turns"]] / amplifier.mains_volts
            ohms = p[circuit.column[f"{part.name} {w.name} ohms"]]
            total = total + (_phasor(course, a) - _phasor(course, b) - turns * core) / ohms
    rest = course.x[:, index["lamp harmonics"]]
    return np.asarray(np.sqrt(np.abs(total[:, 0]) ** 2 + np.maximum(rest[:, 0], 0.0)))


def _phasor(course: Course, node: str) -> Array:
    index = course.circuit.index
    zero = np.zeros((len(course.seconds), course.x.shape[2]))
    re, im = (
        course.x[:, index[f"{kind} {node}"]] if f"{kind} {node}" in index else zero for kind in ("ac", "quadrature")
    )
    return np.asarray(re + 1j * im)


def _build(part: Part) -> str:
    return str(part.type or part.words.get("build", "EI"))


def _copper(amplifier: Amplifier, part: Part | None) -> float:
    return 0.0 if part is None else copper_ohms(amplifier, part)
