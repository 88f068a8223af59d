"""Values as people write them, read exactly, and written the way a bench person writes them.

Inside firstglow every number is a plain SI float; text such as ``4k7`` or ``0.22u 250V`` is turned into one here and
nowhere else. Letter codes follow IEC 60062 (the letter stands where the decimal point would: 4k7, 2M2, 4R7, 6V3).
Decimal arithmetic is used until the last step, so ``0.1u`` is the double nearest to 1e-7 and not 0.1 * 1e-6.
"""

import re
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import NamedTuple

# The words a unit may end in, after its prefix. The first is the one we write.
_WORDS: Mapping[str, tuple[str, ...]] = {
    "ohm": ("Ω", "ohm", "ohms", "R", "r", "E"),
    "F": ("F", "f"),
    "H": ("H",),
    "V": ("V", "volt", "volts", "Vrms", "Vac", "Vdc"),
    "A": ("A", "amp", "amps"),
    "W": ("W", "watt", "watts"),
    "VA": ("VA",),
    "Hz": ("Hz", "hz", "c/s"),
    "s": ("s", "sec", "seconds"),
    "mm": ("mm",),
    "degC": ("°C", "C"),
    "g": ("g",),
    "1": ("",),
}
_PREFIX: Mapping[str, str] = {
    "p": "1e-12",
    "n": "1e-9",
    "u": "1e-6",
    "m": "1e-3",
    "": "1",
    "k": "1e3",
    "K": "1e3",
    "M": "1e6",
    "G": "1e9",
    "T": "1e12",
}
# Prefixes that may stand alone, the unit being plain from the place: "220k", "32u", "150m".
_ALONE: Mapping[str, str] = {"ohm": "kKMGT", "F": "pnu", "A": "mu"}
# Prefixes that may stand in front of the unit's own letter.
_WITH: Mapping[str, str] = {
    "ohm": "mkKMGT",
    "F": "pnum",
    "H": "mu",
    "A": "num",
    "V": "umk",
    "W": "mk",
    "VA": "k",
    "Hz": "kM",
    "s": "m",
}
# IEC 60062 letters that mark the decimal point.
_POINT: Mapping[str, Mapping[str, str]] = {
    "ohm": {"R": "", "r": "", "E": "", "k": "k", "K": "k", "M": "M", "G": "G", "T": "T"},
    "F": {"p": "p", "n": "n", "u": "u", "m": "m", "F": ""},
    "V": {"V": ""},
    "A": {"A": ""},
    "H": {"H": "", "m": "m"},
    "W": {"W": ""},
}
# IEC 60062:2016, letter codes for tolerance (symmetric ones).
TOLERANCE_LETTERS: Mapping[str, str] = {
    "B": "0.1",
    "C": "0.25",
    "D": "0.5",
    "F": "1",
    "G": "2",
    "J": "5",
    "K": "10",
    "M": "20",
}
_SIGNS = str.maketrans({"µ": "u", "μ": "u", "Ω": "Ω", "−": "-", "–": "-", "×": "x", "\u00a0": " ", "\u202f": " "})
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_LONGEST = 40
_DOT = r"\.?\s?"
_WORKING = rf"(?:W|WKG|WORKING){_DOT}"
WORKING_VOLTS = (
    rf"\s*(?:V(?:OLTS?)?{_DOT}(?:D{_DOT}C{_DOT})?(?:{_WORKING})?|{_WORKING}V(?:OLTS?)?{_DOT}(?:D{_DOT}C{_DOT})?)"
)
"""What stands behind the number of volts on capacitors, old and new: V, VW, V.W., WVDC, V.D.C. WKG (common practice)."""
_OLD_FARADS = (
    (re.compile(rf"(?<=\d)\s*(?:mm|uu){_DOT}f{_DOT}d?\.?(?=\s|$)", re.IGNORECASE), "p"),
    (re.compile(rf"(?<=\d)\s*m{_DOT}f{_DOT}d\.?(?=\s|$)", re.IGNORECASE), "u"),
    (re.compile(r"(?<=\d)\s*([pu])fd\.?(?=\s|$)", re.IGNORECASE), r"\1"),
)
_OLD_VOLTS = re.compile(rf"(?<=\s)(\d+(?:\.\d+)?){WORKING_VOLTS}(?=\s|$)", re.IGNORECASE)


class QuantityError(ValueError):
    """A value that cannot be read. ``found`` what is wrong, ``allowed`` what would do, ``remedy`` a text that works."""

    def __init__(self, found: str, allowed: str, remedy: str) -> None:
        super().__init__(f"{found}; {allowed}; try {remedy}")
        self.found = found
        self.allowed = allowed
        self.remedy = remedy


class Spread(NamedTuple):
    """A tolerance as written. ``fraction`` of the value, half width; or ``absolute`` in SI units of the value."""

    fraction: float | None
    absolute: float | None = None


def plain(text: str) -> str:
    """The text with the trade's signs (µ, Ω, −) brought to one form."""
    return text.translate(_SIGNS)


def modern(text: str) -> str:
    """A capacitor's text with the letters of old cans as they are written now: ``8 MFD 450 VW`` becomes ``8u 450V``."""
    new = plain(text)
    for old, letter in _OLD_FARADS:
        new = old.sub(letter, new)
    return " ".join(_OLD_VOLTS.sub(lambda m: f"{m[1]}V ", new).split())


def _decimal(number: str, text: str, unit: str) -> Decimal:
    try:
        value = Decimal(number)
    except InvalidOperation:  # pragma: no cover - the pattern lets nothing else through
        raise _unreadable(text, unit) from None
    if value and not -30 <= value.adjusted() <= 30:
        raise QuantityError(f"{text!r} is out of all reason", "numbers between 1e-15 and 1e15", example(unit))
    return value


def example(unit: str) -> str:
    """A value in the unit as one would type it, in quotes."""
    return {
        "ohm": '"4k7"',
        "F": '"0.1u"',
        "H": '"8H"',
        "V": '"250V"',
        "A": '"150m"',
        "W": '"2W"',
        "Hz": '"50Hz"',
        "s": '"11s"',
        "VA": '"120VA"',
        "mm": '"25mm"',
        "degC": '"85C"',
        "g": '"40g"',
    }.get(unit, '"0.5"')


def _unreadable(text: str, unit: str) -> QuantityError:
    name = {"1": "a plain number or a percentage", "ohm": "ohms", "F": "farads with p, n or u"}.get(unit, unit)
    return QuantityError(f"{text!r} cannot be read", f"a value in {name}", example(unit))


def _refuse_doubtful(raw: str, text: str, unit: str) -> None:
    """Texts that have two readings a factor of 1000 (or a million) apart are asked about, never guessed."""
    if "," in raw:
        raise QuantityError(
            f"{text!r} has a comma", "a point for decimals, nothing between thousands", f'"{raw.replace(",", ".")}"'
        )
    number = _NUMBER.match(raw)
    rest = raw[number.end() :].strip() if number else ""
    if unit == "F" and number and rest.lower() in {"m", "mf", "mfd", "mmf", "mmfd", "uuf", "uufd", "ufd", "pfd"}:
        size = number.group()
        if rest.lower().startswith("mm"):
            raise QuantityError(f"{text!r} has two readings", "p for picofarads, u for microfarads", f'"{size}p"')
        if rest[0].lower() in "up":  # the letters of old drawings, with one reading only
            now = "p" if rest.lower().startswith(("uu", "p")) else "u"
            raise QuantityError(f"{text!r} is an old spelling", "p for picofarads, u for microfarads", f'"{size}{now}"')
        raise QuantityError(
            f"{text!r} may be microfarads or millifarads, 1000 times apart", "u for microfarads", f'"{size}u"'
        )
    if unit == "F" and number and rest == "":
        raise QuantityError(f"{text!r} has no unit", "p, n or u", f'"{number.group()}u"')
    if unit == "ohm" and number and rest == "m":
        raise QuantityError(
            f"{text!r} may be milliohms or megohms", "M for megohms, R for ohms", f'"{number.group()}M"'
        )


def read_decimal(text: str, unit: str) -> Decimal:
    """The exact value of ``text`` in SI units of ``unit`` (ohm, F, H, V, A, W, VA, Hz, s, mm, degC, g or 1).

    >>> read_decimal("4k7", "ohm"), read_decimal("0.22u", "F"), read_decimal("6V3", "V")
    (Decimal('4700'), Decimal('2.2E-7'), Decimal('6.3'))

    Raises QuantityError; a lone ``m`` or ``mf`` on a capacitor, a decimal comma, a bare ``m`` on a resistor are asked.
    """
    if len(text) > _LONGEST:
        raise QuantityError(
            f"{text[:20]!r}... is too long for a value", f"at most {_LONGEST} characters", example(unit)
        )
    raw = plain(text).strip()
    if not raw.replace("Ω", "").replace("°", "").isascii():
        raise _unreadable(text, unit)
    _refuse_doubtful(raw, text, unit)
    if unit == "1" and raw.endswith("%"):
        number = raw[:-1].strip()
        if not _NUMBER.fullmatch(number):
            raise _unreadable(text, unit)
        return _decimal(number, text, unit) / 100
    coded = re.fullmatch(r"([+-]?)(\d*)([A-Za-z])(\d+)", raw)
    if coded and coded.group(3) in _POINT.get(unit, {}):
        sign, whole, letter, part = coded.groups()
        return _decimal(f"{sign}{whole or '0'}.{part}", text, unit) * Decimal(_PREFIX[_POINT[unit][letter]])
    figures = _NUMBER.match(raw)
    if not figures:
        raise _unreadable(text, unit)
    rest = raw[figures.end() :].strip()
    value = _decimal(figures.group(), text, unit)
    if rest == "":
        return value
    if unit == "ohm" and rest.lower() in {"meg", "megohm", "megohms"}:
        return value * 10**6
    if len(rest) == 1 and rest in _ALONE.get(unit, ""):
        return value * Decimal(_PREFIX[rest])
    for word in _WORDS[unit]:
        if word and rest.endswith(word):
            prefix = rest[: -len(word)].strip()
            if prefix == "":
                return value
            if len(prefix) == 1 and prefix in _WITH.get(unit, ""):
                return value * Decimal(_PREFIX[prefix])
    raise _unreadable(text, unit)


def read_value(text: str, unit: str) -> float:
    """``read_decimal`` as the nearest float."""
    return float(read_decimal(text, unit))


def read_spread(text: str, unit: str) -> Spread | None:
    """A tolerance: ``5%``, ``±5%``, ``+-5 %``, ``±0.2R``; None if the text is not one."""
    raw = plain(text).strip()
    signed = raw.startswith(("±", "+-", "+/-"))
    body = raw.removeprefix("±").removeprefix("+/-").removeprefix("+-").strip()
    if body.endswith("%") and _NUMBER.fullmatch(body[:-1].strip()):
        fraction = float(_decimal(body[:-1].strip(), text, "1") / 100)
        if not 0 < fraction <= 1:
            raise QuantityError(f"a tolerance of {text}", "more than 0 and at most 100 %", '"5%"')
        return Spread(fraction)
    if signed:
        return Spread(None, abs(read_value(body, unit)))
    return None


_STEPS = (("T", 12), ("G", 9), ("M", 6), ("k", 3), ("", 0), ("m", -3), ("µ", -6), ("n", -9), ("p", -12))
_SPAN: Mapping[str, str] = {
    "ohm": "TGMk",
    "F": "µnp",
    "H": "mµ",
    "V": "kmµ",
    "A": "mµn",
    "W": "kmµ",
    "Hz": "kM",
    "s": "m",
    "J": "m",
}
_SHOWN: Mapping[str, str] = {"ohm": "Ω", "1": "", "degC": "°C"}


def show(value: float, unit: str, digits: int = 3) -> str:
    """The value as a bench person writes it: ``220 kΩ``, ``0.1 µF``, ``47 mV``, ``38.2 V``.

    unit: as for ``read_decimal``; digits: significant digits kept, trailing zeros dropped.
    """
    if value == 0 or unit not in _SPAN:
        return f"{_digits(value, digits)} {_SHOWN.get(unit, unit)}".strip()
    size = abs(float(f"{value:.{digits - 1}e}"))  # rounded first: 999.6 ohm to three digits is 1 kΩ
    usable = [(p, n) for p, n in _STEPS if not p or p in _SPAN[unit]]
    low = 0.1 if unit == "F" else 1.0  # a tenth of a microfarad is written 0.1 µF
    prefix, power = next(
        ((p, n) for p, n in usable if size >= (low if p == "µ" else 1.0) * 10.0**n * (1 - 1e-12)), usable[-1]
    )
    return f"{_digits(value / 10.0**power, digits)} {prefix}{_SHOWN.get(unit, unit)}"


def _digits(value: float, digits: int) -> str:
    """``value`` to so many significant digits, never in exponent form, no trailing zeros."""
    if value == 0:
        return "0"
    text = f"{Decimal(f'{value:.{digits - 1}e}'):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def code(value: float, unit: str) -> str:
    """Text that ``read_value`` reads back to exactly ``value``, with the usual prefix: ``4.7k``, ``220n``."""
    exact = Decimal(repr(value))
    suffix = {"ohm": "R", "1": "", "degC": "C"}.get(unit, unit)
    span = {"ohm": ("G", "M", "k"), "F": ("u", "n", "p"), "H": ("m",), "A": ("m", "u"), "V": ("m",)}.get(unit, ())
    best = f"{exact:f}{suffix}"
    for prefix in span:
        scaled = exact / Decimal(_PREFIX[prefix])
        if 1 <= abs(scaled) < 1000 and not (unit in {"V", "A"} and abs(exact) >= 1):
            body = f"{scaled:f}"
            body = body.rstrip("0").rstrip(".") if "." in body else body
            return body + prefix + ("" if unit in {"ohm", "F"} else suffix)
    return best.replace(".0R", "R") if unit == "ohm" else best
