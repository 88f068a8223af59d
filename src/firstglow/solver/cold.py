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
from typing import Literal

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.laplacian import Laplacian, through
from firstglow.solver.parameters import CONTACT_OHMS
from firstglow.solver.passive import CHASSIS, INSULATION_OHMS, Array, Branch, Passives, Values, passives

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
    Returns (pair, sample) [ohm]; joints that nothing connects read the insulation (INSULATION_OHMS each to chassis).
    KeyError for a joint that does not exist, ValueError for a fault that cannot be.
    """
    network = ColdNetwork(passives(amplifier, situation, values, faults))
    if diodes == "conducting" and network.resting.junctions:
        return np.stack([_with_junctions(network, red, black) for red, black in pairs])
    return np.stack([network.ohms(red, black) for red, black in pairs])


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
    network = ColdNetwork(passives(amplifier, situation, values, faults))
    out: dict[str, Array] = {}
    for row, (red, black) in enumerate(pairs):
        squares = network.shares(red, black) ** 2
        for branch, square in zip(network.branches, squares, strict=True):
            if branch.parameter:
                whole = out.setdefault(branch.parameter, np.zeros((len(pairs), network.samples)))
                whole[row] += np.where(branch.ohms > CONTACT_OHMS, square * branch.slope, 0.0)
    return out


def _with_junctions(network: ColdNetwork, red: str, black: str) -> Array:
    """Close what conducts forward, open what would carry current backward, until nothing changes.

    Ideal one-way switches in a resistive network have exactly one consistent state (a linear complementarity problem
    with a symmetric positive definite matrix; Cottle, Pang and Stone, The Linear Complementarity Problem, 1992, 3.3.7).
    """
    junctions = network.resting.junctions
    closed = np.zeros((len(junctions), network.samples), dtype=bool)
    for _ in range(4 * len(junctions) + 4):
        extra = [
            Branch(j.part, j.anode, j.cathode, np.where(on, np.maximum(j.ohms, CONTACT_OHMS), INSULATION_OHMS))
            for j, on in zip(junctions, closed, strict=True)
        ]
        trial = ColdNetwork(network.resting, extra)
        forward = trial.shares(red, black)[-len(junctions) :] > 0.0
        if np.array_equal(forward, closed):
            break
        closed = forward
    return trial.ohms(red, black)
