"""What a person types beside a reading: ``38.2``, ``-38,2``, ``312mV``, ``1k2``, ``OL``, ``dim``, ``yes``."""

import re
from math import inf
from typing import Any

from firstglow.readings.meters import ReadingsError

PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "": 1.0,
          "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}  # fmt: skip
UNIT_WORDS = {
    "v": "V", "volt": "V", "volts": "V", "vdc": "V", "vac": "V", "a": "A", "amp": "A", "amps": "A",
    "r": "ohm", "ω": "ohm", "ohm": "ohm", "ohms": "ohm", "w": "W", "s": "s", "sec": "s", "x": "1",
}  # fmt: skip
LAMP_WORDS = ("dark", "dim", "half", "full")
LOOK_WORDS = ("yes", "no")
OPEN_WORDS = {"ol", "o.l", "o.l.", "0l", "open", "inf", "overload"}

_PLAIN = re.compile(
    r"(?P<sign>[+-]?)\s*(?P<digits>\d+(?:[.,]\d*)?|[.,]\d+)\s*(?P<prefix>[pnuµμmkKMG]?)\s*(?P<unit>[A-Za-zΩωΩ]*)"
)
_LETTERS = re.compile(r"(?P<sign>[+-]?)(?P<digits>[\d.,oO]+)\s*(?P<rest>[pnuµμmkKM]?(?:V|A|R|Ω|Ω|ohms?)?)")
_CODE = re.compile(r"(?P<sign>[+-]?)(?P<whole>\d+)(?P<letter>[kKMmRGV])(?P<rest>\d+)\s*(?P<unit>[A-Za-zΩωΩ]*)")

_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}(?!\d|[.,])")  # decimals or thousands: a person must say which
_ON_RANGE = re.compile(r"(?P<value>.*\S)\s+on\s+(?:the\s+)?(?P<range>\S.*?)(?:\s+range)?", re.IGNORECASE)
_ACCURACY = re.compile(r"(?:±\s*)?(\d+(?:[.,]\d+)?)\s*%\s*(?:\+\s*(\d+(?:[.,]\d+)?)\s*(?:counts?|digits?)?)?")


def typed_number(text: str, unit: str | None, where: str = "reading") -> float:
    """The SI number a person typed for a reading in ``unit`` ("V", "A", "ohm", "s", "1" or None for any).

    Returns inf for OL (-inf with a minus). Raises ReadingsError saying what is allowed.
    """
    plain = str(text).strip().replace("−", "-").replace("–", "-").replace("\u00a0", " ")
    if unit == "ohm":
        plain = plain.removeprefix(">").strip()  # an insulation tester's ">100M": at least that
    bare = plain.lstrip("+-").strip().lower()
    if bare in OPEN_WORDS:
        return -inf if plain.startswith("-") else inf
    if _THOUSANDS.match(plain):
        whole, point = plain.replace(",", ""), plain.replace(",", ".")
        raise ReadingsError(
            f'{where}: "{text}" may be {point} or {whole}; a point for decimals where three digits follow; '
            f"try {point} or {whole}"
        )
    code = _CODE.fullmatch(plain)
    if code:
        size = float(f"{code['whole']}.{code['rest']}") * {**PREFIX, "R": 1.0, "V": 1.0}[code["letter"]]
        letter_unit = {"R": "ohm", "V": "V"}.get(code["letter"])
        return _signed(code["sign"], size, code["unit"], unit or letter_unit, letter_unit, where, text)
    letters = _LETTERS.fullmatch(plain)
    if letters and re.search(r"\d", letters["digits"]) and re.search("[oO]", letters["digits"]):
        meant = letters["sign"] + re.sub("[oO]", "0", letters["digits"]) + letters["rest"]
        raise ReadingsError(f'{where}: "{text}" has the letter o in it; figures only; try {meant}')
    match = _PLAIN.fullmatch(_decimal_point(plain))
    if not match:
        raise ReadingsError(f'{where}: "{text}" is not a reading; a number, its unit if it is not {unit or "SI"}, '
                            f"or OL; try 38.2 or 312mV or 1k2")  # fmt: skip
    prefix, word = match["prefix"], match["unit"]
    size = float(match["digits"].replace(",", ".")) * PREFIX[prefix]
    return _signed(match["sign"], size, word, unit, None, where, text)


def split_range(text: str) -> tuple[str, str]:
    """(what was read, the range it was read on as typed or "") of "0 V on 10 V"."""
    match = _ON_RANGE.fullmatch(str(text).strip())
    return (match["value"], match["range"]) if match else (str(text), "")


def _decimal_point(text: str) -> str:
    """One decimal mark: where both stand, the last of them is the decimal, the other only groups thousands."""
    comma, point = text.rfind(","), text.rfind(".")
    if comma >= 0 and point >= 0:
        group = "," if point > comma else "."
        text = text.replace(group, "")
    return text


def _signed(
    sign: str, size: float, word: str, unit: str | None, letter_unit: str | None, where: str, text: str
) -> float:
    """Sign and size, after seeing that the typed unit is the reading's."""
    found = UNIT_WORDS.get(word.lower().replace("\u2126", "ω"), word) if word else letter_unit
    if word and found not in {"V", "A", "ohm", "W", "s", "1"}:
        raise ReadingsError(f'{where}: "{text}": unknown unit "{word}"; V, A or ohm; try {size:g}{unit or "V"}')
    if unit is not None and found is not None and found != unit:
        raise ReadingsError(
            f'{where}: "{text}" is in {found}; this reading is in {unit}; try reading it again in {unit}'
        )
    return -size if sign == "-" else size


def typed_word(text: str, kind: str, where: str = "reading") -> str:
    """The word typed for a lamp (dark, dim, half, full or bright) or a look (yes, no)."""
    words = LAMP_WORDS if kind == "lamp" else LOOK_WORDS
    word = {"y": "yes", "n": "no", "true": "yes", "false": "no", "off": "dark", "bright": "full"}.get(
        str(text).strip().lower(), str(text).strip().lower()
    )
    if word not in words:
        allowed = ", ".join(words) + (" (or bright)" if kind == "lamp" else "")
        raise ReadingsError(
            f'{where}: "{text}" is not an answer; {allowed}; try {" or ".join(words)}, whichever it was'
        )
    return word


def number(value: Any, where: str, unit: str) -> float:
    """A positive figure of a bench table, as a number or as text with its unit."""
    size = float(value) if isinstance(value, int | float) else typed_number(str(value), unit, where)
    if not 0 < size < inf:
        raise ReadingsError(f"{where}: {value!r}; a figure above zero; try the maker's")
    return size


def accuracy(value: Any, where: str) -> tuple[float, float]:
    """``"0.5% + 2"`` -> (0.005, 2.0): fraction of the reading, and counts."""
    match = _ACCURACY.fullmatch(str(value).strip())
    if not match:
        raise ReadingsError(f'{where}: "{value}" is not an accuracy; percent and counts; try "0.5% + 2"')
    return float(match[1].replace(",", ".")) / 100, float((match[2] or "0").replace(",", "."))
