"""Heaters and cathodes over seconds: how warm each envelope's wire and cathode are, and how that follows the volts.

Two bodies an envelope. The wire takes what the volts give it and hands it to the cathode, which radiates it:

    C_wire d(wire)/dt = v^2 g(u_wire) - P(u_wire),    C_cathode d(cathode)/dt = P(u_wire) - P(u_cathode)

Warmth is kept as the temperature over the working one, and said as the heater ratio u (volts over rated) that would keep
it there: P(u) = u^2 g(u) is then the standing law's own power (``devices.emission``), so that what warms up settles exactly
on the standing solution. A directly heated cathode is its wire. The limiter lamp's filament is one more wire, last of all, which
radiates what it takes (``devices.lamp``).
"""

from collections.abc import Callable, Mapping
from functools import cache

import numpy as np

from firstglow.devices.emission import cathode_temperature, heater_power, ratio_of
from firstglow.devices.lamp import COLD_KELVIN, HOT_KELVIN, OHMS_POWER, filament_seconds, filament_watts
from firstglow.solver.circuit import Circuit
from firstglow.solver.collocation import AMONG, COUNT, FROM_START
from firstglow.solver.equations import Prepared
from firstglow.solver.frame import Array
from firstglow.solver.heaters import HeaterRatio, Heaters
from firstglow.solver.mains_side import Feed
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
    would be if temperature were power. Temperatures are (2, envelope, sample): wires, then cathodes; after all envelopes comes the
    limiter lamp's filament, over its own working kelvin, in both rows (there is none where there is no mains inlet).
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
        self.feed = next((g for g in self.groups if isinstance(g, Feed)), None)
        self.size = len(self.envelopes) + (self.feed is not None)
        share = np.where(self.direct, 1.0, WIRE_SHARE)
        scale = np.array([[seconds_of(bool(d))] for d in self.direct[:, 0]]).reshape(-1, 1)
        self.heat = seconds / scale * np.stack([share, 1.0 - share])

    def cold(self, samples: int) -> Array:
        """Everything at room temperature."""
        out = np.full((2, self.size, samples), float(cathode_temperature(0.0)[0]))
        out[:, len(self.envelopes) :] = COLD_KELVIN / HOT_KELVIN
        return out

    def loads(self, x: Array, p: Array) -> Array:
        """Watts that the limiter lamp takes at ``x`` over its rated ones (sample,); 0 without one in the line."""
        feed = self.feed
        if feed is None:
            return np.zeros(p.shape[1])
        c = feed.prepare(p)
        wide = np.concatenate([x, np.zeros((1, x.shape[1]))])
        ohms = np.maximum(wide[feed.lamp], c["hot"] * (COLD_KELVIN / HOT_KELVIN) ** OHMS_POWER)
        re, im = c["volts"] + wide[feed.neutral[0]] - wide[feed.line[0]], wide[feed.neutral[1]] - wide[feed.line[1]]
        square = (re * re + im * im) / ohms**2 + wide[feed.rest]
        return np.asarray(c["in"] * square * ohms / c["watts"])

    def volts(self, x: Array, p: Array) -> Array:
        """Each heater's volts over rated at ``x`` (unknown, sample)."""
        wide = np.concatenate([x, np.zeros((1, x.shape[1]))])
        return self.ratio.ratios(wide, {"heater": p[self.ratio.volts]})[0]

    def lay(self, at: Prepared, temperatures: Array, by_load: Array | float = 0.0) -> None:
        """Make the circuit as warm as that. by_load: d filament's temperature / d its watts over the rated ones (sample,)."""
        wires, cathodes = ratio_of(temperatures[0]), ratio_of(temperatures[1])
        samples = temperatures.shape[-1]
        for group, c in zip(self.groups, at.coefficients, strict=True):
            if isinstance(group, Heaters) and group.pieces:
                c["wires"] = self._each([p.envelope for p in group.pieces], heater_power(wires)[1], samples)
            elif isinstance(group, Feed):
                warmth = temperatures[0, -1]
                c["filament"] = warmth**OHMS_POWER
                c["by watts"] = OHMS_POWER * warmth ** (OHMS_POWER - 1.0) * by_load
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

    def rate(self, temperatures: Array, x: Array, p: Array) -> Array:
        """d temperature / dt at these unknowns and parameters, (2, envelope, sample) [1/s]."""
        count = len(self.envelopes)
        wires, cathodes = temperatures[:, :count]
        volts = self.volts(x, p)
        power, siemens = heater_power(ratio_of(wires))
        wire = (volts**2 * siemens - power) / self.heat[0]
        lost, _ = heater_power(ratio_of(cathodes))
        cathode = (power - lost) / np.where(self.direct, 1.0, self.heat[1])
        out = np.zeros_like(temperatures)
        out[0, :count], out[1, :count] = wire, np.where(self.direct, wire, cathode)
        if self.feed is not None:
            out[:, -1] = (self.loads(x, p) - filament_watts(temperatures[0, -1])[0]) * self._quickness(p)
        return out

    def _quickness(self, p: Array) -> Array:
        """Of the filament: d temperature / dt for a surplus of its rated watts (sample,) [1/s]."""
        assert self.feed is not None
        rated = self.feed.frame.amplifier.mains_volts
        return np.asarray((1.0 - COLD_KELVIN / HOT_KELVIN) / filament_seconds(rated, p[self.feed.watts]))

    def collocate(self, start: Array, h: float, x: Array, p: Array, guess: Array) -> tuple[Array, Array, Array | float]:
        """Temperatures at the places of a step of h seconds that starts from ``start`` (2, envelope, sample), the slopes of their
        rates by themselves [1/s], (2, envelope, place sample) each; and ``lay``'s by_load. x, p: there."""
        samples, count = start.shape[2], len(self.envelopes)
        shape = (count, COUNT, samples)
        u = self.volts(x, p).reshape(shape)
        given: Array = np.zeros(shape)
        flat = (2, self.size, COUNT * samples)
        out, slopes = np.empty(flat), np.empty(flat)
        for body in range(2):
            heat = self.heat[body][:, None]

            def rate(t: Array, body: int = body, heat: Array = heat, given: Array = given) -> tuple[Array, Array]:
                def own(t: Array) -> Array:
                    power, siemens = heater_power(ratio_of(t))
                    return np.asarray(((u * u * siemens if body == 0 else given) - power) / heat)

                now = own(t)
                return now, (own(t + _NUDGE) - now) / _NUDGE

            t, slope, _ = places(rate, start[body, :count], h, guess[body, :count].reshape(shape), ROOM)
            out[body, :count], slopes[body, :count] = (v.reshape(count, COUNT * samples) for v in (t, slope))
            given = heater_power(ratio_of(t))[0]
        for of in (out, slopes):
            of[1, :count] = np.where(self.direct, of[0, :count], of[1, :count])
        if self.feed is None:
            return out, slopes, 0.0
        load, quick = self.loads(x, p).reshape(1, COUNT, samples), self._quickness(p).reshape(1, COUNT, samples)

        def glowing(t: Array) -> tuple[Array, Array]:
            watts, by_warmth = filament_watts(t)
            return (load - watts) * quick, -by_warmth * quick

        cold = COLD_KELVIN / HOT_KELVIN
        t, slope, matrix = places(glowing, start[0, -1:], h, guess[0, -1:].reshape(1, COUNT, samples), cold)
        out[:, -1], slopes[:, -1] = t.reshape(-1), slope.reshape(-1)
        by_load = np.einsum("enii->ein", np.linalg.inv(matrix)) * quick
        return out, slopes, by_load.reshape(-1)


def places(
    rate: Callable[[Array], tuple[Array, Array]], start: Array, h: float, guess: Array, least: float
) -> tuple[Array, Array, Array]:
    """Temperatures (body, place, sample) at the places of a step of h from ``start`` (body, sample), the slopes of their rates, and
    Newton's last matrix (body, sample, place, place). rate: gives rates and slopes, each place by itself."""
    begun = FROM_START[:, None] / h * start[:, None]
    t = np.maximum(guess, least)
    for _ in range(EXCHANGES):
        now, slope = rate(t)
        miss = np.einsum("ij,ejn->ein", AMONG / h, t) + begun - now
        matrix = AMONG / h - np.eye(COUNT) * slope.transpose(0, 2, 1)[..., None]
        move = np.linalg.solve(matrix, miss.transpose(0, 2, 1)[..., None])[..., 0].transpose(0, 2, 1)
        t = np.maximum(t - move, least)
        if np.abs(move).max(initial=0.0) < NEAR:
            break
    return t, slope, matrix


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
