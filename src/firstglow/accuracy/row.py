"""One published figure beside what firstglow gives for it."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

NO_REASON = "no reason known"
DC = ("dc volts", "dc amps")


@dataclass(frozen=True, slots=True)
class AccuracyRow:
    """A row of CONTRACTS' ``accuracy``; SI units.

    published_u, predicted_u: expanded uncertainties, coverage factor 2 (JCGM 100), in the row's unit; None where the
    figure is not scored. cluster: rows of one publication and type stand or fall together. family: what the summary
    counts it under. caution: what the facts say of the row (a doubt, a note), the reason if it is missed. blind: the
    publication was left out of the law, or no law was fitted at all. grid_volts: what grid volts would remove the error.
    """

    case: str
    source: str
    condition: str
    what: str
    kind: str
    unit: str | None
    valve: str | None
    published: float
    published_u: float | None
    predicted: float | None
    predicted_u: float | None
    used_in_fit: bool
    verified: str
    family: str
    cluster: str
    caution: str = ""
    grid_volts: float | None = None

    @property
    def error(self) -> float | None:
        """(predicted - published)/published; None without a prediction or against a published zero."""
        if self.predicted is None or self.published == 0:
            return None
        return self.predicted / self.published - 1.0

    @property
    def en(self) -> float | None:
        """(published - predicted) over both expanded uncertainties in square; at most 1 in size is agreement."""
        if self.predicted is None or self.published_u is None or self.predicted_u is None:
            return None
        return (self.published - self.predicted) / math.hypot(self.published_u, self.predicted_u)

    @property
    def reason(self) -> str | None:
        """Why a missed row is missed, or why a row has no score; None for a row that is met."""
        if self.en is None:
            return self.caution or NO_REASON
        if abs(self.en) <= 1:
            return None
        grid = "" if self.grid_volts is None else f"; {abs(self.grid_volts):.2g} V of grid would remove it"
        return (self.caution or NO_REASON) + grid

    def document(self) -> dict[str, Any]:
        """The row as CONTRACTS has it."""
        u = self.predicted_u
        low, high = (None, None) if self.predicted is None or u is None else (self.predicted - u, self.predicted + u)
        return {
            "case": self.case, "source": self.source, "condition": self.condition, "what": self.what,
            "kind": self.kind, "unit": self.unit, "valve": self.valve, "published": self.published,
            "published_uncertainty": self.published_u, "predicted": self.predicted, "low": low, "high": high,
            "error": self.error, "en": self.en, "used_in_fit": self.used_in_fit, "verified": self.verified,
            "reason": self.reason, "cluster": self.cluster, "family": self.family, "grid_volts": self.grid_volts,
        }  # fmt: skip


@cache
def data(name: str) -> Mapping[str, Any]:
    """One packaged table of this room (``data/NAME.toml``)."""
    text = files("firstglow.accuracy").joinpath(f"data/{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
