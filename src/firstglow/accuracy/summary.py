"""What the rows come to: medians, the share that agrees, and what chance allows of it."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from firstglow.accuracy.row import DC, AccuracyRow

GOAL_ERROR, AIM_ERROR, SHARE, CENTRAL = 0.05, 0.03, 0.95, 0.99


def blind_dc(rows: Sequence[AccuracyRow]) -> list[AccuracyRow]:
    """The rows the claim is about: dc volts and amps of a valve that no fit saw; not what stands on a chosen part."""
    return [r for r in rows if r.kind in DC and r.valve is not None and not r.used_in_fit and r.en is not None]


def clusters(rows: Sequence[AccuracyRow]) -> dict[str, float]:
    """Share of rows with ``|En| <= 1`` in each publication and type."""
    found: dict[str, list[bool]] = {}
    for r in rows:
        if r.en is not None:
            found.setdefault(r.cluster, []).append(abs(r.en) <= 1)
    return {name: float(np.mean(agree)) for name, agree in found.items()}


def figures(rows: Sequence[AccuracyRow]) -> dict[str, Any]:
    """Counts, median error and agreement of some rows."""
    from scipy.stats import binom  # a second to load

    scored = [r for r in rows if r.en is not None]
    errors = [abs(r.error) for r in rows if r.error is not None]
    each = clusters(scored)
    n = len(each)
    low, high = binom.interval(CENTRAL, n, SHARE) if n else (0, 0)
    by_cluster = float(np.mean(list(each.values()))) if n else None
    return {
        "rows": len(rows),
        "types": len({r.valve for r in rows if r.valve}),
        "median_error": float(np.median(errors)) if errors else None,
        "scored": len(scored),
        "agree": sum(abs(r.en or 0.0) <= 1 for r in scored),
        "share_of_rows": float(np.mean([abs(r.en or 0.0) <= 1 for r in scored])) if scored else None,
        "clusters": n,
        "share_of_clusters": by_cluster,
        "interval": [float(low) / n, float(high) / n] if n else None,
        "inside": bool(by_cluster is not None and low <= by_cluster * n <= high) if n else None,
    }


def summary(rows: Sequence[AccuracyRow]) -> dict[str, Any]:
    """CONTRACTS' ``summary``. A cluster counts with the share of its rows that agree."""
    claim = blind_dc(rows)
    families: dict[str, list[AccuracyRow]] = {}
    for r in rows:
        families.setdefault(r.family + (" (in the fit)" if r.used_in_fit else ""), []).append(r)
    rest = [r for r in claim if r.what != "screen amps"]
    every, total = figures(rest), figures(claim)
    return {
        "goal": {"median_error": GOAL_ERROR, "aim": AIM_ERROR, "rows": 60, "types": 15, "share": SHARE, "central": CENTRAL},
        "dc": total | {"met": bool((total["median_error"] or 1.0) <= GOAL_ERROR and total["inside"])},
        "dc_without_screen_amps": every,
        "families": {name: figures(members) for name, members in sorted(families.items())},
        "all_rows": len(rows),
        "missed": sum(r.en is not None and abs(r.en) > 1 for r in rows),
    }  # fmt: skip
