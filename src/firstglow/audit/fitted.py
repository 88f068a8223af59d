"""The amplifier with the whole order list fitted: each piece in its place, as one part of its ratings, so that all can be audited at
once."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace

from firstglow.amplifier.model import Amplifier, Part, Quantity
from firstglow.audit.altered import altered
from firstglow.audit.proposal import Item, Proposal
from firstglow.audit.replace_diodes import SILICON, SILICON_OHMS
from firstglow.audit.stress_passive import body_volts
from firstglow.devices.catalogue import valve_type
from firstglow.devices.smooth import DeviceError
from firstglow.quantities import read_value

_FIGURE = re.compile(r"([\d.]+) ?([pnµmkM]?)(F|Ω|ohm|V|W|A)\b")
_SERIES = re.compile(r"^\d+ in series")
BLEEDER, AHEAD, PLATE = "bleeder", "in series with it", "one in each plate lead"
"""What an item's note says of where it goes."""
TURNED = "the other way round"
LIKE = ("electrolytic", "mica", "ceramic", "polypropylene", "film")
SETS: Mapping[str, tuple[str, str]] = {"pot": ("W", "watts"), "choke": ("A", "amps"), "fuse": ("A", "amps")}
"""Kind -> the unit by which its rating is ordered, and its attribute."""


def fitted(
    amplifier: Amplifier, proposals: Mapping[str, Proposal]
) -> tuple[Amplifier, dict[str, tuple[str, Item]], frozenset[str]]:
    """The amplifier so; part -> (whose proposal buys it, the piece), the new ones too; parts whose ratings a piece's words do not give."""
    own = {name for name, p in proposals.items() if any(not i.for_part for i in p.items)}
    parts = dict(amplifier.parts)
    by: dict[str, tuple[str, Item]] = {}
    untold: set[str] = set()
    for name, proposal in proposals.items():
        for item in proposal.items:
            if item.for_part in own:
                continue
            target = item.for_part or name
            made = tuple(_put(parts[target], item, not item.for_part and TURNED in proposal.what))
            if not made and not item.note.startswith("one across"):
                untold.add(target)
            for part in made:
                parts[part.name] = part
                if part.name not in amplifier.parts or part.name == target:
                    by[part.name] = (name, item)
    changed = [p for n, p in parts.items() if p is not amplifier.parts.get(n)]
    return altered(amplifier, changed), by, frozenset(untold)


def figures(text: str) -> dict[str, float]:
    """The first figure of each unit in an order's words: F, ohm, V, W, A [SI]."""
    found: dict[str, float] = {}
    for number, prefix, unit in _FIGURE.findall(text):
        unit = "ohm" if unit == "Ω" else unit
        found.setdefault(unit, read_value(f"{number}{prefix}{unit}", unit))
    return found


def _put(part: Part, item: Item, turned: bool) -> Iterator[Part]:
    """The part as it then is, or what is put beside it; nothing where its words tell no rating."""
    said = figures(item.text)
    if part.kind in SETS:
        unit, name = SETS[part.kind]
        if unit in said:
            yield replace(part, values={**part.values, name: Quantity(said[unit])})
    elif part.kind == "resistor" and "ohm" in said:
        made = _resistor(part.name, part.leads, item, said)
        yield replace(made, channel=part.channel, twin=part.twin, words=part.words)
    elif "ohm" in said:
        yield from _resistors(part, item, said)
    elif part.kind == "capacitor" and "F" in said and "class" not in item.text and "minus to minus" not in item.note:
        yield _capacitor(part, item, said, turned)
    elif part.kind == "diode":
        yield from _diode(part, item)
    elif part.kind == "rectifier":
        yield from _rectifier(part, item)


def _several(item: Item) -> int:
    """How many of the pieces follow each other in one place."""
    return int(item.note.split()[0]) if _SERIES.match(item.note) else 1


def _resistor(name: str, leads: Mapping[str, str], item: Item, said: Mapping[str, float]) -> Part:
    count, watts = _several(item), said.get("W", 0.5)
    values = {"ohms": count * said["ohm"], "watts": count * watts, "volts": count * body_volts(watts)}
    kind = "wirewound" if "wirewound" in item.text else "metal film"
    return Part(name, "resistor", kind, dict(leads), {k: Quantity(v) for k, v in values.items()})


def _resistors(part: Part, item: Item, said: Mapping[str, float]) -> Iterator[Part]:
    """Beside a part: across it, or in one of its leads, which then ends on a joint of its own."""
    if BLEEDER in item.note:
        one, two = part.leads.values()
        yield _resistor(f"{part.name} {BLEEDER}", {"1": one, "2": two}, item, said)
        return
    leads = (
        ["cathode"] if AHEAD in item.note else [x for x in part.leads if x.startswith("plate") and PLATE in item.note]
    )
    ends = {lead: f"{part.name} {lead} resistor" for lead in leads}
    if ends:
        yield replace(part, leads={**part.leads, **ends})
    for lead, end in ends.items():
        yield _resistor(end, {"1": part.leads[lead], "2": end}, item, said)


def _capacitor(part: Part, item: Item, said: Mapping[str, float], turned: bool) -> Part:
    count = _several(item)
    values = {**part.values, "farads": Quantity(said["F"] / count)}
    values.pop("surge_volts", None)
    if "V" in said:
        values["volts"] = Quantity(count * said["V"])
    if item.ripple:
        values["ripple_amps"] = Quantity(item.ripple)
    kind = next((k for k in LIKE if k in item.text), part.type)
    words = {k: v for k, v in part.words.items() if k not in ("note", "original")}
    leads = {"+": part.leads["-"], "-": part.leads["+"]} if turned else part.leads
    return replace(part, type=kind, values=values, words=words, leads=leads)


def _diode(part: Part, item: Item) -> Iterator[Part]:
    known = {name: (amps, volts) for name, amps, volts in SILICON}
    if item.text not in known:
        return
    amps, volts = known[item.text]
    exact = {"plates": 0.0, "age": 0.0, "series_ohms": SILICON_OHMS, "amps": amps, "volts": _several(item) * volts}
    yield replace(part, type="silicon", values={**part.values, **{k: Quantity(v) for k, v in exact.items()}})


def _rectifier(part: Part, item: Item) -> Iterator[Part]:
    """Another type of the same heater; one of another heater is left to its own trial."""
    try:
        new, old = valve_type(item.text), valve_type(part.type or "")
    except DeviceError:
        return
    if new.heaters[0] == old.heaters[0]:
        yield replace(part, type=item.text)
