"""Heaters and cathodes over seconds: how warm each envelope's wire and cathode are, and how that follows the volts.

Two bodies an envelope. The wire takes what the volts give it and hands it to the cathode, which radiates it:

    C_wire d(wire)/dt = v^2 g(u_wire) - P(u_wire),    C_cathode d(cathode)/dt = P(u_wire) - P(u_cathode)

Warmth is kept as the temperature over the working one, and said as the heater ratio u (volts over rated) that would keep
it there: P(u) = u^2 g(u) is then the standing law's own power (``devices.emission``), so that what warms up settles exactly
on the standing solution. A directly heated cathode is its wire.
"""

from collections.abc import Mapping
from functools import cache

import numpy as np

from firstglow.devices.emission import cathode_temperature, heater_power, ratio_of
from firstglow.solver.circuit import Circuit
from firstglow.solver.collocation import AMONG, COUNT, FROM_START
from firstglow.solver.equations import Prepared
from firstglow.solver.frame import Array
from firstglow.solver.heaters import HeaterRatio, Heaters
from firstglow.solver.pulses import Pulses
from firstglow.solver.valves import Sections

WIRE_SHARE = 0.2
"""Part of an indirectly heated valve's heat that is its wire's: the inrush is over in a second or two (common practice)."""
AT_FULL = 0.913
"""Temperature over the working one at which a new cathode can give its rated current (``emission_limit``): the end of a
type's stated warm-up time."""
EXCHANGES = 8
"""Newton steps of the temperatures in one step of time, at most."""
NEAR = 1e-7
"""Their last one's size."""
_NUDGE = 1e-5


class Warming:
    """All envelopes of a circuit that have a heater, in one order.

    heat: (2, envelope, sample or 1) [s]: seconds of rated power that wire and cathode take up from nothing to working, over what that
    would be if temperature were power. Temperatures are (2, envelope, sample): wires, then cathodes.
    """

    def __init__(self, circuit: Circuit, warmup: Mapping[str, Array]) -> None:
        f = circuit.frame
        self.groups = circuit.equations.groups
        self.envelopes = sorted({str(p.envelope) for p in circuit.amplifier.of_kind("heater") if p.envelope})
        self.row = {name: k for k, name in enumerate(self.envelopes)}
        self.ratio = HeaterRatio(f, list(self.envelopes))
        types = {
            p.envelope: f.types(p.type or "") for p in circuit.amplifier.of_kind("valve", "rectifier") if p.envelope
        }
        kinds = [types.get(name) for name in self.envelopes]
        self.direct = np.array([[k is not None and k.heating == "direct"] for k in kinds], dtype=bool).reshape(-1, 1)
        usual = [np.atleast_1d(15.0 if k is None else k.warmup_s) for k in kinds]
        own = [warmup.get(name, s) for name, s in zip(self.envelopes, usual, strict=True)]
        samples = max((len(s) for s in own), default=1)
        seconds = np.array([np.broadcast_to(s, samples) for s in own]).reshape(-1, samples)
        share = np.where(self.direct, 1.0, WIRE_SHARE)
        scale = np.array([[seconds_of(bool(d))] for d in self.direct[:, 0]]).reshape(-1, 1)
        self.heat = seconds / scale * np.stack([share, 1.0 - share])

    def cold(self, samples: int) -> Array:
        """Everything at room temperature."""
        return np.full((2, len(self.envelopes), samples), float(cathode_temperature(0.0)[0]))

    def settled(self, x: Array, p: Array) -> Array:
        """As warm as the heaters' volts at ``x`` keep it."""
        t = cathode_temperature(self.volts(x, p))[0]
        return np.stack([t, t])

    def volts(self, x: Array, p: Array) -> Array:
        """Each heater's volts over rated at ``x`` (unknown, sample)."""
        wide = np.concatenate([x, np.zeros((1, x.shape[1]))])
        return self.ratio.ratios(wide, {"heater": p[self.ratio.volts]})[0]

    def lay(self, at: Prepared, temperatures: Array) -> None:
        """Make the circuit as warm as that."""
        wires, cathodes = ratio_of(temperatures[0]), ratio_of(temperatures[1])
        samples = temperatures.shape[-1]
        for group, c in zip(self.groups, at.coefficients, strict=True):
            if isinstance(group, Heaters) and group.pieces:
                c["wires"] = self._each([p.envelope for p in group.pieces], heater_power(wires)[1], samples)
            elif isinstance(group, Sections):
                c["cathodes"] = self._each([p.envelope for p in group.parts], cathodes, samples, 1.0)
            elif isinstance(group, Pulses):
                c["cathodes"] = self._each([leg.envelope for leg in group.legs], cathodes, samples, 1.0)

    def cathode_amps(self, valve: str, x: Array, p: Array, temperatures: Array) -> Array:
        """All that leaves a valve section's cathode (sample,) [A] at x (unknown, sample). KeyError where it is none."""
        cathodes = ratio_of(temperatures[1])
        for group in self.groups:
            if isinstance(group, Sections) and valve in [part.name for part in group.parts]:
                k = [part.name for part in group.parts].index(valve)
                n = x.shape[1]
                c = group.prepare(p)
                c["cathodes"] = self._each([part.envelope for part in group.parts], cathodes, n, 1.0)
                terms, slopes = np.empty((group.terms, n)), np.empty((group.slopes, n))
                group.flows(np.concatenate([x, np.zeros((1, n))]), c, terms, slopes)
                return np.asarray(terms.reshape(-1, group.size, n)[: len(group.currents), k].sum(axis=0))
        raise KeyError(valve)

    def _each(self, envelopes: list[str | None], values: Array, samples: int, other: float = np.nan) -> Array:
        """Rows of ``values`` by envelope; ``other`` for what has no heater."""
        rows = [self.row.get(e or "") for e in envelopes]
        return np.array([np.full(samples, other) if r is None else values[r] for r in rows]).reshape(-1, samples)

    def rate(self, temperatures: Array, volts: Array) -> Array:
        """d temperature / dt at these heater volts over rated, (2, envelope, sample) [1/s]."""
        power, siemens = heater_power(ratio_of(temperatures[0]))
        wire = (volts**2 * siemens - power) / self.heat[0]
        lost, _ = heater_power(ratio_of(temperatures[1]))
        cathode = (power - lost) / np.where(self.direct, 1.0, self.heat[1])
        return np.stack([wire, np.where(self.direct, wire, cathode)])

    def collocate(self, start: Array, h: float, volts: Array, guess: Array) -> tuple[Array, Array]:
        """Temperatures at the places of a step of h seconds that starts from ``start`` (2, envelope, sample), and the slopes of
        their rates by themselves [1/s]: (2, envelope, place sample) each. volts: over rated, there. Wires first."""
        samples = start.shape[2]
        shape = (len(self.envelopes), COUNT, samples)
        u = volts.reshape(shape)
        given: Array = np.zeros(shape)
        out, slopes = np.empty((2, *shape)), np.empty((2, *shape))
        for body in range(2):
            heat = self.heat[body][:, None]

            def rate(t: Array, body: int = body, heat: Array = heat, given: Array = given) -> Array:
                power, siemens = heater_power(ratio_of(t))
                return np.asarray(((u * u * siemens if body == 0 else given) - power) / heat)

            begun = FROM_START[:, None] / h * start[body][:, None]
            t = np.maximum(guess[body].reshape(shape), ROOM)
            for _ in range(EXCHANGES):
                now = rate(t)
                slope = (rate(t + _NUDGE) - now) / _NUDGE
                miss = np.einsum("ij,ejn->ein", AMONG / h, t) + begun - now
                matrix = AMONG / h - np.eye(COUNT) * slope.transpose(0, 2, 1)[..., None]
                move = np.linalg.solve(matrix, miss.transpose(0, 2, 1)[..., None])[..., 0].transpose(0, 2, 1)
                t = np.maximum(t - move, ROOM)
                if np.abs(move).max(initial=0.0) < NEAR:
                    break
            out[body], slopes[body] = t, slope
            given = heater_power(ratio_of(t))[0]
        out[1], slopes[1] = (np.where(self.direct[:, None], of[0], of[1]) for of in (out, slopes))
        flat = (2, len(self.envelopes), COUNT * samples)
        return out.reshape(flat), slopes.reshape(flat)


ROOM = float(cathode_temperature(0.0)[0])


@cache
def seconds_of(direct: bool) -> float:
    """Seconds from cold to ``AT_FULL`` at rated volts for one second of heat in all (Euler, in thousandths of it)."""
    share = 1.0 if direct else WIRE_SHARE
    wire = cathode = ROOM
    seconds, h = 0.0, 1e-3
    while cathode < AT_FULL:
        power, siemens = (float(v) for v in heater_power(ratio_of(np.float64(wire))))
        lost = float(heater_power(ratio_of(np.float64(cathode)))[0])
        wire += h * (siemens - power) / share
        cathode = wire if direct else cathode + h * (power - lost) / (1.0 - share)
        seconds += h
    return seconds
