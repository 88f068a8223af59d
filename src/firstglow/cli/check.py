"""``firstglow check FILE``."""

from pathlib import Path

import click

from firstglow.cli.output import AS, FILE, JSON, print_json


@click.command()
@FILE
@AS
@JSON
def command(file: Path, as_: str, as_json: bool) -> None:
    """Every mistake in an amplifier file, and every default that stands in for what it does not say.

    \b
    Example:  firstglow check examples/b-*.toml
    """
    from firstglow.amplifier import AmplifierError, load

    try:
        amplifier = load(file, as_=as_)
    except AmplifierError as error:
        if as_json:
            fields = ("file", "line", "part", "found", "allowed", "remedy")
            rows = [{f: getattr(p, f) for f in fields} for p in error.problems]
            print_json({"problems": rows, "defaults": []})
            raise click.exceptions.Exit(2) from None
        raise
    defaults = [{"part": d.part, "what": d.what, "value": d.value, "spread": d.spread} for d in amplifier.defaults]
    if as_json:
        print_json({"problems": [], "defaults": defaults})
        return
    click.echo(f"{amplifier.name}: no mistakes found in {file}")
    click.echo(f"{len(amplifier.parts)} parts, {len(amplifier.joints)} joints, layers: {', '.join(amplifier.layers)}")
    if defaults:
        click.echo("Not said in the file, so taken as (a measured value narrows every band that leans on it):")
        width = max(len(d["part"]) for d in defaults)
        for d in defaults:
            click.echo(f"  {d['part']:<{width}}  {d['what']}: {d['value']}  ({d['spread']})")
