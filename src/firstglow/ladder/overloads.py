"""What the drawing asks of its parts beyond their ratings, with everything in and at its idle, at the marked mains; from
heater to cathode, cold too.

A value typed wrong (1R for 220k) mostly shows here before a meter is near it: something stands past what it is rated
for. Each is named with its figures and what to do. Capacitors in every other state are ``unfit``'s.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.roles import roles
from firstglow.amplifier.situation import Situation
from firstglow.ladder.answers import SolverPhysics

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

# Past a rating by less than this is a meter's or a heater law's business, not the drawing's (common practice).
SLACK = 1.05
SHARE = 0.3  # of a current: a part that carries this much of it is named
FIND = "Find what draws it before any power."
FIND_OR_FIT = "Find what draws it, or fit a type for it, before any power."
_FIND = (FIND, FIND_OR_FIT)
HEATER = "stands, heater to cathode,"
SMALL_WATTS = 2.0  # W: a resistor whose watts nobody said is taken as no more than this (common practice)


@dataclass(frozen=True, slots=True)
class Overload:
    """One part past one rating. value, limit [unit]. what: the rating in words. remedy: what to do, in bench words."""

    part: str
    what: str
    value: float
    limit: float
    unit: str
    remedy: str

    @property
    def past(self) -> str:
        """What is past what, without the remedy."""
        return f"{self.what} {_said(self.value, self.unit)}, rated {_said(self.limit, self.unit)}"

    @property
    def text(self) -> str:
        """One line in plain words."""
        return f"OVERLOAD as drawn: {self.part}: {self.figures}. {self.remedy}"

    @property
    def figures(self) -> str:
        """What it is asked and what it is rated."""
        return f"{self.what} {_said(self.value, self.unit)}, rated {_said(self.limit, self.unit)}"


def by_part(found: Iterable[Overload]) -> tuple[str, ...]:
    """One line a part: every rating that it passes, the worst first, and each thing to do once."""
    mine: dict[str, list[Overload]] = {}
    for over in found:
        mine.setdefault(over.part, []).append(over)
    lines = []
    for part, every in mine.items():
        figures = "; ".join(o.figures for o in every)
        lines.append(f"OVERLOAD as drawn: {part}: {figures}. {' '.join(dict.fromkeys(o.remedy for o in every))}")
    return tuple(lines)


def overloads(amplifier: Amplifier, physics: SolverPhysics | None = None) -> tuple[Overload, ...]:
    """Every part past a rating, the worst first. SolveError where the amplifier would not settle."""
    physics = physics or SolverPhysics(amplifier)
    standing = physics.standing(as_it_stands(amplifier))
    warm = past_ratings(amplifier, standing)
    cold = [o for o in _cold_heaters(amplifier, physics) if (o.part, HEATER) not in {(w.part, w.what) for w in warm}]
    return tuple(sorted((*warm, *cold), key=lambda o: -o.value / o.limit))


def _cold_heaters(amplifier: Amplifier, physics: SolverPhysics) -> Iterator[Overload]:
    """What stands from heater to cathode at every cold start, nothing drawing yet: a cathode that only its own valve lifts is at
    the far end of its resistor, which may be a negative rail."""
    sections = amplifier.of_kind("valve")
    cold = Situation(amplifier.mains_volts, out=frozenset(p.envelope for p in sections if p.envelope is not None))
    standing = physics.standing(cold) if sections else None
    for part in amplifier.of_kind("valve", "rectifier"):
        for over in _heater_to_cathode(amplifier, standing, part) if standing is not None else ():
            if over.value > SLACK * over.limit:
                yield replace(over, what=f"{HEATER} at every cold start,")


def past_ratings(amplifier: Amplifier, standing: Any) -> tuple[Overload, ...]:
    """Every part past a rating at a solved point, the worst first."""
    every = [o for part in amplifier.parts.values() for o in _of(amplifier, standing, part)]
    every += _windings(amplifier, standing)
    found = [replace(o, remedy=_drawn_by(amplifier, standing, o)) for o in every if o.value > SLACK * o.limit > 0.0]
    return tuple(sorted(found, key=lambda o: -o.value / o.limit))


def at_the_limit(amplifier: Amplifier, physics: SolverPhysics) -> tuple[str, ...]:
    """A line for each rating of a valve that is passed as drawn by less than counts as an overload: the drawing stands on
    the limit itself, and half of all healthy amplifiers past it."""
    standing = physics.standing(as_it_stands(amplifier))
    every = [o for part in amplifier.of_kind("valve") for o in _of(amplifier, standing, part)]
    near = [o for o in every if o.limit > 0.0 and o.limit < o.value <= SLACK * o.limit]
    told = (f"{o.part}: {o.what} {_finely(o.value, o.unit)} as drawn, rated {_finely(o.limit, o.unit)}" for o in near)
    return tuple(f"AT ITS LIMIT as drawn: {text}. {o.remedy}" for o, text in zip(near, told, strict=True))


def as_it_stands(amplifier: Amplifier) -> Situation:
    """Everything in, each pot at its valve's idle, the loop closed, the mains as marked."""
    idle = {valve: target.amps.value for valve, target in amplifier.idle.items() if target.pot}
    return Situation(amplifier.mains_volts, idle=idle)


def tubes_alone(frame: "Frame") -> tuple[str, ...]:
    """A line for each gas tube past its most on the rungs where HT is on and no output valve draws: it carries what they will
    take. A tube's most is no average, so any more than that is told."""
    tubes = frame.amplifier.of_kind("gas tube")
    if "4" not in frame.dials.dial or not tubes:
        return ()
    joints, told = frame.physics.joints(frame.ht_only(frame.dial("4"), loads=frame.ht_loads)), []
    for part in tubes:
        volts = abs(joints[part.leads["anode"]][0] - joints[part.leads["cathode"]][0])
        amps = max(volts - part.value("volts"), 0.0) / part.value("ohms")  # running volts, then a slope resistance
        for o in _gas_tube(part, {"amps": amps}):
            if o.value > o.limit:
                figures = f"{o.part} {o.what} {_finely(o.value, o.unit)}, rated {_finely(o.limit, o.unit)}"
                told.append(f"OVERRUN with the output valves out (rungs 4 and 5): {figures}. {o.remedy}")
    return tuple(told)


def _drawn_by(amplifier: Amplifier, standing: Any, over: Overload) -> str:
    """The remedy, with the part that most of a current goes through where one does."""
    if over.remedy not in _FIND:
        return over.remedy
    most, amps = None, SHARE * over.value
    for part in amplifier.of_kind("resistor", "pot", "valve"):
        if part.kind != "valve" and "chassis" not in part.leads.values():
            continue  # a dropper carries what others draw
        own = abs(float(np.ravel(standing.part(part.name)["amps"])[0]))
        if own > amps:
            most, amps = part, own
    if most is None:
        return over.remedy
    value = f" ({most.value('ohms'):g} Ω)" if "ohms" in most.values else ""
    return f"{_said(amps, 'A')} goes through {most.name}{value}: check it against the drawing before any power."


def _of(amplifier: Amplifier, standing: Any, part: Part) -> Iterator[Overload]:
    if part.kind in _KINDS:
        row = {key: float(np.ravel(value)[0]) for key, value in standing.part(part.name).items()}
        yield from _KINDS[part.kind](part, row)
    if part.kind in ("valve", "rectifier"):
        yield from _heater_to_cathode(amplifier, standing, part)


def _resistor(part: Part, row: dict[str, float]) -> Iterator[Overload]:
    rated = part.values.get("watts")
    ohms = f"Check its value ({part.value('ohms'):g} Ω) against the drawing and the part"
    if rated is None:
        yield Overload(part.name, "its watts are not said and it takes", row["watts"], SMALL_WATTS, "W", f"{ohms}.")
        return
    need = 2.0 * row["watts"]  # a resistor is run at half its rating at most (common practice)
    yield Overload(
        part.name, "takes", row["watts"], rated.value, "W", f"{ohms}; if it is right, fit {_said(need, 'W')} or more."
    )


def _capacitor(part: Part, row: dict[str, float]) -> Iterator[Overload]:
    if "volts" in part.values:
        volts = abs(row["volts"])
        yield Overload(
            part.name, "stands", volts, part.value("volts"), "V", "Fit one that stands it, or find what raises it."
        )


def _current(part: Part, row: dict[str, float]) -> Iterator[Overload]:
    """Choke, diode, fuse: dc, a fuse the larger of dc and rms."""
    rated = part.values.get("amps")
    if rated is None:
        return
    amps = max(abs(row["amps"]), row.get("amps_rms", 0.0)) if part.kind == "fuse" else abs(row["amps"])
    yield Overload(part.name, "carries", amps, rated.value, "A", FIND)


def _gas_tube(part: Part, row: dict[str, float]) -> Iterator[Overload]:
    amps = abs(row["amps"])
    yield Overload(part.name, "carries", amps, part.value("amps_max"), "A", "Raise the resistor that feeds it.")


def _valve(part: Part, row: dict[str, float]) -> Iterator[Overload]:
    from firstglow.readings.rated import section_of

    limits = section_of(part).limits
    bias = "Check its cathode resistor, its bias and its idle target."
    screen = "Check its screen resistor and what feeds it."
    cathode = row["plate_amps"] + row.get("screen_amps", 0.0)
    wanted = (
        ("its plate takes", row["plate_watts"], limits.plate_watts, "W", bias),
        ("its screen takes", row.get("screen_watts", 0.0), limits.screen_watts, "W", screen),
        ("its cathode gives", cathode, limits.cathode_amps, "A", bias),
        ("its plate stands, to its cathode,", row["plate_volts"], limits.plate_volts, "V", "A type for these volts."),
        ("its screen stands, to its cathode,", row.get("screen_volts", 0.0), limits.screen_volts, "V", screen),
    )
    for what, value, most, unit, remedy in wanted:
        if most is not None:
            yield Overload(part.name, what, value, most, unit, remedy)


def _rectifier(part: Part, row: dict[str, float]) -> Iterator[Overload]:
    from firstglow.readings.rated import section_of

    most = section_of(part).limits.others.get("idc_max_mA")
    if most is not None:
        yield Overload(part.name, f"the {part.type} gives, dc,", abs(row["amps"]), most / 1e3, "A", FIND_OR_FIT)


_KINDS = {
    "resistor": _resistor,
    "pot": _resistor,
    "capacitor": _capacitor,
    "choke": _current,
    "diode": _current,
    "fuse": _current,
    "gas tube": _gas_tube,
    "valve": _valve,
    "rectifier": _rectifier,
}


def _heater_to_cathode(amplifier: Amplifier, standing: Any, part: Part) -> Iterator[Overload]:
    from firstglow.readings.rated import section_of

    limits = section_of(part).limits
    heater = amplifier.parts.get(f"{part.envelope} heater")
    if limits.heater_cathode_volts is None or heater is None or part.leads["cathode"] in heater.leads.values():
        return
    above = float(np.ravel(standing.dc(heater.leads["1"]) - standing.dc(part.leads["cathode"]))[0])
    volts, most = abs(above), limits.heater_apart(above)
    remedy = f"Give its heater a winding of its own, or {'lower' if above > 0.0 else 'lift'} the heater line."
    yield Overload(part.name, HEATER, volts, most, "V", remedy)


def _windings(amplifier: Amplifier, standing: Any) -> Iterator[Overload]:
    """Rectified windings by the dc they give (model.Winding.amps), every other by its rms."""
    fed = _rectified(amplifier, standing)
    for part in amplifier.of_kind("transformer"):
        alike: dict[tuple[str, float, float], list[str]] = {}  # the halves of one winding in one line
        for w in part.windings:
            name = f"{part.name} {w.name}"
            if w.amps is None or w.role == "primary":
                continue
            if name in fed:
                what, value = "gives, dc after its rectifier,", fed[name]
            else:
                what, value = "carries", float(np.ravel(standing.part(name)["amps_rms"])[0])
            alike.setdefault((what, float(f"{value:.3g}"), w.amps.value), []).append(w.name)
        for (what, value, limit), names in alike.items():
            yield Overload(f"{part.name} {' and '.join(names)}", what, value, limit, "A", FIND)


def _rectified(amplifier: Amplifier, standing: Any) -> dict[str, float]:
    """Winding -> dc of all supplies on it [A]; those of a multiplier are judged by their rms."""
    found: dict[str, float] = {}
    for supply in roles(amplifier).supplies:
        if supply.form not in ("full wave", "half wave", "bridge"):
            continue
        amps = sum(abs(float(np.ravel(standing.part(r)["amps"])[0])) for r in supply.giving)
        for name in {f"{w.part} {w.winding}" for leg in supply.legs for w in leg.windings}:
            found[name] = found.get(name, 0.0) + amps
    return found


def _finely(value: float, unit: str) -> str:
    """With a figure more than ``_said``: what differs by less than a percent must not read alike."""
    return f"{1e3 * value:.4g} mA" if unit == "A" else f"{value:.4g} {unit}"


def _said(value: float, unit: str) -> str:
    if unit == "A" and abs(value) < 1.0:
        return f"{1e3 * value:.3g} mA"
    return f"{value:.3g} {unit}"
