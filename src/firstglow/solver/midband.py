"""Gain, loop gain and output impedance at mid-band, from the slopes of the solved point.

Per channel: gain from the input jack to the loudspeaker terminals with the loop lifted (its lead tied where the file
ties it) and with the loop closed; the loop gain L by itself, from driving the lifted lead; closed = lifted/(1 + L), by
Black's feedback arithmetic (H. S. Black, "Stabilized feedback amplifiers", Bell System Technical Journal 13, 1934), is
left for a test to find. A loop that is wired the wrong way round has L below zero and a gain that rises.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.passive import Array, Values
from firstglow.solver.smallsignal import Band, Response, SignalNetwork, Slopes, between, find_band

# A grid with less than this of the input's volts is not driven.
STILL = 1e-4


@dataclass(frozen=True, slots=True)
class Stage:
    """One valve section, loop lifted: signal volts to chassis of its electrodes for 1 V at the input, (sample,)."""

    plate: Array
    grid: Array
    cathode: Array

    @property
    def gain(self) -> Array:
        """Grid to plate, both to chassis; negative where the stage turns the signal round, nan where the grid is still
        (the second half of a long-tailed pair is driven at its cathode)."""
        return self.plate / self._driven

    @property
    def follower_gain(self) -> Array:
        """Grid to cathode."""
        return self.cathode / self._driven

    @property
    def _driven(self) -> Array:
        return np.where(np.abs(self.grid) < STILL, np.nan, self.grid)


@dataclass(frozen=True, slots=True)
class Loop:
    """The feedback loop of a channel, seen from its lead while it hangs; arrays are (sample,).

    gain: L, negative where the feedback adds. lead_ohms: what the lifted lead looks into, its own parts included.
    gain_hanging: input to loudspeaker with the lead tied to nothing. across: volts from the lead's end to where it
    belongs, for 1 V at the input. transfer_ohms: volts at the loudspeaker for 1 A led from there into the lead.
    """

    link: str
    gain: Array
    lead_ohms: Array
    gain_hanging: Array
    across: Array
    transfer_ohms: Array

    def gain_through(self, ohms: float | Array) -> Array:
        """L with a further resistor in the lead: the lead's current divides as its resistance grows."""
        return self.gain * self.lead_ohms / (self.lead_ohms + ohms)

    def amplifier_gain(self, ohms: float | Array = 0.0) -> Array:
        """Input to loudspeaker with the loop closed through a further resistor, signed."""
        amps = self.across / ((self.lead_ohms + ohms) * (1.0 + self.gain_through(ohms)))
        return self.gain_hanging + amps * self.transfer_ohms

    def test_ohms(self, loop_gain: float = 0.2) -> float:
        """Resistor in the lead that leaves ``loop_gain`` at the strongest sample: at most 0.2 is not yet closing.

        Not "ten times the part": with 20 dB of feedback that leaves a loop gain of 1, which howls if it is the wrong
        way round. 0 where the loop gain is no larger than asked.
        """
        needed = self.lead_ohms * (np.abs(self.gain) / loop_gain - 1.0)
        return max(0.0, float(needed.max()))


@dataclass(frozen=True, slots=True)
class ChannelSignal:
    """One channel at mid-band; arrays are (sample,).

    gain_lifted, gain_closed: input to loudspeaker terminals, signed. output_ohms_lifted, output_ohms_closed: of the
    amplifier behind the loudspeaker terminals, the load taken away. loop: None without one. stages: by valve section.
    """

    channel: str | None
    input: str
    load: str
    gain_lifted: Array
    gain_closed: Array
    output_ohms_lifted: Array
    output_ohms_closed: Array
    loop: Loop | None
    stages: Mapping[str, Stage]

    @property
    def loop_gain(self) -> Array:
        """L of the loop; 0 without one."""
        return np.zeros(1) if self.loop is None else self.loop.gain

    def loop_gain_through(self, ohms: float | Array) -> Array:
        """L with a further resistor in the loop's lead; 0 without a loop."""
        return np.zeros(1) if self.loop is None else self.loop.gain_through(ohms)

    def gain_through(self, ohms: float | Array) -> Array:
        """Gain with the loop closed through a further resistor; the plain gain without a loop."""
        return self.gain_lifted if self.loop is None else self.loop.amplifier_gain(ohms)


def midband(
    amplifier: Amplifier,
    situation: Situation,
    slopes: Slopes,
    values: Values | None = None,
    faults: Sequence[Fault] = (),
) -> dict[str | None, ChannelSignal]:
    """Every channel that has an input and a load, by channel name (None: no channels).

    slopes: of every conducting valve at the standing point, (sample,) each. The situation's own ``feedback`` does not
    matter here: lifted and closed are both computed with these slopes (the dc point of the two differs by what the
    loop's resistor carries, which the tie keeps: FILE.md 4).
    """
    band = find_band(amplifier, situation.but(feedback="open"), slopes, situation.stimulus_hz, faults)
    lifted, closed = (
        SignalNetwork(amplifier, situation.but(feedback=state), slopes, values, faults, None, band)
        for state in ("open", "closed")
    )
    out = {}
    for channel in dict.fromkeys(p.channel for p in amplifier.of_kind("input")):
        jack = next(p for p in amplifier.of_kind("input") if p.channel == channel)
        load = next((p for p in amplifier.of_kind("load") if p.channel == channel), None)
        if load is not None:
            loop = _loop(amplifier, situation, slopes, values, faults, band, jack, load)
            out[channel] = _channel(lifted, closed, jack, load, loop)
    return out


def gains(amplifier: Amplifier, situation: Situation, slopes: Slopes) -> dict[str | None, Array]:
    """Input to loudspeaker terminals, signed, of every channel that has both, as the situation has its loop; nominal."""
    band = find_band(amplifier, situation.but(feedback="open"), slopes, situation.stimulus_hz)
    network = SignalNetwork(amplifier, situation, slopes, band=band)
    loads, jacks = ({p.channel: p for p in reversed(amplifier.of_kind(kind))} for kind in ("load", "input"))
    channels = [c for c in dict.fromkeys(p.channel for p in amplifier.of_kind("input")) if c in loads]
    driven = network.solve([network.driven(jacks[c].name) for c in channels])
    ends = [(loads[c].leads["hot"], loads[c].leads["common"]) for c in channels]
    return {c: one.at(*pair) for c, one, pair in zip(channels, driven, ends, strict=True)}


def signal_volts(
    amplifier: Amplifier,
    situation: Situation,
    slopes: Slopes,
    probes: Sequence[tuple[str, str]],
    values: Values | None = None,
    faults: Sequence[Fault] = (),
) -> Array:
    """What the situation's own stimulus (into every input at once) puts between joints, (probe, sample) [V rms]."""
    band = find_band(amplifier, situation, slopes, situation.stimulus_hz, faults)
    network = SignalNetwork(amplifier, situation, slopes, values, faults, None, band)
    responses = network.solve([network.driven(p.name) for p in amplifier.of_kind("input")])
    rows = [np.abs(sum((r.at(*probe) for r in responses), np.zeros(network.samples))) for probe in probes]
    return situation.stimulus_volts * np.stack(rows)


def signal_at_joints(
    amplifier: Amplifier,
    situation: Situation,
    slopes: Slopes,
    values: Values | None = None,
    faults: Sequence[Fault] = (),
) -> dict[str, Array]:
    """What the situation's stimulus (into every input at once, at its own hertz) puts on every joint, (sample,) [V rms]:
    every capacitor as it is at that frequency, transformers ideal."""
    network = SignalNetwork(amplifier, situation, slopes, values, faults, situation.stimulus_hz)
    responses = network.solve([network.driven(p.name) for p in amplifier.of_kind("input")])
    return {
        joint: situation.stimulus_volts * np.abs(sum((r.at(joint) for r in responses), np.zeros(network.samples)))
        for joint in amplifier.joints
        if all(joint == "chassis" or joint in r.number for r in responses)
    }


def _loop(
    amplifier: Amplifier,
    situation: Situation,
    slopes: Slopes,
    values: Values | None,
    faults: Sequence[Fault],
    band: Band,
    jack: Part,
    load: Part,
) -> Loop | None:
    """The loop, with its lead hanging, driven by a current that is taken from where the lead belongs."""
    links = [k for k in amplifier.links.values() if k.feedback and k.channel == jack.channel]
    if not links:
        return None
    if len(links) > 1:
        names = ", ".join(k.name for k in links)
        raise ValueError(f"links {names}: more than one feedback link in a channel; mark the outer loop alone")
    link = links[0]
    hanging = replace(amplifier, links={**amplifier.links, link.name: replace(link, tie=None)})
    network = SignalNetwork(hanging, situation.but(feedback="open"), slopes, values, faults, None, band)
    end = network.resting.wiring.joint(amplifier.parts[link.part], link.lead)
    home = amplifier.joint_of(link.part, link.lead)
    terminals = load.leads["hot"], load.leads["common"]
    fed, driven, there, back = network.solve(
        [between(end, home), network.driven(jack.name), between(end), between(home)]
    )
    ohms = there.at(end) - back.at(end)
    across = driven.at(home, end)
    return Loop(link.name, -fed.at(home) / ohms, ohms, driven.at(*terminals), across, fed.at(*terminals))


def _channel(lifted: SignalNetwork, closed: SignalNetwork, jack: Part, load: Part, loop: Loop | None) -> ChannelSignal:
    terminals = load.leads["hot"], load.leads["common"]
    driven, whole = lifted.solve([lifted.driven(jack.name), between(*terminals)])
    driven_closed, whole_closed = closed.solve([closed.driven(jack.name), between(*terminals)])
    stages = {
        p.name: _stage(lifted, driven, p)
        for p in lifted.amplifier.of_kind("valve")
        if p.channel in (jack.channel, None) and lifted.resting.wiring.fitted(p)
    }
    return ChannelSignal(
        jack.channel,
        jack.name,
        load.name,
        driven.at(*terminals),
        driven_closed.at(*terminals),
        _output_ohms(lifted, load, whole.at(*terminals)),
        _output_ohms(closed, load, whole_closed.at(*terminals)),
        loop,
        stages,
    )


def _stage(network: SignalNetwork, driven: Response, part: Part) -> Stage:
    return Stage(*(driven.at(network.resting.wiring.joint(part, lead)) for lead in ("plate", "grid", "cathode")))


def _output_ohms(network: SignalNetwork, load: Part, whole: Array) -> Array:
    """Impedance at the load's terminals, ``whole`` with the load's own branch, without it."""
    hangs = [b.ohms for b in network.resting.branches if b.part == load.name]
    return 1.0 / (1.0 / whole - sum((1.0 / ohms for ohms in hangs), np.zeros(1)))
