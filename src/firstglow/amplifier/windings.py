"""Reads the text of a winding: ``300-0-300V 150m 90+94R``, ``6.3V 4A ct``, ``0-117-230V 14R``, ``42V 20m 60R``."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import chain, count, pairwise

from firstglow.quantities import QuantityError, plain, read_spread, read_value

_OHMS = re.compile(r"[\d.+]*\d(?:R|Ω|ohm|k)\d*|\d*R\d+(?:\+\d*R\d+)*")
_EXAMPLE = '"300-0-300V 150m 90+94R" or "6.3V 4A ct"'


@dataclass(frozen=True, slots=True)
class Side:
    """A stretch of a winding between two neighbouring leads. ``start`` carries the phase dot."""

    name: str
    start: str
    end: str
    volts: float
    ohms: float | None


@dataclass(frozen=True, slots=True)
class WindingText:
    """One winding as written.

    leads: lead names without the winding's own ("1", "ct", "2"); sides: between neighbouring leads, in order.
    amps: rating or None. open_volts: the volts are of the unloaded winding, else of the loaded one, as marked.
    spread: half width of the volts as a fraction, where stated or measured; ohms_spread: likewise of the ohms.
    """

    name: str
    leads: tuple[str, ...]
    sides: tuple[Side, ...]
    amps: float | None
    open_volts: bool
    spread: float | None
    ohms_spread: float | None = None

    @property
    def primary(self) -> bool:
        """A winding is a primary by its name."""
        return self.name.startswith("primary")

    @property
    def volts(self) -> float:
        """Volts from end to end."""
        return sum(side.volts for side in self.sides)


def read_winding(name: str, text: str, old: WindingText | None = None) -> WindingText:
    """Read one winding's text; what it does not say is taken from ``old``. Raises QuantityError."""
    steps: list[float] | None = None
    ohms: list[float] = []
    amps: float | None = None
    centre = open_volts = False
    spread: float | None = None
    if len(text) > 100:
        raise QuantityError("the text is too long", "volts, amps, ohms of one winding", _EXAMPLE)
    for token in plain(text).split():
        try:
            tolerance = read_spread(token, "V")
            if tolerance is not None:
                spread = tolerance.fraction
            elif token.lower() == "ct":
                centre = True
            elif token.lower() == "open":
                open_volts = True
            elif steps is None and re.fullmatch(r"[\d.]+(?:-[\d.]+)*V", token):
                steps = [read_value(v + "V", "V") for v in token[:-1].split("-")]
            elif not ohms and _OHMS.fullmatch(token):
                ohms = _ohms(token)
            elif amps is None and re.search(r"[A-Za-z]", token):
                amps = read_value(token, "A")
            else:
                raise QuantityError(f"{token!r} is not of a winding", "volts, amps, ohms, ct, open", "")  # noqa: TRY301
        except QuantityError as error:
            rest = " ".join(text.replace(token, "", 1).split())
            good = bool(re.match(r"[\d.]+(?:-[\d.]+)*V", rest)) or old is not None
            remedy = f'"{rest}"' if good else _example(name)
            raise QuantityError(error.found, "volts, amps, ohms, ct, open", remedy) from None
    if steps is None and old is None:
        raise QuantityError(f"{text!r} has no volts", "volts of the winding", _example(name))
    if any(o <= 0 for o in ohms) or (amps is not None and amps <= 0):
        raise QuantityError(f"{text!r} has a value of nothing or less", "ohms and amps above 0", _EXAMPLE)
    if steps is None:
        assert old is not None
        leads, volts, open_volts, spread = list(old.leads), [x.volts for x in old.sides], old.open_volts, old.spread
    else:
        leads, volts = _leads(steps, centre, text)
    if any(not 0.1 <= v <= 5000 for v in volts):
        raise QuantityError(
            f"{text!r} has volts that no winding has", "0.1 to 5000 V between leads, rising outward", _EXAMPLE
        )
    if old is not None and tuple(leads) != old.leads:
        raise QuantityError(f"{text!r} has other leads", f"volts between the leads {', '.join(old.leads)}", _EXAMPLE)
    sides = _sides(name, leads, volts, ohms, text)
    if old is not None:
        if not ohms:
            sides = tuple(replace(new, ohms=was.ohms) for new, was in zip(sides, old.sides, strict=True))
        return WindingText(name, tuple(leads), sides, amps or old.amps, open_volts, spread, old.ohms_spread)
    return WindingText(name, tuple(leads), sides, amps, open_volts, spread)


def free_winding(taken: Iterable[str]) -> str:
    """A name for one more heater winding: heat, heat2, ..."""
    names = set(taken)
    return next(name for name in chain(["heat"], (f"heat{k}" for k in count(2))) if name not in names)


def _example(name: str) -> str:
    """The text of a winding of that name."""
    if name.startswith("primary"):
        return '"230V 14R"'
    return '"6.3V 4A ct"' if name.startswith(("heat", "rect", "fil")) else '"300-0-300V 150m 90+94R"'


def _ohms(token: str) -> list[float]:
    """``90+94R``: the unit stands once, at the end, and holds for all."""
    unit = re.sub(r"^[\d.]+", "", token.split("+")[-1])
    return [read_value(t if re.search(r"[A-Za-zΩ]", t) else t + unit, "ohm") for t in token.split("+")]


def _leads(steps: list[float], centre: bool, text: str) -> tuple[list[str], list[float]]:
    """Lead names in order along the winding, and the volts between neighbours."""
    if len(steps) == 1:
        if centre:
            return ["1", "ct", "2"], [steps[0] / 2, steps[0] / 2]
        return ["1", "2"], [steps[0]]
    if steps.count(0.0) != 1 or centre:
        raise QuantityError(
            f"{text!r}: where is 0?", "one 0 among the taps: its centre or its end", '"300-0-300V" or "0-117-230V"'
        )
    zero = steps.index(0.0)
    if zero == 0:
        leads = [f"{v:g}" for v in steps]
    else:
        left = ["1", *(f"{v:g}a" for v in steps[1:zero])]
        right = [*(f"{v:g}b" for v in steps[zero + 1 : -1]), "2"] if zero < len(steps) - 1 else []
        leads = [*left, "ct" if right else "0", *right]
    signed = [-v for v in steps[:zero]] + steps[zero:]
    return leads, [b - a for a, b in pairwise(signed)]


def _shared(text: str, leads: list[str], volts: list[float], ohms: list[float]) -> str:
    """The winding's own text with its ohms shared out by volts: each half's where two are said of one with a centre tap."""
    parts = [range(len(volts))]
    if len(ohms) == 2 and "ct" in leads:
        centre = leads.index("ct")
        parts = [range(centre), range(centre, len(volts))]
    else:
        ohms = [sum(ohms)]
    each = [
        f"{total * volts[n] / sum(volts[k] for k in part):.3g}"
        for part, total in zip(parts, ohms, strict=True)
        for n in part
    ]
    told = next(token for token in plain(text).split() if _OHMS.fullmatch(token))
    return f'"{plain(text).replace(told, "+".join(each) + "R", 1)}"'


def _sides(name: str, leads: list[str], volts: list[float], ohms: list[float], text: str) -> tuple[Side, ...]:
    """The stretches; one figure of ohms for several stretches is shared out by their volts."""
    if ohms and len(ohms) not in {1, len(volts)}:
        between = ", ".join(f"{a} to {b}" for a, b in pairwise(leads))
        allowed = (
            f"one for all of it, or {len(volts)}: {between}, as each is measured; the example shares them out by volts"
        )
        raise QuantityError(f"{text!r} gives {len(ohms)} resistances", allowed, _shared(text, leads, volts, ohms))
    total = sum(volts)
    each: list[float | None] = [None] * len(volts)
    if ohms:
        each = list(ohms) if len(ohms) == len(volts) else [ohms[0] * v / total for v in volts]
    out = []
    for n, (start, end) in enumerate(pairwise(leads)):
        if len(volts) == 1:
            side = name
        elif len(volts) == 2 and "ct" in leads:
            side = f"{name} {'ab'[n]}"
        else:
            side = f"{name} {end if start == '0' or leads[0] == '0' else start}"
        out.append(Side(side, f"{name} {start}", f"{name} {end}", volts[n], each[n]))
    return tuple(out)
