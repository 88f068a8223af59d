"""The amplifier with the whole order list fitted: each piece in its place, as one part of its ratings, so that all can be audited at
once."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from firstglow.amplifier.model import Amplifier, Part, Quantity
from firstglow.audit.altered import altered
from firstglow.audit.pieces import Item
from firstglow.audit.proposal import Proposal
from firstglow.audit.replace_diodes import SILICON_OHMS
from firstglow.audit.stress_passive import body_volts
from firstglow.devices.catalogue import valve_type
from firstglow.devices.smooth import DeviceError

RATED: Mapping[str, str] = {"pot": "watts", "choke": "amps", "fuse": "amps"}
"""Kind -> the rating by which it is ordered: nothing else of it changes."""


def fitted(
    amplifier: Amplifier, proposals: Mapping[str, Proposal], drains: Mapping[str, Item] | None = None
) -> tuple[Amplifier, dict[str, tuple[str, Item]], frozenset[str]]:
    """The amplifier so; part -> (whose proposal buys it, the piece), the new ones too; parts of which it is not known what they then
    are. drains: bleeders besides, by the capacitor that each goes across."""
    own = {name for name, p in proposals.items() if any(not i.for_part for i in p.items)}
    parts = dict(amplifier.parts)
    by: dict[str, tuple[str, Item]] = {}
    untold: set[str] = set()
    for name, proposal in proposals.items():
        for item in proposal.items:
            if item.for_part in own:
                continue
            target = item.for_part or name
            made = tuple(_put(parts[target], item))
            if not made and item.place != "beside":
                untold.add(target)
            for part in made:
                parts[part.name] = part
                if part.name not in amplifier.parts or part.name == target:
                    by[part.name] = (name, item)
    for name, item in (drains or {}).items():
        parts |= {part.name: part for part in _put(parts[name], item)}
    changed = [p for n, p in parts.items() if p is not amplifier.parts.get(n)]
    return altered(amplifier, changed), by, frozenset(untold)


def _put(part: Part, item: Item) -> Iterator[Part]:
    """The part as it then is, or what is put beside it; nothing where that is not known."""
    values = item.made.values
    if item.place in ("beside", "minus to minus"):
        return
    if item.place != "in its place":
        yield from _resistors(part, item)
    elif part.kind in RATED:
        name = RATED[part.kind]
        if name in values:
            yield replace(part, values={**part.values, name: Quantity(values[name])})
    elif part.kind == "resistor" and "ohms" in values:
        made = _resistor(part.name, part.leads, item)
        yield replace(made, channel=part.channel, twin=part.twin, words=part.words)
    elif part.kind == "capacitor" and item.made.type:
        yield _capacitor(part, item)
    elif part.kind == "diode" and values:
        yield _diode(part, item)
    elif part.kind == "rectifier":
        yield from _rectifier(part, item)


def _resistor(name: str, leads: Mapping[str, str], item: Item) -> Part:
    ohms, watts = item.made.values["ohms"], item.made.values["watts"]
    values = {"ohms": item.row * ohms, "watts": item.row * watts, "volts": item.row * body_volts(watts)}
    exact = {k: Quantity(v) for k, v in values.items()}
    exact["ohms"] = Quantity(values["ohms"], item.made.tolerance or 0.0, "uniform")
    return Part(name, "resistor", item.made.type, dict(leads), exact)


def _resistors(part: Part, item: Item) -> Iterator[Part]:
    """Beside a part: across it, or in one of its leads, which then ends on a joint of its own."""
    if item.place == "across it":
        one, two = part.leads.values()
        yield _resistor(f"{part.name} bleeder", {"1": one, "2": two}, item)
        return
    plates = [x for x in part.leads if x.startswith("plate")]
    ends = {lead: f"{part.name} {lead} resistor" for lead in (plates if "plate" in item.place else ["cathode"])}
    yield replace(part, leads={**part.leads, **ends})
    for lead, end in ends.items():
        yield _resistor(end, {"1": part.leads[lead], "2": end}, item)


def _capacitor(part: Part, item: Item) -> Part:
    made = item.made.values
    values = {
        **part.values, "farads": Quantity(made["farads"] / item.row, _over(part, item), "uniform"),
        "volts": Quantity(item.row * made["volts"]),
    }  # fmt: skip
    values.pop("surge_volts", None)
    if item.ripple:
        values["ripple_amps"] = Quantity(item.ripple)
    words = {k: v for k, v in part.words.items() if k not in ("note", "original")}
    leads = {"+": part.leads["-"], "-": part.leads["+"]} if item.turned else part.leads
    return replace(part, type=item.made.type, values=values, words=words, leads=leads)


def _over(part: Part, item: Item) -> float:
    """How far its farads may be off: as it is sold, and no nearer than the file has the old one; what drains it counts with that."""
    old = part.values["farads"]
    return max(
        item.made.tolerance or 0.0, old.spread if old.shape == "uniform" else 0.0, LEAST_SPREAD.get(item.made.type, 0.0)
    )


LEAST_SPREAD = {"electrolytic": 0.30}
"""What a file's own default has of a kind (``amplifier.defaults``): with it the bought one is judged once it is drawn."""


def _diode(part: Part, item: Item) -> Part:
    made = item.made.values
    exact = {
        "plates": 0.0, "age": 0.0, "series_ohms": SILICON_OHMS, "amps": made["amps"], "volts": item.row * made["volts"]
    }  # fmt: skip
    return replace(part, type=item.made.type, values={**part.values, **{k: Quantity(v) for k, v in exact.items()}})


def _rectifier(part: Part, item: Item) -> Iterator[Part]:
    """Another type of the same heater; one of another heater is left to its own trial."""
    try:
        new, old = valve_type(item.made.type), valve_type(part.type or "")
    except DeviceError:
        return
    if new.heaters[0] == old.heaters[0]:
        yield replace(part, type=item.made.type)
