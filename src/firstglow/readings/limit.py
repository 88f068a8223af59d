"""One limit of one stop rule."""

from dataclasses import dataclass
from math import inf
from typing import Literal

Side = Literal["below", "above"]


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of one rule, before rounding, as the meter shows it. physical: it stands even where it cuts the band.

    apart: what a meter must at least tell from what is expected, as shown; None for the limit itself. most: size that a
    limit giving way may not reach, for there it would stop nothing: it then stands, and cuts. yielded: why, where it
    gave way to the band ("" where that changes nothing).
    """

    side: Side
    value: float
    why: str
    physical: bool = True
    apart: float | None = None
    most: float = inf
    yielded: str = ""
