"""Reads the first text of a part: ``220k 1W 5%``, ``choke 8H 160m 120R``, ``selenium 100m 4 plates``, ``6V6GT``."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

from firstglow.amplifier import bases
from firstglow.amplifier.attributes import Kind, kinds
from firstglow.amplifier.mistakes import an, nearest
from firstglow.amplifier.stand_ins import COST, stand_in
from firstglow.quantities import QuantityError, Spread, modern, plain, read_spread, read_value

_NUMBER = re.compile(r"[+-]?\d+(\.\d*)?")
_PLATES = re.compile(r"(?i)\b(\d{1,3})\s+plates?\b")


@dataclass(slots=True)
class Said:
    """What one text says of a part.

    values: attribute -> (SI value, tolerance or None).
    """

    kind: str | None = None
    type: str | None = None
    values: dict[str, tuple[float, Spread | None]] = field(default_factory=dict)
    words: dict[str, str | bool] = field(default_factory=dict)


@cache
def _phrases() -> Mapping[str, tuple[str, str | None]]:
    """Words that name a kind, or a kind and its type; those of several kinds are left to the value beside them."""
    found: dict[str, tuple[str, str | None]] = {}
    twice = set()
    for kind in kinds().values():
        for word in kind.types:
            if word.lower() in found:
                twice.add(word.lower())
            found[word.lower()] = (kind.name, word)
    for word in twice:
        del found[word]
    for kind in kinds().values():
        if kind.name not in {"valve", "rectifier", "heater"}:
            found[kind.name] = (kind.name, None)
        for word in kind.says:
            found[word] = (kind.name, None)
    return found


def _take_phrases(text: str, said: Said) -> str:
    """Strip kind and type words, longest first, from the text."""
    rest = f" {text} "
    for phrase in sorted(_phrases(), key=len, reverse=True):
        spot = re.search(rf"(?<=\s){re.escape(phrase)}(?=\s)", rest, re.IGNORECASE)
        if spot:
            kind, kind_type = _phrases()[phrase]
            if said.kind is None or kind_type is None:
                said.kind = kind
            if kind_type is not None and said.kind == kind:
                said.type = said.type or kind_type
            if phrase in {"mains switch", "standby switch"}:
                said.words["role"] = phrase.split()[0]
            if phrase == "trimmer":
                said.type = "preset"
            rest = rest[: spot.start()] + " " + rest[spot.end() :]
    return rest.strip()


def _tokens(text: str) -> list[str]:
    """Words of the text; a bare number and the unit behind it are one (``4.7 kΩ``)."""
    out: list[str] = []
    for word in text.split():
        if out and _NUMBER.fullmatch(out[-1]) and not word[0].isdigit() and word[0] not in "±+-":
            out[-1] += word
        else:
            out.append(word)
    return out


def _kind_types(kind: Kind, token: str, said: Said) -> bool:
    """True if the token is a word for a type of this kind (wirewound: a resistor's and a pot's)."""
    for word in kind.types:
        if word.lower() == token.lower():
            said.type = said.type or word
            return True
    return False


_OF_VALUES = {"resistor", "capacitor", "choke", "pot", "fuse"}
"""Kinds that a part's letter says and that are told by a value, not by a designation."""


def _guess(tokens: list[str], said: Said, likely: str | None) -> None:
    """Kind from a designation, else from the unit of the first value; ``likely`` where that has two readings."""
    for token in tokens:
        base = bases.find(token)
        if base is not None and token.isdigit() and likely in _OF_VALUES:
            continue  # an R named "80" or "7027" lacks its unit; the rectifier and the beam tetrode are not meant
        if base is not None:
            said.kind = "rectifier" if base.rectifier else "valve"
            return
        if bases.diode(token) is not None:
            said.kind = "diode"
            return
        if bases.gas(token) is not None:
            said.kind = "gas tube"
            return
    order = [("ohm", "resistor"), ("F", "capacitor")]
    order.sort(key=lambda pair: pair[1] != likely)
    for token in tokens:
        for unit, kind in order:
            first = token.split("+")[-1]
            if (re.search(r"[A-Za-zΩ]", first) or kind == likely) and _reads(first, unit):
                said.kind = kind
                return


def _reads(token: str, unit: str) -> bool:
    try:
        read_value(token, unit)
    except QuantityError as error:
        return _known(error)
    return True


def _known(error: QuantityError) -> bool:
    """Whether a text is a value, only not as it is written."""
    words = ("apart", "may be", "no unit", "comma", "two readings", "old spelling")
    return any(word in error.found for word in words)


def _designation(token: str, said: Said) -> bool:
    """A valve's, diode's or gas tube's registered type, with the figures it stands for."""
    base = bases.find(token)
    if base is not None and said.kind in {"valve", "rectifier"}:
        said.kind = "rectifier" if base.rectifier else "valve"
        said.type = base.name
        if token.upper() != base.name.upper():
            said.words["designation"] = token
        return True
    row = bases.diode(token)
    if row is not None and said.kind == "diode":
        said.type = row["type"]
        said.words["designation"] = token.upper()
        said.values.setdefault("amps", (row["amps"], None))
        said.values.setdefault("volts", (row["volts"], None))
        return True
    tube = bases.gas(token)
    if tube is not None and said.kind == "gas tube":
        said.type = tube[0]
        for name in ("volts", "amps_min", "amps_max"):
            said.values.setdefault(name, (tube[1][name], None))
        return True
    return False


MOST_AMPS = 10.0
"""A bare number of more amperes than this was meant in milliamperes [A]."""


def _value(kind: Kind, token: str, said: Said) -> bool:
    """Read the token as one of the kind's unnamed attributes; raises QuantityError for one that has two readings."""
    asked: QuantityError | None = None
    bare = _NUMBER.fullmatch(token) is not None
    if bare and kind.unnamed and all(name in said.values for name in kind.unnamed):
        units = ", ".join(kind.attributes[name].unit for name in kind.unnamed)
        raise QuantityError(f"{token!r} has no unit, and a value in {units} is there", "one value in each unit", '""')
    for name in kind.unnamed:
        unit = kind.attributes[name].unit
        if bare and name in said.values:
            continue  # "47uF 3" is short of its volts, not of a second value in farads
        try:
            value = read_value(token, unit)
        except QuantityError as error:
            if _known(error):
                asked = asked or error
            continue
        if not re.search(r"[A-Za-zΩ]", token):
            right = f"{token}u" if unit == "F" else f"{token}R" if unit == "ohm" else f"{token}{unit}"
            if unit == "A" and float(token) > MOST_AMPS:
                right = f"{token}m"
            asked = asked or QuantityError(f"{token!r} has no unit", f"a unit: {unit}", f'"{right}"')
            continue
        if name in said.values:
            raise QuantityError(f"{token!r} is a second value in {unit}", "one value in each unit", '""')
        said.values[name] = (value, None)
        return True
    if asked:
        raise asked
    return False


def read_what(text: str, kind_name: str | None = None, likely: str | None = None) -> Said:
    """What ``text`` says.

    kind_name: the kind where it is known already (a layer sets a part). likely: what the part's name makes of a value
    that could be ohms or farads.

    Raises QuantityError with what is wrong in one of its words.
    """
    if len(text) > 200:
        raise QuantityError("the text is too long", "at most 200 characters", '"220k 1W"')
    said = Said(kind=kind_name)
    body = " ".join(plain(text).split())
    plates = _PLATES.search(body)
    if plates:
        if not float(plates.group(1)):
            raise QuantityError(
                "a selenium rectifier of 0 plates", "as many as are counted on it", '"selenium 60m 4 plates"'
            )
        said.values["plates"] = (float(plates.group(1)), None)
        body = body[: plates.start()] + body[plates.end() :]
    body = re.sub(r"(?i)\bsingle[- ]ended\b", _single(said), body)
    tokens = _tokens(_take_phrases(body, said))
    if kind_name is not None and said.kind != kind_name and {kind_name, said.kind} != {"valve", "rectifier"}:
        raise QuantityError(f"{text!r} is a {said.kind}", f"a {kind_name}", "remove the part and add another")
    if said.kind is None and likely not in _OF_VALUES:
        _stands_in(tokens)
    if said.kind is None:
        _guess(tokens, said, likely)
    if said.kind is None and likely == "capacitor" and (new := _mended(text, "", "", likely)):
        raise QuantityError(f"{text!r} is an old spelling", "p for picofarads, u for microfarads", f'"{new}"')
    if said.kind is None:
        raise _no_part(text, tokens, likely)
    kind = kinds()[said.kind]
    spread: Spread | None = None
    if said.kind == "resistor" and any(_NUMBER.fullmatch(token) and float(token) == 0 for token in tokens):
        raise QuantityError("0 ohm is no resistor", "more than 0 ohm, or a wire", '"wire"')
    # a bare number is asked about when the others have said which units are taken
    for token in sorted(tokens, key=lambda t: _NUMBER.fullmatch(t) is not None):
        try:
            spread = _take(kind, token, said) or spread
        except QuantityError as error:
            whole = _mended(text, token, error.remedy.strip('"'), said.kind) or _first_text(kind)
            raise QuantityError(error.found, error.allowed, f'"{whole}"') from None
    if "plates" in said.values and said.kind != "diode":
        raise QuantityError("plates belong to a selenium rectifier", "selenium", '"selenium 100m 4 plates"')
    if spread is not None:
        for name in kind.unnamed:
            if name in said.values and kind.attributes[name].role == "value":
                said.values[name] = (said.values[name][0], spread)
                break
        else:
            said.words["tolerance"] = text
    return said


def _mended(text: str, token: str, better: str, kind: str) -> str:
    """The whole text with one word better; the letters of old cans all at once. Empty where the word cannot be found."""
    if kind == "capacitor" and (new := modern(text)) != plain(text):
        try:
            read_what(new, kind)
        except QuantityError:
            pass
        else:
            return new
    if not token:
        return ""
    spaced = r"\s*".join(re.escape(sign) for sign in token)
    whole, found = re.subn(spaced, lambda _: better, plain(text), count=1)
    return " ".join(whole.split()) if found else ""


def _single(said: Said):  # type: ignore[no-untyped-def]
    def replace(_: re.Match[str]) -> str:
        said.words["single_ended"] = True
        return " "

    return replace


def _stands_in(tokens: list[str]) -> None:
    """Raise for a valve type that has no law of its own; "6F6" and "807" would else be farads and ohms."""
    for token in tokens:
        other = stand_in(token)
        if other is not None:
            known = f"a type that `firstglow valves` lists; {other[0]} may stand in ({other[1]}): {COST}"
            raise QuantityError(f"{token!r} is a valve type without a law of its own", known, f'"{other[0]}"')


_DIODE = re.compile(r"(1N|1S|BY[A-Z]?|BA|OA|FR|HER|RGP|SF|GP)\d{2,4}[A-Z]?|UF\d{4}", re.IGNORECASE)
"""How a diode's type is written (EIA 1N, JIS 1S, Pro Electron BY and BA, makers' own); a UF80 is a valve."""


def _no_part(text: str, tokens: list[str], likely: str | None) -> QuantityError:
    """Nothing in the text says what it is: a bare number, or a valve type spelt another way."""
    allowed = "a value with its unit, a valve type, or a kind of part"
    for token in tokens:
        if _NUMBER.fullmatch(token):
            return QuantityError(
                f"{token!r} has no unit: ohms or farads?",
                "R, k, M; p, n, u",
                f'"{text.replace(token, token + "R", 1)}"',
            )
        if _DIODE.fullmatch(token):
            amps = "known are 1N4001 to 1N4007, 1N5400 to 1N5408, UF4001 to UF4007; any other by the amps and volts of its sheet"
            return QuantityError(f"{token!r} is no diode known here", amps, '"silicon 1A 1000V"')
        if ohms := re.fullmatch(r"([\d.]+[kKM]?)[oO]hms?", token):
            return QuantityError(f"{text!r} names no part", allowed, f'"{ohms[1]}"')
        near = nearest(token.upper(), list(bases.designations()))
        if near is not None and sorted(re.sub(r"\D", "", near)) != sorted(re.sub(r"\D", "", token)):
            like = f"a type that `firstglow valves` lists; {near} is like it in name alone, and no stand-in"
            return QuantityError(f"{token!r} is no valve type with a known law", like, "firstglow valves")
        if near is not None:
            slip = "a type that `firstglow valves` lists; a name like it is no stand-in, unless it was a slip"
            return QuantityError(f"{token!r} is no valve type with a known law", slip, f'"{near}"')
        if likely == "valve":
            slip = f"a type that `firstglow valves` lists; a known one of like mu, slope and watts may stand in: {COST}"
            return QuantityError(f"{token!r} is no valve type with a known law", slip, "firstglow valves")
    words = nearest(text, list(_phrases()))
    return QuantityError(
        f"{text!r} names no part", allowed, f'"{_first_text(kinds()[_phrases()[words][0]]) if words else "220k"}"'
    )


def _take(kind: Kind, token: str, said: Said) -> Spread | None:
    """Take one word of the text; returns it if it is a tolerance. Raises QuantityError for one that means nothing."""
    spread = read_spread(token, kind.attributes[kind.unnamed[0]].unit) if kind.unnamed else None
    if spread is None and not (
        _kind_types(kind, token, said) or _designation(token, said) or _value(kind, token, said)
    ):
        raise QuantityError(
            f"{token!r} says nothing about {an(kind.name)}", _allowed(kind), f'"{_capital(kind, token)}"'
        )
    return spread


def _capital(kind: Kind, token: str) -> str:
    """The word with its unit as it is written, where that is all that was wrong (450v: 450V); else nothing."""
    if not re.fullmatch(r"\d.*[avw]", token):
        return ""
    better = token[:-1] + token[-1].upper()
    return better if _value(kind, better, Said(kind=kind.name)) else ""


def _first_text(kind: Kind) -> str:
    """The first text of the kind's example."""
    return kind.example.split('"')[1] if '"' in kind.example else kind.name


def _allowed(kind: Kind) -> str:
    units = ", ".join(f"{kind.attributes[n].name} in {kind.attributes[n].unit}" for n in kind.unnamed)
    types = ", ".join(kind.types)
    return "; ".join(x for x in (units, types) if x) or "nothing more"
