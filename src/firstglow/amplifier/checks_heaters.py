"""Heaters: on no winding, or on the wrong volts.

The heater network is solved with every winding at the volts it is marked for, no resistance in it: what is asked is
whether the heater belongs on that winding, 5 V or 6.3 V, series or parallel, not how heavily the winding is loaded.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from firstglow.amplifier.bases import find
from firstglow.amplifier.graph import Branch, is_mains_secondary
from firstglow.amplifier.implied import SPARE_AMPS
from firstglow.amplifier.leg_types import WindingStep
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Part, Problem, Winding
from firstglow.amplifier.remedies import local, problem
from firstglow.amplifier.windings import free_winding

# A 6.3 V heater on a 5 V winding has 0.79 of its volts, a 5 V heater on 6.3 V 1.26 of them. Volts as marked are known
# to about 5 % (UNMARKED: of a winding without a rating only the unloaded volts, up to 15 % high, common practice).
LOW, HIGH = 0.885, 1.12
UNMARKED_HIGH = 1.19
DC_OVER_AC = (
    1.2  # dc of a capacitor-input heater supply over the winding's rms, diode drops taken off (common practice)
)
DC_LOW, DC_HIGH = 0.6, 1.7  # dc heaters have series resistors and regulators that are not solved here
ON = 0.05  # less than this part of its volts: on no winding


@dataclass(frozen=True, slots=True)
class _Wrong:
    """A heater that gets no volts or the wrong ones; ratio: of those that it should have."""

    heater: Part
    owner: Part
    found: str
    ratio: float


def heater_problems(look: Look) -> list[Problem]:
    """One problem for each envelope whose heater gets no volts or the wrong ones; one for all that need a new winding."""
    heaters = look.amplifier.of_kind("heater")
    if not heaters:
        return []
    volts = _volts(look)
    wrong = [w for h in heaters for w in _heater(look, h, volts)]
    rated = "its rated volts, within 10 %"
    found: list[Problem] = []
    homeless: dict[tuple[float, str, str], list[_Wrong]] = {}
    for w in wrong:
        remedy = _connection(look, w.heater, w.ratio)
        if remedy is not None:
            found.append(problem(look.amplifier, w.owner, w.owner.name, w.found, rated, remedy))
        else:
            alone = w.owner.name if _joined(w.heater) else ""  # its winding stands where its cathode does
            homeless.setdefault((_wanted(w.heater)[-1], alone, w.found), []).append(w)
    taken = [w.start.rsplit(" ", 1)[0] for part in look.amplifier.of_kind("transformer") for w in part.windings]
    for (needed, _, told), group in homeless.items():
        first, rest = group[0].owner, [w.owner.name for w in group[1:]]
        told += f", and so with {', '.join(rest)}" if rest else ""
        name = free_winding(taken)
        taken.append(name)
        remedy = _new_winding(look, group, needed, name)
        found.append(problem(look.amplifier, first, first.name, told, rated, remedy))
    return found


def _heater(look: Look, heater: Part, volts: dict[str, tuple[float, bool]]) -> Iterator[_Wrong]:
    """Compare every stretch of a heater (both halves of a tapped one) with its rating."""
    stretches = [b for b in look.net.branches if b.part == heater.name and b.sort == "heater"]
    for b in stretches:
        rated = heater.value("volts") / len(stretches)
        ac, _ = volts.get(b.a, (0.0, False))
        other, _ = volts.get(b.b, (0.0, False))
        dc = any(volts.get(j, (0.0, False))[1] for j in (b.a, b.b))
        ratio = abs(ac - other) / rated
        low, high = (DC_LOW, DC_HIGH) if dc else (LOW, HIGH if _rated(look) else UNMARKED_HIGH)
        if low < ratio < high:
            continue
        whole = _rating(heater)
        if ratio < ON:
            found = f"its heater of {whole} is on no winding"
        else:
            found = f"its heater of {whole} gets about {_told(ratio * heater.value('volts'), len(stretches))}"
        yield _Wrong(heater, _valve(look, heater) or heater, found, ratio)
        return


def _rating(heater: Part) -> str:
    volts = heater.value("volts")
    return f"{volts:g} V ({volts / 2:g} V parallel)" if "ct" in heater.leads else f"{volts:g} V"


def _told(volts: float, stretches: int) -> str:
    """Volts as they compare with the rating; of a tapped heater as if in series."""
    return f"{volts:.3g} V" + (" end to end" if stretches > 1 else "")


def _valve(look: Look, heater: Part) -> Part | None:
    """First section of the heater's glass: what the file has a line for."""
    return next((p for p in look.amplifier.of_kind("valve", "rectifier") if p.envelope == heater.envelope), None)


def _wanted(heater: Part) -> list[float]:
    """Every volts that the heater can be wired for; the last is the lowest."""
    base = find(heater.type or "")
    halves = [heater.value("volts") / 2] if "ct" in heater.leads else []
    return [heater.value("volts"), *halves, *([v for v, _ in base.heaters] if base is not None else [])]


def _amps(heater: Part, volts: float) -> float:
    """What the heater draws when it is wired for these volts."""
    return heater.value("amps") * heater.value("volts") / volts


def _joined(heater: Part) -> bool:
    base = find(heater.type or "")
    return base is not None and base.joined


def _new_winding(look: Look, group: list[_Wrong], volts: float, name: str) -> str:
    """A winding to add for heaters that none fits, and the words that put each of them on it."""
    amplifier = look.amplifier
    on = next((local(amplifier, p.name, group[0].owner.channel) for p in amplifier.of_kind("transformer")), None)
    if on is None:
        return f"a supply of {volts:g} V for it"
    amps = SPARE_AMPS * sum(_amps(w.heater, volts) for w in group)
    # a centre tap stands on chassis by itself: of a heater that takes its cathode along it would be a short
    centre = "" if _joined(group[0].heater) else " ct"
    lines = dict.fromkeys(local(amplifier, w.owner.name, w.owner.channel) for w in group)
    it = "it" if len(group) == 1 else "them"
    winding = f'{name} = "{volts:g}V {amps:.2g}A{centre}"'
    return f'a winding for {it} on {on}: {winding}, and heater = "{on} {name}" in {", ".join(lines)}'


def _connection(look: Look, heater: Part, ratio: float) -> str | None:
    """The other connection of a tapped heater, else a winding that fits; None where none does."""
    wanted = _wanted(heater)
    if "ct" in heater.leads and ratio > ON:
        if abs(ratio * 2 - 1) < 0.2:
            return 'heater_connection = "parallel"'
        if abs(ratio / 2 - 1) < 0.2:
            return 'heater_connection = "series"'
    best: tuple[float, str] | None = None
    for part in look.amplifier.of_kind("transformer"):
        spans: dict[str, float] = {}
        for w in part.windings:
            if w.role != "primary":
                prefix = w.start.rsplit(" ", 1)[0]
                spans[prefix] = spans.get(prefix, 0.0) + marked_volts(w)
        for prefix, volts in spans.items():
            for rated in wanted:
                off = abs(volts / rated - 1)
                if off < 0.12 and (best is None or off < best[0]):
                    best = (off, f'heater = "{local(look.amplifier, part.name, heater.channel)} {prefix}"')
    return best[1] if best else None


def _volts(look: Look) -> dict[str, tuple[float, bool]]:
    """Joint volts of the heater lines -> (volts, whether dc); windings at their marked volts."""
    import numpy as np

    ways: list[tuple[str, str, float, float]] = []  # a, b, siemens, emf a over b
    dc: set[str] = set()
    for b in look.net.branches:
        emf = _emf(look, b)
        if emf is not None:
            ways.append((b.a, b.b, 1e3, emf))
        elif b.sort in {"wire", "heater", "lamp", "resistance", "choke"}:
            ways.append((b.a, b.b, 1.0 / max(b.ohms, 1e-3), 0.0))
    for s in look.supplies:
        if s.use == "heater":
            rms = max(abs(_leg_volts(look, leg.windings)) for leg in s.legs)
            ways.append((s.joint, s.ret, 1e3, s.sign * DC_OVER_AC * rms))
            dc |= _line(look, (s.joint, s.ret))
    joints = sorted({j for a, b, _, _ in ways for j in (a, b)} - {"chassis"})
    row = {j: n for n, j in enumerate(joints)}
    matrix, right = np.eye(len(joints)) * 1e-9, np.zeros(len(joints))
    for one, other, siemens, emf in ways:
        for here, there, sign in ((one, other, 1.0), (other, one, -1.0)):
            if here in row:
                matrix[row[here], row[here]] += siemens
                right[row[here]] += sign * siemens * emf
                if there in row:
                    matrix[row[here], row[there]] -= siemens
    solved = np.linalg.solve(matrix, right)
    return {j: (float(solved[n]), j in dc) for j, n in row.items()} | {"chassis": (0.0, False)}


def _emf(look: Look, b: Branch) -> float | None:
    """Marked volts of a secondary (dot end over the other), volts of a bench supply; None for anything else."""
    part = look.part(b.part)
    if b.sort == "source":
        return part.value("volts")
    if b.sort == "winding" and is_mains_secondary(look.net, b):
        return marked_volts(next(w for w in part.windings if w.name == b.winding))
    return None


def marked_volts(w: Winding) -> float:
    """Open-circuit volts less the drop at rated current: half of it in the winding, as much again in the primary."""
    if w.amps is None:
        return w.turns.value
    return max(w.turns.value - 2 * w.amps.value * w.ohms.value, 0.8 * w.turns.value)


def _rated(look: Look) -> bool:
    """Whether every winding that heats has a rating."""
    heats = {j for h in look.amplifier.of_kind("heater") for j in h.leads.values()} - {"chassis"}
    return all(
        w.amps is not None
        for part in look.amplifier.of_kind("transformer")
        for w in part.windings
        if w.role != "primary" and {part.leads[w.start], part.leads[w.end]} & heats
    )


def _leg_volts(look: Look, steps: tuple[WindingStep, ...]) -> float:
    """Open-circuit volts of one leg's windings."""
    total = 0.0
    for step in steps:
        part = look.part(step.part)
        if part.kind == "supply":
            total += step.sign * part.value("volts")
        else:
            total += step.sign * next(w.turns.value for w in part.windings if w.name == step.winding)
    return total


def _line(look: Look, starts: tuple[str, str]) -> set[str]:
    """Joints of a dc heater line."""
    sorts = ("wire", "heater", "lamp", "resistance", "choke")
    return set(look.walk([j for j in starts if j != "chassis"], sorts, {*look.positive, *look.negative})) - {"chassis"}
