"""An amplifier that is not there: one drawn from the spreads, with a fault in it or none, and a meter of its own.

It is another sample than those behind the bands. Cathodes warm and capacitors fall as time runs: between cold and warm
each reading goes by one time constant, that of the slowest valve that is in (a sketch of the warming, made from the
types' warm-up times; before the rectifier is warm there is no HT at all).
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from math import expm1
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.faults import all_faults
from firstglow.amplifier.situation import Fault, Situation
from firstglow.ladder.fall import Fall
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.waits import valves_in, warm_seconds, warm_up
from firstglow.readings.asked import Block, Cast
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.finish import glow_word
from firstglow.readings.meters import Meter, Range, loaded
from firstglow.readings.seen import Seen
from firstglow.readings.spreads import MeterErrors, draw, on_meter, settings
from firstglow.readings.trial import has_law, judge, show
from firstglow.solver.discharge import Discharge, discharge

Array = NDArray[np.float64]

POPULATION = 64
# Two sides of one winding, as the parameters of a circuit have them.
_HALF_B = re.compile(r"(.* )b turns$")
SOURCE_VOLTS = 9.1  # V: the battery that the meter is proved on
# A meter's last digit is not still: standard deviation in steps (common practice: one digit either way).
RESTLESS = 0.4
# Time constants in a valve's warm-up time; at its end all of the current flows.
IN_WARM_UP = 3.0
# What a capacitor still holds when the discharge resistor was on it [V]: a little comes back out of the dielectric.
LEFT_OVER = 0.3
# Faults that are tried before one that no reading shows is hidden all the same.
TRIES = 12


def halves_alike(circuit: Any, values: Array) -> Array:
    """The same amplifiers, (parameter, sample), the halves of every tapped winding off by the same share: they are wound
    together to one count of turns (common practice), and what their print is off by is common to both."""
    made, row = values.copy(), {p.name: n for n, p in enumerate(circuit.parameters)}
    for p in circuit.parameters:
        half = _HALF_B.match(p.name)
        first = row.get(f"{half[1]}a turns") if half else None
        if first is not None and circuit.parameters[first].nominal:
            made[row[p.name]] = p.nominal * values[first] / circuit.parameters[first].nominal
    return made


class Virtual:
    """One virtual amplifier on one ladder.

    faults: what is wrong with it. seed: which of the population it is, and how its meter errs.
    """

    def __init__(self, ladder: Ladder, faults: Sequence[Fault] = (), seed: int = 1) -> None:
        self.ladder, self.faults, self.seed = ladder, tuple(faults), seed
        sheet = ladder.sheet
        draws = draw(sheet.observer.circuit, POPULATION, sheet.mains_width, seed)
        self._number = np.array([seed % POPULATION])
        setting = {v: s[self._number] for v, s in settings(sheet.setting, POPULATION, seed).items()}
        each = (self.faults,) if self.faults else ()
        values = halves_alike(sheet.observer.circuit, draws.values[:, self._number])
        self._cast = Cast(values, setting, each, POPULATION, self._number)
        self._rng = np.random.default_rng(seed)
        self._warm = sheet.observer.see(sheet.wanted, self._cast, ohms_for=lambda r: True)
        self._cold = self._see_cold()
        self._falls: dict[str, Discharge] = {}

    # ------------------------------------------------------------------------------------------ the meter
    def shows(self, name: str, seconds: float, other: Meter | None = None) -> str:
        """What a person types of a reading, ``seconds`` after the power came on; "OL" or a word where it is that.

        other: the meter that reads, where it is not the ladder's.
        """
        r = self.ladder.expected.by_id[name]
        if r.kind == "look":
            return r.words[0]
        value = self._value(r, seconds)
        if r.on is None:
            return glow_word(value) if np.isfinite(value) else "dark"
        if not np.isfinite(value):
            return "OL"
        meter = other or self.ladder.expected.meter
        on = r.on if other is None else meter.range_for(r.kind, value)
        source = self._warm.source_ohms.get(name)
        behind = r.planned.probe.series_ohms + (0.0 if source is None else float(np.ravel(source)[0]))
        shown = float(loaded(value, behind, on.input_ohms)) if source is not None else value
        if abs(shown) > on.full and on.kind != "ratio":
            on = meter.range_for(r.kind, value)
            shown = float(loaded(value, behind, on.input_ohms)) if source is not None else value
        errors = MeterErrors(meter.name, POPULATION, self.seed)
        gain, offset = (e[self._number] for e in (errors.gain(on), errors.offset(on, name)))
        restless = RESTLESS * on.step * float(self._rng.standard_normal())
        figure = float(on_meter(np.array([shown + restless]), gain, offset, on)[0])
        return typed(r, on, figure, meter.needle)

    def warm_seconds(self, at: Situation) -> float:
        """How long until every valve that is in a situation carries all its current [s]."""
        return warm_seconds(self.ladder.frame, at)

    def _value(self, r: ExpectedReading, seconds: float) -> float:
        """The true value at that moment [SI]."""
        warm = self._warm.values.get(r.id)
        if warm is None:
            return r.expected if isinstance(r.expected, float) else float("inf")
        value = float(np.ravel(warm)[0])
        cold = self._cold.values.get(r.id)
        if cold is None or not np.isfinite(value):
            return value
        at = r.planned.situation
        frame = self.ladder.frame
        rectifiers = frame.ht_rectifiers - at.out
        share = self._warmed([v for v in valves_in(frame, at) if v not in rectifiers], seconds)
        between = float(np.ravel(cold)[0]) * (1.0 - share) + value * share
        return between * self._warmed(sorted(rectifiers), seconds) if r.planned.probe.red in self._on_ht else between

    def _warmed(self, valves: Sequence[str], seconds: float) -> float:
        longest = max((warm_up(self.ladder.frame, name) for name in valves), default=0.0)
        if longest <= 0.0 or seconds >= longest:
            return 1.0
        return expm1(-IN_WARM_UP * max(seconds, 0.0) / longest) / expm1(-IN_WARM_UP)

    @property
    def _on_ht(self) -> frozenset[str]:
        """Joints that have nothing until the rectifier is warm: those of the HT supplies."""
        return frozenset(j for s in self.ladder.frame.supplies("ht") for j in (s.joint, *s.nodes))

    def _see_cold(self) -> Seen:
        """The dc volts under power with no cathode warm but the rectifier's, pots where they are."""
        sheet, frame = self.ladder.sheet, self.ladder.frame
        valves = frame.small_envelopes | frame.output_envelopes
        wanted = []
        for block in sheet.wanted:
            at = block.situation
            rows = tuple(r for r in block.readings if r.probe.kind == "dc volts" and r.probe.quantity == "volts")
            if not rows or at.mains_volts == 0.0 or not valves - at.out:
                continue
            pots = {p: float(a[0]) for p, a in self._warm.idle_pots.get(block.dc_key, {}).items()}
            cold = at.but(out=at.out | valves, idle={}, pots={**at.pots, **pots})
            wanted.append(Block(f"cold {block.key}", cold, tuple(replace(r, situation=cold) for r in rows)))
        return sheet.observer.see(wanted, replace(self._cast, setting={})) if wanted else Seen()

    def without(self, parts: Sequence[str]) -> "Virtual":
        """The same amplifier once these parts, or valves by their envelopes, were changed for good ones."""
        every = self.ladder.frame.amplifier.parts
        left = [f for f in self.faults if f.part not in parts and every[f.part].envelope not in parts]
        return self if len(left) == len(self.faults) else Virtual(self.ladder, left, self.seed)

    @property
    def alarms(self) -> tuple[str, ...]:
        """Readings that would not be go on, once everything is settled."""
        ladder = self.ladder
        judged = judge(ladder.expected, show(ladder.expected, ladder.sheet, self._warm, self._cast, self.seed))
        return tuple(name for name, alarm in zip(judged.ids, judged.alarms[:, 0], strict=True) if alarm)

    # ------------------------------------------------------------------------------------------ off
    def left(self, fall: Fall, at: Situation, part: str, seconds: float) -> float:
        """What the meter shows across a capacitor, ``seconds`` after the plug came out [V]."""
        key = f"{at} {sorted(fall.start.items())}"
        if key not in self._falls:
            names = self.ladder.sheet.observer.named(self._cast.values)
            self._falls = {key: discharge(self.ladder.frame.amplifier, at, fall.start, self.faults, values=names)}
        found = self._falls[key]
        stored = () if found.relaxation is None else (store.part for store in found.relaxation.stores)
        if part not in stored or not fall.start.get(part):
            return 0.0  # an open capacitor holds nothing
        return abs(float(found.capacitor_volts(part, np.array([max(seconds, 0.0)]))[0, 0]))


def typed(r: ExpectedReading, on: Range, value: float, needle: bool = False) -> str:
    """A figure as it stands on a range of the meter, in the spelling that a person types it; a needle's with its range
    where the range was not the sheet's own."""
    if r.unit == "1":
        return f"{value:.3f}"
    shown = on.shown(value)
    if shown == "OL":
        return "OL"
    text = shown.replace("Ω", "").replace(" ", "")
    return f"{text} on {on.full:g}" if r.start is not None or (needle and on != r.on) else text


def hidden_fault(ladder: Ladder, seed: int) -> Fault:
    """A fault by chance, log-uniform in severity, that some reading of this ladder shows; the last one tried where none
    of ``TRIES`` does."""
    rng = np.random.default_rng(seed)
    amplifier = ladder.frame.amplifier
    every = [c for c in all_faults(amplifier) if has_law(c.mode)]
    fault = every[0].at(0.5)
    for _ in range(TRIES):
        fault = every[int(rng.integers(len(every)))].at(float(rng.random()))
        if Virtual(ladder, [fault], seed).alarms:
            break
    return fault
