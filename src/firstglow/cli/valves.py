"""``firstglow valves [TYPE]``."""

from pathlib import Path
from typing import Any

import click

from firstglow.cli.output import JSON, print_json


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
                raise
            without.append(str(error).split(":")[0])
    if plot is not None:
        if type_ is None:
            raise click.ClickException(
                "--plot: no type given; one valve at a time; try firstglow valves EL84 --plot el84.svg"
            )
        from firstglow.devices.fit_report import plate_curves
        from firstglow.sheets.curves import curves_svg

        plot.write_text(curves_svg(plate_curves(type_)), encoding="utf-8")
    rows = [row(v, full=type_ is not None) for v in chosen]
    if as_json:
        print_json({"valves": rows})
        return
    for r in rows:
        tell(r, full=type_ is not None)
    if without:
        click.echo(f"published, but with too few figures for a law: {', '.join(without)}")
    if plot is not None:
        click.echo(f"{plot}: plate curves with the published points")


def row(valve: Any, full: bool) -> dict[str, Any]:
    """One type: what it is, its limits, and (asked for by name) every published figure beside the law's."""
    out: dict[str, Any] = {"type": valve.name, "kind": valve.kind, "base": valve.base, "heating": valve.heating}
    out["sections"] = [
        {
            "name": s.name,
            "kind": s.kind,
            "limits": plain(s.limits),
            "law": plain(s.law),
            "law_uncertainty": dict(s.law_uncertainty),
        }
        for s in valve.sections
    ]
    if full and valve.kind != "rectifier" and "rectifier" not in valve.kind:
        from firstglow.devices.fit_report import fit_report

        report = fit_report(valve.name)
        out["fitted_to"] = report.of
        out["medians"] = {s.kind: dict(s.medians) for s in report.sections}
        out["rows"] = [{"section": s.kind, **plain(r)} for s in report.sections for r in s.rows]
    return out


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
        click.echo(f"{r['type']:<9} {r['kind']}")
        return
    click.echo(f"{r['type']}: {r['kind']}, {r['base']}, {r['heating']} heating")
    for s in r["sections"]:
        limits = ", ".join(f"{k.replace('_', ' ')} {v:g}" for k, v in s["limits"].items() if isinstance(v, float))
        click.echo(f"  {s['kind']} {s['name']}".rstrip())
        click.echo(f"    limits: {limits}")
        sure = ", ".join(
            f"{k} {100 * v:.1f} %" if k != "contact" else f"grid {v:.3f} V" for k, v in s["law_uncertainty"].items()
        )
        click.echo(f"    the law's own uncertainty (1 sigma): {sure}")
    if "rows" in r:
        click.echo(f"  published figures ({r['fitted_to']}), the law's beside them")
        click.echo("    what               plate  screen    grid   published      fitted   error  used  source")
        for p in r["rows"]:
            click.echo(
                f"    {p['what']:<17} {p['plate']:6.0f}  {p['screen']:6.0f} {p['grid']:7.2f}  {p['published']:10.4g}  "
                f"{p['fitted']:10.4g} {100 * p['error']:+6.1f} %  {'yes ' if p['used'] else 'no  '}  {p['source']}"
            )
