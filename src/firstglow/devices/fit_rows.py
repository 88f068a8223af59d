"""What a fit is told: published rows as observations with a standard deviation each, and why a row is left out.

Rules (``data/valves.toml``'s header and the house physics notes): self-biased rows are scored in circuit; a row in
doubt counts at the tolerance its doubt names, else at 12 %; readings recalled by scaling are weak; a figure printed
twice counts half each time.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from firstglow.devices.published import publication, published_types
from firstglow.devices.smooth import DeviceError

What = Literal[
    "plate amps", "screen amps", "cathode amps", "transconductance", "mu", "plate resistance", "gain", "knee amps"
]  # fmt: skip
CURRENTS = ("plate amps", "cathode amps")

CUTOFF_AMPS = 5e-5
"""Currents below this are cut-off rows: they tell grid volts."""
TABLE_SIGMA = 0.035
"""1 sigma of a current in a maker's table [1]: makers round and redraw their averages (tables of one type by two makers
differ by 3 to 10 %)."""
CIRCUIT_SIGMA = 0.035
MEMORY_FACTOR = 1.25
"""Rows recalled and not seen this time weigh 1/1.25^2."""
DOUBT_SIGMA = 0.12
SCREEN_SIGMA = 0.15
"""Screen currents of one type spread far more than its plate currents (house physics notes: 10 to 20 % idle)."""
GM_SIGMA = 0.06
MU_SIGMA = 0.06
GAIN_SIGMA = 0.10
NEXT_GRID = 3.1
"""Following grid leak over plate resistor in Philips' tables (150k, 330k, 680k after 47k, 100k, 220k; from memory)."""
KNEE_SIGMA = 0.15
"""Power is measured with some distortion and the screen volts sag at full drive."""
UNKNOWN_VOLTS_SIGMA = 0.08
"""Where nobody knows whether the printed volts are to the cathode or to chassis (data file header)."""


@dataclass(frozen=True, slots=True)
class Stage:
    """The circuit a self-biased row stood in, for one valve.

    plate_supply, screen_supply [V]; plate_ohms, screen_ohms, cathode_ohms: what one valve's current sees [ohm] (a
    shared resistor counts double for a pair). plate_follows, screen_follows: 1 where the supply is to chassis, so that
    the cathode volts are lost, 0 where the printed volts are to the cathode, 0.5 where nobody knows. tied: screen
    joined to plate.
    """

    plate_supply: float
    cathode_ohms: float
    plate_ohms: float = 0.0
    screen_supply: float = 0.0
    screen_ohms: float = 0.0
    plate_follows: float = 1.0
    screen_follows: float = 1.0
    tied: bool = False


@dataclass(frozen=True, slots=True)
class FitRow:
    """One observation of a section.

    where: "points[3]" or the like, in the data file. plate, screen, grid: volts to the cathode (the start of the solve
    where ``stage`` is given). what, published: the quantity and its printed value (A, S, ohm or 1). sigma: 1 sigma as a
    fraction; grid_sigma: of the printed grid volts [V]. bound: the printed value is the least or the most. tied: screen
    tied to plate (triode or ultralinear idle). over_rating: outside the continuous ratings, where law and valve agree
    but nobody runs it. used: whether the fit sees it; why: the reason for a wide sigma or for leaving it out.
    """

    where: str
    section: str
    what: What
    published: float
    sigma: float
    plate: float
    grid: float
    screen: float
    source: str
    publication: str
    verified: str
    stage: Stage | None = None
    tied: bool = False
    bound: Literal["", "at most", "at least"] = ""
    over_rating: bool = False
    grid_sigma: float = 0.0
    used: bool = True
    why: str = ""


def rows_of(name: str) -> tuple[FitRow, ...]:
    """Every observation of a type, all sections, used or not. ``name`` is the type's name in the data file."""
    table = published_types().get(name)
    if table is None:
        raise DeviceError(f"no published figures for {name}")
    return tuple(_halve_duplicates([*_point_rows(table), *_chart_rows(table), *_operation_rows(table)]))


def twins(name: str) -> Mapping[str, str]:
    """Printed rows that the fit does not take because another row of the file says the same: where -> where it is.

    A resistance-coupled point is its rc_stages row; a self-biased point its typical_ops row; a fixed-bias typical_ops
    row the point at its volts.
    """
    table = published_types()[name]
    points, operations = table.get("points", ()), table.get("typical_ops", ())
    stages = {(r["vb"], r["ra_ohm"], r["rk_ohm"]): i for i, r in enumerate(table.get("rc_stages", ()))}
    found: dict[str, str] = {}
    for i, point in enumerate(points):
        numbers = re.match(r"from (\d+) V, (\d+) ohm, (\d+) ohm row", point.get("note", ""))
        if point["basis"] == "rc_table_derived" and numbers:
            vb, ra, rk = (int(n) for n in numbers.groups())
            found[f"points[{i}]"] = f"rc_stages[{stages[vb, ra, rk]}]"
        elif (twin := _operation_of(point, operations)) is not None:
            found[f"points[{i}]"] = f"typical_ops[{twin}]"
    for i, operation in enumerate(operations):
        if (twin := _point_of(operation, points)) is not None:
            found[f"typical_ops[{i}]"] = f"points[{twin}]"
    return found


def _operation_of(point: Mapping[str, Any], operations: Sequence[Mapping[str, Any]]) -> int | None:
    """Which typical_ops row a self-biased point was derived from."""
    if not point.get("self_biased"):
        return None
    tied = point.get("connection", "pentode") != "pentode" and "vg2" in point
    own = (round(point["ia_mA"] * 1e-3, 5), tied)
    return next((i for i, o in enumerate(operations) if o["bias"] == "cathode" and _operation_key(o) == own), None)


def _point_of(operation: Mapping[str, Any], points: Sequence[Mapping[str, Any]]) -> int | None:
    """Which point says the same as a fixed-bias typical_ops row."""
    if operation["bias"] == "cathode" and "volts_to" in operation:
        return None
    amps, _ = _operation_key(operation)
    at = (operation["va"], operation.get("vg2"), operation.get("vg1"), amps)
    said = [(p["va"], p.get("vg2"), p["vg1"], round(p["ia_mA"] * 1e-3, 5)) for p in points]
    return said.index(at) if at in said else None


def _halve_duplicates(rows: list[FitRow]) -> Iterator[FitRow]:
    """Rows that state the same condition and value count half each (sigma times root 2)."""
    seen: dict[tuple[Any, ...], int] = {}
    for row in rows:
        seen[_same(row)] = seen.get(_same(row), 0) + (1 if row.used else 0)
    for row in rows:
        twins = seen[_same(row)]
        if row.used and twins > 1:
            yield replace(row, sigma=row.sigma * twins**0.5, why=row.why or "printed twice: half weight each")
        else:
            yield row


def _same(row: FitRow) -> tuple[Any, ...]:
    stage = row.stage
    at = (row.plate, row.screen, row.grid) if stage is None else stage
    return (row.section, row.what, row.tied, at, row.published)


def _table_name(point: Mapping[str, Any]) -> str:
    """Which of a maker's tables a row belongs to; rows of one table stand or fall together (see ``published``)."""
    maker = publication(point["source"])
    basis, mode = point.get("basis", ""), point.get("mode", "")
    if "gain" in point or basis == "rc_table_derived":
        return f"{maker}: resistance-coupled stages"
    if point.get("connection", "pentode") == "triode" and "vg2" in point:
        return f"{maker}: triode connection"
    if mode.startswith("push-pull") or (basis == "typical_op_zero_signal" and "270 ohm" not in point["source"]):
        return f"{maker}: push-pull operation"
    if basis == "curve" and "scaling from the table" not in point.get("note", ""):
        return f"{maker}: plate curves"
    return f"{maker}: characteristics"


def _common(point: Mapping[str, Any], where: str) -> dict[str, Any]:
    section = point.get("section") or ("pentode" if "vg2" in point or "rg2_ohm" in point else "triode")
    connection = point.get("connection", "pentode" if section == "pentode" else "triode")
    return {
        "where": where,
        "section": section,
        "source": point["source"],
        "publication": _table_name(point),
        "verified": point["verified"],
        "tied": section == "pentode" and (connection == "triode" or connection.startswith("ultralinear")),
        "over_rating": bool(point.get("over_dissipation") or point.get("over_voltage")),
    }


def _sigma(point: Mapping[str, Any], base: float) -> tuple[float, float, bool, str]:
    """1 sigma (fraction), 1 sigma in grid volts, whether the row is used, and why it is wide or out."""
    sigma = max(base, point.get("tol_pct", 0.0) / 100.0 * 0.7 if point.get("basis") != "cutoff" else base)
    why = ""
    if point["verified"] == "memory":
        sigma *= MEMORY_FACTOR
    if "low weight" in point.get("note", ""):
        sigma, why = max(2.0 * sigma, 0.2), "recalled by scaling: low weight"
    doubt = point.get("doubt", "")
    if not doubt:
        return sigma, 0.0, True, why
    if "do not fit" in doubt:
        return sigma, 0.0, False, doubt
    grid = re.search(r"(\d\.\d) V of grid|grid volts, (\d\.\d) V", doubt)
    if grid:
        return sigma, float(grid[1] or grid[2]), True, doubt
    named = re.search(r"at (\d+) ?%", doubt)
    return max(sigma, float(named[1]) / 100 if named else DOUBT_SIGMA), 0.0, True, doubt


def _point_rows(table: Mapping[str, Any]) -> Iterator[FitRow]:
    for i, point in enumerate(table.get("points", ())):
        if point["basis"] == "rc_table_derived":
            continue  # its stage is scored in circuit
        common = _common(point, f"points[{i}]")
        current = point["ia_mA"] * 1e-3
        if _operation_of(point, table.get("typical_ops", ())) is not None:
            continue  # its typical_ops row is scored in circuit
        volts = {"plate": point["va"], "grid": point["vg1"], "screen": point.get("vg2", 0.0)}
        sigma, grid_sigma, used, why = _sigma(point, TABLE_SIGMA)
        if point["basis"] == "cutoff":
            # a cut-off row states grid volts: 5 % of them (10 % where in doubt), no current tolerance of its own
            grid_sigma = (0.10 if "vg1_doubt" in point or "doubt" in point else 0.05) * abs(point["vg1"])
            sigma = 0.2
        if point.get("bias_approx"):
            grid_sigma, why = 0.05 * abs(point["vg1"]), "grid volts approximate in the publication"
        stage = _self_bias(point)
        row = FitRow(
            what="cathode amps" if common["tied"] else "plate amps",
            published=current if current > 0 else 3e-5,
            bound="" if current > 0 else "at most",
            sigma=sigma,
            grid_sigma=grid_sigma,
            used=used,
            why=why,
            stage=stage,
            **volts,
            **common,
        )
        yield row
        yield from _side_rows(point, row)


def _self_bias(point: Mapping[str, Any]) -> Stage | None:
    """The cathode resistor that a table row's source names, its volts taken to the cathode."""
    ohms = re.search(r"(\d+) ohm cathode resistor", point["source"])
    if ohms is None:
        return None
    tied = point.get("connection") == "triode" and "vg2" in point
    return Stage(point["va"], float(ohms[1]), 0.0, point.get("vg2", 0.0), 0.0, 0.0, 0.0, tied)


def _side_rows(point: Mapping[str, Any], row: FitRow) -> Iterator[FitRow]:
    """Screen current and small-signal figures printed beside a current."""
    memory = MEMORY_FACTOR if row.verified == "memory" else 1.0
    if "ig2_mA" in point:
        wide = "screen current" in row.why
        yield replace(
            row,
            what="screen amps",
            published=point["ig2_mA"] * 1e-3,
            sigma=SCREEN_SIGMA * (2 if wide else 1),
            grid_sigma=0.0,
        )
    doubtful = "gm_doubt" in point or "gm and rp" in row.why or "gm x rp" in row.why
    if "gm_mA_per_V" in point:
        sigma = point.get("gm_tol_pct", 12 if doubtful else 0) / 100
        yield replace(
            row,
            what="transconductance",
            published=point["gm_mA_per_V"] * 1e-3,
            sigma=max(sigma, GM_SIGMA) * memory,
            grid_sigma=0.0,
        )
    if "mu" in point:
        yield replace(
            row, what="mu", published=point["mu"], sigma=MU_SIGMA * memory * (2 if doubtful else 1), grid_sigma=0.0
        )
    elif "rp_ohm" in point and not row.tied and row.section == "pentode":
        yield replace(row, what="plate resistance", published=point["rp_ohm"], sigma=0.53, grid_sigma=0.0)


def _chart_rows(table: Mapping[str, Any]) -> Iterator[FitRow]:
    """Resistance-coupled stages that print a current."""
    for i, stage in enumerate(table.get("rc_stages", ())):
        common = _common(stage, f"rc_stages[{i}]")
        sigma, grid_sigma, used, why = _sigma(stage, CIRCUIT_SIGMA)
        pentode = "rg2_ohm" in stage
        current = stage.get("ia_mA", stage.get("ik_mA")) * 1e-3
        circuit = Stage(
            stage["vb"], stage["rk_ohm"], stage["ra_ohm"], stage["vb"] if pentode else 0.0, stage.get("rg2_ohm", 0.0)
        )
        row = FitRow(
            what="cathode amps" if pentode else "plate amps",
            published=current,
            sigma=sigma,
            grid_sigma=grid_sigma,
            used=used,
            why=why,
            stage=circuit,
            plate=max(0.3 * stage["vb"], stage["vb"] - current * stage["ra_ohm"]),
            grid=-current * stage["rk_ohm"],
            screen=0.4 * stage["vb"] if pentode else 0.0,
            **common,
        )
        yield row
        yield replace(row, what="gain", published=stage["gain"], sigma=GAIN_SIGMA, grid_sigma=0.0, why=why)


def _operation_key(operation: Mapping[str, Any]) -> tuple[float, bool]:
    total = operation.get("ia0_total_mA", operation.get("ik0_total_mA", operation.get("ia0_mA", 0.0)))
    return round(total / operation["n_valves"] * 1e-3, 5), operation["connection"] != "pentode" and "vg2" in operation


def _operation_rows(table: Mapping[str, Any]) -> Iterator[FitRow]:
    """Idle rows of typical operation that points[] does not already hold, and what their power says of the knee."""
    for i, operation in enumerate(table.get("typical_ops", ())):
        yield from _knee_rows(operation, i)
        n = operation["n_valves"]
        plate = operation.get("ia0_mA", operation.get("ia0_total_mA", 0.0) / n)
        cathode = operation.get("ik0_total_mA", 0.0) / n
        if (not plate and not cathode) or _point_of(operation, table.get("points", ())) is not None:
            continue
        self_biased = operation["bias"] == "cathode"
        common = _common(operation, f"typical_ops[{i}]")
        sigma, grid_sigma, used, why = _sigma(operation, CIRCUIT_SIGMA if self_biased else TABLE_SIGMA)
        if "current" in operation.get("doubt", "") and "full" in operation.get("doubt", ""):
            sigma, used, why = TABLE_SIGMA * MEMORY_FACTOR, True, ""
        screen_amps = operation.get("ig20_mA", operation.get("ig20_total_mA", 0.0) / n) * 1e-3
        stage, grid = None, operation.get("vg1", 0.0)
        total = (cathode or plate + (0.0 if common["tied"] else screen_amps * 1e3)) * 1e-3
        if self_biased:
            stage = _operation_stage(operation, total, screen_amps, common["tied"])
            grid = -total * stage.cathode_ohms
            if operation.get("volts_to") == "unknown":
                sigma = max(sigma, UNKNOWN_VOLTS_SIGMA)
                why = why or "volts to cathode or to chassis unknown: 8 %"
        if operation.get("bias_approx"):
            grid_sigma, why = 0.05 * abs(grid), "grid volts approximate in the publication"
        row = FitRow(
            what="cathode amps" if common["tied"] or cathode else "plate amps",
            published=(cathode or plate) * 1e-3,
            sigma=sigma,
            grid_sigma=grid_sigma,
            used=used,
            why=why,
            stage=stage,
            plate=operation["va"],
            grid=grid,
            screen=operation.get("vg2", 0.0),
            **common,
        )
        yield row
        if screen_amps:
            yield replace(row, what="screen amps", published=screen_amps, sigma=SCREEN_SIGMA, grid_sigma=0.0)


def _knee_rows(operation: Mapping[str, Any], i: int) -> Iterator[FitRow]:
    """Push-pull power with the grids driven no further than 0 V.

    The printed watts and load need at least this current at this plate volts, so the knee must lie below them (the data
    file's derived_ figures).
    """
    mode, peak = operation["mode"], operation.get("derived_ia_peak_mA")
    if peak is None or operation["connection"] != "pentode" or "AB2" in mode or "vg2" not in operation:
        return
    yield FitRow(
        what="knee amps",
        published=peak * 1e-3,
        sigma=KNEE_SIGMA,
        bound="at least",
        plate=operation["derived_va_min"],
        grid=0.0,
        screen=operation["vg2"],
        why="computed from power and load",
        **_common(operation, f"typical_ops[{i}]"),
    )


def _operation_stage(operation: Mapping[str, Any], total: float, screen_amps: float, tied: bool) -> Stage:
    n = operation["n_valves"]
    ohms = operation.get("rk_ohm") or operation.get("rk_each_ohm") or n * operation["rk_shared_ohm"]
    screen_ohms = n * operation.get("rg2_shared_ohm", 0.0)
    follows = {"cathode": 0.0, "unknown": 0.5}
    to = operation.get("volts_to", "unknown")
    plate_follows = follows.get(to, 1.0)
    screen_follows = follows.get(operation.get("vg2_volts_to", to), 1.0)
    lift = total * ohms if to == "supply" else 0.0  # va and vg2 of such a row are to the cathode: back to the supply
    return Stage(
        operation["va"] + lift,
        ohms,
        0.0,
        operation.get("vg2", 0.0) + lift + screen_ohms * screen_amps,
        screen_ohms,
        plate_follows,
        screen_follows,
        tied,
    )
