"""The order list fitted whole and audited once more: what one proposal asks of another's piece, or of a part that stays."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from firstglow.amplifier.model import Amplifier, Part
from firstglow.audit.ageing import ages
from firstglow.audit.drained import drains
from firstglow.audit.fitted import fitted
from firstglow.audit.pieces import Item, Made
from firstglow.audit.proposal import Proposal, shown
from firstglow.audit.replace import propose
from firstglow.audit.replace_capacitors import without_its_leak
from firstglow.audit.stress import Stress
from firstglow.audit.tried import KINDS
from firstglow.audit.ways import Stood
from firstglow.audit.ways import stood as every_way
from firstglow.solver.standing import SolveError

ROUNDS = 6
"""How often the list is raised at most; what is raised are ratings, which ask nothing of others, and bleeders once."""
FITTED = "the whole order list fitted"
Rows = tuple[Stress, ...]


@dataclass(frozen=True, slots=True)
class Together:
    """proposals: by part, raised where the whole list asks it. more: parts that only the list asks something of, with what they meet then.
    stays: what each part meets then that is still tight or past its rating; None where the amplifier so would not settle. drains: the
    bleeders that the amplifier so wants, by capacitor."""

    proposals: Mapping[str, Proposal]
    more: Mapping[str, tuple[Rows, Proposal]]
    stays: Mapping[str, Rows] | None
    drains: Mapping[str, Item] = field(default_factory=dict)


def together(at: Stood, stresses: Mapping[str, Rows], proposals: Mapping[str, Proposal]) -> Together:
    """stresses: of every part as it stands; proposals: each worked out by itself."""
    raised, asked = dict(proposals), dict(stresses)
    more: dict[str, tuple[Rows, Proposal]] = {}
    other = at
    drain: dict[str, Item] = {}
    drained = False
    for _ in range(ROUNDS):
        listed = one_word(at, raised) | {name: p for name, (_, p) in more.items()}
        amplifier, by, untold = fitted(at.amplifier, listed, drain)
        try:
            other = _stood(other, amplifier)
        except SolveError:
            return Together(one_word(at, proposals), {}, None, _drains(at.amplifier, proposals))
        met = {p.name: tuple(KINDS[p.kind](other, p)) for p in amplifier.parts.values() if p.name not in untold}
        before = _bought(raised, more)
        for name, rows in met.items():
            if name in raised and raised[name].items and any(s.stress == LEAK and s.verdict == "unfit" for s in rows):
                raised[name] = _lower(raised[name], propose(other, amplifier.parts[name], rows, ""))
            new = [s for s in rows if _asks(s, stresses.get(name, ()), name in by)]
            if not new:
                continue
            owner, piece = by.get(name, (name, None))
            if owner != name and piece is not None:
                made = propose(other, amplifier.parts[name], rows, "")
                if made is not None and made.items and owner in raised:
                    raised[owner] = _with_piece(raised[owner], piece, made.items[0], new)
            elif name in raised:
                if not raised[name].items and all(s.verdict == "tight" for s in new):
                    continue  # nothing is bought for it, and less room than is asked is told in a line
                asked[name] = _merged(asked[name], new)
                part = at.amplifier.parts[name]
                made = propose(at, part, asked[name], ages(part))
                raised[name] = raised[name] if made is None else _told(made, new)
            else:
                made = propose(other, amplifier.parts[name], rows, "")
                if made is not None and (made.items or any(s.verdict == "unfit" for s in new)):
                    more[name] = (rows, _told(made, new))
        raised = _alike(raised)
        if _bought(raised, more) == before:
            if drained:
                break
            # bleeders come last, for what all the rest then is, and ask something of the rest themselves
            drain, drained = _drains(amplifier, listed), True
            if not drain:
                break
    stays = {name: left for name, rows in met.items() if (left := _left(rows))}
    return Together(_cured(one_word(at, raised), stays), more, stays, drain)


def _drains(amplifier: Amplifier, listed: Mapping[str, Proposal]) -> dict[str, Item]:
    """The bleeders that an amplifier wants, but where one of no more ohms is bought already."""
    bought = {i.for_part or n: i for n, p in listed.items() for i in p.items if i.place == "across it"}

    def ohms(item: Item) -> float:
        return item.row * item.made.values["ohms"]

    return {n: i for n, i in drains(amplifier).items() if n not in bought or ohms(i) < ohms(bought[n])}


def _alike(proposals: Mapping[str, Proposal]) -> dict[str, Proposal]:
    """Coupling capacitors of one value for the volts of the one that meets most: they are bought alike."""
    mine = [i for p in proposals.values() for i in p.items if i.over and "farads" in i.made.values]
    most: dict[float, Made] = {}
    for made in (i.made for i in mine):
        before = most.get(made.values["farads"])
        if before is None or made.values["volts"] > before.values["volts"]:
            most[made.values["farads"]] = made
    out = {}
    for name, p in proposals.items():
        items = tuple(replace(i, made=most[i.made.values["farads"]]) if i in mine else i for i in p.items)
        what = p.what
        for old, new in zip(p.items, items, strict=True):
            what = what.replace(old.text, new.text)
        out[name] = replace(p, what=what, items=items)
    return out


LEAK = "grid leak"
"""With presets and bias where the list puts them, the network ahead of it may have more ohms than before."""


def _lower(proposal: Proposal, made: Proposal | None) -> Proposal:
    """A valve's proposal with the grid leak, and the coupling capacitor, that the fitted amplifier asks for."""
    fresh = {i.for_part: i for i in (made.items if made is not None else ()) if i.for_part}
    what, items = proposal.what, []
    for item in proposal.items:
        new = fresh.get(item.for_part, item)
        items.append(new)
        for old, now in ((item.text, new.text), (item.text.split(" metal film")[0], new.text.split(" metal film")[0])):
            what = what.replace(old, now)
    return replace(proposal, what=what, items=tuple(items))


def _cured(proposals: dict[str, Proposal], stays: Mapping[str, Rows]) -> dict[str, Proposal]:
    """What a proposal alone puts past its rating, and the rest of the list ends."""
    if any(s.verdict == "unfit" for rows in stays.values() for s in rows):
        return proposals
    told = {n: replace(p, changes=f"{p.changes}. {ENDS}") for n, p in proposals.items() if BUT in p.changes and p.items}
    return proposals | told


BUT = "but: "
"""Of a proposal's words: what follows is past its rating with it alone."""
ENDS = f"With {FITTED} nothing is past its rating"


def one_word(at: Stood, proposals: Mapping[str, Proposal]) -> dict[str, Proposal]:
    """What stands in for a part's own proposal is what the part says too: one value for one place."""
    over = {i.for_part: i for p in proposals.values() for i in p.items if i.over}
    out = dict(proposals)
    for name in over.keys() & out.keys():
        if at.amplifier.parts[name].kind == "resistor":
            what = f"{over[name].text}: the heaters behind it ask for it"
            changes = "their volts come to their mark"
            out[name] = replace(out[name], what=what, changes=changes, alternatives=(), refused=(), items=())
            continue
        what = f"{over[name].text}: the valve behind it asks for it with a lower grid leak"
        # the corner is told here: what its own value in the old place would do to it is no longer true
        rest = without_its_leak(at, at.amplifier.parts[name])
        changes = f"with the lower grid leak the bass corner stays{rest and f'; {rest}'}"
        out[name] = replace(out[name], what=what, changes=changes, alternatives=(), refused=(), items=())
    return out


# -- the amplifier so ------------------------------------------------------------------------------------------------
RATED: Mapping[str, tuple[str, ...]] = {
    "resistor": ("watts", "volts"), "capacitor": ("volts", "surge_volts", "ripple_amps"), "pot": ("watts",),
    "choke": ("amps",), "fuse": ("amps",), "diode": ("volts",),
}  # fmt: skip
"""Kind -> the values that enter no solution."""


def _solved(part: Part) -> tuple[object, ...]:
    """What a solution sees of a part."""
    values = {k: q.value for k, q in part.values.items() if k not in RATED.get(part.kind, ())}
    kind = part.type if part.kind in ("diode", "rectifier", "valve") else None
    return part.kind, kind, tuple(part.leads.items()), tuple(sorted(values.items()))


def _stood(at: Stood, amplifier: Amplifier) -> Stood:
    """Every way of the amplifier so: solved anew only where more than ratings differ, a hot restart only where a supply does. Raises
    SolveError."""
    old, new = at.amplifier.parts, amplifier.parts
    changed = [n for n in new.keys() | old.keys() if n not in old or n not in new or _solved(old[n]) != _solved(new[n])]
    if not changed:
        other = replace(at, amplifier=amplifier)
        other.__dict__.update({k: v for k, v in at.__dict__.items() if k in ("restart", "roles", "_bare")})
        return other
    mains = at.mains["now"]
    other = every_way(amplifier, None if mains == amplifier.mains_volts else mains)
    fed = {
        n
        for s in other.roles.supplies
        for n in (*s.rectifiers, *s.reservoirs, s.reservoir, *_in_path(other, s.rectifiers))
    }
    if not fed & set(changed):
        other.__dict__["restart"] = at.restart
    return other


def _in_path(at: Stood, rectifiers: Sequence[str]) -> set[str]:
    """The resistors in the way of these rectifiers."""
    legs = [leg for s in at.roles.supplies for leg in s.legs if set(leg.rectifiers) & set(rectifiers)]
    return {n for leg in legs for n in (*leg.series_ac, *leg.series_dc)}


# -- what it asks ----------------------------------------------------------------------------------------------------
def _asks(s: Stress, before: Rows, bought: bool) -> bool:
    """Whether a row asks for something that nobody asked before: of a piece that was bought anything, of what stays a worse verdict."""
    if s.verdict not in ("tight", "unfit") or s.mains_alone:
        return False
    was = next((b.verdict for b in before if b.stress == s.stress and not b.fault), None)
    return bought or was not in ("tight", "unfit") or (was == "tight" and s.verdict == "unfit")


def _merged(rows: Rows, new: Sequence[Stress]) -> Rows:
    """A part's own stresses, with what it meets with the list fitted where that is worse."""
    late = {s.stress: s for s in new}
    out = []
    for s in rows:
        n = None if s.fault else late.pop(s.stress, None)
        worse = n is not None and (n.value > s.value if s.side == "at most" else n.value < s.value)
        out.append(replace(s, value=n.value, situation=f"{n.situation}, {FITTED}") if n is not None and worse else s)
    return (*out, *late.values())


def _told(made: Proposal, new: Sequence[Stress]) -> Proposal:
    """A proposal with why it is larger than the part alone asks."""
    meets = ", ".join(f"{s.stress} {shown(s.value, s.unit)}" for s in new)
    return replace(made, changes=f"{made.changes}; with {FITTED} it meets {meets}")


def _with_piece(proposal: Proposal, old: Item, new: Item, asks: Sequence[Stress]) -> Proposal:
    """A proposal with one of its pieces of better ratings: where it goes stays."""
    note = f"{new.note}, {old.note}" if new.pieces > 1 and old.note else new.note or old.note
    piece = replace(old, pieces=new.pieces, made=new.made, row=new.row, note=note, ripple=max(old.ripple, new.ripple))
    items = tuple(piece if i == old else i for i in proposal.items)
    what = proposal.what.replace(old.text, new.text).replace(_brief(old.text), _brief(new.text))
    return _told(replace(proposal, what=what, items=items), asks) if items != proposal.items else proposal


def _brief(text: str) -> str:
    """Value and watts of a resistor's words, as a proposal tells them."""
    return text.replace("metal film ", "").replace("wirewound ", "").split(" W")[0] + " W"


def _bought(
    raised: Mapping[str, Proposal], more: Mapping[str, tuple[Rows, Proposal]]
) -> list[tuple[str, int, str, str]]:
    """All that is ordered, to see whether a round has changed it."""
    every = [*raised.items(), *((n, p) for n, (_, p) in more.items())]
    return [(n, i.pieces, i.text, f"{i.ripple:.6g}") for n, p in every for i in p.items]


def _left(rows: Rows) -> Rows:
    """What is tight or past its rating of one part; what the mains alone take there is told elsewhere."""
    return tuple(s for s in rows if s.verdict in ("tight", "unfit") and not s.mains_alone)
