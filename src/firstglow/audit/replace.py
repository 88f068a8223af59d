"""What to fit instead: preferred values (IEC 60063), ratings that are made, and what then reads differently."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import ceil, inf

from firstglow.amplifier.model import Part
from firstglow.audit.fuse_times import Speed, to_order
from firstglow.audit.moves import moved
from firstglow.audit.pieces import Item, Made, metal_film, wirewound
from firstglow.audit.proposal import REST, Proposal, said, shown
from firstglow.audit.replace_capacitors import capacitor
from firstglow.audit.replace_diodes import diode
from firstglow.audit.replace_heaters import heater
from firstglow.audit.replace_valves import rectifier, valve
from firstglow.audit.stress import PRINTED, WORST, Stress
from firstglow.audit.stress_line import for_the_line
from firstglow.audit.stress_passive import AIR, DRIFT, body_volts, derate
from firstglow.audit.tried import breaks, tried, values_tried
from firstglow.audit.ways import Stood
from firstglow.markings.made import made_watts, present
from firstglow.markings.series import is_preferred, preferred
from firstglow.quantities import show

FUSES = (
    0.032, 0.04, 0.05, 0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15,
    4.0, 5.0, 6.3,
)  # fmt: skip
"""Rated amps that are made, IEC 60127-2 (R10 series, from memory)."""
POTS = (0.1, 0.25, 0.5, 1.0, 2.0, 5.0)
"""Watts that pots are made for (common practice)."""


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
        while volts.value / count > 0.9 * body_volts(max(watts / count, 0.5)):  # a smaller body stands less
            count += 1
    whole = watts / derate("wirewound", AIR)
    if count == 1 and watts > LARGEST_FILM and ohms > wound_most(made_watts(whole, "wirewound") or whole):
        count = ceil(watts / LARGEST_FILM)  # no wirewound of so many ohms is made
    each, what = watts / count, f"{show(value, 'ohm')}"
    if count > 1:
        value = preferred(value / count, "E24") * count
        what = f"{count} of {show(value / count, 'ohm')} in series"
    film = made_watts(max(each, 0.5), "film")
    wound = made_watts(each / derate("wirewound", AIR), "wirewound")
    made = metal_film(value / count, film) if film is not None else wirewound(value / count, wound or each, CLEAR)
    kind = made.text.removeprefix(f"{show(value / count, 'ohm')} ")
    item = Item(count, made, f"{count} in series" if count > 1 else "", row=count)
    offered = film is not None and wound and each > 1.0 and count == 1 and value <= wound_most(wound)
    other: tuple[str, ...] = (f"wirewound {wound:g} W, 5 %{CLEAR}",) if offered and wound else ()
    good, bad = values_tried(
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


CLEAR = ", clear of capacitors"
"""Of a wirewound's words: it is hot."""


# -- the rest ------------------------------------------------------------------------------------------------------
def _pot(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    need = 2.0 * by["track watts"].value
    watts = next((w for w in POTS if w >= need), None)
    if watts is None:
        return Proposal("fixed resistors in series with its ends that take most of the volts, and a smaller track", "")
    what = f"pot {show(part.value('ohms'), 'ohm')}, {watts:g} W or more for the whole track, rated at 70 degC"
    return Proposal(what, "", items=(Item(1, Made(what, values={"watts": watts})),))


def _choke(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    amps = by["amps, dc"].value / 0.9
    need = ceil(amps * 100.0) / 100.0
    what = f"choke {show(part.value('henries'), 'H')} {show(need, 'A')} dc or more, {show(part.value('ohms'), 'ohm')}"
    items = (Item(1, Made(what, values={"amps": need})),)
    return Proposal(what, "", "HT behind it moves with its ohms: their difference times the amps", items=items)


def _fuse(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    need = by["running amps, rms"].value / 0.8
    if "its mark, too large" in by:  # in the line
        need = max(need, for_the_line(stood))
    amps = next((a for a in FUSES if a >= need), None)
    letter: Speed = "F" if part.type == "fast" else "T"
    what = to_order(amps, letter) if amps else "a fuse for so many amps"
    return Proposal(
        what,
        "",
        "an amplifier that blows it still draws too much: find out first why",
        items=(Item(1, Made(f"fuse {what}", values={"amps": amps} if amps else {})),),
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
    if part.kind == "output transformer" and not {"plate a", "plate b"} <= part.leads.keys():
        dc = next((s.value for s in pressing if s.stress == "dc amps of its plate"), 0.0)
        what = f"less current in its valve, or a transformer made for {show(dc / 0.95, 'A', 2)} dc or more"
    return Proposal(what, "", items=(Item(1, Made(what)),) if part.kind in BOUGHT else ())


BOUGHT = ("lamp", "switch", "wire", "inlet")
"""Kinds without a proposal of their own that are bought by its words."""


_KINDS: Mapping[str, Callable[[Stood, Part, Mapping[str, Stress], Sequence[Stress]], Proposal]] = {
    "resistor": _resistor,
    "capacitor": capacitor,
    "pot": _pot,
    "choke": _choke,
    "diode": diode,
    "fuse": _fuse,
    "valve": valve,
    "rectifier": rectifier,
    "heater": heater,
    "transformer": _transformer,
    "gas tube": _gas_tube,
}
