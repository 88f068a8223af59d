"""Ohms between two joints with the power off: what a meter settles at once the capacitors are charged.

Capacitors are open but for their leakage, valves conduct nothing, heaters are cold, windings show their dc ohms, and
every joint is held to the chassis by stated insulation (passive.py). Rectifiers are open by default: an ohms range
tests with a few tenths of a volt, below what a silicon junction needs, and many meters keep it there on purpose. A
meter that tests with more turns a forward junction into a path of some hundred ohms whose reading depends on its test
current: no figure can be stated, so ``diodes="conducting"`` gives the other end of the range, every junction that the
meter's polarity (red is positive) can forward-bias closed through its own series ohms. Where the two agree the
reading does not depend on the meter; where they differ the low one is the least that a healthy circuit may show.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.laplacian import Laplacian, through
from firstglow.solver.parameters import CONTACT_OHMS, OPEN_OHMS
from firstglow.solver.passive import CHASSIS, Array, Branch, Passives, Values, passives

# A closed junction that carries less backward than this, of 1 A through the meter, carries nothing.
NO_AMPS = 1e-9

Pair = tuple[str, str]
Diodes = Literal["open", "conducting"]


class ColdNetwork:
    """The power-off network of one situation, eliminated once for as many pairs as are asked."""

    def __init__(self, resting: Passives, extra: Sequence[Branch] = ()) -> None:
        self.resting = resting
        self.branches = (*resting.branches, *extra)
        self.number = {joint: k for k, joint in enumerate(resting.joints)} | {CHASSIS: -1}
        self.samples = max(branch.ohms.size for branch in self.branches)
        self.edges = [(self.number[b.a], self.number[b.b]) for b in self.branches]
        self.siemens = np.empty((len(self.branches), self.samples))
        for row, branch in zip(self.siemens, self.branches, strict=True):
            row[:] = 1.0 / branch.ohms
        self.laplacian = Laplacian(len(resting.joints), self.edges, self.siemens)

    def joint(self, name: str) -> int:
        """Number of a joint; KeyError where the amplifier has none of that name in this situation."""
        if name not in self.number:
            raise KeyError(f"no joint {name!r} in the power-off network")
        return self.number[name]

    def ohms(self, red: str, black: str) -> Array:
        """(sample,) [ohm]."""
        return self.laplacian.ohms(self.joint(red), self.joint(black))

    def volts(self, red: str, black: str) -> Array:
        """Joint volts for one ampere in at red and out at black, (joint, sample); the chassis is at 0."""
        return self.laplacian.volts(through(self.joint(red), self.joint(black), self.samples))

    def shares(self, red: str, black: str) -> Array:
        """Current in each branch (a to b) for one ampere from red to black, (branch, sample)."""
        volts = np.vstack([self.volts(red, black), np.zeros(self.samples)])  # -1 is the chassis
        a, b = np.array(self.edges).T
        drops: Array = volts[a] - volts[b]
        return drops * self.siemens


def cold_ohms(
    amplifier: Amplifier,
    situation: Situation,
    pairs: Sequence[Pair],
    values: Values | None = None,
    faults: Sequence[Fault] = (),
    diodes: Diodes = "open",
) -> Array:
    """Power-off ohms between pairs of joints.

    pairs: (red joint, black joint). values: parameter name -> (sample,), missing ones nominal.
    Returns (pair, sample) [ohm]; joints that nothing connects read the insulation (100 Gohm a joint to chassis).
    KeyError for a joint that does not exist, ValueError for a fault that cannot be.
    """
    network = ColdNetwork(passives(amplifier, situation, values, faults))
    if diodes == "conducting" and network.resting.junctions:
        return _with_junctions(network, pairs)
    return np.stack([network.ohms(red, black) for red, black in pairs])


def cold_ends(
    amplifier: Amplifier,
    situation: Situation,
    pairs: Sequence[Pair],
    values: Values | None = None,
    faults: Sequence[Fault] = (),
) -> tuple[Array, Array]:
    """``cold_ohms`` with every junction blocking and with junctions passing, from one network, (pair, sample) [ohm]."""
    return ends_of(ColdNetwork(passives(amplifier, situation, values, faults)), pairs)


def ends_of(network: ColdNetwork, pairs: Sequence[Pair]) -> tuple[Array, Array]:
    """The same of a network that is there already."""
    blocked = np.stack([network.ohms(red, black) for red, black in pairs])
    return blocked, _with_junctions(network, pairs) if network.resting.junctions else blocked


def cold_sensitivities(
    amplifier: Amplifier,
    situation: Situation,
    pairs: Sequence[Pair],
    values: Values | None = None,
    faults: Sequence[Fault] = (),
) -> dict[str, Array]:
    """d ohms / d parameter in closed form, parameter name -> (pair, sample) [ohm per unit of the parameter].

    By Tellegen's theorem dR/dr is the square of the current that the branch r carries for one ampere through the pair
    (in conductances, dR/dg = -(volts across g)^2); rectifiers open. A parameter that moves nothing is absent.
    """
    return sensitivities_of(ColdNetwork(passives(amplifier, situation, values, faults)), pairs)


def sensitivities_of(network: ColdNetwork, pairs: Sequence[Pair]) -> dict[str, Array]:
    """The same of a network that is there already."""
    out: dict[str, Array] = {}
    named = [(k, b) for k, b in enumerate(network.branches) if b.parameter]
    rates = np.array(
        [np.broadcast_to(np.where(b.ohms > CONTACT_OHMS, b.slope, 0.0), network.samples) for _, b in named]
    )
    for row, (red, black) in enumerate(pairs):
        moved = network.shares(red, black)[[k for k, _ in named]] ** 2 * rates
        for (_, branch), by in zip(named, moved, strict=True):
            if branch.parameter not in out:
                out[branch.parameter] = np.zeros((len(pairs), network.samples))
            out[branch.parameter][row] += by
    return out


def _with_junctions(network: ColdNetwork, pairs: Sequence[Pair]) -> Array:
    """Ohms with every junction closed that then carries current forward, and open that would stand in reverse.

    Ideal one-way switches in a network of resistances have exactly one consistent state: a linear complementarity
    problem with a symmetric positive definite matrix. Bard's rule finds it: change the first junction that is wrong
    (Cottle, Pang and Stone, The Linear Complementarity Problem, 1992, 4.2; from memory, the tests try every state).
    The state is found on the network reduced to the ports of the junctions and of the pair, where a change costs next
    to nothing.
    """
    junctions, laplacian = network.resting.junctions, network.laplacian
    count, samples = len(junctions), network.samples
    ports = [(network.joint(j.anode), network.joint(j.cathode)) for j in junctions]
    rows = [laplacian.root_rows(through(a, b, samples)) for a, b in ports]
    z = np.stack([np.stack([np.einsum("js,js->s", p, q) for q in rows], axis=-1) for p in rows], axis=-2)
    closed_ohms = np.stack([np.broadcast_to(np.maximum(j.ohms, CONTACT_OHMS), samples) for j in junctions], axis=-1)
    noise = 1e-13 * np.abs(z).max()
    # pairs that close the same junctions share a network
    made: dict[bytes, ColdNetwork] = {np.zeros((samples, count), dtype=bool).tobytes(): network}
    out = []
    for red, black in pairs:
        row = laplacian.root_rows(through(network.joint(red), network.joint(black), samples))
        seen = np.stack([np.einsum("js,js->s", row, p) for p in rows], axis=-1)
        closed = np.zeros((samples, count), dtype=bool)
        for _ in range(2 ** (count + 1)):
            ohms = np.where(closed, closed_ohms, OPEN_OHMS)
            amps = np.linalg.solve(z + ohms[:, :, None] * np.eye(count), seen[:, :, None])[..., 0]
            wrong = np.where(closed, amps < -NO_AMPS, amps * OPEN_OHMS > noise)
            if not wrong.any():
                break
            first = np.argmax(wrong, axis=1)
            changed = np.nonzero(wrong.any(axis=1))[0]
            closed[changed, first[changed]] ^= True
        state = closed.tobytes()
        if state not in made:
            made[state] = _closed(network, closed.T)
        out.append(made[state].ohms(red, black))
    return np.stack(out)


def without(network: ColdNetwork, part: str) -> ColdNetwork:
    """The network with a part of two leads open."""
    left = tuple(b for b in network.resting.branches if b.part != part)
    return ColdNetwork(replace(network.resting, branches=left))


def _closed(network: ColdNetwork, closed: NDArray[np.bool_]) -> ColdNetwork:
    """The network with some junctions (junction, sample) closed: eliminated anew, so that nothing cancels."""
    paths = [
        Branch(j.part, j.anode, j.cathode, np.where(on, np.maximum(j.ohms, CONTACT_OHMS), OPEN_OHMS))
        for j, on in zip(network.resting.junctions, closed, strict=True)
    ]
    return ColdNetwork(network.resting, paths)
