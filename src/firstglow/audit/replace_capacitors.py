"""What to fit instead of a capacitor: farads and volts that are made, and what then reads differently."""

from collections.abc import Mapping, Sequence
from math import ceil, inf

from firstglow.amplifier.model import Part
from firstglow.audit.couplings import old_kind
from firstglow.audit.in_series import COMMON_VOLTS, electrolytics, most_made
from firstglow.audit.moves import moved
from firstglow.audit.pieces import ELECTROLYTIC, Item, Made, electrolytic
from firstglow.audit.pieces import capacitor as made_of
from firstglow.audit.proposal import REST, Proposal
from firstglow.audit.replace_reversed import REVERSE, reversed_
from firstglow.audit.ripple_rating import ripple_hertz, ripple_wanted
from firstglow.audit.stress import Stress
from firstglow.audit.stress_passive import RIPPLE_AMPS
from firstglow.audit.tried import values_tried
from firstglow.audit.ways import Stood
from firstglow.markings.made import made_volts, present
from firstglow.markings.series import is_preferred, next_down, next_up, preferred
from firstglow.quantities import show
from firstglow.readings.rated import section_of


def capacitor(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    farads = part.value("farads")
    if "ac volts" in by:
        to_chassis = "chassis" in part.leads.values() or "earth" in part.leads.values()
        kind = "class Y2" if to_chassis else "class X2"
        value = present_value(farads)
        what = f"{show(value, 'F')}, {kind}, {INTERFERENCE_VOLTS:g} V~ or more"
        return Proposal(what, "", items=(Item(1, Made(what, values={"farads": value, "volts": INTERFERENCE_VOLTS})),))
    volts = by["working volts"].value / (1.0 - by["working volts"].tight)
    if "surge volts" in by:
        volts = max(volts, by["surge volts"].value / 1.10 / 0.95)
    if part.values.get("volts"):
        volts = max(volts, part.value("volts"))
    fresh = _fresh(stood, part, by, volts)
    if any(s.stress == REVERSE for s in pressing):
        return reversed_(stood, part, by, pressing, fresh, volts)
    return fresh


def _fresh(stood: Stood, part: Part, by: Mapping[str, Stress], volts: float) -> Proposal:
    """A new one: farads that are made, for so many volts at least."""
    farads = part.value("farads")
    most = most_farads(stood, part)
    value = electrolytic_value(farads) if part.type == "electrolytic" else present_value(farads)
    if value > most:  # as its rectifier's own proposal has it
        value = next_down(most, "E12")
    make = part.type if part.type in ("electrolytic", "mica", "ceramic") else "film"
    rated = made_volts(volts, make)
    kind = ELECTROLYTIC if make == "electrolytic" else make
    ripple = by.get("ripple amps, rms")
    felt = ripple is not None and ripple.value > RIPPLE_AMPS
    amps, hertz = (
        ripple_wanted(stood, part, ripple.value) if ripple is not None and felt else 0.0,
        ripple_hertz(stood, part),
    )
    if rated is None and make != "electrolytic":
        return Proposal(
            f"{_none(make)}: one made for {show(ceil(volts / 100.0) * 100.0, 'V')} or more, from a maker of high-voltage capacitors; "
            "not several in series, for the resistors that would share the volts pass dc", "",
        )  # fmt: skip
    row = electrolytics(value, rated or volts, most)
    if rated is None:
        what = f"{_none(make)}: {row.text}"
        items = row.items(amps, hertz)
    else:
        made = electrolytic(value, rated) if make == "electrolytic" else made_of(value, rated, make)
        what = made.text
        rare = make == "electrolytic" and rated > COMMON_VOLTS
        rows = (f"{row.text}, where no shop has {rated:g} V",) if rare else ()
        instead = tuple(Made(text) for text in (*_whole_can(stood, part, rated), *rows))
        items = (Item(1, made, ripple=amps, instead=instead, hertz=hertz),)
    if amps > 0.0:
        once = " at 100 or 120 Hz" if hertz <= stood.amplifier.mains_hz else ""
        what += f", ripple {show(amps, 'A')} rms or more{once}"
    texts = _others(farads, value, rated, kind, most)
    first = any(part.name in (x.reservoir, *x.reservoirs) for x in stood.roles.supplies)
    # farads move no reading and no stress but where a rectifier charges them
    good, bad = values_tried(stood, part, f"{part.name} farads", texts) if first else (tuple(texts), ())
    changes = _capacitor_changes(stood, part, value if rated is not None else row.farads / row.count)
    return Proposal(what, "", changes, alternatives=good, items=items, refused=bad)


def _none(make: str) -> str:
    """That no such part is made."""
    return f"no {make} capacitor is made for more than {most_made(make):.0f} V"


def _whole_can(stood: Stood, part: Part, volts: float) -> tuple[str, ...]:
    """One can for all sections of one."""
    can = part.words.get("can")
    mine = [p.value("farads") for p in stood.amplifier.of_kind("capacitor") if can and p.words.get("can") == can]
    each = "+".join(f"{1e6 * farads:.3g}" for farads in mine)
    return (f"{len(mine)} sections in one can for {can}, {each} µF {volts:g} V or more",) if len(mine) > 1 else ()


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


def electrolytic_value(farads: float) -> float:
    """The nearest of E6 that may stand for it: what shops keep of electrolytics for HT (common practice)."""
    if is_preferred(farads, "E6"):
        return farads
    fit = [
        v for v in (preferred(farads, "E6"), next_up(farads, "E6")) if LEAST_CHANGE <= v / farads - 1.0 <= MOST_CHANGE
    ]
    return min(fit, key=lambda v: abs(v / farads - 1.0)) if fit else present_value(farads)


LEAST_CHANGE, MOST_CHANGE = -0.125, 0.40
"""How far a present value may lie from an old one (``markings.made``)."""


def _others(farads: float, value: float, rated: float | None, kind: str, most: float) -> dict[str, float]:
    """The made values on its other sides, by how one orders them."""
    more = [p.value for p in present(farads, "F") if p.value != value and p.value <= most]
    return {f"{show(v, 'F')} {rated:g} V {kind}": v for v in more} if rated is not None else {}


def without_its_leak(stood: Stood, part: Part) -> str:
    """What a new one's insulation moves in an old one's place; "" of a kind that does not leak."""
    if not old_kind(part):
        return ""
    fresh = moved(stood, {f"{part.name} leak_ohms": FRESH_OHMS})
    return f"{fresh}; where the old one leaks, what its leak held up goes back to the drawing's: look at the idle again"


def _capacitor_changes(stood: Stood, part: Part, value: float) -> str:
    ratio, leak = value / part.value("farads"), without_its_leak(stood, part)
    if abs(ratio - 1.0) < 1e-9:
        return leak or REST
    tail = f"its farads go to {100 * ratio:.0f} %"
    if part.type == "electrolytic":
        return f"{tail}: ripple behind it to about {100 / ratio:.0f} %; {moved(stood, {f'{part.name} farads': value})}"
    corner = f"{tail}: a bass corner it makes goes to {100 / ratio:.0f} %"
    return f"{corner}; {leak}" if leak else f"{corner}; dc readings stay"


INTERFERENCE_VOLTS = 250.0
"""Ac that an interference capacitor is rated for at least, classes X2 and Y2 (IEC 60384-14, from memory) [V]."""
FRESH_OHMS = 30e9
"""A new film capacitor's insulation, as a file's default has it (``amplifier.defaults``)."""
