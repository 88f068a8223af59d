"""What to fit instead: preferred values (IEC 60063), ratings that are made, and what then reads differently."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import ceil, inf

import numpy as np

from firstglow.amplifier.model import Amplifier, Part, Quantity
from firstglow.amplifier.situation import Situation
from firstglow.audit.couplings import old_kind
from firstglow.audit.moves import moved
from firstglow.audit.proposal import REST, Item, Proposal, said, shown
from firstglow.audit.replace_valves import RIPPLE_SHARE, heater, rectifier, valve
from firstglow.audit.stress import PRINTED, WORST, Stress
from firstglow.audit.stress_passive import AIR, DRIFT, derate
from firstglow.audit.tried import breaks, tried
from firstglow.audit.ways import Array, Stood
from firstglow.audit.ways import stood as every_way
from firstglow.markings.made import capacitor_body, made_volts, made_watts, present, resistor_body
from firstglow.markings.series import is_preferred, next_down, next_up, preferred
from firstglow.quantities import show
from firstglow.readings.rated import section_of
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.standing import SolveError

FUSES = (
    0.032, 0.04, 0.05, 0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15,
    4.0, 5.0, 6.3,
)  # fmt: skip
"""Rated amps that are made, IEC 60127-2 (R10 series, from memory)."""
POTS = (0.1, 0.25, 0.5, 1.0, 2.0, 5.0)
"""Watts that pots are made for (common practice)."""
SILICON = (("1N4007", 1.0, 1000.0), ("1N5408", 3.0, 1000.0))
"""Diodes at hand anywhere: type, mean amps, peak inverse volts (registered types, from memory)."""


def propose(stood: Stood, part: Part, stresses: Sequence[Stress], ageing: str) -> Proposal | None:
    """For a part that is tight, unfit or of a kind that ages; None for all others."""
    pressing = [s for s in stresses if s.verdict in ("tight", "unfit")]
    if not pressing and not ageing:
        return None
    why = "; ".join([f"{s.stress}: {said(s)} ({s.situation})" for s in pressing] + ([ageing] if ageing else []))
    made = _KINDS.get(part.kind, _plain)(stood, part, {s.stress: s for s in stresses if not s.fault}, pressing)
    keep = _keep(part) if part.words.get("original") else ""
    unfit = tuple(s.stress for s in pressing if s.verdict == "unfit" and not s.stress.endswith(WORST))
    left = made.left or (() if made.items else unfit)
    return replace(made, why=why, keep=keep, left=left)


def _keep(part: Part) -> str:
    if part.kind == "capacitor":
        can = f"the can {part.words['can']}" if part.words.get("can") else "its case"
        return f"it must stay: restuff {can}, keep its vent and its insulation from the chassis"
    return "it must stay: fit the new part beside it and leave the old one in place with a lead free"


# -- resistors -----------------------------------------------------------------------------------------------------
def _resistor(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    here, drift = part.value("ohms"), by.get(DRIFT)
    drifted = drift is not None and drift in pressing
    ohms = part.measured_from["ohms"].value if drifted else here
    value = ohms if is_preferred(ohms, "E24") or is_preferred(ohms, "E96") else preferred(ohms, "E24")
    watts = 2.0 * by["watts"].value
    rated = part.values.get("watts")
    watts = max(watts, rated.value if rated is not None else 0.5)
    count = 1
    volts = by.get("volts")
    if volts is not None and volts in pressing:
        # each its own share of the volts, with a tenth to spare
        count = max(2, ceil(volts.value / (0.9 * (volts.rating or 350.0))))
    whole = watts / derate("wirewound", AIR)
    if count == 1 and watts > LARGEST_FILM and ohms > wound_most(made_watts(whole, "wirewound") or whole):
        count = ceil(watts / LARGEST_FILM)  # no wirewound of so many ohms is made
    each, what = watts / count, f"{show(value, 'ohm')}"
    if count > 1:
        value = preferred(value / count, "E24") * count
        what = f"{count} of {show(value / count, 'ohm')} in series"
    film = made_watts(max(each, 0.5), "film")
    wound = made_watts(each / derate("wirewound", AIR), "wirewound")
    kind = f"metal film {film:g} W, 1 %" if film is not None else _wirewound(wound or each)
    rating = film if film is not None else wound or each
    item = Item(
        count,
        f"{show(value / count, 'ohm')} {kind}",
        f"{count} in series" if count > 1 else "",
        body=resistor_body(rating),
    )
    offered = film is not None and wound and each > 1.0 and count == 1 and value <= wound_most(wound)
    other: tuple[str, ...] = (_wirewound(wound),) if offered and wound else ()
    good, bad = _values(
        stood, part, f"{part.name} ohms", {f"{show(p.value, 'ohm')} {kind}": p.value for p in present(ohms, "ohm")
        if count == 1 and value != ohms and p.value != value}
    )  # fmt: skip
    changes = REST
    if abs(value / here - 1.0) > 1e-9:
        changes = moved(stood, {f"{part.name} ohms": value})
        hurt = breaks(stood, tried(stood, {f"{part.name} ohms": value}), part)
        changes += f"; but: {hurt}" if hurt else ""
    if drifted:
        changes = f"it goes back from {show(here, 'ohm')} to the drawing's {show(value, 'ohm')}: {changes}"
    elif part.type == "carbon composition":
        changes = f"{changes}; if the old one had drifted, readings go back to the drawing's"
    return Proposal(f"{what}, {kind}", "", changes, alternatives=(*other, *good), items=(item,), refused=bad)


LARGEST_FILM = 3.0
"""Watts of the largest film resistor that shops keep (``markings.made``)."""
WOUND_OHMS = ((5.0, 22e3), (10.0, 47e3), (inf, 100e3))
"""Up to so many watts [W] a wirewound is made to so many ohms (makers' sheets, from memory)."""


def wound_most(watts: float) -> float:
    """The most ohms of a wirewound of so many watts [ohm]."""
    return next(ohms for most, ohms in WOUND_OHMS if watts <= most)


def _wirewound(watts: float) -> str:
    return f"wirewound {watts:g} W, 5 %, clear of capacitors"


def _values(
    stood: Stood, part: Part, parameter: str, values: Mapping[str, float]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Other values, by their words, tried: those that put nothing past its rating, and those that do, with what."""
    good, bad = [], []
    for text, value in values.items():
        hurt = breaks(stood, tried(stood, {parameter: value}), part)
        bad += [f"{text}: {hurt}"] if hurt else []
        good += [] if hurt else [text]
    return tuple(good), tuple(bad)


# -- capacitors ----------------------------------------------------------------------------------------------------
def _capacitor(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    farads = part.value("farads")
    if "ac volts" in by:
        to_chassis = "chassis" in part.leads.values() or "earth" in part.leads.values()
        kind = "class Y2" if to_chassis else "class X2"
        what = f"{show(present_value(farads), 'F')}, {kind}, 250 V~ or more"
        return Proposal(what, "", items=(Item(1, what),))
    if "reverse volts" in by and by["reverse volts"].verdict == "unfit":
        stood_at = part.value("volts") if part.values.get("volts") else by["working volts"].value
        made = made_volts(stood_at, "electrolytic") or stood_at
        text = f"{show(farads, 'F')} {made:g} V electrolytic, 105 degC"
        return Proposal(
            f"{show(farads, 'F')} new, the other way round: its minus where its plus is now", "",
            "the volts across it change sign; one that has been reversed under volts is not used again",
            items=(Item(1, text, body=capacitor_body("electrolytic", farads, made)),),
        )  # fmt: skip
    volts = by["working volts"].value / (1.0 - by["working volts"].tight)
    if "surge volts" in by:
        volts = max(volts, by["surge volts"].value / 1.10 / 0.95)
    if part.values.get("volts"):
        volts = max(volts, part.value("volts"))
    most = most_farads(stood, part)
    value = present_value(farads)
    if value > most:  # as its rectifier's own proposal has it
        value = next_down(most, "E12")
    make = part.type if part.type in ("electrolytic", "mica", "ceramic") else "film"
    rated = made_volts(volts, make)
    kind = {"electrolytic": "electrolytic, 105 degC"}.get(make, make)
    ripple = by.get("ripple amps, rms")
    amps = ripple.value / RIPPLE_SHARE if ripple is not None else 0.0
    items: tuple[Item, ...]
    if rated is None:
        half = made_volts(volts / 2.0, make) or volts / 2.0
        pair = next_up(2.0 * value, "E6")
        what = f"2 of {show(pair, 'F')} {half:g} V {kind} in series, 220 kohm 2 W across each"
        items = (
            Item(2, f"{show(pair, 'F')} {half:g} V {kind}", "2 in series", amps, body=capacitor_body(make, pair, half)),
            Item(2, "220 kΩ metal film 2 W, 1 %", "one across each of the two", body=resistor_body(2.0)),
        )
    else:
        what = f"{show(value, 'F')} {rated:g} V {kind}"
        items = (Item(1, what, ripple=amps, body=capacitor_body(make, value, rated)),)
    if amps > 0.0:
        what += f", ripple {show(amps, 'A')} rms or more"
    texts = _others(farads, value, rated, kind, most)
    first = any(part.name in (x.reservoir, *x.reservoirs) for x in stood.roles.supplies)
    # farads move no reading and no stress but where a rectifier charges them
    good, bad = _values(stood, part, f"{part.name} farads", texts) if first else (tuple(texts), ())
    changes = _capacitor_changes(stood, part, value)
    return Proposal(what, "", changes, alternatives=good, items=items, refused=bad)


def most_farads(stood: Stood, part: Part) -> float:
    """The largest that its rectifier valve lets stand there; endless for any other place."""
    for supply in stood.roles.supplies:
        if part.name in (supply.reservoir, *supply.reservoirs) and supply.input == "capacitor":
            limits = [
                section_of(stood.amplifier.parts[r]).limits.others.get("c_in_max_uF")
                for r in supply.rectifiers
                if stood.amplifier.parts[r].kind == "rectifier"
            ]
            rated = [x for x in limits if x is not None]
            if rated:
                return float(min(rated)) * 1e-6
    return inf


def present_value(farads: float) -> float:
    """The value made today that is nearest."""
    made = present(farads, "F")
    return made[0].value if made else farads


def _others(farads: float, value: float, rated: float | None, kind: str, most: float) -> dict[str, float]:
    """The made values on its other sides, by how one orders them."""
    more = [p.value for p in present(farads, "F") if p.value != value and p.value <= most]
    return {f"{show(v, 'F')} {rated:g} V {kind}": v for v in more} if rated is not None else {}


def _capacitor_changes(stood: Stood, part: Part, value: float) -> str:
    ratio = value / part.value("farads")
    leak = ""
    if old_kind(part):
        fresh = moved(stood, {f"{part.name} leak_ohms": FRESH_OHMS})
        leak = f"{fresh}; where the old one leaks, what its leak held up goes back to the drawing's: look at the idle again"
    if abs(ratio - 1.0) < 1e-9:
        return leak or REST
    tail = f"its farads go to {100 * ratio:.0f} %"
    if part.type == "electrolytic":
        return f"{tail}: ripple behind it to about {100 / ratio:.0f} %; {moved(stood, {f'{part.name} farads': value})}"
    corner = f"{tail}: a bass corner it makes goes to {100 / ratio:.0f} %"
    return f"{corner}; {leak}" if leak else f"{corner}; dc readings stay"


FRESH_OHMS = 30e9
"""A new film capacitor's insulation, as a file's default has it (``amplifier.defaults``)."""


# -- the rest ------------------------------------------------------------------------------------------------------
def _pot(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    need = 2.0 * by["track watts"].value
    watts = next((w for w in POTS if w >= need), None)
    if watts is None:
        return Proposal("fixed resistors in series with its ends that take most of the volts, and a smaller track", "")
    what = f"pot {show(part.value('ohms'), 'ohm')}, {watts:g} W or more for the whole track, rated at 70 degC"
    return Proposal(what, "", items=(Item(1, what),))


def _choke(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    amps = by["amps, dc"].value / 0.9
    need = ceil(amps * 100.0) / 100.0
    what = f"choke {show(part.value('henries'), 'H')} {show(need, 'A')} dc or more, {show(part.value('ohms'), 'ohm')}"
    return Proposal(
        what, "", "HT behind it moves with its ohms: their difference times the amps", items=(Item(1, what),)
    )


def _diode(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    piv, amps = by["peak inverse volts"].value / 0.8, by["amps, mean"].value / 0.8
    kind = next(((n, v) for n, a, v in SILICON if a >= amps), ("a rectifier diode for so many amps", 1000.0))
    count = max(1, ceil(piv / kind[1]))
    what = kind[0] if count == 1 else f"{count} of {kind[0]} in series, 470 kohm and 10 nF 1 kV across each"
    items: tuple[Item, ...] = (Item(count, kind[0], f"{count} in series" if count > 1 else ""),)
    if count > 1:
        items += (
            Item(count, "470 kΩ metal film 0.5 W, 1 %", "one across each"),
            Item(count, "10 nF 1 kV ceramic", "one across each"),
        )
    if part.type != "selenium":
        return Proposal(what, "", items=items)
    return _silicon_for(stood, part, what, items)


def _silicon_for(stood: Stood, part: Part, what: str, items: tuple[Item, ...]) -> Proposal:
    """A silicon diode and the resistor with which the supply stands where the selenium has it, at this very current."""
    joint = next((s.joint for s in stood.roles.supplies if part.name in s.rectifiers), "chassis")
    k = int(np.flatnonzero(stood.where(level="now", runs=True))[0])
    row, before = stood.row(part.name), float(stood.dc(joint)[k])
    mean, rms = (abs(float(row[n][k])) for n in ("amps", "amps_rms"))
    drop = max(float(part.values["plates"].value), 1.0)
    choices = [0.0, *(preferred(drop / max(mean, 1e-6) * 10.0 ** (n / 24.0), "E24") for n in range(-48, 1))]
    volts = _as_silicon(stood, part, joint, choices)
    if volts is None:
        return Proposal(
            f"{what} (silicon)", "", "what it changes could not be worked out: measure the supply, nothing behind it",
            items=items,
        )  # fmt: skip
    best = int(np.abs(volts - before).argmin())
    ohms = choices[best]
    told = f"{joint} reads {before:.1f} V now, {volts[0]:.1f} V with silicon alone"
    alone = _silicon_breaks(stood, part, 0.0)
    if not ohms:
        return Proposal(f"{what} (silicon)", "", f"{told}{alone}", items=items)
    watts = max(2.0 * rms**2 * ohms, 0.5)
    rated = made_watts(watts, "film") or made_watts(watts, "wirewound") or watts
    other = f"{what} (silicon) alone, the network behind it redesigned for the higher volts (firstglow bias)"
    return Proposal(
        f"{what} (silicon) with {show(ohms, 'ohm')} {rated:g} W in series", "",
        f"{told}, {volts[best]:.1f} V with the resistor: that matches at {show(mean, 'A')} only, and with nothing drawing the "
        f"volts go higher. Set the idle again, output valves out first{_silicon_breaks(stood, part, ohms)}",
        alternatives=() if alone else (other,), refused=(f"{other}{alone}",) if alone else (),
        items=(*items, Item(1, f"{show(ohms, 'ohm')} {_make(watts, rated)}", "in series with it", body=resistor_body(rated))),
    )  # fmt: skip


SILICON_OHMS = 0.04
"""A silicon diode's own series resistance (1N4007, from memory) [ohm]."""


def _silicon(stood: Stood, part: Part, ohms: float = 0.0) -> Amplifier:
    """The amplifier with silicon and so many ohms in a selenium's place."""
    exact = {"plates": 0.0, "age": 0.0, "series_ohms": SILICON_OHMS + ohms}
    values = {**part.values, **{k: Quantity(v) for k, v in exact.items()}}
    parts = {**stood.amplifier.parts, part.name: replace(part, type="silicon", values=values)}
    return replace(stood.amplifier, parts=parts, digest=f"{stood.amplifier.digest} {part.name} as silicon {ohms:g}")


def _silicon_breaks(stood: Stood, part: Part, ohms: float) -> str:
    """What that puts past its rating over every way of standing, the idle set again; "" where nothing."""
    mains = stood.mains["now"]
    try:
        other = every_way(_silicon(stood, part, ohms), None if mains == stood.amplifier.mains_volts else mains)
    except SolveError:
        return "; whether it puts anything past its rating could not be worked out"
    other.__dict__["restart"] = stood.restart
    hurt = breaks(stood, other, part)
    return f"; but: {hurt}" if hurt else ""


def _as_silicon(stood: Stood, part: Part, joint: str, ohms: Sequence[float]) -> Array | None:
    """Volts of a joint, running, with silicon and each of these resistors in a selenium's place; None where unsolved."""
    circuit = compile_circuit(_silicon(stood, part))
    laid = np.repeat(circuit.vector(Situation(stood.mains["now"], pots=stood.pots))[:, None], len(ohms), axis=1)
    laid[circuit.column[f"{part.name} series_ohms"]] += np.array(ohms)
    now = circuit.solve(laid, strict=False)
    return np.asarray(now.dc(joint)) if now.settled.all() else None


def _fuse(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    need = by["running amps, rms"].value / 0.8
    amps = next((a for a in FUSES if a >= need), None)
    letter = {"slow": "T", "fast": "F"}.get(part.type or "", "T")
    what = f"{letter} {amps:g} A, 250 V, H where the mains can give much" if amps else "a fuse for so many amps"
    return Proposal(
        what,
        "",
        "an amplifier that blows it still draws too much: find out first why",
        items=(Item(1, f"fuse {what}"),),
    )


HEATER_POWER = 0.6
"""A heater's amps over its volts (makers' curves): what a winding carries falls at least so with the mains."""


def _transformer(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    past = [s for s in pressing if s.verdict == "unfit" and not s.stress.endswith(WORST)]
    if not past:
        names = ", ".join(dict.fromkeys(s.stress.split(":")[0] for s in pressing))
        return Proposal(f"leave it, and hang nothing more on {names}: at what it is marked for", "", "nothing")
    now, mark = stood.mains["now"], stood.amplifier.mains_volts
    if now > mark and all(s.value * (mark / now) ** HEATER_POWER <= (1.0 + PRINTED) * (s.rating or 0.0) for s in past):
        return Proposal(
            f"bring the mains of {now:g} V to their mark of {mark:g} V (firstglow mains): there it is at what it is marked for", "",
            "every volt follows the mains",
        )  # fmt: skip
    asked = ", ".join(f"{s.stress.split(':')[0]} {shown(s.value / 0.95, s.unit)} or more" for s in past)
    return Proposal(
        f"a transformer with {asked}; or less load on it", "", "every volt follows the new one's regulation"
    )


def _gas_tube(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    feed = next((g.feed for g in stood.roles.gas_tubes if g.part == part.name and g.feed), ())
    too_much = any(s.stress == "amps" for s in pressing)
    name = feed[0] if feed else "its feed resistor"
    return Proposal(f"{'more' if too_much else 'less'} ohms in {name}", "", "the current through it; its volts stay")


def _plain(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    words = {
        "lamp": "a lamp for these volts, or a resistor in its lead",
        "switch": "a switch rated for it, dc volts where it parts HT",
        "wire": "a wire whose U0 and section bear it",
        "inlet": "a mains inlet for so many amps",
        "input": "find what leaks dc there: a coupling capacitor, a grid leak that is open",
        "load": "find the dc: insulation of the output transformer, or the loop",
        "output transformer": "valves matched within 10 %, or their idles set alike",
    }
    what = words.get(part.kind, "a part rated for it")
    return Proposal(what, "", items=(Item(1, what),) if part.kind in BOUGHT else ())


def _make(watts: float, rated: float) -> str:
    return f"metal film {rated:g} W, 1 %" if made_watts(watts, "film") else f"wirewound {rated:g} W, 5 %"


BOUGHT = ("lamp", "switch", "wire", "inlet")
"""Kinds without a proposal of their own that are bought by its words."""


_KINDS: Mapping[str, Callable[[Stood, Part, Mapping[str, Stress], Sequence[Stress]], Proposal]] = {
    "resistor": _resistor,
    "capacitor": _capacitor,
    "pot": _pot,
    "choke": _choke,
    "diode": _diode,
    "fuse": _fuse,
    "valve": valve,
    "rectifier": rectifier,
    "heater": heater,
    "transformer": _transformer,
    "gas tube": _gas_tube,
}
