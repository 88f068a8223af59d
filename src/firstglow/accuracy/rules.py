"""How uncertain a published valve figure is: the rule table ``data/rules.toml`` applied to a row of the facts."""

import re
from collections.abc import Mapping
from typing import Any

from firstglow.accuracy.row import data

Raw = Mapping[str, Any]


def doubt_of(raw: Raw) -> str:
    """What the facts doubt of the row itself."""
    return str(raw.get("doubt", ""))


def caution_of(raw: Raw) -> str:
    """What the facts say against a row: its doubt, else its note where that limits it."""
    note = str(raw.get("note", ""))
    limits = any(w in note for w in ("low weight", "memory", "approximate", "scaling", "read"))
    return doubt_of(raw) or (note if limits else "")


def grid_volts_of(raw: Raw) -> float:
    """Expanded uncertainty of the printed grid volts [V]; 0 where they are printed as exact."""
    named = re.search(r"(\d\.\d) V of grid|grid volts, (\d\.\d) V", doubt_of(raw))
    if named:
        return float(named[1] or named[2])
    if raw.get("bias_approx"):
        return float(data("rules")["grid"]["approximate"]) * abs(float(raw["vg1"]))
    return 0.0


def table_rule(raw: Raw) -> float:
    """A printed table figure: fraction."""
    rules = data("rules")
    factor = rules["memory"]["factor"] if raw["verified"] == "memory" else 1.0
    return float(rules["table"]["u"] * factor)


def current_u(raw: Raw, unknown_volts: bool) -> float:
    """Expanded uncertainty of a plate or cathode current, its grid volts aside: fraction."""
    rules = data("rules")
    u = max(table_rule(raw), raw.get("tol_pct", 0.0) / 100.0)
    doubt = doubt_of(raw)
    if doubt and not grid_volts_of(raw):
        named = re.search(r"at (\d+) ?%", doubt)
        u = max(u, float(named[1]) / 100.0 if named else rules["doubt"]["u"])
    return max(u, rules["volts_to"]["u"]) if unknown_volts else float(u)


def other_u(raw: Raw, what: str, pentode: bool) -> float:
    """Expanded uncertainty of a screen current, a gain or a transconductance: fraction."""
    rules = data("rules")
    if what == "transconductance":
        doubtful = "gm_doubt" in raw or ("gm" in doubt_of(raw))
        return float(max(raw.get("gm_tol_pct", 0.0) / 100.0, rules["doubt" if doubtful else "transconductance"]["u"]))
    if what == "gain":
        # the rule's own sentence: pentode charts 12 %
        return 0.12 if pentode else float(rules["gain"]["u"])
    return max(float(rules["screen"]["u"]), current_u(raw, unknown_volts=False))
