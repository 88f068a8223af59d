"""The order list: what all proposals together take, one line for what is bought alike, with room, alternatives and totals."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from firstglow.amplifier.model import Amplifier, Part
from firstglow.audit.fuse_judged import ht_cartridge
from firstglow.audit.order_fuse import offered
from firstglow.audit.parts import Audit, Audited
from firstglow.audit.pieces import Item
from firstglow.audit.ripple_rating import ripple_text
from firstglow.markings.made import Body

NEEDS = ("old", "spare", "fault", "charge", "must")
"""Why a piece is bought: its kind ages, it has less to spare than is asked, it ends a fault, it drains what stays charged, the old
one is past a rating."""
NEED_WORDS = {
    "old": "its kind ages",
    "spare": "more to spare, no must",
    "fault": "ends a fault in time",
    "charge": "drains what stays charged for hours: a must",
    "must": "past a rating: a must",
}
ROOM = ("body_length_mm", "body_width_mm", "lead_spacing_mm")


@dataclass(slots=True)
class Line:
    """what: as one orders it. pieces: how many. parts: the parts they are for. said: what else to know -> the parts of which. needs:
    part -> why it is bought, of ``NEEDS``. ripple: amps rms that a sheet must say at 100 or 120 Hz; flows: hertz of what does, and
    whether that is once in a mains cycle."""

    what: str
    pieces: int = 0
    parts: list[str] = field(default_factory=list)
    alternatives: list[str] = field(default_factory=list)
    said: dict[str, list[str]] = field(default_factory=dict)
    ripple: float = 0.0
    flows: tuple[float, bool] = (0.0, False)
    body: Body | None = None
    needs: dict[str, str] = field(default_factory=dict)

    @property
    def notes(self) -> list[str]:
        """What else to know; of which parts, where not of all."""
        return [text if parts == self.parts else f"{', '.join(parts)}: {text}" for text, parts in self.said.items()]

    def row(self) -> dict[str, Any]:
        """Of the document."""
        notes = [
            *self.notes,
            *([ripple_text(self.ripple, *self.flows)] if self.ripple else []),
        ]
        size = (
            {"length_mm": self.body.length, "width_mm": self.body.width, "spacing_mm": self.body.spacing}
            if self.body
            else None
        )
        return {
            "what": self.what, "count": len(self.parts), "pieces": self.pieces, "for": self.parts,
            "alternatives": self.alternatives, "notes": notes, "usual_body": size, "needs": self.needs,
        }  # fmt: skip


def lines(found: Audit) -> list[Line]:
    """In the order of the parts, then bleeders and a fuse in HT that are not drawn. An item for a part that a proposal of its own
    buys already is left to that one."""
    made: dict[str, Line] = {}
    every = (*found.parts, *found.more)
    mine: set[str] = set()  # the parts of others for which something is bought already
    own = {a.part for a in every if a.proposal is not None and any(not i.for_part for i in a.proposal.items)}
    for a in every:
        if a.proposal is None:
            continue
        for item in a.proposal.items:
            if item.for_part in own or (item.for_part and item.for_part in mine):
                continue
            if item.for_part:
                mine.add(item.for_part)
            _add(made.setdefault(item.text, Line(item.text)), found.stood.amplifier, a, item)
    for name, item in found.drains.items():
        line = made.setdefault(item.text, Line(item.text))
        line.pieces += item.pieces
        line.parts += [name] if name not in line.parts else []
        line.body = item.made.body
        line.said.setdefault(item.note, []).append(name)
        line.needs[name] = max(line.needs.get(name, "charge"), "charge", key=NEEDS.index)
    return [*made.values(), *_ht_fuse(found)]


def _ht_fuse(found: Audit) -> Iterator[Line]:
    """The one in HT that is not drawn, where it ends in time what no fuse drawn surely does."""
    ht = offered(found)
    if ht is None:
        return
    drawn = ", ".join(p.name for p in found.stood.amplifier.of_kind("fuse")) or "no fuse drawn"
    line = Line(f"fuse {ht_cartridge(ht.fuse.fuse, ht.place.volts)}, with its holder", 1, [ht.protects])
    ends = f"in HT, not drawn: surely opens within two minutes on {', '.join(ht.faults)}; {drawn} need not open"
    if low := [b.fault for b in ht.fuse.blown if b.lost_low]:
        ends += f". On the lowest mains it may hold for long on {', '.join(low)}: off by hand"
    line.said = dict.fromkeys((ends, *ht.place.cautions), line.parts)
    line.needs = {ht.protects: "fault"}
    yield line


def _add(line: Line, amplifier: Amplifier, a: Audited, item: Item) -> None:
    assert a.proposal is not None
    name = item.for_part or a.part
    line.pieces += item.pieces
    if item.ripple > line.ripple:
        line.ripple, line.flows = item.ripple, (item.hertz, item.hertz <= amplifier.mains_hz)
    line.body = item.made.body
    if name not in line.parts:
        line.parts.append(name)
    first = item.text == a.proposal.items[0].text
    own = (f"{a.part}: {text}" if item.for_part else text for text in a.proposal.alternatives)  # another part's way out
    others = (*(other.text for other in item.instead), *(own if first else ()))
    line.needs[name] = max(line.needs.get(name, "old"), _need(a), key=NEEDS.index)
    line.alternatives += [x for x in others if x not in line.alternatives]
    for text in (item.note, a.proposal.keep if first else "", _room(amplifier.parts[name], item)):
        if text and name not in line.said.setdefault(text, []):
            line.said[text].append(name)


def _need(a: Audited) -> str:
    """By what the part that asks for it is; a part bought with it for another's sake asks as much. Of a kind that ages first, and
    what little it has to spare comes after."""
    asked = {s.verdict for s in a.stresses if not s.fault}
    if "unfit" in asked:
        return "spare" if a.proposal is not None and a.proposal.may_stay else "must"
    return "old" if a.ages or "tight" not in asked else "spare"


def _room(part: Part, item: Item) -> str:
    """What the file says of the room there, beside the usual size of what goes in."""
    length, width, spacing = (part.value(n) if part.values.get(n) else None for n in ROOM)
    if length is None and width is None and spacing is None:
        return ""
    body = item.made.body
    wants = [
        f"{what} {size:g} mm"
        for what, size in (("long", length), ("wide", width), ("between its leads", spacing))
        if size is not None
    ]
    said = f"room {', '.join(wants)}"
    if body is None:
        return f"{said}; look at its maker's drawing"
    long, wide = max(body.length, body.width), min(body.length, body.width)
    big = (length is not None and long > length) or (width is not None and wide > width)
    stretched = spacing is not None and body.spacing is not None and abs(spacing - body.spacing) > SPACING_MM
    if big:
        return f"{said}; the usual one does not fit: a smaller make, or another place"
    return f"{said}; the usual one's leads are bent to it" if stretched else f"{said}; the usual one fits"


SPACING_MM = 1.0
"""Leads this far from their holes are bent [mm]."""


def document(found: Audit) -> list[dict[str, Any]]:
    """CONTRACTS' ``order``."""
    return [line.row() for line in lines(found)]


def told(found: Audit) -> Iterator[str]:
    """The list in bench words."""
    every = lines(found)
    missing = (*_missing(found), *_stays(found), *wipers(found))
    if not every:
        if missing:
            yield "\nORDER LIST: nothing to buy."
            yield from missing
        return
    yield "\nORDER LIST: what the proposals above take"
    for line in every:
        row = line.row()
        yield f"{line.pieces:>5} x {line.what}"
        for need in reversed(NEEDS):
            mine = [name for name in line.parts if line.needs.get(name) == need]
            if mine:
                yield f"          for {', '.join(mine)} ({NEED_WORDS[need]})"
        if line.body is not None:
            spacing = (
                f", both leads at one end {line.body.spacing:g} mm apart"
                if line.body.spacing is not None
                else ", axial"
            )
            yield f"          usually {line.body.length:g} mm long, {line.body.width:g} across{spacing} (makers' sheets, from memory)"
        yield from (f"          {note}" for note in row["notes"])
        yield from (f"          or: {other}" for other in line.alternatives)
    if any(line.body is not None and line.body.spacing is not None for line in every):
        yield (
            "  Both leads at one end: made for a board. On tags it lies strapped down, its leads sleeved; axial ones are asked for as "
            "such."
        )
    pieces = sum(line.pieces for line in every)
    yield f"  In all {pieces} piece{'s' if pieces != 1 else ''}, {len(every)} kind{'s' if len(every) != 1 else ''}."
    yield from missing
    yield "  Test them before they are fitted: firstglow incoming, which knows this list."


def wipers(found: Audit) -> Iterator[str]:
    """A bias pot's open wiper that burns its valve: no piece here ends it, ``firstglow bias`` does."""
    burnt: dict[str, list[str]] = {}
    for way in found.stood.ways:
        for pot in (f.part for f in way.faults if f.mode == "wiper open"):
            hurt = [a.part for a in found.parts if a.kind == "valve" and _burns(a, way.text)]
            if hurt:
                burnt.setdefault(pot, []).extend(hurt)
    if burnt:
        valves = ", ".join(dict.fromkeys(v for names in burnt.values() for v in names))
        yield (
            f"  ! NOT in this list: an open wiper ({', '.join(burnt)}) burns {valves}. The resistors that make it safe are more to "
            "order: firstglow bias FILE says which, before the first power-up; the grid leaks and coupling capacitors that it gives then "
            "go in for those of this list."
        )


def _burns(a: Audited, text: str) -> bool:
    """By its watts or amps; HT that stands higher over valves cut off is another matter."""
    given = (s for s in a.stresses if s.survives is False and s.situation == text)
    return any(s.stress.split(",")[0].endswith(("watts", "amps")) for s in given)


def _stays(found: Audit) -> Iterator[str]:
    """What is asked once all of it is fitted: nothing more, and what then has little to spare or is past a rating still."""
    every = (*found.parts, *found.more)
    if not found.drains and not any(a.proposal is not None and a.proposal.items for a in every):
        return
    if found.stays is None:
        yield "  All of it fitted the amplifier could not be worked out: ask again with the new parts in the file."
        return
    told = {a.part: a.proposal.left for a in every if a.proposal is not None}
    past = [
        n for n, rows in found.stays.items()
        if any(s.verdict == "unfit" and s.stress not in told.get(n, ()) for s in rows)
    ]  # fmt: skip
    tight = [n for n, rows in found.stays.items() if all(s.verdict == "tight" for s in rows)]
    asks = f"past a rating still {', '.join(past)}" if past else "it asks for nothing more to buy"
    room = f"; with little to spare, and left so, {', '.join(tight)}" if tight else ""
    yield f"  All of it fitted and audited again: {asks}{room}."


def _missing(found: Audit) -> Iterator[str]:
    """What is past a rating and cured by nothing that is bought, and what may be: no rating says so."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for a in (*found.parts, *found.more):
        if a.proposal is not None and a.proposal.left:
            groups.setdefault(a.proposal.left, []).append(a.part)
    unknown = [a.part for a in found.parts if any(s.missing and s.felt for s in a.stresses)]
    if groups:
        yield "  NOT in this list, for no piece in it cures them (what to do stands above):"
    for stresses, parts in groups.items():
        yield f"    {', '.join(parts)}: {', '.join(stresses)}"
    if unknown:
        yield f"  NOT judged, their ratings are not said: {', '.join(unknown)}."
