"""What the meter would show on a neighbouring pin, or with the amplifier not standing as the rung wants it."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.situation import Situation
from firstglow.ladder.frame import Frame
from firstglow.ladder.places import end_of
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.meters import loaded
from firstglow.readings.slips import Near
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.standing import Standing


@dataclass(frozen=True, slots=True)
class Oversight:
    """A way to stand that the rung does not want. innocent: nothing need be wrong with the amplifier."""

    text: str
    at: Situation
    innocent: bool = True


@dataclass(frozen=True, slots=True)
class Solved:
    """A column of a batch; standing None where it would not settle."""

    standing: Standing | None
    column: int


def _named(envelopes: Iterable[str]) -> str:
    return ", ".join(sorted(envelopes))


class Nearby:
    """Everything else a figure of one amplifier could be. Each situation is solved once."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self._solved: dict[str, Solved] = {}
        self._fixed: dict[str, Situation] = {}

    def of(self, reading: ExpectedReading) -> tuple[Near, ...]:
        """For one reading in volts under power; nothing for any other."""
        probe = reading.planned.probe
        at = reading.planned.situation
        if probe.quantity != "volts" or at.mains_volts == 0.0 or reading.on is None:
            return ()
        share = loaded(1.0, reading.source_ohms, reading.on.input_ohms)
        return (*self._pins(reading, share), *self._settings(reading, share))

    def _pins(self, reading: ExpectedReading, share: float) -> Iterator[Near]:
        """Every other electrode of the same socket, the pins beside it first."""
        planned = reading.planned
        socket = planned.red_at.split(" pin ")[0].split(" top cap")[0]
        sections = [p for p in self.frame.amplifier.parts.values() if p.envelope == socket]
        if planned.pin is None or not sections:
            return
        joints = self.frame.physics.joints(planned.situation)
        number = 0 if planned.probe.kind == "dc volts" else 1
        black = joints.get(planned.probe.black, (0.0, 0.0))[number]
        seen = {planned.probe.red, planned.probe.black}
        found: list[tuple[int, Near]] = []
        for part in sections:
            for lead, joint in part.leads.items():
                end = end_of(self.frame.amplifier, part.name, lead)
                if joint in seen or end.pin is None:
                    continue
                seen.add(joint)
                volts = joints.get(joint, (0.0, 0.0))[number] - black
                volts = volts if number == 0 else abs(volts)
                away = abs(end.pin[1] - planned.pin[1])
                beside = "the pin beside it, " if away == 1 else ""
                text = f"it is what {beside}{end.text} reads: is the probe there?"
                found.append((away, Near("probe", volts * (share if number else 1.0), text)))
        yield from (near for _, near in sorted(found, key=lambda f: f[0]))

    def _settings(self, reading: ExpectedReading, share: float) -> Iterator[Near]:
        for oversight in self.settings(reading.planned.situation):
            found = self._solved.get(repr(oversight.at)) or self.solve([oversight.at])[repr(oversight.at)]
            if found.standing is None:
                continue
            value = float(np.ravel(found.standing.row(reading.planned.probe))[found.column])
            yield Near("setting", value * share, f"it is what this reads {oversight.text}", oversight.innocent)

    def prepare(self, readings: Iterable[ExpectedReading]) -> None:
        """Solve ahead what these readings may be mistaken for, so that no verdict waits for it."""
        wanted: dict[str, Situation] = {}
        for reading in readings:
            at = reading.planned.situation
            if reading.planned.probe.quantity == "volts" and at.mains_volts > 0.0:
                self.frame.physics.joints(at)
                wanted |= {repr(o.at): o.at for o in self.settings(at)}
        self.solve(list(wanted.values()))

    def settings(self, at: Situation) -> list[Oversight]:
        """How the amplifier may stand otherwise by oversight, the commonest first."""
        frame = self.frame
        at = self._as_fixed(at)
        outputs, small = frame.output_envelopes - at.out, frame.small_envelopes - at.out
        rectifiers = frame.ht_rectifiers - at.out
        found: list[Oversight] = []
        if outputs:
            text = f"with output valves still out ({_named(outputs)}): are they in, and warm?"
            found.append(Oversight(text, at.but(out=at.out | outputs)))
        if at.lamp_watts is None:
            text = f"with the {frame.running_lamp:.0f} W limiter lamp still in the line: take it out"
            found.append(Oversight(text, at.but(lamp_watts=frame.running_lamp)))
        else:
            found.append(Oversight("with the limiter lamp out of the line already", at.but(lamp_watts=None)))
        if small:
            text = f"with small valves still out ({_named(small)}): are they in, and warm?"
            found.append(Oversight(text, at.but(out=at.out | outputs | small)))
        if rectifiers:
            text = f"with no rectifier ({_named(rectifiers)} out, cold or dead)"
            found.append(Oversight(text, at.but(out=at.out | rectifiers), innocent=False))
        return found

    def _as_fixed(self, at: Situation) -> Situation:
        """A situation with its idle set, as positions of its controls."""
        if not at.idle:
            return at
        key = repr(at)
        if key not in self._fixed:
            laid = self.circuit.apply(self._nominal, at)
            idle = self.circuit.solve_idle(laid, {v: np.full(1, a) for v, a in at.idle.items()}, strict=False)
            pots = {name: float(np.ravel(place)[0]) for name, place in idle.pots.items()}
            self._fixed[key] = at.but(idle={}, pots={**at.pots, **pots})
        return self._fixed[key]

    def solve(self, wanted: Sequence[Situation]) -> Mapping[str, Solved]:
        """Solve what is not solved yet, a situation a column of one batch; all that is solved."""
        fresh = {repr(at): at for at in wanted if repr(at) not in self._solved}
        if fresh:
            laid = np.concatenate([self.circuit.apply(self._nominal, at) for at in fresh.values()], axis=1)
            standing = self.circuit.solve(laid, strict=False)
            for column, key in enumerate(fresh):
                self._solved[key] = Solved(standing if bool(standing.settled[column]) else None, column)
        return self._solved

    @cached_property
    def circuit(self) -> Circuit:
        """The compiled circuit behind the frame's physics."""
        return compile_circuit(self.frame.amplifier)

    @cached_property
    def _nominal(self) -> NDArray[np.float64]:
        return np.array([[p.nominal] for p in self.circuit.parameters])
