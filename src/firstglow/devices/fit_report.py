"""What stands behind a valve type's law: every published row beside what the law gives, as figures and as curves."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.devices.catalogue import Section, ValveType, valve_type
from firstglow.devices.fit import Bench, currents, predict, solve_stages
from firstglow.devices.fit_rows import CURRENTS, CUTOFF_AMPS, FitRow, rows_of
from firstglow.devices.published import published_types
from firstglow.devices.rectifier import RectifierLaw
from firstglow.devices.smooth import DeviceError

Array = NDArray[np.float64]
UNITS = {
    "plate amps": "A",
    "screen amps": "A",
    "cathode amps": "A",
    "knee amps": "A",
    "transconductance": "S",
    "plate resistance": "ohm",
}


@dataclass(frozen=True, slots=True)
class FittedRow:
    """One published figure and the law's.

    where: its place in ``data/valves.toml``. what, unit: the quantity. published, fitted: SI. error: fitted over
    published less 1. grid_volts: how many volts of grid would remove the error of a current (None for other figures).
    plate, grid, screen: volts to the cathode, solved where ``in_circuit``. bound: "at most" or "at least" where the
    figure is a limit (error 0 when it is kept).
    used: whether the fit saw it; why: a doubt, or why it is wide or out. verified: "page" or "memory".
    """

    where: str
    what: str
    unit: str
    published: float
    fitted: float
    error: float
    grid_volts: float | None
    plate: float
    grid: float
    screen: float
    in_circuit: bool
    tied: bool
    bound: str
    over_rating: bool
    used: bool
    why: str
    source: str
    publication: str
    verified: str


@dataclass(frozen=True, slots=True)
class SectionReport:
    """One electron path: its catalogue section, its rows, and the median |error| of used figures by quantity.

    medians: "current, fixed bias", "current, in circuit", "screen amps", "transconductance", "mu", "gain" -> fraction.
    """

    kind: str
    section: Section
    rows: tuple[FittedRow, ...]
    medians: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class FitReport:
    """A type's fit. ``of`` is the type whose published figures were fitted (another one for a variant)."""

    valve: ValveType
    of: str
    sections: tuple[SectionReport, ...]


def fit_report(name: str) -> FitReport:
    """The fit report of a type with grids, by any of its designations.

    Raises DeviceError for an unknown type or a rectifier (its law is its printed drop).
    """
    valve = valve_type(name)
    of = valve.variant_of or valve.name
    if "points" not in published_types()[of]:
        raise DeviceError(f"{valve.name} has no grids and no fit report; its law is its printed drop")
    rows = rows_of(of)
    kinds = list(dict.fromkeys(s.kind for s in valve.sections))
    return FitReport(valve, of, tuple(_section_report(valve, k, [r for r in rows if r.section == k]) for k in kinds))


def _section_report(valve: ValveType, kind: str, rows: list[FitRow]) -> SectionReport:
    section = next(s for s in valve.sections if s.kind == kind)
    fitted = tuple(_fitted_rows(section, rows))
    return SectionReport(kind, section, fitted, _medians(fitted))


def _fitted_rows(section: Section, rows: list[FitRow]) -> list[FittedRow]:
    law = section.law
    assert not isinstance(law, RectifierLaw)
    bench = Bench.of(rows)
    volts = bench.volts.copy()
    if bench.staged.size:
        volts[:, bench.staged] = solve_stages(law, bench.stage, volts[:, bench.staged])
    value, fold = predict(law, bench)
    out = []
    for i, row in enumerate(rows):
        error = float(value[i] / row.published - 1.0)
        current = row.what in CURRENTS
        met = (row.bound == "at most" and error <= 0) or (row.bound == "at least" and error >= 0)
        out.append(
            FittedRow(
                where=row.where,
                what=row.what,
                unit=UNITS.get(row.what, "1"),
                published=row.published,
                fitted=float(value[i]),
                error=0.0 if met else error,
                grid_volts=float(-np.log(value[i] / row.published) * fold[i]) if current and not met else None,
                plate=float(volts[0, i]),
                grid=float(volts[1, i]),
                screen=float(volts[2, i]) if section.kind == "pentode" else 0.0,
                in_circuit=row.stage is not None,
                tied=row.tied,
                bound=row.bound,
                over_rating=row.over_rating,
                used=row.used,
                why=row.why,
                source=row.source,
                publication=row.publication,
                verified=row.verified,
            )
        )
    return out


def _medians(rows: tuple[FittedRow, ...]) -> dict[str, float]:
    groups: dict[str, list[float]] = {}
    for row in rows:
        cut_off = row.what in CURRENTS and row.published < CUTOFF_AMPS
        if row.bound or cut_off or not row.used:
            continue
        name = row.what
        if row.what in CURRENTS:
            name = "current, in circuit" if row.in_circuit else "current, fixed bias"
        groups.setdefault(name, []).append(abs(row.error))
    return {name: float(np.median(errors)) for name, errors in groups.items()}


@dataclass(frozen=True, slots=True)
class DropRow:
    """A rectifier's printed drop and the law's: amps of one plate [A], published and fitted [V], error (fitted over
    published less 1), why: a doubt about it, source, verified ("page" or "memory")."""

    amps: float
    published: float
    fitted: float
    error: float
    why: str
    source: str
    verified: str


def drop_report(name: str) -> tuple[DropRow, ...]:
    """Every printed drop of a rectifier valve beside its law's; empty where none is in print.

    Raises DeviceError for an unknown type or a valve with grids.
    """
    valve = valve_type(name)
    law = valve.sections[0].law
    if not isinstance(law, RectifierLaw):
        raise DeviceError(f"{valve.name} is no rectifier; its fit report is fit_report({valve.name!r})")
    rows = []
    for printed in published_types()[valve.variant_of or valve.name]["drop"]:
        amps, volts = printed["i_per_plate_mA"] * 1e-3, float(printed["drop_V"])
        fitted = (amps / law.perveance) ** (2.0 / 3.0)
        why = "; ".join(str(printed[k]) for k in ("doubt", "note") if k in printed)
        rows.append(DropRow(amps, volts, fitted, fitted / volts - 1.0, why, printed["source"], printed["verified"]))
    return tuple(rows)


@dataclass(frozen=True, slots=True)
class DropCurve:
    """Current of one rectifier plate against its drop: volts [V], amps, low and high [A] (volt,), low and high with the
    perveance two of the law's own sigmas off; the printed drops."""

    title: str
    volts: Array
    amps: Array
    low: Array
    high: Array
    drops: tuple[DropRow, ...]


def drop_curve(name: str, steps: int = 120) -> DropCurve:
    """A rectifier's curve to three times its rated dc output (about the pulse's crest), or to its highest printed drop."""
    drops, valve = drop_report(name), valve_type(name)
    section = valve.sections[0]
    assert isinstance(section.law, RectifierLaw)
    most = max([3.0 * section.law.rated_amps, *(1.2 * d.amps for d in drops)])
    volts = np.linspace(
        0.0, max([(most / section.law.perveance) ** (2.0 / 3.0), *(1.2 * d.published for d in drops)]), steps
    )
    off = float(np.exp(2.0 * section.law_uncertainty["perveance"]))
    amps = section.law.perveance * volts**1.5
    return DropCurve(valve.name, volts, amps, amps / off, amps * off, drops)


@dataclass(frozen=True, slots=True)
class PlateCurves:
    """Plate current against plate volts, one curve a grid voltage, with the published points.

    plate: [V] (volt,). grid: [V] (curve,). screen: [V], None for a triode or where the screen is tied to the plate.
    plate_amps, screen_amps: [A] (curve, volt). points: rows on these curves (same screen volts within 1 V).
    """

    title: str
    plate: Array
    grid: Array
    screen: float | None
    plate_amps: Array
    screen_amps: Array
    points: tuple[FittedRow, ...]


def plate_curves(
    name: str,
    kind: str | None = None,
    screen: float | None = None,
    tied: bool = False,
    count: int = 9,
    steps: int = 160,
) -> PlateCurves:
    """Curves over the section's ratings. kind: "triode" or "pentode" (default: the last section, the larger one).

    screen: screen volts of a pentode (default: those of most published points); tied: screen joined to plate, the total
    current drawn. count: curves; steps: plate volts.
    """
    report = fit_report(name)
    found = [s for s in report.sections if kind in (None, s.kind)]
    if not found:
        raise DeviceError(f"{report.valve.name} has no {kind} section; try {report.sections[-1].kind}")
    section = found[-1].section
    rows = [r for r in found[-1].rows if r.what in CURRENTS and (r.tied == tied or section.kind == "triode")]
    pentode = section.kind == "pentode" and not tied
    if pentode and screen is None:
        volts = [float(round(r.screen)) for r in rows] or [min(250.0, section.limits.screen_volts or 250.0)]
        screen = max(sorted(set(volts)), key=volts.count)
    points = tuple(r for r in rows if not pentode or (screen is not None and abs(r.screen - screen) < 1.0))
    law = section.law
    assert not isinstance(law, RectifierLaw)
    top = max([400.0 if pentode else min(section.limits.plate_volts or 300.0, 500.0), *(r.plate for r in points)])
    cutoff = 1.25 * (screen if pentode and screen else 0.8 * top) / float(law.mu)
    grid = np.asarray(0.0 - _round_step(cutoff / (count - 1)) * np.arange(count), dtype=np.float64)
    plate, bias = np.meshgrid(np.linspace(0.0, top, steps), grid)
    ia, ig2, _, _ = currents(law, plate, bias, np.full_like(plate, screen) if pentode else plate)
    # both halves of a double triode have the one law
    title = (
        f"{report.valve.name}, one section" if section.name == "1" else f"{report.valve.name} {section.name}".strip()
    )
    return PlateCurves(title, plate[0], grid, screen if pentode else None, ia + ig2 if tied else ia, ig2, points)


def _round_step(volts: float) -> float:
    """The nearest step a curve sheet would take: 0.5, 1, 2, 2.5, 5 or 10 V and so on."""
    scale = 10.0 ** np.floor(np.log10(volts))
    return float(scale * min((1.0, 2.0, 2.5, 5.0, 10.0), key=lambda m: abs(np.log(m * scale / volts))))
