"""What valves, rectifier valves and heaters are asked, beside their sheets' limits.

A design-centre limit already leaves room for what mains and parts do: it is held against the mains as they are. A design-
maximum or absolute limit must hold on the highest mains too (rating systems of IEC 60134).
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.amplifier.situation import Situation
from firstglow.audit.stress import Stress, by_mains, least, least_by_mains, most
from firstglow.audit.stress_passive import inverse, source
from firstglow.audit.stress_restart import or_restart
from firstglow.audit.ways import Level, Stood
from firstglow.devices.rectifier import valve_series
from firstglow.quantities import show
from firstglow.readings.rated import section_of
from firstglow.solver.cold import cold_ohms
from firstglow.solver.heaters import as_wired
from firstglow.solver.reservoir import charged_farads

SHARE = 0.10
"""Margin under which a valve's limit is tight (a valve's own spread, PHYSICS: 7 to 10 %)."""
HEATER, HEATER_SHARE = 0.10, 0.045
"""A heater's limit either way, and the margin left at 5 % (common practice: 5 % good, 10 % the limit)."""
BRIEFLY = 2.0
"""Times its rated current that a cathode gives for a part of a second (common practice)."""
LONG_TAIL = 5.0
"""A cathode this many times further from chassis than its grid from the cathode holds its current by itself."""


def valve(stood: Stood, part: Part) -> Iterator[Stress]:
    """Plate, screen, cathode, grid leak, heater to cathode."""
    row, limits = stood.row(part.name), section_of(part).limits
    level: Level = "now" if str(limits.rating_system).startswith("design-centre") else "high"
    here = stood.where(level=level) & stood.is_in(part)
    none = np.zeros(len(stood.ways))
    cathode = row["plate_amps"] + row.get("screen_amps", none)
    system = limits.rating_system.split(";")[0].split("(")[0].strip()
    sheet = f"{system} limit" if system else ""
    table = (
        ("plate watts", "W", row["plate_watts"], limits.plate_watts, True),
        ("plate volts", "V", row["plate_volts"], limits.plate_volts, True),
        ("screen watts", "W", row.get("screen_watts"), limits.screen_watts, False),
        ("screen volts", "V", row.get("screen_volts"), limits.screen_volts, False),
        ("cathode amps", "A", cathode, limits.cathode_amps, False),
    )
    for stress, unit, values, rating, needed in table:
        if values is None:
            continue
        for s in most(stood, part, stress, unit, np.maximum(values, 0.0), rating, SHARE, here, sheet):
            if rating is not None or needed:
                yield s
            elif not s.fault:
                yield replace(s, judged=False, note=RATES_NONE)
    yield from _again(stood, part, limits.cathode_amps)
    yield from _both_plates(stood, part, limits, here)
    yield from _grid_leak(stood, part, limits)
    yield from _heater_to_cathode(stood, part, limits)


def _again(stood: Stood, part: Part, rating: float | None) -> Iterator[Stress]:
    """Cathode amps of a hot restart."""
    again = stood.restart
    if again is None or part.name not in {o.valve for o in stood.roles.outputs}:
        return
    note = (
        f"for a part of a second; {BRIEFLY:g} times its rating for good (common practice)"
        if rating is not None
        else RATES_NONE
    )
    met, limit = again.amps[part.name], None if rating is None else BRIEFLY * rating
    yield Stress(
        "cathode amps, switching on hot", met.value, "A", limit, met.text, note=note, judged=rating is not None
    )


RATES_NONE = "the sheet that was read rates none"


def _both_plates(stood: Stood, part: Part, limits: Any, here: Any) -> Iterator[Stress]:
    """A double triode's two plates together, on its first section."""
    if limits.both_plates_watts is None:
        return
    same = [p for p in stood.amplifier.of_kind("valve") if p.envelope == part.envelope]
    if len(same) > 1 and same[0].name == part.name:
        watts = np.sum([stood.row(p.name)["plate_watts"] for p in same], axis=0)
        yield from most(stood, part, "both plates' watts", "W", watts, limits.both_plates_watts, SHARE, here)


def _grid_leak(stood: Stood, part: Part, limits: Any) -> Iterator[Stress]:
    """Dc ohms from grid to chassis with the power off, by the kind of its bias. None where a plate holds the grid, and of a
    long-tailed pair: there grid current moves next to nothing."""
    found = stood.roles
    output = next((o for o in found.outputs if o.valve == part.name), None)
    if output is not None:
        fixed = output.bias in ("fixed", "back", "mixed", "none")
    else:
        small = next((s for s in found.smalls if s.valve == part.name), None)
        if small is None or small.direct_coupled_from or small.grid_leak is None:
            return
        row = stood.row(part.name)
        if float(np.abs(stood.dc(part.leads["cathode"])[0])) > LONG_TAIL * abs(float(row["grid_volts"][0])):
            return
        fixed = small.cathode_resistor is None
    rating = limits.grid_leak_fixed_ohms if fixed else limits.grid_leak_self_ohms
    if rating is None and (limits.grid_leak_fixed_ohms or limits.grid_leak_self_ohms):
        return  # the sheet limits it for the other kind of bias alone
    ohms = cold_ohms(stood.amplifier, Situation(0.0, pots=stood.pots), [(part.leads["grid"], "chassis")])[0]
    kind = "fixed bias" if fixed else "cathode bias"
    moves = f"; 1 µA of grid current moves its bias by {1e-6 * float(ohms[0]):.2g} V" if output is not None else ""
    note = f"limit for {kind}{moves}"
    yield Stress("grid leak", float(ohms[0]), "ohm", rating, f"however it stands; {kind}", tight=0.0, note=note)


HEATER_POSITIVE = "heater above its cathode, volts"
"""A stress of its own: some sheets allow less this way round (EF86 50 V of 100, 6SN7GTB 100 of 200)."""


def _heater_to_cathode(stood: Stood, part: Part, limits: Any) -> Iterator[Stress]:
    heater = stood.amplifier.parts.get(f"{part.envelope} heater")
    cathode = part.leads["cathode"]
    if limits.heater_cathode_volts is None or heater is None or cathode in heater.leads.values():
        return
    above = stood.dc(heater.leads["1"]) - stood.dc(cathode)
    here = stood.where() & np.array([part.envelope not in w.situation.out for w in stood.ways])
    again = None if stood.restart is None else stood.restart.apart.get(part.name)
    standing = most(
        stood, part, "heater to cathode volts", "V", np.abs(above), limits.heater_cathode_volts, SHARE, here
    )
    yield from or_restart(standing, again)
    lower = limits.heater_positive_volts
    if lower is not None:
        yield from most(stood, part, HEATER_POSITIVE, "V", np.maximum(above, 0.0), lower, SHARE, here)


def rectifier(stood: Stood, part: Part) -> Iterator[Stress]:
    """Dc, peak and hot-switching amps, inverse volts, winding volts, first capacitor, supply ohms."""
    row, limits = stood.row(part.name), section_of(part).limits
    rated = limits.others
    level: Level = "now" if str(limits.rating_system).startswith("design-centre") else "high"
    running = stood.where(level=level, cold=False)
    yield from most(stood, part, "amps, dc", "A", row["amps"], _amps(rated.get("idc_max_mA")), SHARE, running)
    peak = _amps(rated.get("i_peak_per_plate_max_mA"))
    yield from most(stood, part, "peak amps a plate", "A", row.get("amps_peak", row["amps"]), peak, SHARE, running)
    plates = [lead for lead in part.leads if lead.startswith("plate")]
    piv = np.max([inverse(stood, part.leads[p], part.leads["cathode"]) for p in plates], axis=0)
    here = stood.where(level=level)
    yield from most(stood, part, "peak inverse volts", "V", piv, rated.get("piv_max_V"), SHARE, here)
    yield from _fed(stood, part, limits, here, level)
    yield from _heater_to_cathode(stood, part, limits)


def published(kind: str) -> Mapping[str, Any]:
    """What its maker gives, under its own name or that of the type whose electrodes it has; empty for an unknown type."""
    from firstglow.amplifier.bases import bases
    from firstglow.devices.published import published_types

    every, base = published_types(), bases().get(kind)
    return every.get(kind) or every.get(base.variant_of if base is not None else "") or {}


def _peak(stood: Stood, part: Part, here: Any) -> float:
    """The most of its peaks, running [A]."""
    row = stood.row(part.name)
    return float(np.max(np.broadcast_to(row.get("amps_peak", row["amps"]), here.shape)[here & stood.where(cold=False)]))


def _farads_note(limits: Any, peak: float) -> str:
    """What kind of figure a rectifier's largest first capacitor is, what else its sheet says of it, and whether the peaks that it
    is there for are in bounds all the same."""
    rest = limits.rating_system.partition(";")[2].strip()
    recalled = ", from memory" if limits.verified == "memory" else ""
    kind = f"a maker's largest ({limits.source}{recalled}), there to hold each pulse and a switch-on"
    more = [rest] if "uF" in rest else []
    more += [limits.note] if "uF" in limits.note else []
    rated = _amps(limits.others.get("i_peak_per_plate_max_mA"))
    if rated is not None and peak <= rated:
        more.append(f"its peaks are in bounds as it is, {show(peak, 'A')} of {show(rated, 'A')}")
    return "; ".join([kind, *more])


def _fed(stood: Stood, part: Part, limits: Any, here: Any, level: Level) -> Iterator[Stress]:
    """What the winding and the reservoir do to it."""
    rated: Mapping[str, float] = limits.others
    for supply in stood.roles.supplies:
        legs = [leg for leg in supply.legs if part.name in leg.rectifiers]
        if not legs:
            continue
        crests, ohms = zip(*(source(stood, leg) for leg in legs), strict=True)
        rms = np.max(crests, axis=0) / np.sqrt(2.0)
        if "vrms_per_plate_max" in rated:
            yield from most(
                stood, part, "winding volts a plate", "V", rms, rated["vrms_per_plate_max"], 0.0, here, faults=False
            )
        if supply.input != "capacitor":
            continue
        first = charged_farads(stood.amplifier, supply)
        most_farads = rated["c_in_max_uF"] * 1e-6 if "c_in_max_uF" in rated else None
        yield Stress(
            "first capacitor",
            first,
            "F",
            most_farads,
            "however it stands",
            note=_farads_note(limits, _peak(stood, part, here)),
        )
        volts = float(rms[int(np.flatnonzero(here)[0])])
        if (needed := supply_ohms(part.type or "", volts)) is not None:
            each = np.full(len(stood.ways), min(ohms))
            note = "the winding's and what the primary adds through the turns, a plate"
            yield from least(stood, "supply ohms a plate", "ohm", each, needed, 0.0, here, note)
        law: Any = section_of(part).law
        amps = np.max([valve_series(c, r, law.perveance)[0] for c, r in zip(crests, ohms, strict=True)], axis=0)
        stated = rated.get("i_hot_switch_max_A")
        note = "empty reservoir and hot cathode, switched on at the top of the wave"
        note += "" if stated is not None else "; what its least supply ohms let through"
        limit = stated if stated is not None else switched_amps(part.type or "")
        for s in most(stood, part, "hot switching amps", "A", amps, limit, 0.0, here, note, faults=False):
            yield replace(s, situation=f"hot restart{', highest mains' if level == 'high' else ''}")
        return


def supply_ohms(kind: str, volts: float) -> float | None:
    """Least ohms ahead of a plate at so many volts rms, straight between the maker's rows; outside them in proportion to the
    volts, which keeps the crest over the ohms, the amps into an empty reservoir. None where the maker gives none."""
    table = published(kind).get("min_supply_impedance")
    if not table:
        return None
    rows = sorted((r["vrms_per_plate"], r["r_min_per_plate_ohm"]) for r in table)
    lowest, highest = rows[0], rows[-1]
    if not lowest[0] <= volts <= highest[0]:
        volts_at, ohms_at = lowest if volts < lowest[0] else highest
        return float(ohms_at * volts / volts_at)
    return float(np.interp(volts, [v for v, _ in rows], [r for _, r in rows]))


def switched_amps(kind: str) -> float | None:
    """Amps that a maker's least ohms let through at the crest, the most of its rows; None where it gives none. It is what a sheet
    that rates ohms rates instead of a hot-switching current."""
    table = published(kind).get("min_supply_impedance") or ()
    amps = [np.sqrt(2.0) * r["vrms_per_plate"] / r["r_min_per_plate_ohm"] for r in table]
    return float(max(amps)) if amps else None


def heater(stood: Stood, part: Part) -> Iterator[Stress]:
    """Its volts running on the mains as they are, then in every way with its glass in, on the highest and the lowest mains:
    10 % either way."""
    volts = np.abs(stood.row(part.name)["heater_volts"])
    rated = as_wired(part)[0]
    gone = np.array([part.envelope in w.situation.out for w in stood.ways])
    here = stood.where(level="now", runs=True)
    over, under = rated * (1.0 + HEATER), rated * (1.0 - HEATER)
    yield from by_mains(
        stood, part, "heater volts", "V", volts, over, HEATER_SHARE, here, "10 % over", gone, faults=False
    )
    yield from least_by_mains(stood, "least heater volts", "V", volts, under, 0.055, here, "10 % under", gone)


def _amps(milliamps: float | None) -> float | None:
    return None if milliamps is None else milliamps / 1e3


VALVES: Mapping[str, Callable[[Stood, Part], Iterator[Stress]]] = {
    "valve": valve,
    "rectifier": rectifier,
    "heater": heater,
}
