"""Ripple behind a reservoir and the hum that it leaves at the loudspeaker.

The reservoir's own ripple is what the averaged rectifier solved; from there on the amplifier is the small-signal
network at each harmonic of the mains: R-C and L-C sections, what the valves take, and everything they do with it
(a single-ended output stage passes it on, a push-pull pair cancels it as far as its two halves are alike, a loop
divides it). A choke input's ripple is what its choke draws; on the choke's near side, where the current breaks off in
every half cycle, steps leave more than the carried harmonics (7 % of the rms well below the critical current, and the
ringing with stray farads, which nobody knows). Not in it: heater-cathode hum, magnetic pick-up from the mains
transformer, hum in the wiring. So the hum at the loudspeaker is what the HT causes; a real amplifier hums more.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.circuit import Circuit
from firstglow.solver.nodes import free_end
from firstglow.solver.passive import Array, Values
from firstglow.solver.pulses import Pulses
from firstglow.solver.slopes import valve_slopes
from firstglow.solver.smallsignal import Phasors, Response, SignalNetwork, Slopes, at_rest
from firstglow.solver.standing import Standing
from firstglow.solver.waves import cycle_state, leg_waves
from firstglow.solver.wiring import Wiring

# Multiples of the mains frequency that are carried: full-wave ripple has the even ones, unequal legs and half-wave
# supplies the odd ones too.
ORDERS = (1, 2, 3, 4, 6, 8)
AT_ONCE = 256
"""Columns of a network, a multiple of the mains and a sample each, from which on more at once gain nothing."""


@dataclass(frozen=True, slots=True)
class Source:
    """A reservoir's ripple: volts rms (complex) of joint ``hot`` over ``ret`` by multiple of the mains frequency,
    (sample,) each; where ``driven`` amps rms into ``hot`` instead: what a choke input draws through its rectifiers."""

    hot: str
    ret: str
    phasors: Mapping[int, Phasors]
    driven: bool = False


@dataclass(frozen=True, slots=True)
class Ripple:
    """What every joint does at the carried multiples of the mains frequency."""

    responses: Mapping[int, Response]

    def component(self, red: str, black: str = "chassis", order: int = 2) -> Phasors:
        """Volts rms (complex) from black to red at ``order`` times the mains frequency, (sample,); 0 if not carried."""
        if order not in self.responses:
            return np.zeros(1, dtype=complex)
        return self.responses[order].at(red, black)

    def rms(self, red: str, black: str = "chassis") -> Array:
        """True rms volts of all carried components together, (sample,): what a meter that blocks dc shows."""
        squares = [np.abs(r.at(red, black)) ** 2 for r in self.responses.values()]
        total: Array = np.sqrt(np.sum(np.broadcast_arrays(*squares), axis=0))
        return total


def ripple(
    amplifier: Amplifier,
    situation: Situation,
    slopes: Slopes,
    sources: Sequence[Source],
    values: Values | None = None,
    faults: Sequence[Fault] = (),
) -> Ripple:
    """Spread the reservoirs' ripple over the whole amplifier.

    Each source's volts are held at its two joints; what several reservoirs do to each other is solved together.
    """
    mains = situation.mains_hz or amplifier.mains_hz
    orders = sorted({order for source in sources for order in source.phasors})
    resting = at_rest(amplifier, situation, values, faults)
    samples = max(
        np.size(a) for a in [b.ohms for b in resting.branches] + [a for s in slopes.values() for a in s.values()]
    )
    # as many multiples at once as make a batch: all of them for a few samples, one by one for thousands
    many = max(1, AT_ONCE // samples)
    found: dict[int, Response] = {}
    for some in (orders[k : k + many] for k in range(0, len(orders), many)):
        hertz = [order * mains for order in some]
        network = SignalNetwork(amplifier, situation, slopes, values, faults, hertz, resting=resting)
        found |= _spread(network, sources, some)
    return Ripple(found)


def _spread(network: SignalNetwork, sources: Sequence[Source], orders: Sequence[int]) -> dict[int, Response]:
    """Every joint's volts at some multiples of the mains, which are the network's frequencies."""
    unit = network.solve([{s.hot: 1.0, s.ret: -1.0} for s in sources])
    # amps that make the sources' volts: one small system, usually 1 x 1 or 2 x 2
    held = np.stack([np.stack([u.at(s.hot, s.ret) for u in unit], axis=-1) for s in sources], axis=-2)
    for k, source in enumerate(sources):
        if source.driven:
            held[..., k, :] = np.eye(len(sources))[k]
    samples = network.samples // len(orders)
    wanted = np.stack(
        [np.concatenate([np.broadcast_to(s.phasors.get(order, 0.0), samples) for order in orders]) for s in sources],
        axis=-1,
    )
    amps = np.linalg.solve(held, wanted[..., None].astype(complex))[..., 0]
    volts = np.sum([u.volts * amps[:, k] for k, u in enumerate(unit)], axis=0)
    return {order: replace(unit[0], volts=volts[:, k * samples : (k + 1) * samples]) for k, order in enumerate(orders)}


def sources_of(circuit: Circuit, standing: Standing, wiring: Wiring) -> list[Source]:
    """The ripple that the averaged rectifiers solved, of every reservoir."""
    out = []
    for group in circuit.equations.groups:
        if isinstance(group, Pulses) and group.name in standing.cycles:
            found, inputs = standing.cycles[group.name]
            hot, ret = (
                _joint(circuit.amplifier, wiring, node) for node in (group.legs[0].leg.end, group.legs[0].leg.start)
            )
            if (
                group.pumped is not None
            ):  # its capacitor stands between winding and rectifier: what is known is the current
                wave = leg_waves(group, found, inputs)[0]
                out.append(Source(hot, ret, harmonics(wave), driven=True))
                continue
            # behind a choke the state is the choke's amps, not a capacitor's volts
            out.append(Source(hot, ret, harmonics(cycle_state(found)), driven=group.henries is not None))
    return out


def _joint(amplifier: Amplifier, wiring: Wiring, node: str) -> str:
    """Joint of a circuit's node; the free end of a link is where the link's lead stands now."""
    for link in amplifier.links.values():
        if node == free_end(link.name):
            return wiring.joint(amplifier.parts[link.part], link.lead)
    return node


def harmonics(wave: NDArray[np.float64], orders: Sequence[int] = ORDERS) -> dict[int, Phasors]:
    """Volts rms (complex) of a sampled cycle (point, sample) at multiples of its frequency."""
    spectrum = np.fft.rfft(wave, axis=0) * (2.0**0.5 / wave.shape[0])
    return {order: spectrum[order] for order in orders}


def ripple_volts(
    circuit: Circuit,
    standing: Standing,
    situation: Situation,
    pairs: Sequence[tuple[str, str]],
    values: Values | None = None,
    faults: Sequence[Fault] = (),
) -> Array:
    """Ripple between joints at a solved point, (pair, sample) [V rms].

    values: parameter name -> (sample,) without the faults, as ``passives`` takes them.
    """
    seen = standing_ripple(circuit, standing, situation, values, faults)
    return np.stack(np.broadcast_arrays(*(seen.rms(*pair) for pair in pairs)))


def standing_ripple(
    circuit: Circuit,
    standing: Standing,
    situation: Situation,
    values: Values | None = None,
    faults: Sequence[Fault] = (),
) -> Ripple:
    """The ripple of everything at a solved point."""
    wiring = Wiring(circuit.amplifier, situation, faults)
    slopes = valve_slopes(circuit, standing.x, standing.values)
    return ripple(circuit.amplifier, situation, slopes, sources_of(circuit, standing, wiring), values, faults)


# The hum at a load is its ripple: what the HT leaves there, the input shorted.
hum_volts = ripple_volts


def pulse_ripple(amps: Array, farads: Array, mains_hz: float, full_wave: bool = True) -> dict[int, Phasors]:
    """Ripple of a reservoir that short pulses charge, the usual upper bound: sqrt 2 x amps x reactance, each harmonic.

    (Radiotron Designer's Handbook ch. 31.) For where no solved cycle is at hand: it reads 20 to 60 % high.
    """
    step = 2 if full_wave else 1
    return {n: 2**0.5 * amps / (2j * np.pi * n * mains_hz * farads) for n in ORDERS if n % step == 0}
