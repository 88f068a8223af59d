"""The accuracy page and what the command prints."""

from collections.abc import Mapping, Sequence
from typing import Any

from firstglow.accuracy.row import AccuracyRow
from firstglow.accuracy.summary import figures, summary

INTRO = """# How near it comes

Written by `firstglow accuracy --docs docs/accuracy.md`; nothing on this page is typed by hand.

Each row is a published figure beside what firstglow gives for it. Valve rows are solved as an amplifier file on bench
supplies, with a law refitted without the row's own publication (a maker's one table), so no row helps to predict itself.
Self-biased rows keep their own resistors. *published* and *predicted* carry expanded uncertainties (coverage factor 2): the
published ones by the rule table in `src/firstglow/accuracy/data/rules.toml`, committed before any prediction was looked at;
the predicted ones are the law's own uncertainty carried through the circuit.
En = (published - predicted)/sqrt(U_published^2 + U_predicted^2); at most 1 in size is agreement.
"""

NOT_SCORED = """## What is not scored

- A row's printed mu and plate resistance (slopes of the same few figures), and the least currents at the knee that are
  computed from power and load.
- How the current is shared between plate and screen has one uncertainty a type, the same at any volts. Screen currents at full drive
  are not scored (they may be a factor of 2 away).
- Cut-off rows are listed without En: they state grid volts, not a current.
- Screen currents count among the dc rows; a second line gives the figures without them.
- The handbook's 20 watts: HT at the output transformer and with it the plate and screen volts (shown without En), V2's volts,
  hum and power. The print gives neither windings' ohms nor droppers; what the file chooses in their place is marked there.
  Its "30 dB of feedback" is not independent of its gains.
- The handbook's 10 watts: its drawing and its table of volts were not seen; the file says what was seen, what is recalled and
  what is chosen. Scored are the reservoir's 320 V (the winding's 300 V read as open and as loaded, source ohms the least that
  the rectifier's maker asks for) and the pair's 80 mA; plate volts and the gain (10 W for 40 mV at 26 dB) are shown without En.
- The third published circuit is a whole output stage, not an amplifier.
- Rectifiers: a maker's typical operation does not say how the source ohms are shared between primary and secondary; nearly
  all is put in the secondary. GZ34 is predicted from its printed drop alone, because the catalogue's law has seen these rows.
- Valve rows marked as in the fit are their type's only publication: nothing is left to predict them from, and they are in
  no claim.
"""


HARDER = """## Looked at less kindly

The floor under every law's own uncertainty (4 % of perveance, 1.5 % of mu, 0.04 V of grid, 7 % of screen current over
plate current; `devices/fit_uncertainty.py`) was set so that rows like these agree as often as they should: that the share comes
out right with it is no news. And a maker's tables may lean on one another. So, the same rows again:
"""


def percent(x: float | None, digits: int = 1) -> str:
    """A fraction as per cent; a dash for none."""
    return "-" if x is None else f"{100 * x:.{digits}f} %"


def headline(rows: Sequence[AccuracyRow]) -> list[str]:
    """The claims, a sentence each."""
    s = summary(rows)
    lines = claims({"Dc rows no fit saw": s["dc"], "The same without screen currents": s["dc_without_screen_amps"]})
    return [*lines, f"{s['all_rows']} rows in all; {s['missed']} do not agree and are listed with their reason."]


def claims(found: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Figures of some rows as sentences: label -> ``summary.figures``."""
    lines = []
    for label, f in found.items():
        low, high = f["interval"]
        lines.append(
            f"{label}: {f['rows']} rows of {f['types']} types; median |error| {percent(f['median_error'])} (goal 5 %, aim 3 %); "
            f"|En| <= 1 in {percent(f['share_of_rows'])} of rows, {percent(f['share_of_clusters'])} by {f['clusters']} clusters of one "
            f"publication and type; chance allows {percent(low)} to {percent(high)} around 95 %: "
            f"{'inside' if f['inside'] else 'OUTSIDE'}."
        )
    return lines


def family_table(rows: Sequence[AccuracyRow]) -> list[str]:
    """A line a family."""
    out = ["| family | rows | types | median error | agree |", "|---|---|---|---|---|"]
    for name, f in summary(rows)["families"].items():
        agree = f"{f['agree']} of {f['scored']}" if f["scored"] else "not scored"
        out.append(f"| {name} | {f['rows']} | {f['types'] or '-'} | {percent(f['median_error'])} | {agree} |")
    return out


def number(value: float | None, unit: str | None) -> str:
    """A figure as people read it."""
    if value is None:
        return "-"
    if unit == "A":
        return f"{value * 1e3:.4g} mA"
    if unit == "S":
        return f"{value * 1e3:.4g} mA/V"
    return f"{value:.4g} {unit}" if unit not in (None, "1") else f"{value:.4g}"


def row_line(r: AccuracyRow) -> str:
    """One row of the tables."""
    u = (
        f"{number(r.published, r.unit)} ± {number(r.published_u, r.unit)}",
        f"{number(r.predicted, r.unit)} ± {number(r.predicted_u, r.unit)}",
    )
    en = "-" if r.en is None else f"{r.en:+.2f}"
    return f"| {r.case} | {r.condition} | {r.what} | {u[0]} | {u[1]} | {percent(r.error)} | {en} |"


def less_kindly(harder: Mapping[str, Sequence[AccuracyRow]]) -> list[str]:
    """The claims again, each with and without screen currents."""
    lines = []
    for change, rows in harder.items():
        rest = [r for r in rows if r.what != "screen amps"]
        lines += claims(
            {change[0].upper() + change[1:]: figures(rows), "The same without screen currents": figures(rest)}
        )
    return lines


def page(rows: Sequence[AccuracyRow], harder: Mapping[str, Sequence[AccuracyRow]]) -> str:
    """docs/accuracy.md. harder: of ``study.harder``."""
    head = "| row | condition | what | published | predicted | error | En |"
    rule = "|---|---|---|---|---|---|---|"
    missed = [r for r in rows if r.en is not None and abs(r.en) > 1]
    parts = [
        INTRO,
        *[f"- {line}" for line in headline(rows)],
        "",
        HARDER,
        *[f"- {line}" for line in less_kindly(harder)],
        "",
        "## By family",
        "",
        *family_table(rows),
        "",
        "## Rows that do not agree",
        "",
    ]
    parts += [head[:-1] + "| in the fit | reason |", rule + "---|---|"]
    parts += [f"{row_line(r)} {'yes' if r.used_in_fit else 'no'} | {r.reason} |" for r in missed]
    parts += ["", NOT_SCORED.rstrip()]
    for fitted, title in (
        (False, "## All rows that no fit saw"),
        (True, "## Rows whose publication is the type's only one (in the fit)"),
    ):
        chosen = [r for r in rows if r.used_in_fit == fitted]
        parts += ["", title, "", head[:-1] + "| seen | source |", rule + "---|---|"]
        parts += [f"{row_line(r)} {r.verified} | {r.source} |" for r in chosen]
    return "\n".join(parts) + "\n"


def terminal(rows: Sequence[AccuracyRow]) -> list[str]:
    """What the command prints without ``--json``."""
    out = ["How near firstglow comes to published figures", ""]
    out += headline(rows)
    out += ["", "Rows that do not agree (|En| > 1):"]
    for r in rows:
        if r.en is not None and abs(r.en) > 1:
            out.append(
                f"  {r.case}: {r.what} {number(r.published, r.unit)} published, {number(r.predicted, r.unit)} predicted, En {r.en:+.2f}"
            )
            out.append(f"      {r.reason}")
    return out
