"""Cold phasing of an output transformer: a low ac on the secondary, its common tied to the primary's centre.

Power off, valves out: nothing but the transformer answers, so the readings follow from its turns; winding resistance
only matters to what a broken or shorted winding shows. Volts are signed: positive where they rise with the driven
lead. A meter shows their size, which is why plate to driven lead is asked too: it is less than plate to centre by the
secondary's volts where the two rise together, and more where they oppose.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.parameters import CONTACT_OHMS, INSULATION_SIEMENS
from firstglow.solver.passive import PRIMARY_LEADS, Array, Branch, Coil, Values, passives
from firstglow.solver.wiring import Wiring

# 0.5 V, and less where a plate would pass 10 V (common practice: nothing above the hands-in limit).
USUAL_VOLTS = 0.5
PLATE_LIMIT_VOLTS = 10.0


@dataclass(frozen=True, slots=True)
class Phasing:
    """What stands where while ``volts`` [V rms] are on the secondary's ``driven`` lead (a joint).

    tied: the joint that common and centre share as zero. joints: joint -> volts to it, signed, (sample,).
    """

    volts: float
    driven: str
    tied: str
    joints: dict[str, Array]

    def between(self, red: str, black: str) -> Array:
        """Volts from black to red, signed; an ac meter shows the size. KeyError off this transformer."""
        return self.joints[red] - self.joints[black]


def phasing(
    amplifier: Amplifier,
    transformer: str,
    volts: float | None = None,
    values: Values | None = None,
    faults: Sequence[Fault] = (),
) -> Phasing:
    """Cold phasing of one output transformer.

    volts: on the secondary; 0.5 V unless a plate would then pass 10 V. The driven lead is the one that the loudspeaker
    hangs on, else the secondary's highest tap. ValueError where it has no secondary or no centre.
    """
    part = amplifier.parts[transformer]
    driven, common = _secondary(amplifier, part)
    if "centre" not in part.leads:
        raise ValueError(f"{transformer} has no lead named centre: its phasing cannot be asked")
    if volts is None:
        healthy = _unit(amplifier, part, driven, common, None, ())
        most = max(float(np.abs(v).max()) for v in healthy[1].values())
        volts = min(USUAL_VOLTS, PLATE_LIMIT_VOLTS / most)
    wiring, unit = _unit(amplifier, part, driven, common, values, faults)
    joints = {joint: volts * v for joint, v in unit.items()}
    return Phasing(volts, wiring.joint(part, driven), wiring.joint(part, "centre"), joints)


def _unit(
    amplifier: Amplifier, part: Part, driven: str, common: str, values: Values | None, faults: Sequence[Fault]
) -> tuple[Wiring, dict[str, Array]]:
    """Volts of the transformer's joints for 1 V on the driven lead."""
    resting = passives(amplifier, Situation(0.0), values, faults)
    place = resting.wiring.joint
    own = [c for c in resting.coils if c.core == part.name]
    shorts = [b for b in resting.branches if b.part == part.name and not any(b is c.branch for c in own)]
    tied = place(part, "centre"), place(part, common)
    return resting.wiring, _solve(own, shorts, tied, place(part, driven), [place(part, lead) for lead in part.leads])


def _secondary(amplifier: Amplifier, part: Part) -> tuple[str, str]:
    """(driven lead, common lead)."""
    loads = {joint for p in amplifier.of_kind("load") for joint in p.leads.values()}
    taps = [lead for lead in part.leads if lead not in PRIMARY_LEADS and lead != "common"]
    if "common" not in part.leads or not taps:
        raise ValueError(f"{part.name} has no secondary with a common lead: its phasing cannot be asked")
    return next((lead for lead in taps if part.leads[lead] in loads), taps[-1]), "common"


def _solve(
    coils: Sequence[Coil], shorts: Sequence[Branch], tied: tuple[str, str], hot: str, joints: list[str]
) -> dict[str, Array]:
    """Volts of every joint to the tied point for 1 V held between hot and common."""
    free = [j for j in dict.fromkeys(joints) if j not in tied]
    number = {joint: k for k, joint in enumerate(free)}
    core, size = len(free), len(free) + 1
    samples = max([c.turns.size for c in coils] + [c.branch.ohms.size for c in coils] + [1])
    matrix = np.zeros((samples, size, size))
    right = np.zeros((samples, size))

    def stamp(siemens: Array | float, signs: dict[int, Array | float]) -> None:
        for i, a in signs.items():
            for j, b in signs.items():
                matrix[:, i, j] += siemens * a * b

    for coil in coils:
        signs: dict[int, Array | float] = {core: -coil.turns}
        for joint, sign in ((coil.start, 1.0), (coil.end, -1.0)):
            if joint in number:
                signs[number[joint]] = signs.get(number[joint], 0.0) + sign
        stamp(1.0 / coil.branch.ohms, signs)
    for branch in shorts:
        stamp(1.0 / branch.ohms, {number[j]: s for j, s in ((branch.a, 1.0), (branch.b, -1.0)) if j in number})
    for k in range(size):  # a lead that a break has cut off, a core without a winding: at rest
        stamp(INSULATION_SIEMENS, {k: 1.0})
    stamp(1.0 / CONTACT_OHMS, {number[hot]: 1.0})
    right[:, number[hot]] = 1.0 / CONTACT_OHMS
    found = np.linalg.solve(matrix, right[..., None])[..., 0]
    held = found[:, number[hot]]  # as read on the secondary: the ratio is to this
    free_volts = {joint: found[:, k] / held for joint, k in number.items()}
    return free_volts | dict.fromkeys(tied, np.zeros(samples))
