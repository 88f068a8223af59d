"""Which way round a feedback loop is: the signal is followed through every way there is, all at once.

Mid-band, about 1 kHz: from the joint where the loop arrives a volt is followed to the output plates by solving the drawn
resistors, capacitors and valves together, so two ways that oppose each other are weighed as the circuit weighs them.
Supplies and what large capacitors hold stay still, windings are ideal. A valve here is a slope and a mu, not a type (that
is the solver's, the second route): the sign stands only where no section made four times stronger or weaker turns it.
"""

import heapq
from dataclasses import dataclass
from math import inf, pi
from typing import TYPE_CHECKING

from firstglow.amplifier.graph import Branch
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Part
from firstglow.amplifier.role_types import Loop

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_PASSES = frozenset({"resistance", "capacitor", "wire"})
_VALVE, _RESISTOR, _OTHER = 1.0, 0.2, 0.001  # what a step of the nearest way costs: only its valves are counted
COUPLES_FARADS = 1e-9  # a smaller capacitor passes next to nothing at 1 kHz (160 kohm and more)
# A small valve's slope and mu, triode and pentode (common practice, within four times of every type that is used).
_SLOPE, _MU_TRIODE, _MU_PENTODE = 2e-3, 40.0, 2000.0
_APART = 4.0
_LEAST = 1e-6  # of the volts put in: less than that at the output grids is nothing
_RADIANS = 2.0 * pi * 1000.0
_WAYS = (("grid", "plate"), ("grid", "cathode"), ("cathode", "plate"))


@dataclass(frozen=True, slots=True)
class Swing:
    """What a rise at a joint does at an output transformer.

    sign: +1 where plate a rises with it, -1 where it falls. valves: sections on the nearest way.
    """

    sign: int
    valves: int


def swing(look: Look, joint: str, transformer: str) -> Swing | None:
    """How plate a of a transformer follows a joint; None where nothing drives it, or where it hangs on which valve is
    the stronger.

    Plate b swings against plate a, so each half is counted as what plate a does.
    """
    valves = _nearest(look, joint, transformer)
    if valves is None:
        return None
    sections = [p.name for p in look.amplifier.of_kind("valve")]
    strengths = [dict.fromkeys(sections, s) for s in (1.0, 1.0 / _APART, _APART)]
    strengths += [{**strengths[0], name: s} for name in sections for s in (1.0 / _APART, _APART)]
    network = _network(look, joint)
    moved = [_drive(look, network, joint, transformer, s) for s in strengths]
    if all(m > _LEAST for m in moved):
        return Swing(-1, valves)  # more current in a's valve: plate a falls
    return Swing(1, valves) if all(m < -_LEAST for m in moved) else None


def _network(look: Look, joint: str) -> "tuple[dict[str, int], NDArray[np.float64]]":
    """Joints that can move, by row, and what stands between them without the valves [S]: (joint, joint)."""
    import numpy as np

    names = [j for j in look.amplifier.joints if j == joint or not _still(look, j)]
    at = {j: n for n, j in enumerate(names)}
    matrix = np.diag(np.full(len(names), 1e-9))
    for b in look.net.branches:
        if b.sort in _PASSES and b.a != b.b:
            _lay(matrix, at, b.a, b.b, _siemens(look, b))
    return at, matrix


def _drive(
    look: Look,
    network: "tuple[dict[str, int], NDArray[np.float64]]",
    joint: str,
    transformer: str,
    strength: dict[str, float],
) -> float:
    """Volts between grid and cathode of the output valves on plate a, less those on plate b, for a volt at the joint."""
    import numpy as np

    at, passive = network
    matrix = passive.copy()
    for part in look.amplifier.of_kind("valve"):
        slope = _SLOPE * strength[part.name]
        plate, grid, cathode = (part.leads[e] for e in ("plate", "grid", "cathode"))
        _lay(matrix, at, plate, cathode, slope / (_MU_PENTODE if "screen" in part.leads else _MU_TRIODE))
        for end, sign in ((plate, 1.0), (cathode, -1.0)):  # the plate current, into the plate and out of the cathode
            for electrode, share in ((grid, slope), (cathode, -slope)):
                if end in at and electrode in at:
                    matrix[at[end], at[electrode]] += sign * share
    put = at[joint]
    matrix[put] = 0.0
    matrix[put, put] = 1.0
    given = np.zeros(len(at))
    given[put] = 1.0
    volts = np.linalg.solve(matrix, given)
    moved = 0.0
    for section, (of, half) in look.plates.items():
        if of == transformer:
            leads = look.part(section).leads
            grid_volts, cathode_volts = (
                float(volts[at[j]]) if j in at else 0.0 for j in (leads["grid"], leads["cathode"])
            )
            moved += (grid_volts - cathode_volts) * strength[section] * (1.0 if half == "a" else -1.0)
    return moved


def _lay(matrix: "NDArray[np.float64]", at: dict[str, int], a: str, b: str, siemens: float) -> None:
    for here, there in ((a, b), (b, a)):
        if here in at:
            matrix[at[here], at[here]] += siemens
            if there in at:
                matrix[at[here], at[there]] -= siemens


def _siemens(look: Look, b: Branch) -> float:
    """What a branch passes at 1 kHz; a capacitor's size without its quarter turn, which changes no sign here."""
    if b.sort == "capacitor":
        return _RADIANS * _farads(look, b)
    return 1.0 / max(b.ohms, 1.0)


def _still(look: Look, joint: str) -> bool:
    """Rails, quiet joints, and an output transformer's leads: past the output plates the loop is closed."""
    return _held(look, joint) or any(
        joint in part.leads.values() for part in look.amplifier.of_kind("output transformer")
    )


def _nearest(look: Look, joint: str, transformer: str) -> int | None:
    """Valve sections on the nearest way from a joint to an output plate; None where there is no way."""
    done: set[str] = set()
    heap: list[tuple[float, str]] = [(0.0, joint)]
    while heap:
        cost, at = heapq.heappop(heap)
        if at in done:
            continue
        done.add(at)
        if any(s in look.plates and look.plates[s][0] == transformer for s in look.at(at, "grid", "cathode")):
            return round(cost / _VALVE) + 1
        for far, step in _steps(look, at):
            heapq.heappush(heap, (cost + step, far))
    return None


def _steps(look: Look, joint: str) -> list[tuple[str, float]]:
    """(next joint, cost) of every way the signal can take from a joint."""
    found = []
    for b in look.net.at.get(joint, ()):
        far = b.far(joint)
        if b.sort in _PASSES and not _held(look, far) and _farads(look, b) >= COUPLES_FARADS:
            found.append((far, _RESISTOR if b.sort == "resistance" else _OTHER))
    for start, end in _WAYS:
        for section in look.at(joint, start):
            if section not in look.plates or end == "cathode":  # past the output plates the loop is closed
                far = look.part(section).leads[end]
                if not _held(look, far):
                    found.append((far, _VALVE))
    return found


def _farads(look: Look, b: Branch) -> float:
    return look.part(b.part).value("farads") if b.sort == "capacitor" else inf


def _held(look: Look, joint: str) -> bool:
    return look.rail(joint) or joint in look.quiet


def follows(look: Look, loop: Loop) -> int | None:
    """+1 where the loop's source rises with the plate that ``in_phase`` names, -1 where it falls, None unknown.

    The hot end of the secondary is what stands above its grounded lead; where a tap is grounded, the common and the
    taps below it swing against it.
    """
    part = look.part(loop.transformer)
    order = [lead for lead in part.leads if lead == "common"] + sorted(
        (lead for lead in part.leads if lead.replace(".", "").isdigit()), key=float
    )
    still = [n for n, lead in enumerate(order) if _held(look, part.leads[lead])]
    from_ = [n for n, lead in enumerate(order) if part.leads[lead] == loop.source]
    if not from_ or len(still) > 1:
        return None
    ground = still[0] if still else 0
    return None if from_[0] == ground else (1 if from_[0] > ground else -1)


def hot_follows(part: Part) -> int:
    """+1 where the secondary's hot end follows plate a as the windings stand, -1 where it follows plate b."""
    secondary = next(w for w in part.windings if w.role == "secondary")
    return 1 if secondary.start != "common" else -1


def loop_sign(look: Look, loop: Loop) -> int | None:
    """-1 for negative feedback, +1 for positive, None where the drawing does not say (see ``swing``)."""
    if loop.kind == "cathode winding":  # no signal leads there that the valves' own plates do not make
        return None
    way = swing(look, loop.target, loop.transformer)
    if loop.kind == "plate":
        half = look.plates.get(loop.inner or "")
        return None if way is None or half is None else way.sign * (1 if half[1] == "a" else -1)
    side = follows(look, loop)
    if way is None or side is None:
        return None
    return way.sign * side * hot_follows(look.part(loop.transformer))
