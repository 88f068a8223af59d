"""What heater volts beside the rated ones cost in life, as far as anybody has said it.

No maker printed a law for receiving valves; what there is:

- within 5 % a heater is well off, 10 % either way is the makers' limit (common practice; facts: mains.history);
- a cathode's life about halves at 10 % over (common practice): what it emits with boils off the faster the hotter it is;
- a lamp's life goes as volts to the -12th to -16th power (D. G. Fink and H. W. Beaty, Standard Handbook for Electrical
  Engineers, 11th ed. 1978, page 22-8, as quoted on a page on lamp rerating); RCA's own advice for pure tungsten filaments,
  5 % less doubles the life and 15 % less makes it nearly tenfold (an advertisement quoted on a page), is the 13.5th and 14th.

So a valve's life is said as a range from a lamp's law (the worst it can be: a heater is tungsten too, and far cooler) to
none at all within 5 %; the cathode's rule stands between. Under 10 % low nothing is gained: a cathode too cool for its current
is poisoned or stripped.
"""

from dataclasses import dataclass
from math import log
from typing import Literal

HALVES_AT = 1.10
"""Heater volts over rated at which a cathode's life is about half (common practice)."""
CATHODE_POWER = log(2.0) / log(HALVES_AT)
LAMP_POWER = 13.5
"""Of a tungsten filament's life (RCA: 5 % less doubles it: ln 2 / -ln 0.95)."""
GOOD, LIMIT = 0.05, 0.10
"""Either way: good, and the limit (common practice)."""
PRINT = 0.002
"""What a heater's own volts are printed to: 6.3 is 6.29 to 6.31 [1]."""

State = Literal["right", "a little high", "high", "past the limit", "a little low", "low", "too low"]


@dataclass(frozen=True, slots=True)
class Life:
    """Of one ratio of heater volts to rated. cathode, lamp: life over what it is at rated volts, 1 and less: by the trade's
    rule, and by a lamp's law, which it cannot be worse than; None where it is low (nothing is gained)."""

    ratio: float
    state: State
    cathode: float | None
    lamp: float | None

    @property
    def text(self) -> str:
        """In bench words."""
        percent = 100.0 * (self.ratio - 1.0)
        if self.state == "right":
            return "within 1 %: as rated"
        if self.ratio > 1.0:
            much = f"{percent:.0f} % over"
            if self.state == "a little high":
                return f"{much}, within the 5 % that makers allow for good: hardly shorter"
            last = ": past the 10 % limit" if self.state == "past the limit" else ""
            return f"{much}{last}: cathodes last about {said(self.cathode)} as long, at worst {said(self.lamp)}"
        much = f"{-percent:.0f} % under"
        if self.state == "a little low":
            return f"{much}, within 5 %: no harm"
        if self.state == "low":
            return f"{much}: no longer life; a hard-worked output valve may tire"
        return f"{much}: past the 10 % limit: cathodes are poisoned or stripped"


def life(ratio: float) -> Life:
    """What heater volts of so many times the rated ones mean. ratio above 0."""
    over = ratio - 1.0
    if abs(over) <= 0.01 + 1e-9:
        state: State = "right"
    elif over > 0.0:
        state = "a little high" if over <= GOOD + PRINT else "high" if over <= LIMIT + PRINT else "past the limit"
    else:
        state = "a little low" if over >= -GOOD - PRINT else "low" if over >= -LIMIT - PRINT else "too low"
    if over <= 0.0:
        return Life(ratio, state, None, None)
    return Life(ratio, state, ratio**-CATHODE_POWER, ratio**-LAMP_POWER)


def said(share: float | None) -> str:
    """A share of life in tenths: no more is known."""
    if share is None:
        return "as long"
    return f"{max(share, 0.1):.1f} times"
