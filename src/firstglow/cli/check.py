"""``firstglow check FILE``."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstglow.cli.output import AS, FILE, JSON, print_json

if TYPE_CHECKING:
    from firstglow.amplifier.model import Amplifier


@click.command()
@FILE
@AS
@JSON
def command(file: Path, as_: str, as_json: bool) -> None:
    """Every mistake in an amplifier file, every part that the drawing asks too much of, and every default that stands
    in for what the file does not say.

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
            print_json({"problems": rows, "defaults": [], "findings": []})
            raise click.exceptions.Exit(2) from None
        raise
    findings = asked_too_much(amplifier)
    defaults = [{"part": d.part, "what": d.what, "value": d.value, "spread": d.spread} for d in amplifier.defaults]
    if as_json:
        print_json({"problems": [], "defaults": defaults, "findings": findings})
        return
    click.echo(f"{amplifier.name}: no mistakes found in {file}")
    click.echo(f"{len(amplifier.parts)} parts, {len(amplifier.joints)} joints, layers: {', '.join(amplifier.layers)}")
    for text in findings:
        click.echo(text)
    if defaults:
        click.echo("Not said in the file, so taken as (a measured value narrows every band that leans on it):")
        width = max(len(d["part"]) for d in defaults)
        for d in defaults:
            click.echo(f"  {d['part']:<{width}}  {d['what']}: {d['value']}  ({d['spread']})")


def asked_too_much(amplifier: "Amplifier") -> list[str]:
    """Parts past their ratings as drawn, and capacitors that full mains would be too much for; one line each."""
    from firstglow.ladder.answers import SolverPhysics
    from firstglow.ladder.gear import Gear
    from firstglow.ladder.overloads import overloads
    from firstglow.ladder.plan import frame_of
    from firstglow.solver.standing import SolveError

    physics = SolverPhysics(amplifier)
    try:
        found = overloads(amplifier, physics)
        if amplifier.of_kind("transformer"):
            return list(frame_of(amplifier, Gear(amplifier.mains_volts), physics, found).findings)
    except SolveError as error:
        return [f"As drawn it would not settle around {error.joint}: check the values of the parts there."]
    return [o.text for o in found]
