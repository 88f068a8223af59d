"""Puts drafts on their joints, and makes parts of what a lead says stands between it and a joint."""

from collections.abc import Callable

from firstglow.amplifier.drafts import Draft, Place, lead_names
from firstglow.amplifier.joints import Groups, Node
from firstglow.amplifier.partlines import PartReader

_LETTER = {"resistor": "R", "capacitor": "C"}
SENSE_OHMS = 20.0  # a cathode resistor up to about this is there to be measured across (common practice)


def with_vias(reader: PartReader, draft: Draft) -> list[Draft]:
    """The draft and the parts that its leads say: ``V3 cathode R`` for ``cathode = "10R chassis"``."""
    found = [draft]
    taken: set[str] = set()
    for via in draft.vias:
        path = (*draft.path, via.lead)
        made = reader.read(
            draft.path, f"{draft.name} {via.lead}", f"{draft.local} {via.lead}", draft.channel, [via.what]
        )
        if made is None:
            continue
        if made.kind not in _LETTER:
            reader.mistakes.add(
                path,
                draft.name,
                f"a {made.kind} between a lead and a joint",
                "a resistor or a capacitor",
                '"10R chassis"',
            )
            continue
        letter = _LETTER[made.kind]
        number = 2
        while made.name + f" {letter}" in taken:
            letter, number = f"{_LETTER[made.kind]}{number}", number + 1
        made.name, made.local = f"{made.name} {letter}", f"{made.local} {letter}"
        taken.add(made.name)
        first, second = lead_names(made)
        made.leads = {first: Place(f"{draft.local} {via.lead}", draft.channel, via.to.line), second: via.to}
        sense = "ohms" in made.values and made.values["ohms"].value <= SENSE_OHMS
        if draft.kind == "valve" and via.lead == "cathode" and sense:
            made.words["test"] = True
        found.append(made)
    return found


def solder(draft: Draft, groups: Groups, node_of: Callable[[Place, str], Node | None]) -> None:
    """Put every stated lead of a part on its joint."""
    for lead in lead_names(draft):
        groups.add(("lead", draft.name, lead))
    for lead, place in [*draft.leads.items(), *draft.also]:
        node = node_of(place, draft.name)
        if node is not None:
            groups.join(("lead", draft.name, lead), node)
