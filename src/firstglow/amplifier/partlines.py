"""Reads one part's line, ``[what it is, lead, lead ..., {more}]``, into a Draft."""

import re
from collections.abc import Collection, Mapping
from decimal import Decimal
from typing import Any

from firstglow.amplifier import bases
from firstglow.amplifier.attributes import Attribute, kinds
from firstglow.amplifier.drafts import Draft, Place, Via, lead_names, lead_of
from firstglow.amplifier.lines import Path
from firstglow.amplifier.mistakes import Mistakes, nearest, short
from firstglow.amplifier.model import Origin, Quantity
from firstglow.amplifier.partwords import read_word
from firstglow.amplifier.what import Said, read_what
from firstglow.amplifier.windings import read_winding
from firstglow.quantities import QuantityError, Spread, code, example, read_spread, read_value

NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,19}")
_WINDING = re.compile(r"[a-z][a-z0-9]*|primary[a-z0-9_]*")  # else _ is an attribute's


# What a part is likely to be by the letter its name begins with, where its first text cannot be read (IEC 81346-2 and
# the older habit of the trade).
_BY_LETTER: Mapping[str, str] = {
    "R": "resistor",
    "C": "capacitor",
    "L": "choke",
    "D": "diode",
    "P": "pot",
    "F": "fuse",
    "W": "wire",
    "V": "valve",
    "T": "transformer",
}
_AUTO = re.compile(r"(?i)\bauto[- ]?(?:transformer|former)\b")
_LICENSED = "someone licensed for live-chassis sets: a set fed by an autotransformer gets no ladder here"

# A value that stands for a part between a lead and a joint: ohms or farads, always with their letter.
_VIA = re.compile(r"(?:\d[\d.]*(?:[RkKMGΩ]|[pnuµμ]F?)\d*)")
_SPEC = re.compile(
    r"(?:[±+-]*\d[\d.]*(?:%|V|W|mW|kV)|film|electrolytic|paper|ceramic|mica|carbon|metal|oxide|composition|wirewound)"
)


def split_via(text: str) -> tuple[str, str]:
    """("10R 1W", "chassis") for a part and the joint behind it, ("", text) for a joint."""
    words = text.split()
    if len(words) < 2 or not _VIA.fullmatch(words[0]):
        return "", text
    count = 1
    while count < len(words) - 1 and _SPEC.fullmatch(words[count]):
        count += 1
    return " ".join(words[:count]), " ".join(words[count:])


def quantity(row: Attribute, value: float, spread: Spread | None, origin: Origin) -> Quantity:
    """A stated value with its own tolerance, or with the table's for a stated nominal."""
    if spread is None:
        return Quantity(value, row.stated, row.shape if row.stated else "exact", origin)
    if spread.fraction is not None:
        return Quantity(value, spread.fraction, "uniform", origin)
    return Quantity(value, abs((spread.absolute or 0.0) / value) if value else 0.0, "uniform", origin)


class PartReader:
    """Reads part lines of one file, noting mistakes."""

    def __init__(self, mistakes: Mistakes, layer: str = "drawn", taken: Collection[str] = ()) -> None:
        self.mistakes = mistakes
        self.layer = layer
        self.taken = taken  # names that other lines have

    def read(self, path: Path, name: str, local: str, channel: str | None, line: Any) -> Draft | None:
        """The part, or None (with the mistakes noted) where it cannot be used at all."""
        parts = [line] if isinstance(line, str) else line
        origin = Origin(self.layer, self.mistakes.line(path))
        if not isinstance(parts, list) or not parts or not isinstance(parts[0], str):
            self.mistakes.add(
                path,
                name,
                f"{short(line)!r} is no part",
                "[what it is, lead, lead ..., {more}]",
                f'{local} = ["220k", "HT1", "V1 plate"]',
            )
            return self._lost(path, name, local, channel, origin)
        likely = _BY_LETTER.get(local[0].upper())
        if _AUTO.search(parts[0]):
            allowed = "a mains transformer whose secondaries are apart from its primary"
            self.mistakes.add((*path, "0"), name, "an autotransformer: what it feeds is the mains", allowed, _LICENSED)
            return self._lost(path, name, local, channel, origin)
        try:
            said = read_what(parts[0], likely=likely)
        except QuantityError as error:
            self.mistakes.add((*path, "0"), name, error.found, error.allowed, error.remedy)
            if likely in {None, "valve", "transformer"}:
                return self._lost(path, name, local, channel, origin)
            said = Said(kind=likely)  # its leads are read all the same
        assert said.kind is not None
        draft = Draft(name, local, channel, said.kind, said.type, path, origin)
        self.take(draft, said, origin, path)
        if draft.kind in {"valve", "rectifier"} and not self.envelope(draft, path):
            return self._lost(path, name, local, channel, origin)
        first = next((n for n, x in enumerate(parts) if isinstance(x, dict)), len(parts))
        self._more(draft, self._tables(draft, parts, first, path))
        self._leads(draft, parts[1:first], path)
        return draft

    def _lost(self, path: Path, name: str, local: str, channel: str | None, origin: Origin) -> Draft:
        """A stand-in for a part that cannot be read: the other lines that name it are told nothing of it."""
        self.mistakes.broken = True
        kind = _BY_LETTER.get(local[0].upper(), "resistor")
        draft = Draft(name, local, channel, kind, None, path, origin)
        draft.lost = True
        return draft

    def _tables(self, draft: Draft, parts: list[Any], first: int, path: Path) -> dict[str, tuple[Any, Path]]:
        """key -> (value, path) of the tables that end a line; there may be several."""
        found: dict[str, tuple[Any, Path]] = {}
        for number, table in enumerate(parts[first:], first):
            at = (*path, str(number))
            if not isinstance(table, dict):
                self.mistakes.add(
                    at,
                    draft.name,
                    f"{short(table)!r} behind a table",
                    "leads first, then { }",
                    "the lead in front of the table",
                )
                continue
            for key, value in table.items():
                if key in found:
                    self.mistakes.add((*at, key), draft.name, f"{key} said twice", "once", "one of the two")
                found[key] = (value, (*at, key))
        return found

    def envelope(self, draft: Draft, path: Path) -> bool:
        """Find the valve type's section and the glass; False (and a mistake) where the type is not known."""
        base = bases.bases().get(draft.type or "")
        if base is None:
            self.mistakes.add(path, draft.name, "no valve type", "a type that firstglow knows", '"6V6GT"')
            return False
        draft.base, draft.envelope = base, draft.name
        asked = draft.words.get("section")
        letter = draft.name[-1] if draft.name[-1] in "abtp" else ""
        if len(base.sections) == 1:
            draft.section = base.sections[0]
            if asked and asked != base.sections[0].name:
                self.mistakes.add(
                    path, draft.name, f"section {asked!r}", f"a {base.name} has one section", "no section"
                )
            elif letter and draft.name[-2:-1].isdigit():
                self.mistakes.add(
                    path,
                    draft.name,
                    f"section {letter!r} of a {base.name}",
                    "a valve with one section",
                    f"{draft.local[:-1]}",
                )
            return True
        section = base.section(str(asked) if asked else letter)
        if section is None and draft.name[-1] in "ABTP":
            small = draft.local[:-1] + draft.local[-1].lower()
            found = f"{draft.local} has its section in a capital letter"
            self.mistakes.add(path, draft.name, found, "a small letter behind the number of the glass", small)
            return False
        if section is None:
            glass = re.sub(r"(?<=\d)[a-z]$", "", draft.local)
            self.mistakes.add(
                path,
                draft.name,
                f"no section of the {base.name} named",
                f"one line a section: {glass}a, {glass}b",
                next((name for name in (f"{glass}a", f"{glass}b") if name not in self.taken), f"{glass}a"),
            )
            return False
        draft.section = section
        draft.words["section"] = section.name
        draft.envelope = draft.name[:-1] if letter else draft.name
        return True

    def take(self, draft: Draft, said: Said, origin: Origin, path: Path) -> None:
        """Put what a first text says into the draft."""
        for name, (value, spread) in said.values.items():
            self._put(draft, name, value, spread, origin, path)
        for word, meaning in said.words.items():
            if word == "tolerance":
                self.mistakes.add(path, draft.name, "a tolerance of nothing", "a tolerance beside a value", '"220k 5%"')
            else:
                draft.words[word] = meaning
        if said.type is not None:
            draft.type = said.type

    def _put(self, draft: Draft, name: str, value: float, spread: Spread | None, origin: Origin, path: Path) -> None:
        row = kinds()[draft.kind].attributes[name]
        if not row.low <= value <= row.high:
            unit = "" if row.unit == "1" else f" {row.unit}"
            near = min(max(abs(value), row.low), row.high)
            remedy = f"{near:g}" if not unit else f'"{code(near, row.unit)}"'
            if value == 0 and unit:
                remedy = '"wire"' if draft.kind == "resistor" and name == "ohms" else example(row.unit)
            found, allowed = f"{name} of {short(f'{value:g}')}{unit}", f"{row.low:g} to {row.high:g}{unit}"
            self.mistakes.add(path, draft.name, found, allowed, remedy)
            return
        draft.values[name] = quantity(row, value, spread, origin)

    def _leads(self, draft: Draft, leads: list[Any], path: Path) -> None:
        names = [] if draft.kind in {"transformer", "output transformer"} else list(lead_names(draft))
        for number, text in enumerate(leads):
            at = (*path, str(number + 1))
            if number < len(names):
                self.lead(draft, names[number], text, at)
                continue
            allowed = f"{len(names)}: {', '.join(names)}" if names else "leads by name only, in { }"
            remedy = (
                f"no more leads than {', '.join(names)}" if names else 'its leads by name: { "a lead" = "its joint" }'
            )
            self.mistakes.add(at, draft.name, f"{len(leads)} leads in a row", allowed, remedy)
            return

    def lead(self, draft: Draft, lead: str, value: Any, at: Path) -> None:
        """Read where a lead stands: a joint, a part and the joint behind it, or a list of such."""
        if lead in draft.leads or any(lead == via.lead for via in draft.vias):
            self.mistakes.add(at, draft.name, f"lead {lead} said twice", "once", "one of the two")
            return
        texts = value if isinstance(value, list) and 0 < len(value) <= 12 else [value]
        for text in texts:
            if not isinstance(text, str):
                self.mistakes.add(
                    at,
                    draft.name,
                    f"{short(text)!r} where a joint should be",
                    "a joint, or the name of a lead",
                    '"HT1"',
                )
                continue
            what, joint = split_via(text)
            place = Place(joint, draft.channel, self.mistakes.line(at))
            if what:
                draft.vias.append(Via(lead, what, place))
            elif lead in draft.leads:
                draft.also.append((lead, place))
            else:
                draft.leads[lead] = place

    def _more(self, draft: Draft, more: Mapping[str, tuple[Any, Path]]) -> None:
        kind = kinds()[draft.kind]
        windings = [
            k
            for k in more
            if draft.kind == "transformer"
            and k not in kind.attributes
            and k not in kind.words
            and _WINDING.fullmatch(k)
        ]
        for key in [*windings, *(k for k in more if k not in windings)]:
            value, at = more[key]
            if key in windings and lead_of(draft, key) is None:
                self.winding(draft, key, value, at)
            elif key in kind.attributes:
                self.attribute(draft, key, value, at)
            elif key in kind.words and key != "":
                self.word(draft, key, value, at)
            else:
                self._lead(draft, key, value, at)

    def _lead(self, draft: Draft, key: str, value: Any, at: Path) -> None:
        kind = kinds()[draft.kind]
        lead = lead_of(draft, key)
        if lead is None and draft.lost:
            return
        if lead is None:
            known = [*lead_names(draft), *kind.attributes, *kind.words]
            self.mistakes.key(at, draft.name, key, known, "lead or attribute")
        else:
            self.lead(draft, lead, value, at)

    def winding(self, draft: Draft, key: str, value: Any, at: Path) -> None:
        """Read one winding of a mains transformer. One named nearly like the primary is asked about: as a secondary it
        would stand at the mains' own volts on nothing."""
        if not key.startswith("primary") and nearest(key, ["primary"]):
            found = f"winding {short(key)!r}: did you mean primary?"
            allowed = "a winding whose name begins with primary; secondaries by names unlike it: heat, ht, bias"
            self.mistakes.add(at, draft.name, found, allowed, f"primary in place of {short(key)}")
            draft.lost = self.mistakes.broken = True
            return
        if not isinstance(value, str):
            allowed = "volts, amps, ohms as one text"
            self.mistakes.add(at, draft.name, f"{short(value)!r} is no winding", allowed, f'{key} = "6.3V 4A ct"')
        else:
            try:
                draft.windings[key] = (read_winding(key, value), Origin(self.layer, self.mistakes.line(at)))
            except QuantityError as error:
                self.mistakes.add(at, f"{draft.name} {key}", error.found, error.allowed, error.remedy)
            else:
                return
        draft.lost = self.mistakes.broken = True

    def attribute(self, draft: Draft, key: str, value: Any, at: Path) -> None:
        """Read one named attribute: a text with its unit, or a plain number in SI units."""
        row = kinds()[draft.kind].attributes[key]
        origin = Origin(self.layer, self.mistakes.line(at))
        try:
            number, spread = read_attribute(row, value, draft)
        except QuantityError as error:
            self.mistakes.add(at, draft.name, f"{key}: {error.found}", error.allowed, error.remedy)
            return
        self._put(draft, key, number, spread, origin, at)

    def word(self, draft: Draft, key: str, value: Any, at: Path) -> None:
        """Read one attribute that is text or yes/no."""
        read_word(self.mistakes, self.layer, draft, key, value, at)


def read_attribute(row: Attribute, value: Any, draft: Draft | None = None) -> tuple[float, Spread | None]:
    """SI value and tolerance of an attribute as the file gives it; raises QuantityError."""
    if isinstance(value, bool) or not isinstance(value, str | int | Decimal):
        raise QuantityError(f"{short(value)} is no value", f"a text in {row.unit}, or a number", example(row.unit))
    if not isinstance(value, str):
        if isinstance(value, Decimal) and not value.is_finite():
            raise QuantityError(f"{value} is no number", "a finite number", example(row.unit))
        if value and not -30 <= Decimal(value).adjusted() <= 30:
            raise QuantityError("a number out of all reason", f"{row.low:g} to {row.high:g}", example(row.unit))
        return float(value), None
    words = value.split()
    if not words or len(words) > 4:
        raise QuantityError(f"{short(value)!r} cannot be read", f"a value in {row.unit}", example(row.unit))
    spread = None
    if (len(words) > 1 and words[-1].endswith("%")) or words[-1].startswith(("±", "+-")):
        spread = read_spread(words[-1], row.unit)
        words = words[:-1]
    text = "".join(words)
    if "+" in text[1:] and draft is not None and row.name == "primary_ohms":
        unit = re.sub(r"^[\d.]+", "", text.split("+")[-1])
        draft.sides = tuple(read_value(t if re.search(r"[A-Za-zΩ]", t) else t + unit, "ohm") for t in text.split("+"))
        return sum(draft.sides), spread
    return read_value(text, row.unit), spread
