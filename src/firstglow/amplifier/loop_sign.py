"""Which way round a feedback loop is, by counting the valves that turn the signal over.

Mid-band: coupling capacitors pass, what large capacitors hold stays still, windings are ideal. From the joint where the
loop arrives the signal is followed to the output plates by the way with the fewest valves: grid to plate turns it over,
grid to cathode and cathode to plate do not.
"""

import heapq
from dataclasses import dataclass
from math import inf

from firstglow.amplifier.graph import Branch
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Part
from firstglow.amplifier.role_types import Loop

_PASSES = frozenset({"resistance", "capacitor", "wire"})
# Of two ways through equally many valves the one with fewer resistors between is the signal's own: two grid leaks to a
# common bias pot join the grids of a pair too, but each grid follows its own coupling capacitor. A joint that a capacitor
# bypasses to chassis (the second grid of a long-tailed pair) hardly follows a resistor at all.
_VALVE, _RESISTOR, _OTHER, _BYPASSED = 1.0, 0.2, 0.001, 0.5
_NEAR = 0.3  # arrivals within so much of the nearest count as one way
COUPLES_FARADS = 1e-9  # a smaller capacitor passes next to nothing at 1 kHz (160 kohm and more)
BYPASSES_FARADS = 4.7e-9  # 34 kohm at 1 kHz, beside grid leaks of 220 kohm and more
# what a valve does to the signal: (from, to, sign)
_WAYS = (("grid", "plate", -1), ("grid", "cathode", 1), ("cathode", "plate", 1))


@dataclass(frozen=True, slots=True)
class Swing:
    """What a rise at a joint does at an output transformer.

    sign: +1 where plate a rises with it, -1 where it falls. valves: sections on the way.
    """

    sign: int
    valves: int


def swing(look: Look, joint: str, transformer: str) -> Swing | None:
    """How plate a of a transformer follows a joint; None where nothing drives it, or where two ways disagree.

    Plate b swings against plate a, so each half is counted as what plate a does.
    """
    arrivals: dict[int, float] = {}  # sign of plate a -> cost of the nearest way
    done: set[str] = set()
    heap: list[tuple[float, str, int]] = [(0.0, joint, 1)]
    while heap:
        cost, at, sign = heapq.heappop(heap)
        if arrivals and cost > min(arrivals.values()) + _NEAR:
            break
        if at in done:  # the nearer way has it already
            continue
        done.add(at)
        for section in look.at(at, "grid", "cathode"):
            hit = look.plates.get(section)
            if hit is not None and hit[0] == transformer:
                turned = -sign if at == look.part(section).leads["grid"] else sign
                arrivals.setdefault(turned if hit[1] == "a" else -turned, cost)
        for far, step, flip in _steps(look, at):
            heapq.heappush(heap, (cost + step, far, sign * flip))
    if len(arrivals) != 1:
        return None
    ((sign, cost),) = arrivals.items()
    return Swing(sign, round(cost / _VALVE) + 1)


def _steps(look: Look, joint: str) -> list[tuple[str, float, int]]:
    """(next joint, cost, sign) of every way the signal can take from a joint."""
    found = []
    for b in look.net.at.get(joint, ()):
        far = b.far(joint)
        if b.sort in _PASSES and not _held(look, far) and _farads(look, b) >= COUPLES_FARADS:
            cost = _OTHER
            if b.sort == "resistance":
                cost = _RESISTOR + (_BYPASSED if _bypassed(look, far) else 0.0)
            found.append((far, cost, 1))
    for start, end, sign in _WAYS:
        for section in look.at(joint, start):
            if section not in look.plates or end == "cathode":  # past the output plates the loop is closed
                far = look.part(section).leads[end]
                if not _held(look, far):
                    found.append((far, _VALVE, sign))
    return found


def _farads(look: Look, b: Branch) -> float:
    return look.part(b.part).value("farads") if b.sort == "capacitor" else inf


def _bypassed(look: Look, joint: str) -> bool:
    """Whether a capacitor that matters at mid-band stands from the joint to one that is still."""
    ways = [b for b in look.net.at[joint] if b.sort == "capacitor"]
    return any(_held(look, b.far(joint)) and _farads(look, b) >= BYPASSES_FARADS for b in ways)


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
    if loop.kind != "loudspeaker":
        return None
    way, side = swing(look, loop.target, loop.transformer), follows(look, loop)
    if way is None or side is None:
        return None
    return way.sign * side * hot_follows(look.part(loop.transformer))
