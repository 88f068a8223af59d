"""One meaning of a marking, and how it is shown: nF, uF and pF always together, for the x10 slip is a real fault."""

from dataclasses import dataclass
from decimal import Decimal

from firstglow.markings.made import present
from firstglow.quantities import show

UNIT = {"resistor": "ohm", "capacitor": "F", "inductor": "H"}
_TOGETHER = {
    "F": ((-9, "nF"), (-6, "µF"), (-12, "pF")),
    "H": ((-6, "µH"), (-3, "mH"), (0, "H")),
}
LARGE = 1e-6
"""From here on most are electrolytics [F] (common practice)."""
ELECTROLYTIC = (
    "probably an electrolytic, as most of 1 µF and more are: where no tolerance is marked −20 to +50 % when new, old cans to +100 % "
    "(common practice). An old one is brought back in steps (firstglow reform) or renewed, never just switched on"
)


@dataclass(frozen=True)
class Meaning:
    """What a marking may mean.

    of: resistor, capacitor or inductor; value: SI (ohm, F, H); low, high: its tolerance as fractions of the value (-0.2,
    0.8), None where not marked; volts: working volts marked, or None; how: which code read it so; notes: doubts, slips.
    """

    of: str
    value: float
    how: str
    low: float | None = None
    high: float | None = None
    volts: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        """ohm, F or H."""
        return UNIT[self.of]

    @property
    def tolerance(self) -> float | None:
        """The wider side of the tolerance, a fraction."""
        return None if self.high is None or self.low is None else max(self.high, -self.low)

    def shown(self) -> list[str]:
        """Lines of bench words: the value in every unit people use, its band, volts, the notes."""
        lines = [" = ".join(together(self.value, self.unit))]
        if self.low is not None and self.high is not None and self.value:
            least, most = (show(self.value * (1 + side), self.unit, 4) for side in (self.low, self.high))
            sides = (
                f"±{self.high * 100:.3g} %" if -self.low == self.high
                else f"{'-0' if not self.low else f'{self.low * 100:+.3g}'} {self.high * 100:+.3g} %".replace("-", "−")
            )  # fmt: skip
            lines.append(f"{sides}: {least} to {most}")
        if self.volts is not None:
            lines.append(f"{self.volts:g} V working")
        rows = present(self.value, self.unit) if self.value and self.of != "inductor" and self.preferable else ()
        if rows:
            made = ", ".join(f"{show(r.value, self.unit)} ({r.change * 100:+.3g} %)" for r in rows)
            lines.append(f"made today: {made}")
        if (
            self.of == "capacitor"
            and self.value >= LARGE
            and self.low is None
            and not any("class" in n for n in self.notes)
        ):
            lines.append(ELECTROLYTIC)
        return [*lines, *self.notes]

    @property
    def preferable(self) -> bool:
        """Whether a present value may be offered: two figures or fewer (three are a fine series' own)."""
        return len(Decimal(repr(self.value)).normalize().as_tuple().digits) <= 2

    def row(self) -> dict[str, object]:
        """CONTRACTS' row, with more beside it."""
        return {
            "value": self.value, "unit": self.unit, "tolerance": self.tolerance, "shown": self.shown(), "of": self.of,
            "how": self.how, "volts": self.volts, "tolerance_low": self.low, "tolerance_high": self.high,
        }  # fmt: skip


def together(value: float, unit: str) -> list[str]:
    """The value in each unit it is met in: nF, µF and pF; kΩ and Ω."""
    exact = Decimal(repr(value))
    if unit == "ohm":
        best = show(value, "ohm", 4)
        out = [best]
        for power, name in ((3, "kΩ"), (0, "Ω")):
            text = f"{figures(exact.scaleb(-power))} {name}"
            if text not in out and value and 1e-3 * 10**power <= value < 1e9 * 10 ** max(power - 3, 0):
                out.append(text)
        return out
    return [f"{figures(exact.scaleb(-power))} {name}" for power, name in _TOGETHER[unit]]


def figures(exact: Decimal) -> str:
    """Plain figures, no exponent, no trailing zeros."""
    text = f"{exact:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def slip(value: float, unit: str, misread: str) -> str:
    """The x10 slip, said: what one step misread would make of it."""
    low, high = (show(float(Decimal(repr(value)).scaleb(n)), unit, 4) for n in (-1, 1))
    return f"x10 slip, the commonest misreading: {misread} off by one is {low} or {high}; measure before fitting"


def made_of(digits: str, power: int) -> float:
    """Figures and a power of ten, to the nearest float of the exact value."""
    return float(Decimal(digits).scaleb(power))
