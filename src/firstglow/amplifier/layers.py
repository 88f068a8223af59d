"""Layers: what was found, measured and changed lies over what is drawn, in the order of the file.

A drawn value is never overwritten in the file; a resolved one remembers the layer and the line it came from.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from firstglow.amplifier.attributes import kinds
from firstglow.amplifier.document import Document
from firstglow.amplifier.drafts import Draft, Place, lead_names, lead_of
from firstglow.amplifier.joints import Groups, Node, Scopes
from firstglow.amplifier.lines import Path
from firstglow.amplifier.mistakes import Mistakes, nearest, nearest_part, short
from firstglow.amplifier.model import Origin, Quantity
from firstglow.amplifier.partlines import NAME, PartReader
from firstglow.amplifier.soldering import solder, with_vias
from firstglow.amplifier.what import read_what
from firstglow.amplifier.windings import read_winding
from firstglow.quantities import QuantityError, read_spread

KINDS = ("found", "measured", "changed")
_KEYS = ("kind", "who", "when", "why", "note", "meter", "uncertainty", "set", "add", "remove", "rejoin")
# What an ordinary digital meter is good for, half width as a fraction, by unit (common practice); a layer's own
# ``uncertainty``, or the named meter of the bench file, goes before it. Windings are measured on an ac range.
METER: Mapping[str, float] = {"ohm": 0.01, "F": 0.04, "H": 0.05, "V": 0.01, "A": 0.015, "winding": 0.015}
OTHER = 0.05
_VOLTS = re.compile(r"\dV\b")
Accuracies = Mapping[str, Mapping[str, float]]


def applies(kind: str, as_: str) -> bool:
    """True if a layer of this kind counts; measured ones count with found and changed."""
    return as_ == "changed" or (as_ == "found" and kind in {"found", "measured"})


class Layers:
    """Applies the layers of one file to its drafts and joints."""

    def __init__(
        self, document: Document, scopes: Scopes, groups: Groups, as_: str, meters: Accuracies, lenient: bool
    ) -> None:
        self.document, self.scopes, self.groups, self.as_ = document, scopes, groups, as_
        self.meters, self.lenient = meters, lenient
        self.mistakes: Mistakes = document.mistakes
        self.used: list[str] = ["drawn"]
        self.passed_over: set[str] = set()
        self.added: list[Draft] = []

    def run(self) -> None:
        """Apply every layer that counts, in order."""
        layers = self.document.data.get("layer", [])
        if not isinstance(layers, list) or not all(isinstance(x, dict) for x in layers):
            self.mistakes.add(("layer",), "layer", "layers are not a list of tables", "[[layer]]", "[[layer]]")
            return
        for number, layer in enumerate(layers):
            path = ("layer", str(number))
            kind = layer.get("kind")
            if kind not in KINDS:
                found = "kind is missing" if kind is None else f"kind = {short(kind)!r}"
                self.mistakes.add(
                    (*path, "kind"),
                    "layer",
                    found,
                    " or ".join(KINDS),
                    f'kind = "{nearest(str(kind), KINDS) or "changed"}"',
                )
                continue
            if applies(kind, self.as_):
                self._apply(layer, kind, path)
                if kind not in self.used:
                    self.used.append(kind)
            else:  # what it touches is another part from here on: later measurements are not of the part that counts
                self.passed_over |= {
                    self._bare(w) for w in (*_keys(layer, "set"), *_keys(layer, "add"), *_keys(layer, "rejoin"))
                }

    def _apply(self, layer: Mapping[str, Any], kind: str, path: Path) -> None:
        for key, value in layer.items():
            if key not in _KEYS:
                self.mistakes.key((*path, key), "layer", key, _KEYS)
            elif key in {"who", "when", "why", "note", "meter"} and not (
                isinstance(value, str) or (key == "when" and hasattr(value, "isoformat"))
            ):
                self.mistakes.add((*path, key), "layer", f"{key} = {short(value)}", "a text", f'{key} = "..."')
        uncertainty = self._uncertainty(layer, path)
        for name, value in self._table(layer, "set", path):
            self._set(name, value, kind, layer, uncertainty, (*path, "set", name))
        for name, value in self._table(layer, "add", path):
            self._add(name, value, kind, (*path, "add", name))
        removed = layer.get("remove", [])
        if not isinstance(removed, list) or not all(isinstance(r, str) for r in removed):
            self.mistakes.add(
                (*path, "remove"), "layer", f"remove = {short(removed)}", "a list of parts", 'remove = ["R5"]'
            )
            removed = []
        for position, name in enumerate(removed):
            self._remove(name, (*path, "remove", str(position)))
        for name, value in self._table(layer, "rejoin", path):
            self._rejoin(name, value, (*path, "rejoin", name))

    def _table(self, layer: Mapping[str, Any], key: str, path: Path) -> Iterator[tuple[str, Any]]:
        value = layer.get(key, {})
        if isinstance(value, dict):
            yield from value.items()
        else:
            self.mistakes.add((*path, key), "layer", f"{key} = {short(value)}", "a table", f'{key} = {{ R5 = "100k" }}')

    def _uncertainty(self, layer: Mapping[str, Any], path: Path) -> float | None:
        text = layer.get("uncertainty")
        if text is None:
            return None
        try:
            spread = read_spread(text, "1") if isinstance(text, str) else None
        except QuantityError:
            spread = None
        if spread is None or spread.fraction is None:
            self.mistakes.add(
                (*path, "uncertainty"),
                "layer",
                f"uncertainty = {short(text)}",
                "a percentage above 0",
                'uncertainty = "0.5%"',
            )
            return None
        return spread.fraction

    # -- who is meant ------------------------------------------------------------------------------------------------
    def _bare(self, word: str) -> str:
        """A part's word without its channel, lead or winding, to compare layers by."""
        words = word.split()
        return words[1] if len(words) > 1 and words[0] in {*self.scopes.channels, "channel"} else (words or [""])[0]

    def _meant(self, word: str, path: Path) -> list[tuple[Draft, str]]:
        """Parts that a word of a layer means, with what follows the part's name: one, or its like in every channel."""
        channel, words = self.scopes.split(" ".join(word.split()), None)
        found: list[tuple[Draft, str]] = []
        if words and words[0] == "channel":
            words = words[1:]
        for where in (channel,) if channel else (None, *self.scopes.channels):
            part, rest, _ = self.scopes.find(" ".join(words), where)
            if part is not None and not any(part == d.name for d, _ in found):
                found.append((self.scopes.drafts[part], rest))
                if channel is None and where is None:
                    break
        if not found and not (self.lenient or self._bare(word) in self.passed_over):
            near = nearest_part(word, self.scopes.drafts) or next(iter(self.scopes.drafts), "R1")
            self.mistakes.add(path, word, f"there is no part {short(word)!r}", "a part of this amplifier", f'"{near}"')
        return [(draft, rest) for draft, rest in found if not draft.lost]  # the unread line is told already

    # -- the four verbs ----------------------------------------------------------------------------------------------
    def _set(
        self, word: str, value: Any, kind: str, layer: Mapping[str, Any], uncertainty: float | None, path: Path
    ) -> None:
        if kind == "measured" and self._bare(word) in self.passed_over:
            return
        for draft, rest in self._meant(word, path):
            before = dict(draft.values)
            reader = PartReader(self.mistakes, kind)
            if rest:
                self._set_winding(draft, rest, value, kind, self._good_for("winding", layer, uncertainty), path)
                continue
            if isinstance(value, dict):
                for key, one in value.items():
                    self._set_one(reader, draft, key, one, (*path, key))
            elif isinstance(value, str):
                self._set_text(reader, draft, value, kind, path)
            else:
                self.mistakes.add(
                    path, draft.name, f"{short(value)} is no value", "a text, or a table of attributes", '"100k 1W"'
                )
            if kind == "measured":
                self._narrow(draft, before, layer, uncertainty)

    def _set_text(self, reader: PartReader, draft: Draft, text: str, kind: str, path: Path) -> None:
        origin = Origin(kind, self.mistakes.line(path))
        try:
            said = read_what(text, draft.kind)
        except QuantityError as error:
            self.mistakes.add(path, draft.name, error.found, error.allowed, error.remedy)
            return
        if kind != "measured" and draft.kind not in {
            "transformer",
            "output transformer",
            "valve",
            "rectifier",
            "heater",
        }:
            keep = {"position"} & set(draft.values)  # another part stands there now; only where a hand left it stays
            draft.values = {k: draft.values[k] for k in keep}
            draft.measured_from = {}
            draft.type = None
        old = draft.type
        reader.take(draft, said, origin, path)
        if draft.kind in {"valve", "rectifier"} and draft.type != old:
            self._another_valve(reader, draft, path)

    def _another_valve(self, reader: PartReader, draft: Draft, path: Path) -> None:
        """A valve of another type in the same socket: its sections and its heater follow."""
        envelope = draft.envelope
        for other in [
            d for d in self.scopes.drafts.values() if d.envelope == envelope and d.kind in {"valve", "rectifier"}
        ]:
            other.type = draft.type
            if reader.envelope(other, path):
                other.envelope = envelope
        heater = self.scopes.drafts.get(f"{envelope} heater")
        if heater is not None and draft.base is not None:
            for lead in lead_names(heater):
                self.groups.add(("lead", heater.name, lead))
            heater.base, heater.type = draft.base, draft.base.name
            volts, amps = draft.base.heaters[0]
            heater.values["volts"] = Quantity(volts, 0.0, "exact", Origin("default", 0))
            heater.values["amps"] = Quantity(amps, 0.05, "uniform", Origin("default", 0))

    def _set_one(self, reader: PartReader, draft: Draft, key: str, value: Any, path: Path) -> None:
        kind = kinds()[draft.kind]
        if key in kind.attributes:
            reader.attribute(draft, key, value, path)
        elif key in kind.words:
            reader.word(draft, key, value, path)
        else:
            self.mistakes.key(path, draft.name, key, [*kind.attributes, *kind.words], "attribute")

    def _set_winding(self, draft: Draft, name: str, value: Any, kind: str, good_for: float, path: Path) -> None:
        known = draft.windings.get(name)
        if known is None:
            names = list(draft.windings) or list(kinds()[draft.kind].attributes)
            self.mistakes.add(
                path,
                draft.name,
                f"no winding {short(name)!r}",
                ", ".join(names),
                f'"{draft.name} {nearest(name, names) or names[0]}"',
            )
            return
        try:
            new = read_winding(name, value if isinstance(value, str) else "", known[0])
        except QuantityError as error:
            self.mistakes.add(path, f"{draft.name} {name}", error.found, error.allowed, error.remedy)
            return
        if kind == "measured":
            if (
                new.sides != known[0].sides
                and not new.open_volts
                and any(n.volts != o.volts for n, o in zip(new.sides, known[0].sides, strict=True))
            ):
                self.mistakes.add(
                    path,
                    f"{draft.name} {name}",
                    "volts measured under an unknown load",
                    "volts with nothing on the winding, marked open",
                    f'"{short(value)} open"',
                )
                return
            # a figure that was measured is one, also where it is what the drawing says
            unsaid = replace(known[0], sides=tuple(replace(s, ohms=None) for s in known[0].sides))
            if _VOLTS.search(value):
                new = replace(new, spread=good_for if new.spread is None else new.spread)
            if any(s.ohms is not None for s in read_winding(name, value, unsaid).sides):
                new = replace(new, ohms_spread=good_for)
        draft.windings[name] = (new, Origin(kind, self.mistakes.line(path)))

    def _good_for(self, unit: str, layer: Mapping[str, Any], uncertainty: float | None) -> float:
        if uncertainty is not None:
            return uncertainty
        own = self.meters.get(str(layer.get("meter", "")), {})
        return own.get(unit, METER.get(unit, OTHER))

    def _narrow(
        self, draft: Draft, before: Mapping[str, Quantity], layer: Mapping[str, Any], uncertainty: float | None
    ) -> None:
        """A measured value keeps the uncertainty of the meter that measured it, unless the text gives its own."""
        for name, value in draft.values.items():
            row = kinds()[draft.kind].attributes[name]
            if value is before.get(name) or value.origin.layer != "measured" or row.role == "setting":
                continue
            if name in before and before[name].origin.layer != "measured":
                draft.measured_from[name] = before[name]
            if value.spread == row.stated:
                draft.values[name] = replace(
                    value, spread=self._good_for(row.unit, layer, uncertainty), shape="uniform"
                )

    def _add(self, word: str, line: Any, kind: str, path: Path) -> None:
        channel, words = self.scopes.split(" ".join(word.split()), None)
        every = len(words) > 1 and words[0] == "channel"
        local = words[-1] if words else ""
        if not NAME.fullmatch(local) or len(words) > (2 if every else 1):
            self.mistakes.add(
                path,
                word,
                f"{short(word)!r} is no name of a new part",
                'a name, "left R40", or "channel R40" for every channel',
                '"R40"',
            )
            return
        for where in self.scopes.channels if every else (channel,):
            name = f"{where} {local}" if where else local
            reader = PartReader(self.mistakes, kind)
            draft = reader.read(path, name, local, where, line)
            if draft is None:
                continue
            if name in self.scopes.drafts or self.scopes.part(local, where) is not None:
                self.mistakes.add(path, name, f"there is a part {name} already", "a new name", f'"{local}b"')
                continue
            made = with_vias(reader, draft)
            for part in made:
                self.scopes.add(part)
            for part in made:
                self.added.append(part)
                solder(part, self.groups, self._known_node)

    def _known_node(self, place: Place, owner: str) -> Node | None:
        """A joint that stands already, or a new one of its own."""
        node = self.scopes.node(place, owner)
        if node is not None and node[0] == "name" and node not in self.groups.above and place.channel is not None:
            shared: Node = ("name", " ".join(place.text.split()), "")
            if shared in self.groups.above:
                return shared
        return node

    def _remove(self, word: str, path: Path) -> None:
        for draft, rest in self._meant(word, path):
            if rest:
                self.mistakes.add(path, word, f"{short(word)!r} is a lead", "a part to remove", f'"{draft.name}"')
                continue
            self._drop(draft)
            envelope = draft.envelope
            left = [
                d for d in self.scopes.drafts.values() if d.envelope == envelope and d.kind in {"valve", "rectifier"}
            ]
            if envelope and not left and f"{envelope} heater" in self.scopes.drafts:
                self._drop(self.scopes.drafts[f"{envelope} heater"])

    def _drop(self, draft: Draft) -> None:
        for lead in lead_names(draft):
            if ("lead", draft.name, lead) in self.groups.above:
                self.groups.drop(("lead", draft.name, lead))
        del self.scopes.drafts[draft.name]

    def _rejoin(self, word: str, value: Any, path: Path) -> None:
        for draft, rest in self._meant(word, path):
            lead = lead_of(draft, rest) if rest else None
            if lead is None:
                names = lead_names(draft)
                self.mistakes.add(
                    path,
                    word,
                    f"{short(word)!r} is no lead",
                    f"leads of {draft.name}: {', '.join(names)}",
                    f'"{draft.name} {nearest(rest, names) or names[0]}"',
                )
                continue
            if not isinstance(value, str):
                self.mistakes.add(path, word, f"{short(value)} is no joint", "the joint it goes to", '"chassis"')
                continue
            node = self._known_node(Place(value, draft.channel, self.mistakes.line(path)), draft.name)
            if node is not None:
                self.groups.split_off(("lead", draft.name, lead))
                self.groups.join(("lead", draft.name, lead), node)


def _keys(layer: Mapping[str, Any], key: str) -> list[str]:
    value = layer.get(key, {})
    return list(value) if isinstance(value, dict) else []
