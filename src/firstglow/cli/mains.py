"""``firstglow mains FILE``."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstglow.cli.output import AS, FILE, JSON, MAINS, print_json, say, volts_of

if TYPE_CHECKING:
    from firstglow.amplifier import Amplifier
    from firstglow.audit.lamp_choice import Rung
    from firstglow.audit.mains_document import MainsAudit


@click.command()
@FILE
@AS
@MAINS
@click.option("--silicon", is_flag=True, help="As if silicon stood in the HT rectifier valve's place.")
@click.option("--replaced", metavar="TYPE", default=None, help="The rectifier valve that the file's silicon replaced.")
@JSON
def command(file: Path, as_: str, mains_now: str | None, silicon: bool, replaced: str | None, as_json: bool) -> None:
    """Today's mains on this transformer: heaters, HT, ways to bring them down, the fuse, the limiter lamp.

    \b
    Example:  firstglow mains examples/b-hazel-four.toml --mains-now 245
              firstglow mains examples/a-linden-twin.toml --silicon
    Every figure is the whole amplifier solved, each way with its change made.
    """
    from firstglow.amplifier import load
    from firstglow.audit.mains_document import document
    from firstglow.cli.mains_lines import lines

    amplifier = load(file, as_=as_)
    _refuse(amplifier, volts_of(mains_now), replaced)
    drawn = load(file, as_="drawn") if as_ != "drawn" else None
    found = audit_of(amplifier, drawn, volts_of(mains_now), silicon, replaced)
    if as_json:
        print_json(document(found))
        return
    for line in lines(found):
        say(line)


def audit_of(
    amplifier: "Amplifier",
    drawn: "Amplifier | None" = None,
    mains_now: float | None = None,
    silicon: bool = False,
    replaced: str | None = None,
) -> "MainsAudit":
    """All of it. SolveError; ClickException for what no rectifier valve stands in the place of."""
    from firstglow.audit.fuse import fuses
    from firstglow.audit.lamp_choice import lamp_choice
    from firstglow.audit.mains_document import MainsAudit
    from firstglow.audit.mains_heaters import heater_resistors
    from firstglow.audit.mains_now import today
    from firstglow.audit.mains_silicon import behind_silicon
    from firstglow.audit.mains_ways import ways

    at = today(amplifier, mains_now)
    try:
        behind = behind_silicon(amplifier, drawn, mains_now, replaced, silicon)
    except ValueError as error:
        raise click.ClickException(f"--replaced: {error}; a full-wave or half-wave HT supply; try it without") from None
    if silicon and not behind:
        raise click.ClickException("--silicon: no rectifier valve feeds HT here; a file with one; try it without")
    if replaced is not None and not behind:
        raise click.ClickException(
            "--replaced: no silicon feeds HT here; a file with some; try --silicon, or it without"
        )
    return MainsAudit(at, ways(at), heater_resistors(at), behind, fuses(at), lamp_choice(at, _rungs(amplifier, at.now)))


def _rungs(amplifier: "Amplifier", now: float) -> "list[Rung]":
    """The ladder's rungs under power, as the lamp sees them."""
    from firstglow.amplifier.model import AmplifierError
    from firstglow.audit.lamp_choice import Rung
    from firstglow.ladder.answers import SolverPhysics
    from firstglow.ladder.gear import Gear
    from firstglow.ladder.plan import plan

    try:
        planned = plan(amplifier, Gear(now), SolverPhysics(amplifier))
    except AmplifierError:  # no ladder for it: then as it runs
        return []
    return [Rung(r.id, r.title.partition(". ")[2], r.situation) for r in planned if r.situation.mains_volts > 0.0]


def _refuse(amplifier: "Amplifier", volts: float | None, replaced: str | None) -> None:
    """Fragments, mains that no solution is given for, types that are no rectifier valve."""
    from firstglow.amplifier.mains_mark import LEAST_OVER, MOST_SOLVED
    from firstglow.amplifier.model import AmplifierError, Problem
    from firstglow.devices.catalogue import valve_type

    if not amplifier.of_kind("transformer") or not amplifier.of_kind("inlet"):
        told = "a fragment on a bench supply has no mains side"
        remedy = "firstglow standing, which takes fragments"
        raise AmplifierError((Problem(amplifier.file, 1, "amplifier", told, "a whole amplifier", remedy),))
    if volts is not None and not LEAST_OVER <= volts / amplifier.mains_volts <= MOST_SOLVED:
        low, high = LEAST_OVER * amplifier.mains_volts, MOST_SOLVED * amplifier.mains_volts
        told = f"{volts:g} V on a primary marked {amplifier.mains_volts:g} V"
        line = amplifier.lines.get("amplifier.mains", 1)
        remedy = f"--mains-now {amplifier.mains_volts:g}, or the file's mains and primary as they are"
        raise AmplifierError((Problem(amplifier.file, line, "mains", told, f"{low:.0f} to {high:.0f} V", remedy),))
    if replaced is not None and valve_type(replaced).sections[0].kind != "rectifier":
        raise click.ClickException(
            f"--replaced: {replaced} is no rectifier valve; GZ34, 5U4GB, EZ81 ...; try --replaced GZ34"
        )
