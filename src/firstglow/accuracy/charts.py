"""Resistance-coupled charts and textbook stages: gain and dc volts in circuit (``data/cases.toml``)."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from firstglow.accuracy.bench import expanded
from firstglow.accuracy.row import AccuracyRow, data
from firstglow.accuracy.stages import BenchStage, gain_of, solve_stage
from firstglow.devices.catalogue import valve_type
from firstglow.devices.fit_blind import fit_blind
from firstglow.solver.frame import Array

Case = Mapping[str, Any]
TABLE = "Philips/Mullard: resistance-coupled stages"
CURVES = "6sl7gt average plate characteristics: plate curves"


def cases() -> dict[str, Case]:
    """Every case by its id."""
    return {c["id"]: c for c in data("cases")["case"]}


def pairs(case: Case) -> Iterator[tuple[int, Case, Case]]:
    """Number, givens (the case's own and the row's) and expectations of each row."""
    given, expect = case["given"], case["expect"]
    if "rows" not in expect:
        yield 0, given, expect
        return
    for i, (g, e) in enumerate(zip(given["rows"], expect["rows"], strict=True)):
        yield i, {k: v for k, v in given.items() if k != "rows"} | g, e


def scored(
    case: Case, i: int, key: str, what: str, kind: str, unit: str | None, published: float, found: tuple[float, float], *,
    valve: str | None = None, condition: str, family: str, publication: str = "", caution: str = "",
) -> AccuracyRow:  # fmt: skip
    """A row of a case; its uncertainty is the case's own tolerance."""
    tol = case["tol_pct"]
    u = tol.get(key, tol.get("any"))
    publication = publication or f"{case['source'].split(',')[0]}: {case['title']}"
    seen = "memory" if key in case.get("memory_fields", ()) else case["verified"]
    return AccuracyRow(
        case=f"{case['id']}[{i}]", source=case["source"], condition=condition, what=what, kind=kind, unit=unit, valve=valve,
        published=published, published_u=None if u is None else abs(published) * u / 100.0, predicted=found[0],
        predicted_u=found[1], used_in_fit=False, verified=seen, family=family,
        cluster=f"{valve or 'no valve'} / {publication}", caution=str(case.get("doubt", caution)),
    )  # fmt: skip


CHARTS = {
    "rc_12ax7_chart_300v": "12AX7", "rc_12ax7_chart_90v": "12AX7", "rc_6sn7_chart_300v": "6SN7GTB",
    "rc_12au7_chart_300v": "12AU7", "rc_6sl7_chart_300v": "6SL7GT", "rc_6sj7_chart_300v_a": "6SJ7",
}  # fmt: skip

MEDIUM = (
    "gains of the medium-mu charts lie below what the valves' own printed points give, row after row; why is not known"
)
CHART_CAUTION = {
    "rc_6sn7_chart_300v": MEDIUM, "rc_12au7_chart_300v": MEDIUM,
    "rc_12ax7_chart_90v": "low-voltage rows are recalled less surely than the 300 V rows",
}  # fmt: skip


def chart_rows() -> Iterator[AccuracyRow]:
    """Gains of the RCA charts: no fit has seen a chart (only Philips' table is among the fitted rows)."""
    for name, kind in CHARTS.items():
        case, valve = cases()[name], valve_type(kind)
        pentode = "rg2_kohm" in case["given"]["rows"][0]
        for i, g, e in pairs(case):
            b = BenchStage(
                valve, "pentode" if pentode else "triode", g["ebb_v"], 0.0, g["rk_ohm"], g["rp_kohm"] * 1e3,
                g["ebb_v"] if pentode else 0.0, g.get("rg2_kohm", 0.0) * 1e3, next_ohms=g["rg_next_kohm"] * 1e3,
            )  # fmt: skip
            yield scored(
                case, i, "gain", "gain", "gain", "1", e["gain"], expanded(gain_of(b, solve_stage(b))), valve=kind,
                condition=f"{g['ebb_v']} V, {g['rp_kohm']:g}k plate, {g['rk_ohm']} ohm cathode, {g['rg_next_kohm']:g}k next grid",
                family=f"{'pentode' if pentode else 'triode'} chart gain", publication=f"RCA: chart at {g['ebb_v']} V",
                caution=CHART_CAUTION.get(name, ""),
            )  # fmt: skip


def stage_rows() -> Iterator[AccuracyRow]:
    """Dc volts of one-valve stages, by laws refitted without what the stage was printed or drawn from."""
    case = cases()["rc_ecc83_table_100k"]
    law = fit_blind("12AX7", [TABLE])
    for i, g, e in pairs(case):
        b = BenchStage(law, "triode", g["vb_v"], 0.0, g["rk_ohm"], g["ra_kohm"] * 1e3)
        yield from _volts(case, i, b, {"va_chassis_v": e["va_chassis_v"], "vk_v": e["vk_v"]}, TABLE)
    case = cases()["loadline_6sl7_250v"]
    g, e = case["given"], case["expect"]
    b = BenchStage(fit_blind("6SL7GT", [CURVES]), "triode", g["supply_v"], 0.0, g["rk_ohm"], g["ra_load_kohm"] * 1e3)
    yield from _volts(case, 0, b, {"ia_ma": e["ia_ma"], "va_cathode_v": e["va_cathode_v"], "vk_v": e["vk_v"]}, CURVES)
    case = cases()["ex_lecture_12ax7_stage"]
    g, e = case["given"], case["expect"]
    b = BenchStage(valve_type("12AX7"), "triode", g["vpp_v"], 0.0, g["rk_kohm"] * 1e3, g["rp_kohm"] * 1e3)
    wanted = {"ia_ma": e["ia_ma"], "va_cathode_v": e["va_cathode_v"], "vk_v": -e["vgk_v"]}
    yield from _volts(case, 0, b, wanted, "", "the text solves a valve equation of its own, not a measured valve")


def _volts(
    case: Case, i: int, b: BenchStage, wanted: Mapping[str, float], publication: str, caution: str = ""
) -> Iterator[AccuracyRow]:
    solved = solve_stage(b)
    part = solved.standing.part(b.name)
    cathode = -np.asarray(part["grid_volts"])
    by: dict[str, tuple[str, Array]] = {
        "ia_ma": ("plate amps", np.asarray(part["plate_amps"])),
        "va_cathode_v": ("plate volts to cathode", np.asarray(part["plate_volts"])),
        "va_chassis_v": ("plate volts to chassis", np.asarray(part["plate_volts"]) + cathode),
        "vk_v": ("cathode volts", cathode),
    }
    tol = case["tol_pct"]
    for key, published in wanted.items():
        what, samples = by[key]
        amps = key == "ia_ma"
        # a cathode's volts are the current's: where the facts give them no tolerance of their own, the current's
        tolerance = next(k for k in (key, "vgk_v" if key == "vk_v" else key, "vg_v", "ia_ma") if k in tol)
        yield scored(
            case, i, tolerance, what, "dc amps" if amps else "dc volts", "A" if amps else "V",
            published * (1e-3 if amps else 1.0), expanded(samples), valve=b.valve.name,
            condition=f"{b.plate_supply:g} V, {b.plate_ohms:g} ohm plate, {b.cathode_ohms:g} ohm cathode",
            family="stage dc, in circuit", publication=publication, caution=caution,
        )  # fmt: skip
