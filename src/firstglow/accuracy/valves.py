"""Published valve rows, each solved on its bench by a law that has not seen its publication."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from firstglow.accuracy.bench import Solved, either
from firstglow.accuracy.row import AccuracyRow
from firstglow.accuracy.rules import caution_of, current_u, grid_volts_of, other_u
from firstglow.accuracy.stages import BenchStage, gain_of, solve_stage, stage_of, unknown
from firstglow.devices.catalogue import ValveType, type_names, valve_type
from firstglow.devices.fit_blind import fit_blind, publications, used_in_fit
from firstglow.devices.fit_rows import CUTOFF_AMPS, FitRow, rows_of
from firstglow.devices.fit_types import out_of
from firstglow.devices.fit_uncertainty import FLOOR
from firstglow.devices.published import published_types
from firstglow.devices.smooth import DeviceError
from firstglow.solver.frame import Array

KINDS = {
    "plate amps": ("dc amps", "A"), "cathode amps": ("dc amps", "A"), "screen amps": ("dc amps", "A"),
    "gain": ("gain", "1"), "transconductance": ("transconductance", "S"),
}  # fmt: skip
"""What is scored of a row: kind and unit. A row's mu and plate resistance are slopes of the same few figures."""

LONE_SCREEN = "no other publication of the type prints a screen current: the blind law knows only what its kind takes"


def valve_rows(by_maker: bool = False, floor: bool = True) -> Iterator[AccuracyRow]:
    """Every published current, gain and transconductance of every fitted type.

    by_maker: leave out not a maker's one table but all that he printed of the type. floor: with the floor under the laws'
    uncertainties, which these very rows set (``devices.fit_uncertainty``).
    """
    for name in type_names():
        if "points" not in published_types().get(name, {}):
            continue
        rows = [r for r in rows_of(name) if r.what in KINDS]
        left_out = {p.partition(":")[0] if by_maker else p: None for p in publications(name)}
        for publication in left_out:
            mine = [r for r in rows if out_of(r, [publication])]
            try:
                law, blind = fit_blind(name, [publication]), True
            except DeviceError:  # it is the type's only publication with a current: nothing is left to predict it from
                law, blind = valve_type(name), False
            if not floor:
                law = without_floor(law)
            for where in dict.fromkeys(r.where for r in mine):
                lone = blind and not any(
                    r.what == "screen amps" and r.used and r.section == "pentode" and not out_of(r, [publication])
                    for r in rows
                )
                yield from _at(law, blind, [r for r in mine if r.where == where], lone)


def without_floor(valve: ValveType) -> ValveType:
    """The type with what its own fit says of its uncertainty, and nothing added to that."""
    sections = tuple(
        replace(s, law_uncertainty={k: max(v**2 - FLOOR[k] ** 2, 0.0) ** 0.5 for k, v in s.law_uncertainty.items()})
        for s in valve.sections
    )
    return replace(valve, sections=sections)


def raw_row(name: str, where: str) -> Mapping[str, Any]:
    """The facts' own row behind a place such as "points[3]"."""
    table, _, number = where.rstrip("]").partition("[")
    found: Mapping[str, Any] = published_types()[name][table][int(number)]
    return found


def _at(law: ValveType, blind: bool, rows: list[FitRow], lone_screen: bool) -> Iterator[AccuracyRow]:
    """The figures printed at one place, from one solution (two where nobody knows what its volts are to).

    lone_screen: no other publication of the type prints a screen current.
    """
    first = rows[0]
    ways = (0.0, 1.0) if unknown(first.stage) else (None,)
    benches = [stage_of(law, first, way) for way in ways]
    solved = [solve_stage(b) for b in benches]
    for row in rows:
        samples = [_predicted(row, b, s) for b, s in zip(benches, solved, strict=True)]
        value, width = either(samples)
        scored = _scored(row, law, blind, value, width, _slope(row, benches[0], solved[0]))
        if row.what == "screen amps" and lone_screen:
            scored = replace(scored, caution="; ".join(filter(None, (LONE_SCREEN, scored.caution))))
        yield scored


def _predicted(row: FitRow, b: BenchStage, solved: Solved) -> Array:
    part = solved.standing.part(b.name)
    if row.what == "gain":
        return gain_of(b, solved)
    if row.what == "transconductance":
        by = solved.slopes()[b.name]
        return by["plate", "grid"] + (by["screen", "grid"] if row.tied else 0.0)
    if row.what == "cathode amps":
        return np.asarray(part["plate_amps"] + part.get("screen_amps", 0.0))
    return np.asarray(part[row.what.replace(" ", "_")])


def _slope(row: FitRow, b: BenchStage, solved: Solved) -> float:
    """Amps for a volt of grid at a fixed bias [S]."""
    by = solved.slopes()[b.name]
    return float(by["plate", "grid"][0] + (by["screen", "grid"][0] if row.tied else 0.0))


def _scored(row: FitRow, law: ValveType, blind: bool, value: float, width: float, siemens: float) -> AccuracyRow:
    raw = raw_row(law.name, row.where)
    kind, unit = KINDS[row.what]
    pentode = row.section == "pentode"
    scored = not row.bound and row.published > (CUTOFF_AMPS if unit == "A" else 0.0)
    if row.what in ("plate amps", "cathode amps"):
        by_grid = siemens * grid_volts_of(raw) / row.published if row.stage is None else 0.0
        u = float(np.hypot(current_u(raw, unknown(row.stage)), by_grid))
    else:
        u = other_u(raw, row.what, pentode)
    caution = caution_of(raw)
    if not scored:
        kind, caution = "cut-off amps", "a cut-off row states grid volts, not a current to be met"
    circuit = "in circuit" if row.stage is not None else "fixed bias"
    fixed = row.stage is None and unit == "A" and row.what != "screen amps" and scored
    return AccuracyRow(
        case=f"{law.name} {row.where}", source=row.source, condition=_condition(row), what=row.what, kind=kind, unit=unit,
        valve=law.name, published=row.published, published_u=u * row.published if scored else None, predicted=value,
        predicted_u=width, used_in_fit=not blind and used_in_fit(law.name, row.where), verified=row.verified,
        family=f"{'pentode' if pentode else 'triode'} {row.what}, {circuit}" if scored else "cut-off",
        cluster=f"{law.name} / {row.publication}", caution=caution,
        grid_volts=(row.published - value) / siemens if fixed and siemens > 0 else None,
    )  # fmt: skip


def _condition(row: FitRow) -> str:
    s = row.stage
    tied = ", screen on plate" if row.tied else ""
    if s is None:
        screen = f", screen {row.screen:g} V" if row.section == "pentode" and not row.tied else ""
        return f"plate {row.plate:g} V{screen}, grid {row.grid:g} V{tied}"
    to = {0.0: "to cathode", 1.0: "to chassis"}.get(s.plate_follows, "to cathode or chassis, not known")
    ohms = f", {s.plate_ohms:g} ohm plate load" if s.plate_ohms else ""
    screen = (
        f", screen {s.screen_supply:g} V {s.screen_ohms:g} ohm" if row.section == "pentode" and not row.tied else ""
    )
    return f"{s.plate_supply:g} V {to}{ohms}{screen}, {s.cathode_ohms:g} ohm cathode{tied}"
