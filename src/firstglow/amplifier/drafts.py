"""A part while it is being read: what the file says of it, nothing filled in yet."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from firstglow.amplifier.attributes import kinds
from firstglow.amplifier.bases import Base, Section, bases
from firstglow.amplifier.lines import Path
from firstglow.amplifier.model import Origin, Quantity
from firstglow.amplifier.windings import WindingText

# Other spellings of lead names; spaces, dashes and underscores are dropped before the look-up.
_SAME: Mapping[str, str] = {
    "anode": "plate",
    "a": "plate",
    "anode1": "plate 1",
    "anode2": "plate 2",
    "a1": "plate 1",
    "a2": "plate 2",
    "g": "grid",
    "g1": "grid",
    "grid1": "grid",
    "g2": "screen",
    "grid2": "screen",
    "screengrid": "screen",
    "g3": "suppressor",
    "grid3": "suppressor",
    "k": "cathode",
    "plus": "+",
    "pos": "+",
    "minus": "-",
    "neg": "-",
    "centretap": "centre",
    "centertap": "centre",
    "center": "centre",
    "ground": "ground",
    "live": "line",
    "platea": "plate a",
    "plateb": "plate b",
    "cw": "end 2",
    "ccw": "end 1",
}


@dataclass(slots=True)
class Place:
    """Where a lead is said to stand: the text, the channel whose names it uses, and the line."""

    text: str
    channel: str | None
    line: int


@dataclass(slots=True)
class Via:
    """A part that stands between a lead and a joint, said at the lead: ``cathode = "10R chassis"``."""

    lead: str
    what: str
    to: Place


@dataclass(slots=True)
class Draft:
    """One part being read. ``leads`` is what the file says; a lead that is named nowhere else may be missing here.

    link: name, lead, tie; link_said: which of "lead" and "tie" the file states.
    also: further joints that a lead is soldered to; vias: parts that stand between a lead and a joint.
    measured_from: attribute -> what it was before a measured layer put its own value there.
    """

    name: str
    local: str
    channel: str | None
    kind: str
    type: str | None
    path: Path
    origin: Origin
    base: Base | None = None
    section: Section | None = None
    envelope: str | None = None
    values: dict[str, Quantity] = field(default_factory=dict)
    measured_from: dict[str, Quantity] = field(default_factory=dict)
    words: dict[str, str | bool] = field(default_factory=dict)
    windings: dict[str, tuple[WindingText, Origin]] = field(default_factory=dict)
    leads: dict[str, Place] = field(default_factory=dict)
    also: list[tuple[str, Place]] = field(default_factory=list)
    vias: list[Via] = field(default_factory=list)
    heater: list[Place] = field(default_factory=list)
    link: tuple[str, str, str | None] | None = None
    link_said: frozenset[str] = frozenset()
    idle: tuple[Quantity, str | None] | None = None
    sides: tuple[float, ...] = ()
    lost: bool = False  # its line or a winding could not be read, so its leads are not known

    @property
    def line(self) -> int:
        """Line of the part in the file."""
        return self.origin.line


def lead_names(draft: Draft) -> tuple[str, ...]:
    """Every lead the part can have, in order."""
    kind = kinds()[draft.kind]
    if draft.kind == "transformer":
        return tuple(f"{w.name} {lead}" for w, _ in draft.windings.values() for lead in w.leads)
    if draft.kind == "output transformer":
        return output_leads(draft)
    if draft.kind == "valve" and draft.section is not None:
        return ("plate", "grid", "cathode", *(e for e in ("screen", "suppressor") if e in draft.section.pins))
    if draft.kind == "heater":
        base = bases().get(draft.type or "")
        return ("1", "2", "ct") if base is not None and base.ct_pin else ("1", "2")
    return kind.leads


def output_leads(draft: Draft) -> tuple[str, ...]:
    """Leads of an output transformer, from what it is said to be."""
    single = bool(draft.words.get("single_ended"))
    tapped = draft.values["screen_tap"].value > 0 if "screen_tap" in draft.values else False
    leads = ["plate a", "centre"] if single else ["plate a", "centre", "plate b"]
    if tapped:
        leads += ["screen a"] if single else ["screen a", "screen b"]
    return (*leads, "common", *(f"{r:g}" for r in taps(draft)))


def taps(draft: Draft) -> list[float]:
    """Secondary taps [ohm], rising; the load alone where none are stated."""
    said = draft.words.get("taps")
    if isinstance(said, str):
        return sorted(float(t) for t in said.split("+"))
    return [draft.values["load_ohms"].value if "load_ohms" in draft.values else 8.0]


def lead_of(draft: Draft, word: str) -> str | None:
    """The canonical lead a spelling means on this part, or None."""
    names = lead_names(draft)
    if word in names:
        return word
    key = re.sub(r"[ _-]+", "", word.lower()) or word
    for name in names:
        if re.sub(r"[ _-]+", "", name.lower()) == key:
            return name
    same = _SAME.get(key)
    if same in names:
        return same
    if draft.kind in {"diode", "gas tube"} and key in {"anode", "a", "k"}:
        return {"anode": "anode", "a": "anode", "k": "cathode"}[key]
    if key in {"plate", "anode"} and "plate 1" in names and "plate 2" not in names:
        return "plate 1"
    return None
