"""A cold start through the limiter lamp beside one without: how long each stage takes, and how the lamp looks meanwhile."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.roles import roles
from firstglow.amplifier.supplies import supplies
from firstglow.audit.inrush import CYCLE, heaters_drawn, line_amps
from firstglow.devices.lamp import Glow, filament_watts, glow
from firstglow.solver.circuit import Circuit
from firstglow.solver.slow import Course, Slow, Stretch
from firstglow.solver.warming import AT_FULL

Array = NDArray[np.float64]

NEARLY = 1.2
"""Times its rated amps below which a heater's inrush is over."""
HALF = 0.5
TENTH = 0.1


@dataclass(frozen=True, slots=True)
class Stage:
    """One thing without and with the lamp; None: never. unit: "s", "A", "V" or "1"."""

    what: str
    unit: str
    without: float | None
    behind: float | None


@dataclass(frozen=True, slots=True)
class LampStart:
    """watts: of the lamp. stages: what is told. load: watts that its filament radiates over its rated
    ones, (moment,) at ``seconds``. primary: volts left
    for the amplifier once all is warm, over the mains."""

    watts: float
    stages: tuple[Stage, ...]
    seconds: Array
    load: Array
    primary: float

    @property
    def brightest(self) -> tuple[float, Glow]:
        """When it is at its brightest [s], and how it looks then."""
        k = int(self.load.argmax())
        return float(self.seconds[k]), glow(float(self.load[k]))

    @property
    def warm(self) -> Glow:
        """How it looks once all is warm."""
        return glow(float(self.load[-1]))


def lamp_start(circuit: Circuit, bare: Array, lit: Array, watts: float, seconds: float) -> LampStart:
    """bare, lit: parameters (parameter,) without and with the lamp in the line. SolveError."""
    without, behind = (Slow(circuit).run([Stretch(seconds, p[:, None])]) for p in (bare, lit))
    told = [_told(circuit, course, without) for course in (without, behind)]
    stages = tuple(Stage(what, unit, value, lit) for (what, unit, value), (*_, lit) in zip(*told, strict=True))
    glowing = filament_watts(behind.temperatures[:, 0, -1, 0])[0]
    line = behind.x[-1, circuit.index["ac line"], 0]
    return LampStart(watts, stages, behind.seconds, glowing, float(line / lit[circuit.column["mains volts"]]))


def _told(circuit: Circuit, course: Course, without: Course) -> list[tuple[str, str, float | None]]:
    """Each stage's name, unit and figure."""
    amplifier, t = circuit.amplifier, course.seconds
    drawn = heaters_drawn(course)
    over = np.flatnonzero(drawn.max(axis=1) > NEARLY)
    slow = [k for k, e in enumerate(course.warming.envelopes) if e not in _rectifiers(circuit)]
    out: list[tuple[str, str, float | None]] = [
        ("line amps, the first cycle over", "A", float(np.interp(CYCLE, t, line_amps(course)))),
        ("heaters draw at first, of their rated", "1", float(drawn.max())),
        (f"heaters under {NEARLY:g} times after", "s", float(t[min(over[-1] + 1, len(t) - 1)]) if over.size else 0.0),
        ("last cathode warm after", "s", _first(t, course.temperatures[:, 1, slow, 0].min(axis=1) - AT_FULL)),
    ]
    ht = next((s for s in supplies(amplifier) if s.use == "ht"), None)
    if ht is not None:
        volts = np.abs(course.dc(ht.joint)[:, 0])
        out.append((f"{ht.joint} at half of its own after", "s", _first(t, volts - HALF * volts[-1])))
    outputs = roles(amplifier).outputs
    if outputs:
        came = [
            _first(t, course.cathode_amps(o.valve)[:, 0] - TENTH * without.cathode_amps(o.valve)[-1, 0])
            for o in outputs
        ]
        known = [c for c in came if c is not None]
        out.append(("output valves draw after", "s", min(known) if known else None))
    if ht is not None:
        out.append((f"{ht.joint} once warm", "V", float(volts[-1])))
    return out


def _rectifiers(circuit: Circuit) -> set[str | None]:
    return {p.envelope for p in circuit.amplifier.of_kind("rectifier")}


def _first(t: Array, over: Array) -> float | None:
    up = np.flatnonzero(over >= 0.0)
    if not up.size:
        return None
    k = max(int(up[0]), 1)
    return float(np.interp(0.0, over[k - 1 : k + 1], t[k - 1 : k + 1]))
