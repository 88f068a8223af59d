"""Letter codes of IEC 60062, three- and four-figure codes, written values old and new: to meanings."""

import re
from dataclasses import replace
from decimal import Decimal

from firstglow.markings.meaning import UNIT, Meaning, made_of, slip
from firstglow.markings.series import MarkingError, is_preferred
from firstglow.markings.types import type_of
from firstglow.quantities import WORKING_VOLTS, show

# IEC 60062 tolerance letters, percent (B C D F G J K M Z seen published; the rest from memory).
LETTERS = {
    "E": "0.005", "L": "0.01", "P": "0.02", "W": "0.05", "B": "0.1", "C": "0.25", "D": "0.5", "F": "1", "G": "2",
    "H": "3", "J": "5", "K": "10", "M": "20", "N": "30",
}  # fmt: skip
UNEVEN = {"Q": ("-10", "30"), "S": ("-20", "50"), "T": ("-10", "50"), "Z": ("-20", "80")}
_TRAILING = "BCDFGJKMQSZ"  # after figures alone; not E, P, N: 470E is ohms, 470P picofarads
# IEC 60062 has these as pF below 10 pF. Makers of ceramics have them so up to and with 10 pF (from memory), and lists of American
# practice B, C and D at any value (seen published): from 100 pF on that is less than the per cent.
_ABSOLUTE_PF = {"B": "0.1", "C": "0.25", "D": "0.5", "F": "1", "G": "2"}
_TEN_PF, _HUNDRED_PF = 10e-12, 100e-12
# P of ceramics that are told by their least value alone (lists of American practice, seen published); by IEC 60062 0.02 %.
_LEAST_VALUE = ("0", "100")
# Rated dc volts, JIS and EIA-198, from memory: the letter is a step of R10 (V and W are additions), the digit its decade.
_R10 = {"A": 100, "B": 125, "C": 160, "D": 200, "E": 250, "F": 315, "V": 350, "G": 400, "W": 450, "H": 500, "J": 630, "K": 800}  # fmt: skip
VOLTS = {f"{decade}{letter}": step * 10 ** (decade - 2) for decade in (1, 2, 3) for letter, step in _R10.items()}
_POINT = {
    "R": ("resistor", 0), "E": ("resistor", 0), "K": ("resistor", 3), "k": ("resistor", 3), "M": ("resistor", 6),
    "G": ("resistor", 9), "T": ("resistor", 12), "L": ("resistor", -3), "r": ("resistor", 0), "p": ("capacitor", -12),
    "P": ("capacitor", -12), "n": ("capacitor", -9), "N": ("capacitor", -9), "u": ("capacitor", -6),
    "U": ("capacitor", -6), "F": ("capacitor", 0),
}  # fmt: skip
_WORDS = {
    "ohm": ("resistor", 0), "ohms": ("resistor", 0), "kohm": ("resistor", 3), "kohms": ("resistor", 3),
    "meg": ("resistor", 6), "megohm": ("resistor", 6), "megohms": ("resistor", 6), "mohm": ("ask", 0),
    "pf": ("capacitor", -12), "pfd": ("capacitor", -12), "mmf": ("capacitor", -12), "mmfd": ("capacitor", -12),
    "uuf": ("capacitor", -12), "uufd": ("capacitor", -12), "nf": ("capacitor", -9), "uf": ("capacitor", -6),
    "ufd": ("capacitor", -6), "mfd": ("capacitor", -6), "h": ("inductor", 0), "hy": ("inductor", 0),
    "mh": ("inductor", -3), "mhy": ("inductor", -3), "nh": ("inductor", -9), "uh": ("inductor", -6), "f": ("capacitor", 0),
}  # fmt: skip
_A = {
    None: "a resistor, capacitor or choke",
    "resistor": "a resistor",
    "capacitor": "a capacitor",
    "inductor": "an inductor",
}
_NUMBER = r"(\d+(?:\.\d*)?|\.\d+)"
_VOLT_WORD = re.compile(rf"(?:(?<=\s)|^|(?<=[A-Za-z.])){_NUMBER}\s*(k?){WORKING_VOLTS}$", re.IGNORECASE)
_SURGE = re.compile(r"\s(\d{2,4})\s*V(?:OLTS?)?\.?\s*(?:D\.?\s?C\.?\s*)?(?:PEAK|SURGE|PK)\.?$", re.IGNORECASE)
_SLEEVE_VOLTS = re.compile(r"\s(\d{2,4})\s?(?:D\.?C\.?|=|-)?$", re.IGNORECASE)
_WORKING = frozenset((
    10, 12, 15, 16, 25, 35, 50, 63, 64, 70, 75, 100, 125, 150, 160, 175, 200, 220, 250, 275, 300, 315, 330, 350, 375, 385,
    400, 425, 450, 475, 500, 525, 550, 600, 630, 700, 750, 800, 850, 900, 1000, 1200, 1250, 1500, 1600, 2000, 2500, 3000,
    4000, 5000, 6000, 6300,
))  # fmt: skip
"""Working volts that stand without a V on sleeves, new and old (common practice)."""
_SAFETY = re.compile(r"\s+((?:X|Y)[1-4]?)$", re.IGNORECASE)
_CLASS = {"X": "from line to line alone, never to chassis", "Y": "from line to chassis too"}
_GLUED = re.compile(r"((?:\d*\.\d+|\d{3})[FGHJK])(\d{3,4})")
_PERCENT = re.compile(rf"(?:\s|^|(?=±)|(?=\+))(?:±|\+/-|\+-)?\s*{_NUMBER}\s*%$")
_UNEVEN = re.compile(r"\s\+(\d+)\s*%?\s*/?\s*-(\d+)\s*%$|\s-(\d+)\s*%?\s*/?\s*\+(\d+)\s*%$")


def read_code(text: str, of: str | None) -> list[Meaning]:
    """Every meaning of a code, the likeliest first. Raises MarkingError where there is none."""
    if of != "capacitor" and (named := type_of(text)):
        raise MarkingError(
            f"marking: {text}: {named}, no marking of a value: its figures stand on its data sheet, and the file takes one that it knows "
            f"as it stands; on a capacitor try --of capacitor {text}"
        )
    if alone := _VOLT_WORD.fullmatch(text.strip()):
        raise MarkingError(
            f"marking: {text}: working volts alone; the value stands beside them; try 8uF {alone[1]}{alone[2]}V"
        )
    surge = _SURGE.search(text)
    text = text[: surge.start()] if surge else text
    safety = _SAFETY.search(text.strip()) if of in (None, "capacitor") else None
    body, low, high, volts, plain = _stripped(text.strip()[: safety.start()] if safety else text, of)
    of = "capacitor" if safety else of
    found = _pure(body, of)
    if volts is not None and all(m.of != "capacitor" for m in found):
        found = _film(body)
    if of is not None:
        found = [m for m in found if m.of == of] or _of(body, of)
    out = []
    for m in found:
        if volts is not None and m.of != "capacitor" and of is None:
            continue  # working volts stand on capacitors
        sides = (m.low, m.high) if low is None else (low, high)
        notes = (*m.notes, f"{volts:g} without a V: its working volts, as sleeves have it") if plain else m.notes
        if surge:
            notes = (*notes, f"{surge[1]} V for a moment (surge, peak): not its working volts")
        if safety:
            notes = (
                *notes,
                f"class {safety[1].upper()} (IEC 60384-14): {_CLASS[safety[1][0].upper()]}; its volts are ac",
            )
        out.append(Meaning(m.of, m.value, m.how, *sides, m.volts if volts is None else volts, notes))
    if not out or any(m.value == 0 and m.of != "resistor" for m in out):
        raise MarkingError(
            f"marking: {text}: no marking of {_A[of]} that is known here; colours, letter "
            "or figure codes, or a value with its unit; try 4K7J, 104K, 0.02 MFD 600V"
        )
    return out


def _stripped(text: str, of: str | None) -> tuple[str, float | None, float | None, float | None, bool]:
    """The code alone, its tolerance as fractions, its volts, and whether those stood without a V."""
    body = text.strip()
    if not re.fullmatch(r"\d{3}[A-Z]\s+[123]W", body):  # 104K 2W is a volts code; other watts say nothing of the value
        body = re.sub(r"\s+(\d+/\d+|\d*\.?\d+)\s*W(ATTS?)?$", "", body, flags=re.IGNORECASE)
    if "+" in body and re.fullmatch(r"[\d.]+\s*\w*\s*(\+\s*[\d.]+\s*\w*\s*)+([\d.]+ ?V)?", body):
        _sections(text, body.split("+")[0].strip())
    if m := _CAN.fullmatch(body):
        _sections(text, m[1])
    if m := re.fullmatch(r"(\S*\d\S*?)\s*/\s*(\d{2,4})\s*(?:V|V-|-|=)?", body, re.IGNORECASE):
        body = f"{m[1]} {m[2]}V"  # 0.1/400: volts behind the stroke
    low: float | None = None
    high: float | None = None
    volts: float | None = None
    plain = False
    if of in (None, "capacitor") and (m := _GLUED.fullmatch(body)) and int(m[2]) in _WORKING:
        body = f"{m[1]} {m[2]}"  # .047K400
    for _ in range(2):  # tolerance and volts, in either order
        if (m := _UNEVEN.search(body)) and low is None:
            up, down = (m[1], m[2]) if m[1] else (m[4], m[3])
            low, high, body = -float(Decimal(down) / 100), float(Decimal(up) / 100), body[: m.start()].strip()
        elif (m := _PERCENT.search(body)) and low is None:
            high = float(Decimal(m[1]) / 100)
            low, body = -high, body[: m.start()].strip()
            if not 0 < high <= 1:
                raise MarkingError(f"marking: {text}: a tolerance of {m[1]} %; above 0, at most 100 %; try {body} 5%")
        elif (
            (m := _VOLT_WORD.search(body))
            and volts is None
            and m.start()
            and not re.search(r"\d{3}\s?[A-Z]?\s?[12]V$", body)
        ):
            volts = float(Decimal(m[1]) * (1000 if m[2] else 1))
            body = body[: m.start()].strip()
        elif volts is None and of in (None, "capacitor") and (m := _SLEEVE_VOLTS.search(body)) and _sleeve(body, m):
            volts, plain, body = float(m[1]), True, body[: m.start()].strip()
    return body, low, high, volts, plain


_CAN = re.compile(
    r"(\d{1,3})(?:\s*[+-]\s*\d{1,3}){1,3}\s*(?:[uUµ]F?|M?FD)?(?:\s+\d{2,3}\s*V?\.?\s*\w*\.?)?", re.IGNORECASE
)
"""32+32 450V WKG, 16-16: µF of a can's sections."""


def _sections(text: str, first: str) -> None:
    """A can is read a section at a time."""
    volts = re.search(r"\s(\d{2,3})\s*(?:V|$)", text, re.IGNORECASE)
    shown = f"{first}u {volts[1]}V" if volts else f"{first}u"
    raise MarkingError(f"marking: {text}: a can of several sections, in µF; one section at a time; try {shown}")


def _sleeve(body: str, found: "re.Match[str]") -> bool:
    """Whether a number at the end is working volts: one that is made, behind what only a capacitor is marked with (474J, .02, 8
    MFD); 4 700 and 47 100 say too little."""
    value = _PERCENT.sub("", body[: found.start()].strip()).strip()
    if int(found[1]) not in _WORKING or re.fullmatch(r"\d+", value):
        return False
    return any(m.of == "capacitor" for m in _pure(value, "capacitor"))


def _pure(body: str, of: str | None) -> list[Meaning]:
    """A code without volts and percent written out."""
    if m := re.fullmatch(r"([123][A-Z])\s*(\d{3})\s*([A-Z])?", body, re.IGNORECASE) or re.fullmatch(
        r"(\d{3})\s*([A-Z])?\s*([123][A-Z])", body, re.IGNORECASE
    ):
        front = m[1][0] in "123" and len(m[1]) == 2
        volts, digits, letter = (m[1], m[2], m[3]) if front else (m[3], m[1], m[2])
        if volts.upper() in VOLTS:
            coded = _figures("capacitor", digits, (letter or "").upper(), float(VOLTS[volts.upper()]))
            if letter and volts.upper().endswith("W"):  # 470K 2W: a resistor of two watts as well
                return [coded, *(m for m in _lettered(digits, letter, of) if m.of == "resistor")]
            glued = re.fullmatch(r"(\d{4})([A-Z])", body)  # 1052G: 10.5 nF 2 %, or 1 uF with the volts code 2G
            return [*_lettered(glued[1], glued[2], of), coded] if glued and glued[2] in _TRAILING else [coded]
    if m := re.fullmatch(_NUMBER, body):
        return _bare(m[1])
    if (m := re.fullmatch(r"(\d{3,4})\s?([A-Z])", body)) and m[2] in _TRAILING:
        return _lettered(m[1], m[2], of)
    if (m := re.fullmatch(r"([1-9]\d?)\s?J", body)) and of in (None, "capacitor"):
        return [_picofarads(m[1], "J")]
    if (m := re.fullmatch(r"(\d\d[1-4])\s?P", body)) and of in (None, "capacitor"):
        # 103P: 103 pF is no value that is made, and P says on ceramics that the mark is the least
        plain = Meaning("capacitor", made_of(m[1], -12), "P for pF")
        return [_figures("capacitor", m[1], "P"), plain]
    if (film := _film(body)) and film[0].value < 1e-6:
        return [*film, *_worded(body)]  # .047K: 0.047 uF 10 %, or 47 ohms
    if m := re.fullmatch(rf"{_NUMBER}\s*(m|M|mf|mF|Mf|MF)", body):
        return _lone_m(m[1], m[2])
    if m := re.fullmatch(r"(\d+)m(\d+)", body):
        return _lone_m(f"{m[1]}.{m[2]}", "m")
    henries = re.fullmatch(r"\d+[pnuµm]H", body)  # no capacitor of 3 %: its letter would stand behind figures
    if henries is None and (m := re.fullmatch(r"(\d*)([A-Za-z])(\d*)\s?([A-Z]?)", body)):
        found = _point(*m.groups())
        if found:
            return [found]
    return _worded(body)


def _of(body: str, of: str) -> list[Meaning]:
    """What only stands on one kind of part: 4R7 on a choke is 4.7 µH, 2.2K on a capacitor 2.2 µF."""
    if of == "capacitor":
        return _film(body)
    if of == "inductor" and (m := re.fullmatch(r"(\d*)[Rr](\d*)([A-Z]?)", body)) and (m[1] or m[2]):
        value = made_of(f"{m[1] or 0}.{m[2] or 0}", -6)
        how = "R for the point, in µH (makers' practice, from memory)"
        return [Meaning("inductor", value, how, *_sides(m[3], value, "inductor"))]
    return []


def _film(body: str) -> list[Meaning]:
    """.047K: microfarads with a point and a tolerance letter, as film capacitors have them (common practice)."""
    m = re.fullmatch(r"(\d*\.\d+)\s?([JK])", body)
    if m is None or not Decimal(m[1]):
        return []
    value = made_of(m[1], -6)
    return [
        Meaning(
            "capacitor", value, "figures with a point on a film capacitor: µF, then the tolerance's letter",
            *_sides(m[2], value, "capacitor"), None, (slip(value, "F", "the point"),),
        )
    ]  # fmt: skip


def _sides(letter: str, value: float, of: str) -> tuple[float | None, float | None]:
    """A tolerance letter as fractions of the value."""
    if letter in UNEVEN:
        low, high = UNEVEN[letter]
        return float(Decimal(low) / 100), float(Decimal(high) / 100)
    if letter not in LETTERS or not value:
        return None, None
    if of == "capacitor" and letter == "P":
        return float(Decimal(_LEAST_VALUE[0]) / 100), float(Decimal(_LEAST_VALUE[1]) / 100)
    if of == "capacitor" and value < _TEN_PF * (1 + 1e-9) and letter in _ABSOLUTE_PF:
        half = float(Decimal(_ABSOLUTE_PF[letter]) / (Decimal(repr(value)) * 10**12))
    else:
        half = float(Decimal(LETTERS[letter]) / 100)
    return -half, half


def _doubt(letter: str, value: float, of: str) -> tuple[str, ...]:
    """What else a tolerance letter may say on a capacitor, where makers and the standard differ."""
    if of != "capacitor" or letter not in LETTERS:
        return ()
    percent, pico = f"±{LETTERS[letter]} %", f"±{_ABSOLUTE_PF.get(letter, '')} pF"
    if letter == "P":
        told = (
            f"P: the mark is the least, as old ceramics have it; by IEC 60062 P is {percent}, which few capacitors are"
        )
    elif letter in _ABSOLUTE_PF and abs(value / _TEN_PF - 1) < 1e-9:
        told = f"{letter} at 10 pF: {pico}, as makers of ceramics have it (from memory); by IEC 60062 it is {percent} from 10 pF on"
    elif letter in "BCD" and _TEN_PF < value < _HUNDRED_PF:
        told = f"{letter} above 10 pF: {percent} by IEC 60062; American lists have {pico} at any value: measure it where it matters"
    else:
        return ()
    return (told,)


def _point(whole: str, letter: str, part: str, tolerance: str) -> Meaning | None:
    """IEC 60062: the letter stands where the point would."""
    if (
        letter not in _POINT
        or not (whole or part)
        or (tolerance and tolerance not in LETTERS and tolerance not in UNEVEN)
    ):
        return None
    of, power = _POINT[letter]
    if of == "capacitor" and not part and "F" in {letter, tolerance}:
        return None  # 47nF is a value with its unit
    value = made_of(f"{whole or 0}.{part or 0}", power)
    unit = "F" if of == "capacitor" else "ohm"
    how = "E for ohms, as some makers print it (from memory)" if letter == "E" else "letter code (IEC 60062)"
    notes = (*_doubt(tolerance, value, of), slip(value, unit, "the point")) if value else ()
    return Meaning(of, value, how, *_sides(tolerance, value, of), None, notes)


def _figures(of: str, digits: str, letter: str, volts: float | None = None) -> Meaning:
    """Two (three) figures and a number of zeros: pF on capacitors, ohms, µH on chokes."""
    zeros = int(digits[-1])
    power = {8: -2, 9: -1}.get(zeros, zeros) if of == "capacitor" else zeros
    base, unit, name = {"capacitor": (-12, "F", "pF"), "resistor": (0, "ohm", "Ω"), "inductor": (-6, "H", "µH")}[of]
    value = made_of(digits[:-1], base + power)
    how = f"{len(digits)}-figure code: {digits[:-1]} x 10^{power} {name}"
    note = (*_doubt(letter, value, of), slip(value, unit, f"the last figure ({digits[-1]})")) if value else ()
    return Meaning(of, value, how, *_sides(letter, value, of), volts, note)


def _lettered(digits: str, letter: str, of: str | None) -> list[Meaning]:
    """104K: the letter is a tolerance, on a capacitor. 470K or 500K may as well be kilohms."""
    value = made_of(digits, {"K": 3, "M": 6, "G": 9}.get(letter, 0))
    first = _figures("capacitor", digits, letter)
    found = [first]
    if (
        len(digits) == 3 and digits.endswith("0") and letter in "FGJKM"
    ):  # micas and styrene ones bear their picofarads written out
        found.append(_picofarads(digits, letter))
    round_ = digits.endswith("0")  # 250K and 500K are old resistors and pots as much as 25 and 50 pF
    if letter in "KMG" and value and (of == "resistor" or round_ or is_preferred(value, "E24")):
        found.append(Meaning("resistor", value, f"letter code (IEC 60062), {letter} for the power of ten"))
        found += _lone_m(digits, letter)[1:] if letter == "M" else []
    elif letter in "KMG" and value and of is None and len(digits) == 3:
        # why this one is not asked about as 220K is
        found = [replace(first, notes=(*first.notes, f"no resistor: {show(value, 'ohm', 4)} is no value that is made"))]
    if len(digits) == 4 or of == "resistor":
        found.append(_figures("resistor", digits, letter))
    return [*found, _figures("inductor", digits, letter)] if of == "inductor" else found


def _picofarads(digits: str, letter: str) -> Meaning:
    """470J, 47J: plain picofarads and the tolerance's letter, as micas and styrene capacitors have them (common practice)."""
    value = made_of(digits, -12)
    return Meaning("capacitor", value, "figures alone on a small capacitor: pF", *_sides(letter, value, "capacitor"))


def _bare(number: str) -> list[Meaning]:
    """Figures alone say neither the part nor the unit."""
    code = re.fullmatch(r"[1-9]\d{2,3}", number)
    found = [_figures(of, number, "") for of in UNIT] if code else []
    found = sorted((m for m in found if m.of != "inductor" or m.value <= 10), key=lambda m: m.of != "capacitor")
    if found and number[-1] != "0":
        return found
    if number.strip("0.") == "":
        return [Meaning("resistor", 0.0, "a link (0 Ω)")]
    micro, small = ("." in number and float(number) < 1), float(number) < 100
    plain = [Meaning("resistor", made_of(number, 0), "figures alone: ohms")]
    if micro or small:
        plain.insert(0, Meaning("capacitor", made_of(number, -6), "figures alone on an old capacitor: µF"))
    if not micro:
        plain.insert(0, Meaning("capacitor", made_of(number, -12), "figures alone on a small capacitor: pF"))
    return [*found, *(p for p in plain if all((p.of, p.value) != (f.of, f.value) for f in found))]


def _lone_m(number: str, suffix: str) -> list[Meaning]:
    """m, mf (any case) on a capacitor: micro on old parts, milli in the letter code; M on a resistor: mega, or an old
    drawing's thousand. Never guessed."""
    found = [
        Meaning("capacitor", made_of(number, -6), "m or mf on an old part or drawing: micro"),
        Meaning("capacitor", made_of(number, -3), "milli, as the letter code has it: old sets hold none so large"),
    ]
    if suffix == "M":
        old = Meaning("resistor", made_of(number, 3), "old American drawing, M for thousand")
        found = [Meaning("resistor", made_of(number, 6), "letter code (IEC 60062), megohms"), old, *found]
    if suffix == "MF" and "." not in number:
        found.append(
            Meaning("resistor", made_of(number, 6), "letter code (IEC 60062), megohms, F for 1 %", -0.01, 0.01)
        )
    if suffix == "m":
        found.append(Meaning("resistor", made_of(number, -3), "milliohms"))
        found.append(Meaning("resistor", made_of(number, 6), "megohms with a small letter"))
    return found


def _worded(body: str) -> list[Meaning]:
    """A number and its unit, new or old: 0.02 MFD, 250 mmf, 4.7 k, 4.7 kΩ, 8 H, 100 cm."""
    text = body.replace("Ω", "ohm").replace("Ω", "ohm")
    m = re.fullmatch(rf"{_NUMBER}\s*([A-Za-z][A-Za-z. ]*?)\.?\s*([A-Z]?)", text)
    if not m:
        return []
    number, word, letter = m[1], m[2].replace(" ", "").replace(".", ""), m[3]
    if word + letter and (word + letter).lower() in _WORDS | {"cm": 0}:
        word, letter = word + letter, ""
    if word.lower() == "cm":
        value = float(f"{float(number) * 1.112650e-12:.4g}")  # 1 cm is 4 pi eps0 x 0.01 m
        return [Meaning("capacitor", value, "old German centimetres, 1.113 pF each")]
    if word.lower() == "mohm":
        return [Meaning("resistor", made_of(number, 6 if word[0] == "M" else -3), "value and unit")]
    known = _POINT.get(word) or _WORDS.get(word.lower())
    if known is None or (letter and letter not in LETTERS and letter not in UNEVEN):
        return []
    of, power = known
    value = made_of(number, power)
    unit = {"capacitor": "F", "resistor": "ohm", "inductor": "H"}[of]
    notes = (*_doubt(letter, value, of), *((slip(value, unit, "the point"),) if value and "." in number else ()))
    return [Meaning(of, value, "value and unit", *_sides(letter, value, of), None, notes)]
