"""Every type's fit, and the packaged file that holds them.

    python -m firstglow.devices.fit_types

rewrites ``data/laws.json`` from ``data/valves.toml`` and ``data/variants.toml`` (about 10 s).
"""

import json
import sys
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from firstglow.devices.emission import RESERVE
from firstglow.devices.fit import Bench, Fit, fit_section, pentode_priors, predict, triode_priors
from firstglow.devices.fit_rows import CURRENTS, CUTOFF_AMPS, FitRow, rows_of
from firstglow.devices.fit_uncertainty import law_uncertainty
from firstglow.devices.published import brackets, published_types, variants
from firstglow.devices.smooth import DeviceError

BEAM_KNEE = 1.85
PENTODE_KNEE = 1.2
SPREAD = {
    "triode": {"perveance": 0.08, "mu": 0.03, "contact": 0.07},
    "pentode": {"perveance": 0.08, "mu": 0.03, "contact": 0.07},
    "rectifier": {"perveance": 0.08},
}
"""1 sigma from valve to valve of new valves. House physics notes: perveance 7 to 10 %, mu 2.5 to 4 % and 0.07 V of
contact reproduce makers' acceptance limits (the ``spread`` rows of the data file); 20 % and 10 % would count twice."""
TRUSTED_ERROR = 0.12
"""Published currents that the law meets within this mark where it may be trusted."""


def fit_type(name: str, without: Collection[str] = ()) -> dict[str, Fit]:
    """Fits by section kind ("triode", "pentode") of a type in ``data/valves.toml``.

    without: publications to leave out: table names as ``FitRow.publication`` has them ("RCA: push-pull operation") or
    whole makers ("RCA"). Raises DeviceError when the rows that are left do not allow a law.
    """
    table = published_types().get(name)
    if table is None or "points" not in table:
        raise DeviceError(f"{name}: no published points to fit a law to")
    rows = [r for r in rows_of(name) if not out_of(r, without)]
    fits = {}
    for kind in _kinds(table):
        try:
            fits[kind] = _fit(table, kind, [r for r in rows if r.section == kind])
        except DeviceError as error:
            raise DeviceError(f"{name} {kind}: {error}") from error
    return fits


def out_of(row: FitRow, without: Collection[str]) -> bool:
    """Whether a row's publication is among those left out."""
    return row.publication in without or row.publication.partition(":")[0] in without


def _kinds(table: Mapping[str, Any]) -> list[str]:
    return [k for k in ("triode", "pentode") if k in table["limits"]]


def knee_power(table: Mapping[str, Any], kind: str) -> float | None:
    """How sharp the knee is: beam tetrodes sharper; None for a triode."""
    if kind == "triode":
        return None
    return BEAM_KNEE if table["kind"].startswith("beam") else PENTODE_KNEE


def _fit(table: Mapping[str, Any], kind: str, rows: Sequence[FitRow]) -> Fit:
    points = table["points"]
    if kind == "triode":
        printed = [p["mu"] for p in points if "mu" in p and p.get("section", "triode") == "triode"]
        return fit_section(rows, triode_priors(float(np.median(printed))))
    beam = table["kind"].startswith("beam")
    sigma = 0.12
    printed = [p["mu_g2g1"] for p in points if "mu_g2g1" in p]
    if not printed:
        printed = [p["mu"] for p in points if "mu" in p and p.get("connection") == "triode"]
    if not printed:
        printed, sigma = [9.0 if beam else 35.0], 0.3
    power = table["limits"]["pentode"]["pa_max_W"] > 5.0
    return fit_section(rows, pentode_priors(printed[0], sigma, beam, power), knee_power(table, kind))


KEPT = ("designations", "kind", "heating", "base", "pins", "pins_verified", "pins_doubt", "heater", "warmup_s", "notes")


def type_entry(name: str, without: Collection[str] = ()) -> dict[str, Any]:
    """What ``laws.json`` holds of one published type: its facts and its fitted laws (``without``: see ``fit_type``)."""
    table = published_types()[name]
    entry: dict[str, Any] = {k: table[k] for k in (*KEPT, "limits") if k in table}
    if name in brackets():
        return entry | _between(table, brackets()[name])
    if table.get("fit") == "refuse":
        return entry | {"refused": table["fit_note"]}
    if "rectifier" in table["limits"]:
        return entry | {"sections": [_rectifier(table)]}
    sections = []
    for kind, fit in fit_type(name, without).items():
        names = ("1", "2") if table["kind"].startswith("dual") else (kind,) if "triode-" in table["kind"] else ("",)
        shared = _section_entry(table, kind, fit)
        sections += [{"name": n, **shared} for n in names]
    return entry | {"sections": sections}


def _section_entry(table: Mapping[str, Any], kind: str, fit: Fit) -> dict[str, Any]:
    sigma = law_uncertainty(fit, table["limits"][kind], knee_power(table, kind))
    return {
        "kind": kind,
        "law": {k: float(f"{v:.8g}") for k, v in asdict(fit.law).items()},
        "rated_amps": _rated(table, kind),
        "uncertainty": {k: round(v, 4) for k, v in sigma.items()},
        "spread": SPREAD[kind],
        "trusted": _trusted(fit),
        "rows": sorted({r.where for r in fit.rows if r.what in CURRENTS}),
        "publications": sorted({r.publication for r in fit.rows}),
    }


def _trusted(fit: Fit) -> dict[str, list[float]]:
    """Smallest and largest volts and cathode amps of the published currents that the law meets."""
    bench = Bench.of([r for r in fit.rows if r.what in CURRENTS])
    value, _ = predict(fit.law, bench)
    amps = np.array([r.published for r in bench.rows])
    good = (np.abs(value / amps - 1.0) < TRUSTED_ERROR) & (amps > CUTOFF_AMPS)
    if not good.any():
        return {}
    names = ("plate", "grid", "screen", "amps")
    spans = zip(names, (*bench.volts[:, good], amps[good]), strict=True)
    return {n: [float(f"{v.min():.4g}"), float(f"{v.max():.4g}")] for n, v in spans if n != "screen" or v.any()}


def _rated(table: Mapping[str, Any], kind: str) -> float:
    """Rated cathode current [A]: the sheet's limit, else 1.3 times the largest published current inside the ratings."""
    limit = table["limits"][kind].get("ik_max_mA")
    if limit:
        return float(limit) * 1e-3
    inside = [p for p in table["points"] if p.get("section", kind) == kind and not p.get("over_dissipation")]
    return float(round(1.3e-3 * max(p["ia_mA"] + p.get("ig2_mA", 0.0) for p in inside), 5))


PRINTED_DROP_SIGMA = 0.15
"""1 sigma of a rectifier's perveance from one printed drop [1]: sheets of one valve print drops up to 30 % apart, and the
perveances that published HT volts ask for lie 10 to 20 % above it (``solver.rectifier_rows``)."""


RECTIFIER_RESERVE = 8.0
"""Saturated emission of a rectifier over its rated dc output [1]: the top of the house's 3 to 8. Its makers allow hot-switching
peaks of 15 to 20 times that output (GZ34 3.7 A, 5U4GB 4.6 A, 5Y3GT 2.5 A a plate; data/valves.toml), so it is no less; with
more, HT would come at a lower dial than the house's physics notes have it (``devices/emission.py``)."""


def _rectifier(table: Mapping[str, Any]) -> dict[str, Any]:
    band = table.get("perveance_band_mA_per_V1p5")
    printed = [d["derived_perveance_mA_per_V1p5"] for d in table["drop"]]
    perveance = float(np.sqrt(band[0] * band[1])) if band else float(np.median(printed))
    rated = round(table["limits"]["rectifier"]["idc_max_mA"] * 1e-3 * RECTIFIER_RESERVE / RESERVE, 9)
    return {
        "name": "",
        "kind": "rectifier",
        "law": {
            "perveance": round(perveance * 1e-3, 9),
            "rated_amps": rated,
        },
        "rated_amps": rated,
        "uncertainty": {"perveance": float(round(np.log(band[1] / band[0]) / 4, 3)) if band else PRINTED_DROP_SIGMA},
        "spread": SPREAD["rectifier"],
    }


def _between(table: Mapping[str, Any], bracket: Mapping[str, Any]) -> dict[str, Any]:
    """A rectifier known only to stand between two others: the middle of the logarithms of their perveances, and a rectangle
    between them as its uncertainty (half width over root 3, JCGM 100 4.3.7)."""
    low, high = (_rectifier(published_types()[bracket[end]]) for end in ("low", "high"))
    ends = [s["law"]["perveance"] for s in (low, high)]
    section = _rectifier(dict(table) | {"perveance_band_mA_per_V1p5": [1e3 * k for k in ends]})
    section["uncertainty"] = {"perveance": float(round(np.log(ends[1] / ends[0]) / (2 * 3**0.5), 3))}
    note = (
        f"Its law is not from figures of its own: no drop and no output is in print. It stands between {bracket['low']} and "
        f"{bracket['high']} ({bracket['source']}); a measured HT is worth more than this."
    )
    limits = {"rectifier": {**table["limits"]["rectifier"], **bracket.get("limits", {})}}
    said = [bracket["limits_note"]] if "limits_note" in bracket else []
    return {"sections": [section], "limits": limits, "notes": [*table.get("notes", ()), note, *said]}


def variant_entry(variant: Mapping[str, Any], of: Mapping[str, Any]) -> dict[str, Any]:
    """A type that differs from a published one in ratings, heater or base only."""
    limits = {kind: dict(figures) for kind, figures in of["limits"].items()}
    for kind, figures in variant.get("limits", {}).items():
        limits[kind] |= {**figures, "source": variant["source"], "verified": variant["verified"]}
        limits[kind].pop("note", None)
    changed = {k: variant[k] for k in (*KEPT, "warmup_s") if k in variant}
    if "pins" in variant:
        changed["pins_verified"] = variant["verified"]
    return {**of, **changed, "limits": limits, "variant_of": variant["of"]}


def main() -> int:
    """Refit every type and rewrite the packaged file."""
    types = {name: type_entry(name) for name in published_types()}
    for name, variant in variants().items():
        types[name] = variant_entry(variant, types[variant["of"]])
        own = set(variant["designations"])
        base = types[variant["of"]]
        base["designations"] = [d for d in base["designations"] if d.partition(" (")[0] not in own]
    comment = "written by python -m firstglow.devices.fit_types from valves.toml and variants.toml; do not edit"
    text = json.dumps({"comment": comment, "types": types}, indent=1, ensure_ascii=False) + "\n"
    (Path(__file__).parent / "data" / "laws.json").write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
