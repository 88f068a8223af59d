"""The plan's questions, answered by the solver."""

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import roles
from firstglow.amplifier.situation import Situation
from firstglow.readings.asked import key_of
from firstglow.readings.observe import Observer
from firstglow.readings.points import together
from firstglow.readings.seen import columns_of
from firstglow.solver.discharge import discharge


class SolverPhysics:
    """One compiled circuit, each situation solved once.

    observer: of the readings, with whose solutions these are then shared.
    """

    def __init__(self, amplifier: Amplifier, circuit: Any = None, observer: Observer | None = None) -> None:
        self.amplifier = amplifier
        self._given = circuit if observer is None else observer.circuit
        self._observer = observer
        self._standing: dict[str, Any] = {}
        self._joints: dict[str, Mapping[str, tuple[float, float]]] = {}
        self._signal: dict[str, Any] = {}

    @cached_property
    def circuit(self) -> Any:
        """The compiled circuit."""
        if self._given is not None:
            return self._given
        from firstglow.solver.circuit import compile_circuit

        return compile_circuit(self.amplifier)

    @cached_property
    def _nominal(self) -> Any:
        return np.array([[p.nominal] for p in self.circuit.parameters])

    def standing(self, situation: Situation) -> Any:
        """The nominal standing solution of one situation by itself; SolveError where there is none."""
        key = key_of(situation)
        if key not in self._standing:
            laid = self.circuit.apply(self._nominal, situation)
            if situation.idle:
                targets = {valve: np.full(1, amps) for valve, amps in situation.idle.items()}
                self._standing[key] = self.circuit.solve_idle(laid, targets).standing
            else:
                self._standing[key] = self.circuit.solve(laid)
        return self._standing[key]

    def turn_on(self, turns: Iterable[tuple[Situation, Situation]]) -> None:
        """``standing`` of each (before, after)'s after, all together, from where presets and volts stand before."""
        from firstglow.solver.idle import pots_of

        fresh = {key_of(two): (one, two) for one, two in ((_worst(b), _worst(a)) for b, a in turns)}
        fresh = {key: pair for key, pair in fresh.items() if key not in self._standing}
        if not fresh:
            return
        laid, start, idles = [], [], [two.idle for _, two in fresh.values()]
        for one, two in fresh.values():
            stood, column = self.standing(one), self.circuit.apply(self._nominal, two)
            for pot in pots_of(self.circuit, two.idle):
                row = self.circuit.column[f"{pot} position"]
                column[row] = stood.values[row]
            laid.append(column)
            start.append(stood.x)
        targets = {v: np.array([idle.get(v, np.nan) for idle in idles]) for v in sorted({v for i in idles for v in i})}
        found = self.circuit.solve_idle(np.hstack(laid), targets, np.hstack(start)).standing
        self._standing |= {key: columns_of(found, slice(n, n + 1)) for n, key in enumerate(fresh)}

    def prepare(self, situations: Iterable[Situation], read: Iterable[Situation] = ()) -> None:
        """Solve all that are new in few batches, a situation a column: those without an idle target together, those
        with one by the valves that it sets. ``read``: see ``Observer.stand_ahead``."""
        asked = {key_of(s): s for s in (_worst(s) for s in situations if s.mains_volts > 0)}
        fresh = {key: s for key, s in asked.items() if key not in self._joints}
        if self._observer is None:
            found = self._alone(fresh)
        else:
            powered = [s for s in read if s.mains_volts > 0]
            found = dict(zip(fresh, self._observer.stand_ahead(powered, list(fresh.values())), strict=True))
        if found:
            self._standing |= found
            self._keep(list(found), together(list(found.values())))

    def _alone(self, fresh: Mapping[str, Situation]) -> dict[str, Any]:
        """Standing solutions of situations that only the plan asks for, one column each."""
        batches: dict[tuple[str, ...], dict[str, Situation]] = {}
        for key, situation in fresh.items():
            batches.setdefault(tuple(sorted(situation.idle)), {})[key] = situation
        out: dict[str, Any] = {}
        for valves, same in batches.items():
            laid = np.concatenate([self.circuit.apply(self._nominal, s) for s in same.values()], axis=1)
            targets = {v: np.array([s.idle[v] for s in same.values()]) for v in valves}
            found = self.circuit.solve_idle(laid, targets).standing if targets else self.circuit.solve(laid)
            out |= {key: columns_of(found, slice(n, n + 1)) for n, key in enumerate(same)}
        return out

    def _keep(self, keys: Iterable[str], found: Any) -> None:
        """Joint volts of each column of a batch."""
        dc, ac = ({j: np.ravel(of(j)) for j in self.amplifier.joints} for of in (found.dc, found.ac))
        for n, key in enumerate(keys):
            self._joints[key] = {j: (float(dc[j][n]), float(ac[j][n])) for j in self.amplifier.joints}

    def joints(self, situation: Situation) -> Mapping[str, tuple[float, float]]:
        """Joint -> (volts dc, volts rms ac) to chassis, limiter lamp out: the most that can stand there."""
        key = key_of(_worst(situation))
        if key not in self._joints:
            self._keep([key], self.standing(_worst(situation)))
        return self._joints[key]

    def ring(self, situation: Situation, red: str, black: str, settled: float) -> float:
        """How many times further than ``settled`` a pair swings at switch-on; 1 where nothing rings."""
        from firstglow.solver.overshoot import overshoot, rings

        if not rings(self.amplifier):
            return 1.0
        laid = self.circuit.apply(self._nominal, _worst(situation))[:, 0]
        return overshoot(self.circuit, laid, red, black, settled)

    def mains_amps(self, situation: Situation) -> float:
        """Amps rms that the amplifier draws."""
        from firstglow.readings.probe import Probe

        return float(np.ravel(self.standing(situation).row(Probe("ac amps", "mains", "mains", "mains amps")))[0])

    def fall(self, situation: Situation, joint: str, times: Sequence[float]) -> Sequence[float]:
        """Volts of a joint at times [s] after switch-off: the nominal fall."""
        start = {name: dc for name, (dc, _) in self.joints(situation).items()}
        found = discharge(self.amplifier, situation, start)
        return [float(v) for v in found.joint_volts(joint, np.array(times))[:, 0]]

    def settings(self, situation: Situation) -> Mapping[str, float]:
        """Pot -> position to which the situation's idle turns it."""
        from firstglow.solver.idle import pots_of

        standing = self.standing(_worst(situation))
        rows = self.circuit.column
        return {
            pot: float(standing.values[rows[f"{pot} position"]][0]) for pot in pots_of(self.circuit, situation.idle)
        }

    def cathode_amps(self, situation: Situation) -> Mapping[str, float]:
        """Output valve that is in -> amps through its cathode."""
        from firstglow.solver.idle import cathode_amps

        standing = self.standing(_worst(situation))
        outputs = [v for v in roles(self.amplifier).outputs if v.envelope not in situation.out]
        return {v.valve: float(cathode_amps(standing, v.valve)[0]) for v in outputs}

    def loop_gain(self, situation: Situation, channel: str | None) -> float:
        """Size of the loop gain, through the situation's test resistor where it has one."""
        signal = self._channel(situation, channel)
        gain = (
            signal.loop_gain_through(situation.test_ohms or 0.0) if situation.feedback == "test" else signal.loop_gain
        )
        return abs(float(np.ravel(gain)[0]))

    def gain(self, situation: Situation, channel: str | None) -> float:
        """Size of load volts per input volt."""
        signal = self._channel(situation, channel)
        gain = {"open": signal.gain_lifted, "closed": signal.gain_closed}.get(situation.feedback)
        if gain is None:
            gain = signal.gain_through(situation.test_ohms or 0.0)
        return abs(float(np.ravel(gain)[0]))

    def _channel(self, situation: Situation, channel: str | None) -> Any:
        """Mid-band of one channel at the standing point with the loop lifted."""
        from firstglow.solver.midband import midband
        from firstglow.solver.slopes import valve_slopes

        at = _worst(situation).but(feedback="open", test_ohms=None)
        key = key_of(at)
        if key not in self._signal:
            standing = self.standing(at)
            slopes = valve_slopes(self.circuit, standing.x, standing.values)
            self._signal[key] = midband(self.amplifier, at, slopes)
        found = self._signal[key]
        return found[channel] if channel in found else next(iter(found.values()))


def _worst(situation: Situation) -> Situation:
    """The same without limiter lamp or signal: a lamp only lowers every volt, a small signal moves none."""
    return situation.but(lamp_watts=None, stimulus_volts=0.0, stimulus_hz=1000.0)
