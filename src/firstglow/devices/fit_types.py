"""Every type's fit and the file that holds them: ``python -m firstglow.devices.fit_types`` rewrites ``data/laws.json``."""

import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from firstglow.devices.fit import Fit, fit_section, pentode_priors, triode_priors
from firstglow.devices.fit_rows import FitRow, rows_of
from firstglow.devices.published import published_types
from firstglow.devices.smooth import DeviceError

BEAM_KNEE = 1.85
PENTODE_KNEE = 1.2
SPREAD = {"perveance": 0.08, "mu": 0.03, "contact": 0.07}
"""1 sigma from valve to valve of new valves: reproduces makers' acceptance limits (house physics notes)."""
GENERIC_UNCERTAINTY = {"perveance": 0.05, "mu": 0.03, "contact": 0.05}


def fit_type(name: str, without: Sequence[str] = ()) -> Mapping[str, Fit]:
    """Fits by section kind ("triode", "pentode"), leaving out rows of the publications in ``without``.

    Raises DeviceError when the figures that are left do not allow a law.
    """
    table = published_types()[name]
    rows = [r for r in rows_of(name) if r.publication not in without]
    kinds = [k for k in ("triode", "pentode") if k in table["limits"]]
    return {kind: _fit(table, kind, [r for r in rows if r.section == kind]) for kind in kinds}


def _fit(table: Mapping[str, Any], kind: str, rows: Sequence[FitRow]) -> Fit:
    points = table["points"]
    if kind == "triode":
        printed = [p["mu"] for p in points if "mu" in p and p.get("section", "triode") == "triode"]
        return fit_section(rows, triode_priors(float(np.median(printed))))
    beam = table["kind"].startswith("beam")
    printed = [p["mu_g2g1"] for p in points if "mu_g2g1" in p]
    sigma = 0.2
    if not printed:
        printed = [p["mu"] for p in points if "mu" in p and p.get("connection") == "triode"]
    if not printed:
        printed, sigma = [9.0 if beam else 35.0], 0.5
    power = table["limits"]["pentode"]["pa_max_W"] > 5.0
    priors = pentode_priors(printed[0], sigma, beam, power)
    return fit_section(rows, priors, BEAM_KNEE if beam else PENTODE_KNEE)


KEPT = (
    "designations",
    "kind",
    "heating",
    "base",
    "pins",
    "pins_verified",
    "pins_doubt",
    "heater",
    "warmup_s",
    "notes",
    "limits",
)


def type_entry(name: str) -> Mapping[str, Any]:
    """What ``laws.json`` holds of one type: its facts and its fitted laws."""
    table = published_types()[name]
    entry: dict[str, Any] = {k: table[k] for k in KEPT if k in table}
    if table.get("fit") == "refuse":
        return entry | {"refused": table["fit_note"]}
    if "rectifier" in table["limits"]:
        return entry | {"sections": [_rectifier(table)]}
    sections = []
    for kind, fit in fit_type(name).items():
        names = ("1", "2") if table["kind"].startswith("dual") else (kind,) if "triode-" in table["kind"] else ("",)
        law = {k: float(f"{v:.10g}") for k, v in asdict(fit.law).items()}
        shared = {
            "kind": kind,
            "law": law,
            "rated_amps": _rated(table, kind),
            "uncertainty": GENERIC_UNCERTAINTY,
            "spread": SPREAD,
        }
        sections += [{"name": n, **shared} for n in names]
    return entry | {"sections": sections}


def _rated(table: Mapping[str, Any], kind: str) -> float:
    """Rated cathode current [A]: the sheet's limit, else 1.3 times the largest published current inside the ratings."""
    limit = table["limits"][kind].get("ik_max_mA")
    if limit:
        return float(limit) * 1e-3
    inside = [p for p in table["points"] if p.get("section", kind) == kind and not p.get("over_dissipation")]
    return float(round(1.3e-3 * max(p["ia_mA"] + p.get("ig2_mA", 0.0) for p in inside), 5))


def _rectifier(table: Mapping[str, Any]) -> Mapping[str, Any]:
    band = table.get("perveance_band_mA_per_V1p5")
    printed = [d["derived_perveance_mA_per_V1p5"] for d in table["drop"]]
    perveance = float(np.sqrt(band[0] * band[1])) if band else float(np.median(printed))
    return {
        "name": "",
        "kind": "rectifier",
        "law": {
            "perveance": round(perveance * 1e-3, 9),
            "rated_amps": table["limits"]["rectifier"]["i_peak_per_plate_max_mA"] * 1e-3,
        },
        "rated_amps": table["limits"]["rectifier"]["idc_max_mA"] * 1e-3,
        "uncertainty": {"perveance": float(round(np.log(band[1] / band[0]) / 4, 3)) if band else 0.07},
        "spread": {"perveance": 0.08},
    }


def main() -> int:
    """Refit every type and rewrite the packaged file."""
    types = {}
    for name in published_types():
        try:
            types[name] = type_entry(name)
        except DeviceError as error:
            types[name] = {"refused": str(error)}
    path = Path(__file__).parent / "data" / "laws.json"
    comment = "written by python -m firstglow.devices.fit_types from valves.toml; do not edit"
    path.write_text(
        json.dumps({"comment": comment, "types": types}, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
