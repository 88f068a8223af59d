"""Colour bands, dots, body-tip-spot: to meanings.

Digits, multipliers: IEC 60062. Tolerance and temperature bands: IEC 60062:2016 (from memory; before 2016 grey was 0.05 %).
Mica dots: RMA three and five, JAN/RMA/AWS six (OD 1647); paper tubular: RMA, from memory, the doubtful ones said so.
"""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from difflib import get_close_matches

from firstglow.markings.meaning import Meaning, made_of, slip
from firstglow.markings.series import MarkingError, is_preferred, usual

DIGITS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
POWERS = {name: power for power, name in enumerate(DIGITS)} | {"gold": -1, "silver": -2, "pink": -3}
TOLERANCE = {
    "none": "20", "silver": "10", "gold": "5", "brown": "1", "red": "2", "orange": "0.05", "yellow": "0.02",
    "green": "0.5", "blue": "0.25", "violet": "0.1", "grey": "0.01",
}  # fmt: skip
PPM = {
    "black": 250, "brown": 100, "red": 50, "orange": 15, "yellow": 25, "green": 20, "blue": 10, "violet": 5, "grey": 1,
}  # fmt: skip
# Short codes: IEC 60757 (BK BN RD ...) and the usual three letters; two colours must not share one.
_SHORT = {
    "bk": "black", "blk": "black", "bn": "brown", "br": "brown", "brn": "brown", "rd": "red", "og": "orange",
    "or": "orange", "org": "orange", "ye": "yellow", "yl": "yellow", "yel": "yellow", "gn": "green", "grn": "green",
    "bu": "blue", "blu": "blue", "vt": "violet", "vi": "violet", "vio": "violet", "purple": "violet", "pur": "violet",
    "gy": "grey", "gray": "grey", "gry": "grey", "slate": "grey", "wh": "white", "wht": "white", "gd": "gold",
    "go": "gold", "gld": "gold", "sr": "silver", "sv": "silver", "sil": "silver", "pk": "pink",
}  # fmt: skip
_TWO = {"gr": "green (GN) or grey (GY)", "bl": "black (BK) or blue (BU)", "b": "BK, BN or BU", "g": "GN, GY or GD"}
_WHOLE = {"gr": "green", "bl": "blue", "b": "brown", "g": "green"}
_EXTRA = ("none", "body")
MICA = {name: str(n) for n, name in enumerate(DIGITS) if n} | {
    "gold": "5",
    "silver": "10",
    "none": "20",
    "black": "20",
}
VOLTS_OF = {name: 100.0 * n for n, name in enumerate(DIGITS) if n} | {"gold": 1000.0, "silver": 2000.0, "none": 500.0}
_SIX = {"black": "mica (JAN)", "white": "mica (RMA)", "silver": "paper (AWS)", "body": "paper"}
PAPER = {"black": "20", "silver": "10", "gold": "5", "white": "10", "green": "5", "orange": "30", "yellow": "40"}
_MADE = (0.1, 22e6)  # ohms of wired resistors as sold (common practice): beyond, nobody asks about the other end


def _elsewhere(names: tuple[str, ...]) -> tuple[str, ...]:
    """What the same colours mean on other parts: only where they are one of those."""
    out = []
    if _ceramic(names):
        out.append("on a capacitor (--of capacitor) they mean pF")
    if len(names) in {3, 5, 6} and _dots(names):
        out.append("as dots on mica (--as dots) they mean pF")
    if _inductor(names):
        out.append("on a choke (--of inductor) they mean µH")
    return tuple(out)


def colour(word: str) -> str | None:
    """The colour that a word or short code names; None for no colour. MarkingError where a code names two."""
    low = word.lower()
    if low in _TWO:
        raise MarkingError(f"marking: {word}: two colours share it: {_TWO[low]}; the whole word; try {_WHOLE[low]}")
    return low if low in POWERS or low in _EXTRA else _SHORT.get(low)


def near(word: str) -> str:
    """What a misspelt colour may have meant."""
    starts = [name for name in POWERS if name.startswith(word.lower())]
    return (starts or get_close_matches(word.lower(), [*POWERS], 1, 0.5) or ["brown"])[0]


def read_colours(names: Sequence[str], of: str | None, layout: str) -> list[Meaning]:
    """Every meaning of the colours, the likeliest first. Raises MarkingError where there is none."""
    names = tuple(names)
    if layout == "body-tip-spot":
        return [_body(names)]
    if layout == "tubular":
        return [_tubular(names)]
    found: list[Meaning] = []
    if layout == "dots":
        found = _dots(names)
    elif of == "capacitor":
        found = _ceramic(names) + (_dots(names) if len(names) in {3, 5, 6} else [])
    elif of == "inductor":
        found = _inductor(names)
    else:
        found = [
            replace(m, notes=(*m.notes, *_elsewhere(names))) if of is None and m.value else m for m in _resistor(names)
        ]
        if of is None and len(names) == 6 and names[0] in _SIX:
            found += _dots(names)
    if not found and layout == "dots":
        raise MarkingError(
            f"marking: {' '.join(names)}: such dots are no capacitor; 3, 5 or 6 dots, arrow to the right, "
            "top row first; try --as dots black green brown red yellow black"
        )
    if not found:
        many = f"{len(names)} colours in this order are" if len(names) > 1 else "one colour is"
        raise MarkingError(
            f"marking: {' '.join(names)}: {many} no {of or 'resistor'}; 3 to 6 bands that begin with two digits and end in "
            "multiplier and tolerance; try yellow violet orange gold, or --as dots for mica"
        )
    return found


def _sides(percent: str | None) -> tuple[float | None, float | None]:
    fraction = None if percent is None else float(Decimal(percent) / 100)
    return (None, None) if fraction is None else (-fraction, fraction)


def _digits(names: Sequence[str]) -> str | None:
    return "".join(str(DIGITS.index(n)) for n in names) if all(n in DIGITS for n in names) else None


def _resistor(names: tuple[str, ...]) -> list[Meaning]:
    """Bands from the first end; from the other too where that gives a value of its series and more speaks for it."""
    if names == ("black",):
        return [Meaning("resistor", 0.0, "a single black band: a link (IEC 60062)")]
    first, other = _bands(names), _bands(names[::-1])
    if other is not None:
        other = replace(other, how=other.how + ", from the other end")
        if not _MADE[0] <= other.value <= _MADE[1]:
            other = None
    good = [m for m in (first, other) if m is not None and _fits(m)]
    if first is not None and first not in good and not good:
        good = [first]  # of no series of its tolerance: pre-war values were round numbers
    if first is not None and first not in good:
        good = [first, *good]
    return [m for n, m in enumerate(good) if all((m.value, m.high) != (o.value, o.high) for o in good[:n])]


def _fits(meaning: Meaning) -> bool:
    return any(is_preferred(meaning.value, series) for series in usual(meaning.tolerance))


def _bands(names: tuple[str, ...]) -> Meaning | None:
    """3 to 6 resistor bands read in this order; None where a band cannot stand where it does."""
    names = names[:3] if len(names) == 4 and names[3] == "none" else names
    if not 3 <= len(names) <= 6:
        return None
    ppm = PPM.get(names[5]) if len(names) == 6 else None
    figures = 3 if len(names) > 4 else 2
    digits = _digits(names[:figures])
    power = POWERS.get(names[figures])
    percent = TOLERANCE.get(names[figures + 1]) if len(names) > figures + 1 else "20"
    if digits is None or digits[0] == "0" or power is None or percent is None or (len(names) == 6 and ppm is None):
        return None
    value = made_of(digits, power)
    low, high = _sides(percent)
    notes = [slip(value, "ohm", f"the multiplier band ({names[figures]})")]
    if ppm is not None:
        notes.append(f"temperature: {ppm} ppm/K")
    meaning = Meaning("resistor", value, f"{len(names)} bands (IEC 60062)", low, high)
    if not _fits(meaning):
        notes.append(
            f"no value of {' or '.join(usual(meaning.tolerance))}: a pre-war value, a drifted colour, or misread"
        )
    return Meaning("resistor", value, meaning.how, low, high, None, tuple(notes))


def _inductor(names: tuple[str, ...]) -> list[Meaning]:
    """Moulded chokes: the resistor's bands in microhenries; a broad silver band first is the military form."""
    military = len(names) == 5 and names[0] == "silver"
    used = names[1:] if military else names
    if len(used) not in {3, 4}:
        return []
    percent = TOLERANCE.get(used[3]) if len(used) == 4 else "20"
    if "gold" in used[:2]:  # gold among the digits is the decimal point
        digits = _digits([n for n in used[:3] if n != "gold"])
        power = -1 if used[1] == "gold" else -2
        if used[2] == "gold":
            return []
    else:
        digits, power_of = _digits(used[:2]), POWERS.get(used[2])
        if power_of is None:
            return []
        power = power_of
    if digits is None or percent is None:
        return []
    value = made_of(digits, power - 6)
    low, high = _sides(percent)
    how = "moulded choke, bands in µH (makers' practice after the resistor code, from memory)"
    return [Meaning("inductor", value, how, low, high, None, (slip(value, "H", "the multiplier band"),))]


def _capacitor(names: Sequence[str], multiplier: str, percent: str | None, volts: float | None, how: str,
               *notes: str) -> list[Meaning]:  # fmt: skip
    digits, power = _digits(names), POWERS.get(multiplier)
    if digits is None or power is None or not int(digits):
        return []
    value = made_of(digits, power - 12)
    low, high = _sides(percent)
    return [
        Meaning("capacitor", value, how, low, high, volts, (*notes, slip(value, "F", f"the multiplier ({multiplier})")))
    ]


def _ceramic(names: tuple[str, ...]) -> list[Meaning]:
    """Film and ceramic bodies with four or five bands in pF: digit, digit, zeros, tolerance, (volts)."""
    if len(names) not in {4, 5}:
        return []
    percent = {"black": "20", "white": "10", "green": "5", "red": "2", "brown": "1"}.get(names[3])
    volts = {"brown": 100.0, "red": 250.0, "yellow": 400.0, "blue": 630.0}.get(names[4]) if len(names) == 5 else None
    if percent is None or (len(names) == 5 and volts is None):
        return []
    return _capacitor(
        names[:2], names[2], percent, volts, f"{len(names)} bands, film or ceramic (makers' practice, from memory)",
        "measure before it decides anything",
    )  # fmt: skip


def _dots(names: tuple[str, ...]) -> list[Meaning]:
    """Moulded mica and paper: three, five or six dots, arrow to the right, top row first."""
    if len(names) == 3:
        return _capacitor(names[:2], names[2], "20", 500.0, "three dots (RMA mica): 500 V and 20 % where not marked")
    if len(names) == 5:
        if names[3] not in VOLTS_OF or names[4] not in MICA:
            return []
        return _capacitor(names[:2], names[2], MICA[names[4]], VOLTS_OF[names[3]], "five dots (RMA mica)")
    if len(names) != 6:
        return []
    if names[0] in _SIX:
        kind, (tolerance, multiplier) = _SIX[names[0]], names[4:]
        doubt = (
            ()
            if tolerance in {"red", "gold", "silver", "none", "black"}
            else ("tolerance doubtful (published lists differ)",)
        )
        if tolerance not in MICA:
            return []
        found = _capacitor(names[1:3], multiplier, MICA[tolerance], None, f"six dots, {kind}", *doubt)
        jan = [m for m in found if "mica" in kind and m.value <= 1e-8]
        rated = {m.value: 500.0 if m.value <= 6.8e-9 else 300.0 for m in jan}
        return [
            Meaning(m.of, m.value, m.how, m.low, m.high, rated.get(m.value), (*m.notes, "volts by size, where the maker marks none"))
            if m.value in rated else m for m in found
        ]  # fmt: skip
    if names[4] not in MICA or names[5] not in VOLTS_OF:
        return []
    return _capacitor(
        names[:3], names[3], MICA[names[4]], VOLTS_OF[names[5]], "six dots, older RMA, three figures (order from memory)",
        "measure before it decides anything",
    )  # fmt: skip


def _tubular(names: tuple[str, ...]) -> Meaning:
    """Moulded paper tubular: digit, digit, zeros, tolerance, volts in hundreds (one or two digits)."""
    digits = _digits(names[4:])
    if len(names) not in {5, 6} or names[3] not in PAPER or not digits:
        raise MarkingError(
            f"marking: {' '.join(names)}: no moulded paper code; five or six bands: two digits, zeros, tolerance, "
            "hundreds of volts; try --as tubular yellow violet orange black blue"
        )
    doubt = () if names[3] in {"black", "silver", "gold"} else ("tolerance colour doubtful (from memory)",)
    found = _capacitor(names[:2], names[2], PAPER[names[3]], 100.0 * int(digits),
                       "moulded paper tubular (RMA, from memory)", *doubt,
                       "paper of this age leaks: replaced as a class")  # fmt: skip
    if not found:
        raise MarkingError(
            f"marking: {' '.join(names)}: no digits where they must be; two digits first; try yellow violet"
        )
    return found[0]


def _body(names: tuple[str, ...]) -> Meaning:
    """Before about 1945: body first digit, tip second, spot zeros, other tip gold or silver."""
    digits, spot = _digits(names[:2]), POWERS.get(names[2]) if len(names) in {3, 4} else None
    percent = TOLERANCE.get(names[3]) if len(names) == 4 else "20"
    if digits is None or spot is None or percent is None or digits[0] == "0":
        raise MarkingError(
            f"marking: {' '.join(names)}: no body, tip and spot; two digits and zeros, then gold or silver; a spot that "
            "cannot be seen has the body's colour; try --as body-tip-spot red green orange"
        )
    value = made_of(digits, spot)
    low, high = _sides(percent)
    return Meaning("resistor", value, "body, tip, spot (RMA/RCMF, to about 1945)", low, high, None,
                   (slip(value, "ohm", "the spot"), "old carbon reads high: measure"))  # fmt: skip
