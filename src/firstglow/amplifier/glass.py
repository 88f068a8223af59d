"""A valve's heater and its pins, as a line may name them: "V1 heater 1", "V3 pin 5".

Read from the type's base, for lines are soldered before the heaters that no line draws are made.
"""

from collections.abc import Iterable

from firstglow.amplifier.drafts import Draft, lead_names

TERMINALS = ("heater", "pin")


def sections_of(drafts: Iterable[Draft], word: str, channel: str | None) -> list[Draft]:
    """All sections of the glass that a word means in a channel: by the channel's own name first, else by any."""
    tubes = [d for d in drafts if d.kind in {"valve", "rectifier"} and d.base is not None]
    meant = [d for d in tubes if d.channel == channel and word in {d.local, _bare(d.local)}]
    meant = meant or [d for d in tubes if word in {d.name, d.envelope}]
    return [d for d in tubes if _glass(d) == _glass(meant[0])] if meant else []


def heater_leads(sections: list[Draft]) -> tuple[str, ...]:
    """What the ends of a glass's heater are called: "1", "2", and "ct" where the base has one."""
    return ("1", "2", "ct") if sections and sections[0].base and sections[0].base.ct_pin else ("1", "2")


def pins(sections: list[Draft]) -> dict[int, tuple[str, str]]:
    """Pin number -> (part, lead); a pin that is a filament's end as well as a cathode is the heater's."""
    found: dict[int, tuple[str, str]] = {}
    for draft in sections:
        known = lead_names(draft)
        drawn = draft.section.pins.items() if draft.section else ()
        found |= {n: (draft.name, lead) for lead, numbers in drawn for n in numbers if lead in known}
    base = sections[0].base if sections else None
    if base is not None:
        numbers = [*base.heater_pins[:2], *([base.ct_pin] if base.ct_pin else [])]
        heater = f"{_glass(sections[0])} heater"
        found |= {n: (heater, lead) for n, lead in zip(numbers, heater_leads(sections), strict=False)}
    return found


def terminal_of(sections: list[Draft], sort: str, which: str) -> tuple[str, str] | None:
    """(part, lead) of "heater" "1" or "pin" "5" on a glass, or None where it has none such."""
    if sort == "heater":
        return (f"{_glass(sections[0])} heater", which) if sections and which in heater_leads(sections) else None
    return pins(sections).get(int(which)) if sort == "pin" and which.isdecimal() else None


def _glass(draft: Draft) -> str:
    return draft.envelope or draft.name


def _bare(local: str) -> str:
    """What a channel's own table calls the glass of a section."""
    return local.rstrip("abcdefpt") if local[-1:].islower() else local
