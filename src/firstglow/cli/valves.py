"""``firstglow valves [TYPE]``."""

from pathlib import Path
from typing import Any

import click

from firstglow.cli.output import JSON, print_json, say

UNSURE = {"screen": "screen current over plate current"}
"""What of a law an uncertainty is of, where its key alone does not say it."""


@click.command()
@click.argument("type_", metavar="[TYPE]", required=False)
@click.option("--plot", type=click.Path(path_type=Path), metavar="CURVES.svg", help="Draw its plate curves.")
@JSON
def command(type_: str | None, plot: Path | None, as_json: bool) -> None:
    """The valves it knows: fit reports, limits, and curves with the published points on them.

    \b
    Example:  firstglow valves EL84 --plot el84.svg
    """
    from firstglow.devices.catalogue import type_names, valve_type
    from firstglow.devices.smooth import DeviceError

    chosen, without = [], []
    for name in type_names() if type_ is None else [type_]:
        try:
            chosen.append(valve_type(name))
        except DeviceError as error:
            if type_ is not None:
                raise click.ClickException(unknown(type_, str(error))) from None
            without.append(str(error).split(":")[0])
    if plot is not None:
        if type_ is None:
            raise click.ClickException(
                "--plot: no type given; one valve at a time; try firstglow valves EL84 --plot el84.svg"
            )
        plot.write_text(drawing(chosen[0]), encoding="utf-8")
    rows = [row(v, full=type_ is not None) for v in chosen]
    if as_json:
        print_json({"valves": rows})
        return
    for r in rows:
        tell(r, full=type_ is not None)
    if without:
        say(f"published, but with too few figures for a law: {', '.join(without)}")
    if plot is not None:
        say(f"{plot}: plate curves with the published points")


def unknown(name: str, told: str) -> str:
    """``TYPE: found; allowed; try`` from what the catalogue says of a type that it has no law for."""
    found, _, near = told.removeprefix(f"{name}: ").partition("; try ")
    near = near.split(",")[0].split(" ")[0]
    what = found.replace(f" {name}", "") if found.startswith("unknown") else found
    told = what.replace(";", ",")
    return f"{name}: {told}; a type that `firstglow valves` lists; try firstglow valves {near}".rstrip()


def off(p: dict[str, Any]) -> str:
    """By how much the law misses a published figure; "met" for a bound that is kept."""
    return f"{'met':>8}" if p["bound"] and p["error"] == 0.0 else f"{100 * p['error']:+6.1f} %"


def used(p: dict[str, Any]) -> str:
    """Whether the fit saw a row; a row that its maker printed twice counts half each time."""
    if not p["used"]:
        return "no  "
    return "half" if "half weight" in p["why"] else "yes "


def drawing(valve: Any) -> str:
    """A valve's curves as SVG: every kind of section that it has, or a rectifier's drop."""
    from firstglow.devices.fit_report import drop_curve, plate_curves
    from firstglow.sheets.curves import curves_svg, drop_svg

    if "rectifier" in valve.kind:
        return drop_svg(drop_curve(valve.name))
    return curves_svg(*(plate_curves(valve.name, kind) for kind in dict.fromkeys(s.kind for s in valve.sections)))


def row(valve: Any, full: bool) -> dict[str, Any]:
    """One type: what it is, its limits, and (asked for by name) every published figure beside the law's."""
    out: dict[str, Any] = {"type": valve.name, "kind": valve.kind, "base": valve.base, "heating": valve.heating}
    out["sections"] = [
        {
            "name": s.name,
            "kind": s.kind,
            "limits": plain(s.limits) | {"others": dict(s.limits.others)},
            "law": plain(s.law),
            "law_uncertainty": dict(s.law_uncertainty),
            "trusted": {k: list(span) for k, span in s.trusted.items()},
        }
        for s in valve.sections
    ]
    out["notes"] = list(valve.notes)
    if full and "rectifier" in valve.kind:
        from firstglow.devices.fit_report import drop_report

        out["drops"] = [plain(d) for d in drop_report(valve.name)]
    elif full:
        from firstglow.devices.fit_report import fit_report

        report = fit_report(valve.name)
        out["fitted_to"] = report.of
        out["medians"] = {s.kind: dict(s.medians) for s in report.sections}
        out["rows"] = [{"section": s.kind, **plain(r)} for s in report.sections for r in s.rows]
    return out


def spans(trusted: dict[str, list[float]]) -> str:
    """Volts to the cathode and amps of the published rows that the law meets."""
    texts = []
    for what, (low, high) in trusted.items():
        unit, scale = ("mA", 1e3) if what == "amps" else ("V", 1.0)
        texts.append(f"{'cathode' if what == 'amps' else what} {scale * low:g} to {scale * high:g} {unit}")
    return ", ".join(texts)


def plain(thing: Any) -> dict[str, Any]:
    """A frozen record as JSON values; numbers that are not finite as null."""
    from dataclasses import fields
    from math import isfinite

    out: dict[str, Any] = {}
    for f in fields(thing):
        value = getattr(thing, f.name)
        if isinstance(value, bool | str | None):
            out[f.name] = value
        elif isinstance(value, int | float) or hasattr(value, "item"):
            out[f.name] = float(value) if isfinite(float(value)) else None
    return out


def tell(r: dict[str, Any], full: bool) -> None:
    """One type as text."""
    if not full:
        say(f"{r['type']:<9} {r['kind']}")
        return
    say(f"{r['type']}: {r['kind']}, {r['base']}, {r['heating']} heating")
    for s in r["sections"]:
        figures = {k: v for k, v in s["limits"].items() if isinstance(v, float)} | s["limits"]["others"]
        limits = ", ".join(f"{k.replace('_', ' ')} {v:g}" for k, v in figures.items())
        say(f"  {s['kind']} {s['name']}".rstrip())
        say(f"    limits: {limits}")
        sure = ", ".join(
            f"grid {v:.3f} V" if k == "contact" else f"{UNSURE.get(k, k)} {100 * v:.1f} %"
            for k, v in s["law_uncertainty"].items()
        )
        say(f"    the law's own uncertainty (1 sigma): {sure}")
        if s["trusted"]:
            say(f"    may be trusted inside: {spans(s['trusted'])}; outside it is an extrapolation")
    for note in r["notes"]:
        say(f"  note: {note}")
    if "drops" in r:
        say("  printed drops of one plate, the law's beside them" if r["drops"] else "  no drop is in print")
        for d in r["drops"]:
            doubt = f" ({d['why']})" if d["why"] else ""
            say(
                f"    {1e3 * d['amps']:5.0f} mA  {d['published']:5.1f} V published  {d['fitted']:5.1f} V fitted  "
                f"{100 * d['error']:+6.1f} %  {d['source']}{doubt}"
            )
    if "rows" in r:
        say(f"  published figures ({r['fitted_to']}), the law's beside them")
        say("    what               plate  screen    grid   published      fitted   error  used  source")
        for p in r["rows"]:
            say(
                f"    {p['what']:<17} {p['plate']:6.0f}  {p['screen']:6.0f} {p['grid']:7.2f}  {p['published']:10.4g}  "
                f"{p['fitted']:10.4g} {off(p)}  {used(p)}  {p['source']}" + (f" ({p['bound']})" if p["bound"] else "")
            )
