"""Incoming valves: what a healthy one of its type draws in THIS amplifier, where that is read, and two checks in circuit.

The band is that of the standing solution with every part and valve of the spread, the law's own uncertainty included. Gas:
positive ions make the grid more positive than what holds it, by their current times the grid leak; solved with the gas in.
Heater to cathode: the heater's own ac, HT off, through the leak into what the cathode stands on.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import pi
from typing import Literal

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.amplifier.role_types import OutputValve, SmallValve
from firstglow.amplifier.situation import Situation
from firstglow.audit.replace_leak import lower_leak
from firstglow.audit.stress_valves import VALVES
from firstglow.audit.ways import Array, Stood
from firstglow.readings.meters import Meter
from firstglow.readings.rated import section_of
from firstglow.readings.spreads import draw, mains_read_width
from firstglow.solver.cold import cold_ohms
from firstglow.solver.idle import solve_idle

SAMPLES = 400
LOW, HIGH = 2.5, 97.5
"""Percentiles of the band: nineteen of twenty healthy ones."""
GAS_OUTPUT, GAS_SMALL = (0.5e-6, 2e-6), (0.1e-6, 0.5e-6)
"""Grid current up to which a valve is good, and over which it is never fitted [A] (common practice; facts: a gassy output
valve has 0.5 to 20 uA)."""
LEAK_OHMS = (10e6, 1e6)
"""Heater to cathode: good above the first, never fitted below the second [ohm] (common practice; facts: 10 kohm to 1 Mohm is
the fault)."""
SEEN_VOLTS = 5e-3
"""Ac that the worst must show at a cathode to be told from stray hum [V rms] (common practice)."""
HALF_SEEN = 0.5
"""Less than this part of the leak's own drop: something else holds the grid."""
CLIP_OHMS = 1e6
"""Across the meter where the cathode's lead is off [ohm]."""
HALF_REFERENCES = ("centre tap", "hum pot", "resistors", "lifted")
PASSES = 3


@dataclass(frozen=True, slots=True)
class Draws:
    """What a healthy valve draws. red, black: where it is read, joints; across: the part between them ("" for a supply's
    volts). volts, low, high: what the meter shows there [V]; amps, amps_low, amps_high: of the section's cathode [A] (of a
    rectifier: its dc). limit_volts, limit_amps: where its plate stands at its rating, None where the sheet or the place gives
    none. target: idle it is set to; reaches: part of healthy ones whose preset gets there; grid_low, grid_high: volts to
    chassis with which it does."""

    valve: str
    type: str
    situation: str
    red: str
    black: str
    across: str
    volts: float
    low: float
    high: float
    amps: float
    amps_low: float
    amps_high: float
    limit_volts: float | None
    limit_amps: float | None
    target: float | None = None
    pot: str = ""
    reaches: float | None = None
    grid_low: float | None = None
    grid_high: float | None = None


@dataclass(frozen=True, slots=True)
class Gas:
    """Volts from what holds its grid (black) to the grid (red) that a good valve stays under and one never fitted shows [V],
    meter loading in; amps of the two [A]; idle: cathode amps without, with each, and with each on a doubled leak [A], None where
    its sheet does not allow twice the ohms. leak, most: ohms that hold the grid and what the sheet allows, None where it says
    nothing. ordered: the grid leak that ``firstglow parts`` orders for one past that, with the volts of the two then."""

    valve: str
    red: str
    black: str
    good_amps: float
    reject_amps: float
    good_volts: float
    reject_volts: float
    idle: float
    idle_good: float | None
    idle_reject: float | None
    doubled_good: float | None
    doubled_reject: float | None
    input_empty: bool
    leak: float | None = None
    most: float | None = None
    ordered: float | None = None
    ordered_good: float | None = None
    ordered_reject: float | None = None


Method = Literal["at its cathode", "its cathode's lead off", "in the hand, hot"]


@dataclass(frozen=True, slots=True)
class HeaterLeak:
    """Ac at the cathode, HT off and heaters warm [V rms]: a good valve stays under the first, one never fitted shows more than
    the second; None in the hand. lead: the part whose end comes off there."""

    valve: str
    method: Method
    red: str
    lead: str
    across_ohms: float | None
    good_volts: float | None
    reject_volts: float | None


# -- what it draws -----------------------------------------------------------------------------------------------------
def healthy(stood: Stood, meter: Meter) -> tuple[Draws, ...]:
    """Every valve section and rectifier valve, running on the mains as they are, presets where middling valves idle."""
    circuit, mains = stood.circuit, stood.mains["now"]
    width = mains_read_width(mains, meter.range_for("ac volts", mains))
    k = int(np.flatnonzero(stood.where(level="now", runs=True))[0])
    drawn = draw(circuit, SAMPLES, width)
    laid = circuit.apply(drawn.values, Situation(mains, pots=stood.pots))
    start = np.repeat(stood.standing.x[:, k : k + 1], SAMPLES, axis=1)
    many = circuit.solve(laid, start, strict=False)
    targets = {v: t.amps.value for v, t in stood.amplifier.idle.items() if t.pot}
    set_to = (
        solve_idle(circuit, laid, {v: np.full(1, a) for v, a in targets.items()}, start, False) if targets else None
    )
    out = []
    for part in stood.amplifier.of_kind("valve", "rectifier"):
        place = _where(stood, part)
        if place is None:
            continue
        red, black, across = place
        loading = 1.0 / (1.0 + float(stood.standing.source_ohms(red, black)[k]) / _input(meter, stood, red, black, k))
        volts = np.abs(many.dc(red) - many.dc(black))[many.settled] * loading
        amps = _amps(many.part(part.name))[many.settled]
        one, own = float(np.abs(stood.dc(red) - stood.dc(black))[k]) * loading, float(_amps(stood.row(part.name))[k])
        limit = _limit(stood, part, k)
        more: dict[str, object] = {}
        if part.name in targets and set_to is not None:
            good = set_to.standing.settled & ~set_to.out_of_travel[part.name]
            grid = set_to.standing.dc(part.leads["grid"])[good]
            more = {
                "target": targets[part.name], "pot": stood.amplifier.idle[part.name].pot or "",
                "reaches": float(good.sum() / max(int(set_to.standing.settled.sum()), 1)),
                "grid_low": float(np.percentile(grid, LOW)) if grid.size else None,
                "grid_high": float(np.percentile(grid, HIGH)) if grid.size else None,
            }  # fmt: skip
        out.append(
            Draws(
                part.name, part.type or "", stood.ways[k].text, red, black, across, one,
                float(np.percentile(volts, LOW)), float(np.percentile(volts, HIGH)), own,
                float(np.percentile(amps, LOW)), float(np.percentile(amps, HIGH)),
                None if limit is None or part.kind == "rectifier" else one * limit / own, limit, **more,  # type: ignore[arg-type]
            )
        )  # fmt: skip
    return tuple(_one_band(out))


def _one_band(rows: Sequence[Draws]) -> Iterator[Draws]:
    """Valves of one type in like places have one band, the widest of them: a valve is good or not wherever it is tried."""
    widest = {d.valve: group for group in alike(rows) for d in group}
    for d in rows:
        group = widest[d.valve]
        yield replace(
            d, low=min(g.low for g in group), high=max(g.high for g in group),
            amps_low=min(g.amps_low for g in group), amps_high=max(g.amps_high for g in group),
        )  # fmt: skip


def _amps(row: Mapping[str, Array]) -> Array:
    """A section's cathode current, a rectifier's dc."""
    if "plate_amps" in row:
        return np.asarray(row["plate_amps"] + row.get("screen_amps", 0.0))
    return np.abs(row["amps"])


def _input(meter: Meter, stood: Stood, red: str, black: str, k: int) -> float:
    return meter.range_for("dc volts", float(np.abs(stood.dc(red) - stood.dc(black))[k])).input_ohms


def _where(stood: Stood, part: Part) -> tuple[str, str, str] | None:
    """(red, black, part between): a resistor that its current alone passes; None where there is none."""
    found, amplifier = stood.roles, stood.amplifier
    if part.kind == "rectifier":
        supply = next((s for s in found.supplies if part.name in s.rectifiers), None)
        return None if supply is None else (supply.joint, supply.ret, "")
    cathode = part.leads["cathode"]
    alone = sum(p.leads["cathode"] == cathode for p in amplifier.of_kind("valve")) == 1
    output = next((o for o in found.outputs if o.valve == part.name), None)
    if output is not None:
        name = output.sense or output.cathode_resistor
        if name is not None and alone and not output.shares_cathode:
            return _ends(amplifier.parts[name], cathode)
        return _ends(amplifier.parts[output.transformer], output.plate, "centre")
    small = next((s for s in found.smalls if s.valve == part.name), None)
    if small is None:
        return None
    if small.cathode_resistor is not None and alone:
        return _ends(amplifier.parts[small.cathode_resistor], cathode)
    loads = [p for p in small.plate_load if amplifier.parts[p].kind == "resistor"]
    return _ends(amplifier.parts[loads[0]], small.plate) if loads else None


def _ends(part: Part, at: str, lead: str = "") -> tuple[str, str, str] | None:
    """(the end with more volts, the other, the part) of a part with one end at a joint."""
    if lead:
        return part.leads[lead], at, f"half primary of {part.name}"
    others = [j for j in part.leads.values() if j != at]
    if not others or at not in part.leads.values():
        return None
    cathode = "ohms" in part.values
    return (at, others[0], part.name) if cathode else (others[0], at, part.name)


def _limit(stood: Stood, part: Part, k: int) -> float | None:
    """Cathode amps with which an output valve's plate stands at its watts, at these volts."""
    if part.name not in {o.valve for o in stood.roles.outputs}:
        return None
    watts = section_of(part).limits.plate_watts
    row = stood.row(part.name)
    if watts is None or float(row["plate_amps"][k]) <= 0.0:
        return None
    return float(watts / row["plate_volts"][k] * _amps(row)[k] / row["plate_amps"][k])


# -- gas -----------------------------------------------------------------------------------------------------------------
def gas(stood: Stood, meter: Meter) -> Iterator[Gas]:
    """Every section whose grid a leak holds. Five columns each: no gas, good, reject, and the last two on another leak: doubled
    where its sheet allows that, the one that is ordered where it is past what the sheet allows already."""
    every: list[OutputValve | SmallValve] = [*stood.roles.outputs, *stood.roles.smalls]
    held = [r for r in every if r.grid_leak is not None and not _coupled(r)]
    if not held:
        return
    circuit, k, n = stood.circuit, int(np.flatnonzero(stood.where(level="now", runs=True))[0]), 5
    p = np.repeat(np.array(stood.standing.values[:, k : k + 1]), n * len(held), axis=1)
    x = np.repeat(stood.standing.x[:, k : k + 1], n * len(held), axis=1)
    spans = [slice(n * i, n * i + n) for i in range(len(held))]
    wanted = [np.array([0.0, g, r, g, r]) for g, r in map(_limits, held)]
    others = [_other_leak(stood, r) for r in held]
    for role, span, other in zip(held, spans, others, strict=True):
        leak = circuit.column.get(f"{role.grid_leak} ohms")
        if leak is not None and other.ohms is not None:
            p[leak, span.start + 3 : span.stop] = other.ohms
    solved = stood.standing
    plates = [np.full(n, float(stood.row(r.valve)["plate_amps"][k])) for r in held]
    for _ in range(PASSES):  # the ratio is to a plate current that the gas itself raises
        for role, span, amps, plate in zip(held, spans, wanted, plates, strict=True):
            p[circuit.column[f"{role.valve} gas"], span] = amps / np.maximum(plate, 1e-9)
        solved = circuit.solve(p, x, strict=False)
        plates = [np.asarray(solved.part(r.valve)["plate_amps"])[s] for r, s in zip(held, spans, strict=True)]
    cold = cold_ohms(stood.amplifier, Situation(0.0, pots=stood.pots), [(r.grid, _black(r)) for r in held])[:, 0]
    for role, span, ohms, other in zip(held, spans, cold, others, strict=True):
        good, reject = _limits(role)
        rise = np.abs((solved.dc(role.grid) - solved.dc(_black(role)))[span])
        amps = _amps(solved.part(role.valve))[span]
        plugged = bool(rise[2] < HALF_SEEN * reject * float(ohms))
        source = float(ohms) if plugged else float(solved.source_ohms(role.grid, _black(role))[span.start])
        volts = reject * source if plugged else float(rise[2])
        shown = volts / (1.0 + source / meter.range_for("dc volts", volts).input_ohms)
        idles = [None if plugged else float(a) for a in amps[1:]]
        doubled = idles[2:] if other.ohms is not None and not other.ordered else [None, None]
        new = None
        if other.ordered and not plugged:
            behind = float(solved.source_ohms(role.grid, _black(role))[span.start + 4])
            new = float(rise[4]) / (1.0 + behind / meter.range_for("dc volts", float(rise[4])).input_ohms)
        yield Gas(
            role.valve, role.grid, _black(role), good, reject, shown * good / reject, shown, float(amps[0]), idles[0], idles[1],
            doubled[0], doubled[1], plugged, other.now, other.most, None if new is None else other.ohms,
            None if new is None else new * good / reject, new,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Leak:
    """now, most: ohms from grid to chassis and what the sheet allows. ohms: of the other leak to try; ordered: it is the one that
    is ordered, not twice what is there."""

    now: float | None = None
    most: float | None = None
    ohms: float | None = None
    ordered: bool = False


def _other_leak(stood: Stood, role: OutputValve | SmallValve) -> _Leak:
    """A gassy valve on more ohms than its sheet allows runs away: the leak is doubled only where twice the ohms are within it."""
    part = stood.amplifier.parts[role.valve]
    s = next((s for s in VALVES["valve"](stood, part) if s.stress == "grid leak"), None)
    if s is None or s.rating is None or role.grid_leak is None:
        return _Leak()
    ohms = stood.amplifier.parts[role.grid_leak].value("ohms")
    if s.value + ohms <= s.rating:
        return _Leak(s.value, s.rating, 2.0 * ohms)
    if s.verdict == "unfit" and (new := lower_leak(s.rating or 0.0, s.value, ohms)) is not None:
        return _Leak(s.value, s.rating, new, True)
    return _Leak(s.value, s.rating)


def _limits(role: OutputValve | SmallValve) -> tuple[float, float]:
    return GAS_OUTPUT if isinstance(role, OutputValve) else GAS_SMALL


def _black(role: OutputValve | SmallValve) -> str:
    """What holds its grid."""
    return role.bias_joint if isinstance(role, OutputValve) else role.leak_joint or "chassis"


def _coupled(role: OutputValve | SmallValve) -> bool:
    return bool(role.direct_coupled_from) if isinstance(role, SmallValve) else role.driver is not None


# -- heater to cathode ---------------------------------------------------------------------------------------------------
def heater_leaks(stood: Stood, meter: Meter) -> Iterator[HeaterLeak]:
    """Every section whose cathode is not its heater."""
    for part in stood.amplifier.of_kind("valve"):
        heater = stood.amplifier.parts.get(f"{part.envelope} heater")
        cathode = part.leads["cathode"]
        if heater is None or cathode in heater.leads.values():
            continue
        yield _heater_leak(stood, part, heater, meter)


def _heater_leak(stood: Stood, part: Part, heater: Part, meter: Meter) -> HeaterLeak:
    cathode = part.leads["cathode"]
    line = next((h for h in stood.roles.heater_windings if part.envelope in h.envelopes), None)
    if line is None or line.supply is not None or line.reference in ("at HT", "at cathode", "dc supply", "none"):
        return HeaterLeak(part.name, "in the hand, hot", cathode, "", None, None, None)
    k = int(np.flatnonzero(stood.where(level="now", runs=True))[0])
    side = float(np.abs(stood.row(heater.name)["heater_volts"])[k])
    side *= 0.5 if line.reference in HALF_REFERENCES else 1.0
    ohms = float(cold_ohms(stood.amplifier, Situation(0.0, pots=stood.pots), [(cathode, "chassis")])[0][0])
    farads = sum(
        c.value("farads")
        for c in stood.amplifier.of_kind("capacitor")
        if cathode in c.leads.values() and c.value("farads") > 1e-6
    )
    stands = _beside(ohms, farads, stood.amplifier.mains_hz)
    if _shown(side, stands, LEAK_OHMS[1]) >= SEEN_VOLTS:
        good, reject = (_shown(side, stands, r) for r in LEAK_OHMS)
        return HeaterLeak(part.name, "at its cathode", cathode, "", None, good, reject)
    on_it = [
        p.name
        for p in stood.amplifier.parts.values()
        if p.kind not in ("valve", "heater") and cathode in p.leads.values()
    ]
    if len(on_it) != 1:  # a bypass, a loop: taking all of it off is no check in circuit any more
        return HeaterLeak(part.name, "in the hand, hot", cathode, "", None, None, None)
    on = meter.range_for("ac volts", side)
    across = 1.0 / (1.0 / CLIP_OHMS + 1.0 / on.input_ohms)
    good, reject = (_shown(side, across + 0j, r) for r in LEAK_OHMS)
    return HeaterLeak(part.name, "its cathode's lead off", cathode, on_it[0], CLIP_OHMS, good, reject)


def _beside(ohms: float, farads: float, hertz: float) -> complex:
    """Resistance and capacitance side by side [ohm]."""
    admittance = 1.0 / ohms + 2j * pi * hertz * farads if np.isfinite(ohms) else 1e-9 + 2j * pi * hertz * farads
    return 1.0 / admittance


def _shown(volts: float, stands: complex, leak: float) -> float:
    """Of so many volts behind a leak what stands at the cathode [V rms]."""
    return float(abs(volts * stands / (stands + leak)))


def alike(rows: Sequence[Draws]) -> Iterator[list[Draws]]:
    """Same type in the same kind of place, together: both channels, a pair."""
    groups: dict[tuple[str, ...], list[Draws]] = {}
    for r in rows:
        groups.setdefault((r.type, f"{r.volts:.1e}", f"{r.amps:.1e}"), []).append(r)
    yield from groups.values()
