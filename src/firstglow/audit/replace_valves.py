"""What to do about a valve or a rectifier valve that is asked too much."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from math import inf
from typing import TYPE_CHECKING

import numpy as np

from firstglow.amplifier.faults import fits_socket, same_valve
from firstglow.amplifier.model import Part
from firstglow.amplifier.situation import Fault
from firstglow.audit.moves import instead, moved, ripples
from firstglow.audit.pieces import Item, Made, capacitor, electrolytic, wirewound
from firstglow.audit.proposal import REST, Proposal, said, shown
from firstglow.audit.replace_leak import Found, leak
from firstglow.audit.replace_screens import left_alone, lower_rail
from firstglow.audit.ripple_rating import ripple_hertz, ripple_wanted
from firstglow.audit.stress import PRINTED, Stress
from firstglow.audit.stress_valves import HEATER_POSITIVE, supply_ohms
from firstglow.audit.tried import breaks, tried
from firstglow.audit.ways import Stood, laid_for
from firstglow.markings.made import made_volts, made_watts
from firstglow.markings.series import next_down, next_up
from firstglow.quantities import show
from firstglow.solver.heaters import as_wired

if TYPE_CHECKING:
    from firstglow.devices.catalogue import Limits

OHMS = ("supply ohms a plate", "hot switching amps", "peak amps a plate")
"""What more ohms ahead of its plates mend."""


def valve(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    pressing = sorted(pressing, key=lambda s: s.verdict != "unfit")
    found = [_GRID.get(s.stress, _limit)(stood, part, s) for s in pressing]
    alone = left_alone(stood, pressing)
    whats: list[str] = [alone] if alone else []
    for s, (what, _, _) in zip(pressing, found, strict=True):
        if what == LEAVE and len(pressing) > 1:
            what = f"its {s.stress} stay: {LEAVE.removeprefix('leave it: ')}"
        elif alone and s.stress in BY_WAYS and s.verdict == "unfit":
            what = f"or {what}"
        whats += [what] if what not in whats else []
    changes = "; ".join(dict.fromkeys(c for _, c, _ in found if c))
    left = tuple(
        s.stress for s, (_, _, items) in zip(pressing, found, strict=True) if s.verdict == "unfit" and not items
    )
    rest = REST if any(s.verdict == "unfit" for s in pressing) else "nothing"
    items = tuple(i for _, _, items in found for i in items)
    return Proposal("; ".join(whats), "", changes or rest, items=items, left=left)


BY_WAYS = ("plate volts", "screen volts")
"""What a way of standing alone may take past a limit."""
LEAVE = "leave it: within its rating, only the valves' own spread asks for more room"


def _limit(stood: Stood, part: Part, s: Stress) -> Found:
    if s.verdict == "tight":
        return LEAVE, "", ()
    if s.stress == "screen volts":
        return (
            f"{lower_rail(stood, part, s)}{_marked(stood, part, s)}",
            "plate current falls with the screen volts: set or check the idle again",
            (),
        )
    if s.stress in ("plate watts", "screen watts", "cathode amps", "both plates' watts"):
        held = any(o.valve == part.name and o.bias == "cathode" for o in stood.roles.outputs)
        how = "more ohms in its cathode" if held else "more bias"
        return (
            f"less current: {how} until {s.stress} is {shown(0.9 * (s.rating or 0.0), s.unit)}",
            "the idle falls with it",
            (),
        )
    if s.stress in ("heater to cathode volts", HEATER_POSITIVE):
        way = "brought down" if s.stress == HEATER_POSITIVE else "lifted"
        return (
            f"its heater on a winding of its own, or the heater line {way} toward its cathode",
            "heater to chassis dc volts",
            (),
        )
    if s.stress == "cathode amps, switching on hot":
        return "a minute's rest before it is switched on again", "nothing", ()
    told = f"a type of its socket, heater and curves rated for {shown(s.value / 0.9, s.unit)} or more"
    return (
        f"{told} (none is known here to be the same valve: look in its maker's lists){_marked(stood, part, s)}",
        "",
        (),
    )


def _marked(stood: Stood, part: Part, s: Stress) -> str:
    """What of a valve's plate or screen volts mains at their mark would leave, and what it meets with everything in: of all output
    valves of its type, the highest."""
    field = {"plate volts": "plate_volts", "screen volts": "screen_volts"}.get(s.stress)
    way = next((w for w in stood.ways if w.text == s.situation), None)
    mark = stood.amplifier.mains_volts
    if field is None or way is None or s.rating is None or not stood.amplifier.of_kind("inlet"):
        return ""
    told = []
    alike = {o.valve for o in stood.roles.outputs if stood.amplifier.parts[o.valve].type == part.type} | {part.name}
    if way.situation.mains_volts > mark * (1.0 + PRINTED):
        laid = laid_for(stood.circuit, way.situation.but(mains_volts=mark), way.cold, ())
        marked = stood.circuit.solve(laid, strict=False)
        volts = max(
            float(marked.part(v)[field][0]) for v in alike if stood.amplifier.parts[v].envelope not in way.situation.out
        )
        cured = volts < 0.995 * s.rating
        left = f"within it, {100 * (1.0 - volts / s.rating):.0f} % left" if cured else "still past it"
        told.append(f"with the mains brought to their mark alone {volts:.0f} V, {left}")
    if not way.runs:
        most = max(float(np.max(np.where(stood.where(runs=True), stood.row(v)[field], 0.0))) for v in alike)
        told.append(f"with every valve in its socket {most:.0f} V at most, on the highest mains")
    return f" ({', '.join(told)})" if told else ""


_GRID: Mapping[str, Callable[[Stood, Part, Stress], Found]] = {"grid leak": leak}


def rectifier(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    """Less farads first, ohms in its plate leads, another type of its socket. Each is tried over every way of standing."""
    if all(s.verdict == "tight" for s in pressing):
        return Proposal(LEAVE, "", "nothing")
    pressing = [s for s in pressing if s.verdict == "unfit"]
    found: list[str] = []
    changed: dict[str, float] = {}
    items: list[Item] = []
    first = by.get("first capacitor")
    less = next_down(first.rating, "E12") if first in pressing and first is not None and first.rating else None
    if less is not None and first is not None:
        found.append(f"a first capacitor of {show(less, 'F')} at most")
        changed |= _less_farads(stood, part, less / first.value)
    more = [_more_ohms(s, by) for s in pressing if s.stress in OHMS]
    if more:
        ohms = next_up(max(more), "E12")
        changed |= _plate_ohms(stood, part, ohms)
        amps = float(np.max(stood.row(part.name)["amps_rms"][stood.where(runs=True)]))
        watts = made_watts(max(2.0 * ohms * amps**2, 3.0), "wirewound")
        found.append(
            f"{show(ohms, 'ohm')} {watts:g} W wirewound in each plate lead" if watts else "more ohms ahead of it"
        )
        plates = sum(lead.startswith("plate") for lead in part.leads)
        if watts:
            items.append(Item(plates, wirewound(ohms, watts), "one in each plate lead", "in each plate lead"))
    other = tried(stood, changed) if changed else None
    if less is not None:
        items = [*_first_capacitor(stood, part, less, other), *items]
    good, bad, types = _other_types(stood, part, by)
    stays = _left(by, pressing)
    good += stays
    if any(s.stress not in (*OHMS, "first capacitor") for s in pressing):
        found.append(
            f"a {types[0]} in its socket"
            if types
            else "a rectifier that its sheet allows this, or less load and volts on it"
        )
        items += [Item(1, Made(types[0], types[0]))] if types else []
    left = tuple(s.stress for s in pressing if not types and s.stress not in (*OHMS, "first capacitor"))
    return Proposal(
        "; ".join(dict.fromkeys(found)), "", _then(stood, part, changed, other), alternatives=good, items=tuple(items),
        refused=bad, left=left, may_stay=bool(stays),
    )  # fmt: skip


def _then(stood: Stood, part: Part, changed: Mapping[str, float], other: Stood | None) -> str:
    """What a change of its supply moves, what that costs in ripple, and what it puts past a rating."""
    if not changed:
        return "HT as the new type drops"
    told = moved(stood, changed, part.name)
    supply = next((s for s in stood.roles.supplies if part.name in s.rectifiers), None)
    if other is not None and supply is not None and any(name.endswith(" farads") for name in changed):
        before, after = ripples(stood, other, supply.joint)
        told += f"; its ripple from {show(before, 'V', 2)} to {show(after, 'V', 2)} rms at idle: so much more hum on what it feeds straight"
        if len(supply.nodes) > 1:
            before, after = ripples(stood, other, supply.nodes[1])
            told += (
                f"; behind it {supply.nodes[1]} has {show(after, 'V', 2)} rms for {show(before, 'V', 2)}: more farads there would bring it "
                "back, none are ordered"
            )
    hurt = breaks(stood, other, part)
    return f"{told}; but: {hurt}" if hurt else told


def _other_types(
    stood: Stood, part: Part, by: Mapping[str, Stress]
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Types of its socket that bear all of it, tried: in words those that break nothing, those that do and what; the names of
    the first."""
    good, bad, names = [], [], []
    alike = same_valve(part.type or "")
    for name, amps in _bears(stood, part, by):
        if name in alike:
            largest = by.get("first capacitor")
            rated = _limits(name).others.get("c_in_max_uF")
            takes = f", and takes {rated:g} uF first" if largest is not None and rated is not None else ""
            recalled = " (from memory: look at its sheet)" if _limits(name).verified == "memory" else ""
            good.append(
                f"{name} in its place: the same valve to its heater and to every reading{takes}{recalled}{_stays(stood, part, by)}"
            )
            names.append(name)
            continue
        text = f"{name} (heater {amps:g} A) in its place: {instead(stood, part.name, name)}"
        hurt = breaks(stood, tried(stood, {}, [Fault(part.name, f"wrong type={name}")]), part)
        if hurt:
            bad.append(f"{text}; {hurt}")
        else:
            good.append(text)
            names.append(name)
    return tuple(good), tuple(bad), tuple(names)


def _stays(stood: Stood, part: Part, by: Mapping[str, Stress]) -> str:
    """What then stays of the reservoir, and what its ripple asks of it."""
    name = next((s.reservoir for s in stood.roles.supplies if part.name in s.rectifiers and s.reservoir), None)
    if name is None or "first capacitor" not in by:
        return ""
    old = stood.amplifier.parts[name]
    rms = float(np.max(stood.row(name).get("amps_rms", np.zeros(1)) * stood.where(cold=False)))
    asks = (
        f"; its {show(rms, 'A')} of ripple are not judged, its rating is not said"
        if not old.values.get("ripple_amps")
        else ""
    )
    return f". Then {name} stays, and so does the hum: the better way where the sheet agrees{asks}"


def _left(by: Mapping[str, Stress], pressing: Sequence[Stress]) -> tuple[str, ...]:
    """Leaving it, where all that is past is a largest first capacitor and what that guards against is worked out and in bounds."""
    if [s.stress for s in pressing] != ["first capacitor"]:
        return ()
    guarded = [by[name] for name in OHMS if name in by]
    if len(guarded) < len(OHMS) or any(s.verdict != "fit" for s in guarded):
        return ()
    told = ", ".join(f"{s.stress} {said(s)}" for s in guarded)
    return (f"leave both while this valve lives: what such a limit guards is in bounds as worked out ({told})",)


def _limits(kind: str) -> "Limits":
    from firstglow.devices.catalogue import valve_type

    return valve_type(kind).sections[0].limits


def _first_capacitor(stood: Stood, part: Part, farads: float, other: Stood | None) -> list[Item]:
    """What takes the reservoir's place, at its volts; other: with it in."""
    name = next((s.reservoir for s in stood.roles.supplies if part.name in s.rectifiers and s.reservoir), None)
    if name is None:
        return []
    old, at = stood.amplifier.parts[name], other or stood
    met = float(np.max(np.abs(at.dc(old.leads["+"]) - at.dc(old.leads["-"])) * at.where())) / 0.9
    volts = made_volts(max(met, old.value("volts") if old.values.get("volts") else 0.0), "electrolytic")
    if volts is None:
        return []
    ripple = ripple_wanted(stood, old, float(np.max(at.row(name).get("amps_rms", np.zeros(1)) * at.where(cold=False))))
    film = made_volts(volts, "film")
    instead_of: tuple[Made, ...] = ()
    if film is not None and farads <= FILM_FARADS:
        words = "polypropylene film: larger, its ripple is nothing to it"
        instead_of = (capacitor(farads, film, "polypropylene", words),)
    note, hertz = "first capacitor behind the rectifier", ripple_hertz(stood, old)
    made = electrolytic(farads, volts)
    return [Item(1, made, note, ripple=ripple, for_part=name, instead=instead_of, hertz=hertz)]


FILM_FARADS = 10e-6
"""Up to here a film capacitor of HT's volts is made for a chassis [F] (common practice)."""


def _less_farads(stood: Stood, part: Part, share: float) -> dict[str, float]:
    """The reservoirs that a rectifier charges, each with a share of its farads."""
    names = {
        c for s in stood.roles.supplies if part.name in s.rectifiers for c in (s.reservoirs or (s.reservoir,)) if c
    }
    return {f"{c} farads": share * stood.amplifier.parts[c].value("farads") for c in names}


def _plate_ohms(stood: Stood, part: Part, ohms: float) -> dict[str, float]:
    """So many ohms more in each of its windings."""
    legs = [leg for s in stood.roles.supplies for leg in s.legs if part.name in leg.rectifiers]
    steps = {(w.part, w.winding) for leg in legs for w in leg.windings if w.winding}
    return {
        f"{name} {winding} ohms": ohms
        + next(w.ohms.value for w in stood.amplifier.parts[name].windings if w.name == winding)
        for name, winding in steps
    }


def _more_ohms(s: Stress, by: Mapping[str, Stress]) -> float:
    if s.stress == "supply ohms a plate":
        return max((s.rating or 0.0) - s.value, 1.0)
    have = by["supply ohms a plate"].value if "supply ohms a plate" in by else 100.0
    return max(have * (s.value / max(0.9 * (s.rating or s.value), 1e-9) - 1.0), 1.0)


def _bears(stood: Stood, part: Part, by: Mapping[str, Stress]) -> Iterator[tuple[str, float]]:
    """Types of the same socket and heater volts whose sheet bears every stress and whose heater the winding bears, with their
    heater amps; where the winding is not rated, all that their sheets allow. The same valve under better ratings first."""
    from firstglow.devices.catalogue import valve_type
    from firstglow.devices.smooth import DeviceError

    keys = {
        "amps, dc": ("idc_max_mA", 1e3), "peak amps a plate": ("i_peak_per_plate_max_mA", 1e3), "first capacitor": ("c_in_max_uF", 1e6),
        "peak inverse volts": ("piv_max_V", 1.0), "winding volts a plate": ("vrms_per_plate_max", 1.0),
    }  # fmt: skip
    ohms, volts = by.get("supply ohms a plate"), by.get("winding volts a plate")
    for name in (*same_valve(part.type or ""), *fits_socket(part)):
        try:
            kind = valve_type(name)
        except DeviceError:
            continue
        rated, heater_amps = kind.sections[0].limits.others, kind.heaters[0].amps
        needed = supply_ohms(name, volts.value) if volts is not None else None
        if heater_amps > _heater_room(stood, part) or (needed is not None and ohms is not None and ohms.value < needed):
            continue
        if all(k in rated and by[s].value * scale <= rated[k] * 1.001 for s, (k, scale) in keys.items() if s in by):
            yield name, heater_amps


def _heater_room(stood: Stood, part: Part) -> float:
    """Amps that its heater's winding has for it beside everything else on it; endless where the winding is not rated."""
    for line in stood.roles.heater_windings:
        if part.envelope in line.envelopes and line.transformer is not None:
            windings = [w for w in stood.amplifier.parts[line.transformer].windings if w.name in line.windings]
            rated = [w.amps.value for w in windings if w.amps is not None]
            others = [as_wired(p)[1] for p in stood.amplifier.of_kind("heater") if p.envelope in line.envelopes]
            own = as_wired(stood.amplifier.parts[f"{part.envelope} heater"])[1]
            return min(rated) - (sum(others) - own) + 1e-6 if rated else inf
    return inf
