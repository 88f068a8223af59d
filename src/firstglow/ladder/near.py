"""What the meter would show on a neighbouring pin, or with the amplifier not standing as the rung wants it."""

from collections.abc import Iterator
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
from firstglow.solver.standing import SolveError, Standing


class Nearby:
    """Everything else a figure of one amplifier could be. Each situation is solved once."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self._solved: dict[str, Standing | None] = {}
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
                end = end_of(self.frame.amplifier, part.name, lead, self.frame.words)
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
        wanted = self.settings(reading.planned.situation)
        self.solve([at for _, at in wanted])
        for text, at in wanted:
            standing = self._solved.get(repr(at))
            if standing is None:
                continue
            value = float(np.ravel(standing.row(reading.planned.probe))[0])
            yield Near("setting", value * share, f"it is what this reads {text}")

    def settings(self, at: Situation) -> list[tuple[str, Situation]]:
        """How the amplifier may stand otherwise by oversight, the commonest first."""
        frame = self.frame
        at = self._as_fixed(at)
        valves = f"{frame.words.valve}s"
        outputs, small = frame.output_envelopes - at.out, frame.small_envelopes - at.out
        rectifiers = frame.ht_rectifiers - at.out
        found: list[tuple[str, Situation]] = []
        if outputs:
            named = ", ".join(sorted(outputs))
            found.append(
                (f"with output {valves} still out ({named}): are they in, and warm?", at.but(out=at.out | outputs))
            )
        if at.lamp_watts is None:
            lamp = f"with the {frame.running_lamp:.0f} W limiter lamp still in the line: take it out"
            found.append((lamp, at.but(lamp_watts=frame.running_lamp)))
        else:
            found.append(("with the limiter lamp out of the line already", at.but(lamp_watts=None)))
        if small:
            named = ", ".join(sorted(small))
            found.append(
                (
                    f"with small {valves} still out ({named}): are they in, and warm?",
                    at.but(out=at.out | outputs | small),
                )
            )
        if rectifiers:
            named = ", ".join(sorted(rectifiers))
            found.append((f"with no rectifier ({named} out, cold or dead)", at.but(out=at.out | rectifiers)))
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

    def solve(self, wanted: list[Situation]) -> None:
        """Solve what is not solved yet."""
        fresh = [at for at in wanted if repr(at) not in self._solved]
        if not fresh:
            return
        for at in fresh:
            try:
                self._solved[repr(at)] = self.circuit.solve(self.circuit.apply(self._nominal, at))
            except SolveError:
                self._solved[repr(at)] = None

    @cached_property
    def circuit(self) -> Circuit:
        """The compiled circuit behind the frame's physics."""
        return compile_circuit(self.frame.amplifier)

    @cached_property
    def _nominal(self) -> NDArray[np.float64]:
        return np.array([[p.nominal] for p in self.circuit.parameters])
