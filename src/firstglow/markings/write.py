"""A value and its tolerance, to the marks that a part bears: bands, letter code, figures. Each reads back exactly."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from firstglow.markings.codes import LETTERS, VOLTS
from firstglow.markings.colours import DIGITS, MICA, PAPER, POWERS, TOLERANCE, VOLTS_OF
from firstglow.markings.meaning import UNIT, Meaning, figures
from firstglow.markings.series import MarkingError

_AT = {0: "R", 3: "K", 6: "M", 9: "G"}, {-12: "p", -9: "n", -6: "u"}
_FINEST = {"resistor": 0, "capacitor": -12, "inductor": -6}


@dataclass(frozen=True)
class Mark:
    """kind: "4 bands", "5 bands", "letter code", "figure code", "volts code", or an old code; text: the mark. layout: how its
    colours are laid, as ``read`` takes it."""

    kind: str
    text: str
    layout: str = "bands"


def marks(of: str, value: float, tolerance: float | None = None, volts: float | None = None) -> tuple[Mark, ...]:
    """Marks of a value (SI); ``tolerance`` a symmetric fraction. MarkingError where no mark holds it exactly."""
    exact = Decimal(repr(value)).normalize()
    digits = "".join(map(str, exact.as_tuple().digits))
    if of not in UNIT or not exact.is_finite() or exact <= 0 or len(digits) > 3:
        raise MarkingError(
            f"marking: {figures(exact) if exact.is_finite() else value}: bands and codes hold three figures; a value of "
            "a series; try firstglow marking --write 4.7k 5%"
        )
    percent = None if tolerance is None else Decimal(repr(tolerance)).normalize() * 100
    found = [*_bands(of, exact, digits, percent), *_letters(of, exact, percent), *_figures(of, exact, digits, percent)]
    if not found:
        raise MarkingError(
            f"marking: {percent} %: no colour or letter stands for it; 20, 10, 5, 2, 1, 0.5, 0.25, 0.1 %; try 5%"
        )
    found += _old(of, exact, digits, percent, volts)
    found += [Mark("volts code", f"{c}") for c, v in VOLTS.items() if v == volts and of == "capacitor"]
    return tuple(found)


def marks_of(meaning: Meaning) -> tuple[Mark, ...]:
    """The marks of a meaning."""
    return marks(
        meaning.of, meaning.value, meaning.tolerance if meaning.low == -(meaning.high or 0) else None, meaning.volts
    )


def _bands(of: str, exact: Decimal, digits: str, percent: Decimal | None) -> Iterator[Mark]:
    """Resistors: four bands, and five for a third figure or a fine tolerance."""
    end = next((name for name, p in TOLERANCE.items() if percent is not None and Decimal(p) == percent), None)
    if of != "resistor" or (percent is not None and end is None):
        return
    for count in (2, 3):
        if len(digits) > count or (count == 3 and (end == "none" or end is None)):
            continue
        power = exact.adjusted() - (count - 1)
        zeros = next((name for name, p in POWERS.items() if p == power), None)
        if zeros is not None:
            names = (
                [DIGITS[int(d)] for d in digits.ljust(count, "0")] + [zeros] + ([end] if end and end != "none" else [])
            )
            yield Mark(
                f"{len(names)} bands" if len(names) > 3 else "3 bands (no tolerance band: 20 %)", " ".join(names)
            )


def _old(of: str, exact: Decimal, digits: str, percent: Decimal | None, volts: float | None) -> Iterator[Mark]:
    """What old parts bear: body, tip and spot; mica dots and moulded paper bands in pF. Two figures, a tolerance of theirs."""
    power = exact.scaleb(0 if of == "resistor" else 12).adjusted() - 1
    zeros = next((name for name, p in POWERS.items() if p == power), None)
    if len(digits) > 2 or zeros is None or zeros in ("silver", "pink") or percent is None:
        return
    two = " ".join(DIGITS[int(d)] for d in digits.ljust(2, "0"))
    if of == "resistor" and percent in (20, 10, 5):
        tip = {20: "", 10: " silver", 5: " gold"}[int(percent)]
        yield Mark("body, tip, spot (to about 1945)", f"{two} {zeros}{tip}", "body-tip-spot")
    if of != "capacitor":
        return
    if percent == 20 and volts in (None, 500.0):
        yield Mark("3 mica dots (500 V, 20 %)", f"{two} {zeros}", "dots")
    tolerance = next((name for name, p in MICA.items() if Decimal(p) == percent and name != "none"), None)
    rated = next((name for name, v in VOLTS_OF.items() if v == volts and name != "none"), None)
    if tolerance is not None and rated is not None:
        yield Mark("5 mica dots", f"{two} {zeros} {rated} {tolerance}", "dots")
    if tolerance in ("red", "gold", "silver", "black") and exact <= Decimal("1e-8") and volts in (None, 300.0, 500.0):
        yield Mark("6 mica dots (fourth: temperature, here red)", f"black {two} red {tolerance} {zeros}", "dots")
    end = next((name for name in ("black", "silver", "gold") if Decimal(PAPER[name]) == percent), None)
    if end is not None and volts is not None and volts % 100.0 == 0.0 and 100.0 <= volts <= 9900.0:
        hundreds = " ".join(DIGITS[int(d)] for d in str(int(volts // 100)))
        yield Mark("moulded paper bands", f"{two} {zeros} {end} {hundreds}", "tubular")


def _letter(of: str, exact: Decimal, percent: Decimal | None) -> str | None:
    """The tolerance letter; "" for none given; None where there is none that says one thing alone (to 10 pF only J and coarser are
    percent with everybody, and P is the least value on old ceramics)."""
    if percent is None:
        return ""
    small = of == "capacitor" and exact <= Decimal("10e-12")
    barred = ("BCDFG" if small else "") + ("P" if of == "capacitor" else "")
    return next((x for x, p in LETTERS.items() if Decimal(p) == percent and x not in barred), None)


def _letters(of: str, exact: Decimal, percent: Decimal | None) -> Iterator[Mark]:
    letter = _letter(of, exact, percent)
    if of == "inductor" or letter is None:
        return
    at = _AT[of == "capacitor"]
    power = max((p for p in at if exact >= Decimal(1).scaleb(p)), default=min(at))
    whole, _, part = figures(exact.scaleb(-power)).partition(".")
    if len(whole) == 3 and part == "" and power + 3 in at and letter in {"F", ""}:
        power, whole, part = power + 3, "0", whole  # u47, not 470n and a tolerance letter that looks like a unit
    if whole == "0" and not part:
        return
    if of == "capacitor" and letter == "F" and not part:
        part = "0"
    if len(whole) == 1 and not part:
        part = "0"
    yield Mark("letter code", f"{'' if whole == '0' else whole}{at[power]}{part.rstrip('0') or part}{letter}")


def _figures(of: str, exact: Decimal, digits: str, percent: Decimal | None) -> Iterator[Mark]:
    """pF (µH, ohms) in two or three figures and the number of zeros."""
    letter = _letter(of, exact, percent)
    count = max(len(digits), 2)
    zeros = exact.scaleb(-_FINEST[of]).adjusted() - (count - 1)
    last: int | None = zeros if 0 <= zeros <= 7 else None
    if of == "capacitor" and zeros in {-1, -2}:
        last = {-1: 9, -2: 8}[zeros]
    if letter is not None and last is not None:
        yield Mark("figure code", f"{digits.ljust(count, '0')}{last}{letter}")
