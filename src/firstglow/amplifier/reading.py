"""``load``: from a file to the Amplifier, or every mistake in it."""

import re
import string
from collections.abc import Iterable, Mapping
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path as FilePath
from typing import Any

from firstglow.amplifier.asides import with_asides
from firstglow.amplifier.document import Document, open_document
from firstglow.amplifier.doubles import free_name
from firstglow.amplifier.drafts import Draft, lead_names
from firstglow.amplifier.drawn_loops import drawn_phases, with_phases
from firstglow.amplifier.head import read_head
from firstglow.amplifier.implied import Implied
from firstglow.amplifier.joints import SPECIAL, Groups, Scopes
from firstglow.amplifier.layers import Accuracies, Layers
from firstglow.amplifier.look import look_at
from firstglow.amplifier.mistakes import Mistakes
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.partlines import NAME, PartReader
from firstglow.amplifier.refusals import refused_as_far_as_read
from firstglow.amplifier.remedy_rules import never
from firstglow.amplifier.resolve import Resolver
from firstglow.amplifier.soldering import solder, with_vias

_CAN = re.compile(r"(?<!\S)\d[\d.]*(?:\+\d[\d.]*)+[pnuµμ]F?(?!\S)")
AS = ("drawn", "found", "changed")
POWER_HEATER = 0.44  # heater amps at 6.3 V above which a pentode is an output valve (common practice)
# A part between a lead that stands nowhere and chassis that harms nothing, and where the other leads belong (common
# practice); no remedy puts a lead on HT or on the mains.
_VIA: Mapping[str, str] = {"grid": "1M chassis", "cathode": "1k5 chassis"}
_WHERE: Mapping[tuple[str, str], str] = {
    ("valve", "plate"): "the joint of its plate load or output transformer",
    ("valve", "screen"): "the joint of its screen resistor",
    ("rectifier", "plate 1"): "an end of its HT winding",
    ("rectifier", "plate 2"): "the other end of its HT winding",
    ("rectifier", "cathode"): "the plus of its reservoir",
}


def load(
    path_or_text: str | FilePath | bytes, as_: str = "changed", name: str = "", meters: Accuracies | None = None
) -> Amplifier:
    """Read an amplifier file.

    path_or_text: a path; or the file's own text or bytes (anything with a line break in it is taken as text).
    as_: "drawn" (no layers), "found" (found and measured layers) or "changed" (all layers, in order).
    name: what to call the file in messages where a text is given.
    meters: what the bench's meters are good for (``Bench.accuracies``), for measured layers that name one.

    Raises AmplifierError with every mistake in the file; ValueError for another ``as_``.
    """
    if as_ not in AS:
        raise ValueError(f"as_ = {as_!r}; one of {', '.join(AS)}")
    document = open_document(path_or_text, name)
    # The whole file is read with every layer first, so a mistake is a mistake whatever is asked for.
    everything = _build(document, "changed", meters or {}, lenient=False)
    drawn = _build(document, "drawn", {}, lenient=True) if "layer" in document.data else everything
    # A phase that nobody stated is the drawing's to settle: a layer that exchanges plate leads then shows.
    phases = drawn_phases(drawn) if not document.mistakes.broken else {}
    everything, drawn = with_phases(everything, phases), with_phases(drawn, phases)
    if not document.mistakes.broken:
        _structure(document.mistakes, drawn, everything)
    else:
        look = look_at(everything)
        document.mistakes.found = [never(look, p) for p in document.mistakes.found]
        # what reaches the mains as far as it was read is told before anything that would lead on with such a set
        document.mistakes.first += refused_as_far_as_read(everything, _what_lines(document))
    document.mistakes.stop()
    if as_ == "changed":
        return everything
    return drawn if as_ == "drawn" else with_phases(_build(document, as_, meters or {}, lenient=True), phases)


def _what_lines(document: Document) -> list[str]:
    """What each part line of the file says that the part is, as it stands there."""
    lines = [line for key in document.data for line in _table(document, key).values()]
    firsts = [line[0] if isinstance(line, list) and line else line for line in lines]
    return [text for text in firsts if isinstance(text, str)]


def _structure(mistakes: Mistakes, *amplifiers: Amplifier) -> None:
    """What only the whole structure shows: open joints, heaters on the wrong volts, a chassis joined to the mains.

    The drawing is checked, and what the layers made of it.
    """
    if find_spec("firstglow.amplifier.checks") is None:
        return
    check_structure = import_module("firstglow.amplifier.checks").check_structure
    for amplifier in {a.layers: a for a in amplifiers}.values():
        mistakes.found += [p for p in check_structure(amplifier) if not mistakes.blames(p.part)]


def _build(document: Document, as_: str, meters: Accuracies, lenient: bool) -> Amplifier:
    """The amplifier with the layers that count; mistakes are noted, and stand-ins taken so that all are found."""
    mistakes = document.mistakes
    head = read_head(document)
    scopes = Scopes(head.channels, mistakes)
    _read_parts(document, scopes, head.channels)
    groups = Groups()
    _join_drawn(scopes, groups)
    _one_spelling(scopes)
    implied = Implied(scopes, groups, head.fragment, head.mains_volts)
    implied.run()
    if not mistakes.broken:
        _leads_everywhere(scopes, groups, mistakes, scopes.drafts.values())
    layers = Layers(document, scopes, groups, as_, meters, lenient)
    layers.run()
    implied.valves()
    if not mistakes.broken:
        _leads_everywhere(scopes, groups, mistakes, layers.added)
    head.defaults.extend(implied.defaults)
    amplifier = Resolver(head, scopes, groups, mistakes).run(tuple(layers.used))
    amplifier = with_asides(document, scopes, groups, amplifier, lenient)
    if not lenient:
        scopes.tell_missing()
    return amplifier


def _read_parts(document: Document, scopes: Scopes, channels: tuple[str, ...]) -> None:
    """All part lines into drafts: shared ones, then each channel's own."""
    taken = {n for table in ("shared", "parts", "channel", *channels) for n in _table(document, table)}
    reader = PartReader(document.mistakes, taken=taken)
    names = _names(document, channels)
    for table in ("shared", "parts"):
        for local, line in _table(document, table).items():
            _add(reader, scopes, (table, local), local, local, None, line)
    for channel in channels:
        own = _table(document, channel)
        for local, line in _table(document, "channel").items():
            path = ("channel", local)
            if local in own:
                line, path = _differs(line, own[local]), (channel, local)
            _add(reader, scopes, path, names[channel].get(local) or f"{channel} {local}", local, channel, line)
        for local, line in own.items():
            if local not in _table(document, "channel"):
                _add(
                    reader,
                    scopes,
                    (channel, local),
                    names[channel].get(local) or f"{channel} {local}",
                    local,
                    channel,
                    line,
                )


def _differs(line: Any, own: Any) -> Any:
    """A channel's own text replaces what the part is and keeps its leads; a whole line replaces the line."""
    if isinstance(own, str) and isinstance(line, list) and line:
        return [own, *line[1:]]
    return own


def _table(document: Document, name: str) -> Mapping[str, Any]:
    value = document.data.get(name, {})
    return value if isinstance(value, dict) else {}


def _names(document: Document, channels: tuple[str, ...]) -> dict[str, dict[str, str]]:
    """The table of names per channel: {"right": {"V2": "V5"}}."""
    found: dict[str, dict[str, str]] = {c: {} for c in channels}
    for channel, table in _table(document, "names").items():
        if channel not in found or not isinstance(table, dict):
            document.mistakes.key(("names", channel), "names", channel, channels or ("left",), "channel")
            continue
        lines = {n for key in ("channel", channel) for n in _table(document, key)}
        for local, name in table.items():
            if local not in lines and local not in _mentioned(document):  # else told as a part that is not there
                document.mistakes.key(("names", channel, local), f"names.{channel}", local, sorted(lines), "part")
            elif isinstance(name, str) and NAME.fullmatch(name):
                found[channel][local] = name
            else:
                document.mistakes.add(
                    ("names", channel, local),
                    local,
                    f"{name!r} is no name of a part",
                    "a letter, then letters and figures",
                    '"V5"',
                )
    renamed = {local for table in found.values() for local in table}
    for table in found.values():  # a valve that is renamed in one channel keeps its plain name in the other
        for local in renamed:
            table.setdefault(local, local)
    return found


def _mentioned(document: Document) -> set[str]:
    """First words of every place that a part line names: the part in "V2b grid"."""
    tables = [_table(document, key) for key in document.data]
    lines = [line for table in tables for line in table.values() if isinstance(line, list)]
    return {text.split(" ")[0] for line in lines for text in line[1:] if isinstance(text, str)}


def _add(
    reader: PartReader, scopes: Scopes, path: tuple[str, ...], name: str, local: str, channel: str | None, line: Any
) -> None:
    if not NAME.fullmatch(local):
        reader.mistakes.add(
            path, local, f"{local!r} is no name of a part", "a letter, then letters and figures", '"R1"'
        )
        return
    if isinstance(line, list) and line and isinstance(line[0], str) and _CAN.search(line[0]):
        for letter, section in _can(line):
            _add(reader, scopes, path, name + letter, local + letter, channel, section)
            if name + letter in scopes.drafts:
                scopes.drafts[name + letter].words["can"] = name
        return
    draft = reader.read(path, name, local, channel, line)
    if draft is None:
        return
    like = next((n for n in reader.taken if n.lower() == local.lower() and n < local), None)
    if like is not None:
        found, allowed = f"a part beside {like}: no hand tells them apart", "names that differ in more than capitals"
        reader.mistakes.add(path, local, found, allowed, free_name(local.upper(), reader.taken))
    for part in with_vias(reader, draft):
        if part.name in scopes.drafts:
            taken = {word for name in scopes.drafts for word in name.split(" ")} | set(reader.taken)
            found = f"a second part named {part.name}"
            reader.mistakes.add(path, part.name, found, "one part a name", free_name(local, taken))
            continue
        scopes.add(part)


def _can(line: list[Any]) -> list[tuple[str, list[Any]]]:
    """The sections of a can as part lines: plus leads in order, the common minus last."""
    match = _CAN.search(line[0])
    assert match is not None
    sizes = match.group().split("+")
    unit = re.sub(r"^[\d.]+", "", sizes[-1])
    leads = [x for x in line[1:] if isinstance(x, str)]
    more = [x for x in line[1:] if not isinstance(x, str)]
    out = []
    for number, size in enumerate(sizes[:26]):
        what = line[0][: match.start()] + size.removesuffix(unit) + unit + line[0][match.end() :]
        ends = [leads[number], leads[-1]] if len(leads) == len(sizes) + 1 else leads[number : number + 1]
        out.append((string.ascii_lowercase[number], [what, *ends, *more]))
    return out


def _join_drawn(scopes: Scopes, groups: Groups) -> None:
    """Every stated lead onto its joint. Names used outside the channels are shared by all."""
    for draft in scopes.drafts.values():
        if draft.channel is None:
            for place in [*draft.leads.values(), *(p for _, p in draft.also)]:
                free = scopes.free_name(place.text, None)
                if free is not None and scopes.split(place.text, None)[0] is None:
                    scopes.shared.add(free)
    for draft in scopes.drafts.values():
        for lead in lead_names(draft):
            groups.add(("lead", draft.name, lead))
    for draft in scopes.drafts.values():
        solder(draft, groups, scopes.node)


def _one_spelling(scopes: Scopes) -> None:
    """Two joints whose names differ only in capitals are one joint misspelt, or will be mistaken for one."""
    seen: dict[tuple[str | None, str], str] = {(None, s): s for s in SPECIAL}
    for draft in scopes.drafts.values():
        for place in [*draft.leads.values(), *(p for _, p in draft.also), *(v.to for v in draft.vias)]:
            name = scopes.free_name(" ".join(place.text.split()), place.channel)
            if name is None:
                continue
            other = seen.get((None, name.lower())) or seen.setdefault((place.channel, name.lower()), name)
            if other != name:
                allowed = "one spelling for one joint, unlike names for two"
                scopes.mistakes.add(
                    place.line, draft.name, f"joint {name!r} beside joint {other!r}", allowed, f'"{other}"'
                )


def _leads_everywhere(scopes: Scopes, groups: Groups, mistakes: Mistakes, drafts: Iterable[Draft]) -> None:
    """A lead that the line leaves out and no other line mentions stands nowhere."""
    for draft in drafts:
        if (
            draft.name not in scopes.drafts
            or draft.kind in {"transformer", "output transformer", "heater"}
            or draft.line == 0
        ):
            continue
        for lead in lead_names(draft):
            if lead == "cathode" and draft.base is not None and draft.base.joined:
                continue  # in the glass it is on its own filament
            if lead not in draft.leads and groups.alone(("lead", draft.name, lead)):
                names = ", ".join(lead_names(draft))
                mistakes.add(
                    draft.path,
                    draft.name,
                    f"lead {lead} stands nowhere",
                    f"a joint for each of {names}",
                    _with_lead(draft, lead),
                )


def _with_lead(draft: Draft, lead: str) -> str:
    """What to write for a lead that stands nowhere: a leak to chassis, never HT; else where to look, in plain words."""
    if draft.kind == "valve" and lead == "grid" and _power(draft):
        return f'"grid" of {draft.local} on its leak: to its bias, or to chassis where its cathode has a resistor'
    if draft.kind == "valve" and lead in _VIA:
        return f'{{ "{lead}" = "{_VIA[lead]}" }}'
    if (
        draft.kind in {"fuse", "switch"} and not draft.leads
    ):  # it has a place by itself only in a mains side that is left out
        return f"{draft.local} with the two joints it lies between: the file draws the mains side, or has a {draft.kind} there already"
    what = _WHERE.get((draft.kind, lead), "the joint it has in the drawing")
    return f'"{lead}" of {draft.local} on {what}'


def _power(draft: Draft) -> bool:
    """Whether a valve is likely an output valve: a leak to chassis alone would leave it without any bias."""
    pentode = draft.section is not None and draft.section.kind == "pentode"
    return draft.idle is not None or (pentode and draft.base is not None and draft.base.heaters[-1][1] > POWER_HEATER)
