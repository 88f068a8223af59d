"""``firstglow schema NAME``."""

import click

from firstglow.cli.output import print_json


@click.command()
@click.argument("name", required=False)
def command(name: str | None) -> None:
    """Print the JSON Schema of a command's output, or of the amplifier file.

    \b
    Example:  firstglow schema ladder
    Without a name, the names it takes.
    """
    from firstglow import schemas

    known = schemas.names()
    if name is None:
        click.echo("\n".join(known))
        return
    if name not in known:
        raise click.ClickException(
            f"schema {name}: no such name; one of {', '.join(known)}; try firstglow schema ladder"
        )
    print_json(schemas.load(name))
