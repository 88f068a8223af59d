"""``firstglow accuracy``."""

from pathlib import Path

import click

from firstglow.cli.output import JSON, print_json, say


@click.command()
@JSON
@click.option("--docs", type=click.Path(path_type=Path), default=None, metavar="FILE", help="Write the accuracy page.")
def command(as_json: bool, docs: Path | None) -> None:
    """How near the predictions come to published figures, row by row (about 20 s).

    \b
    Example:  firstglow accuracy
    """
    from firstglow.accuracy.page import page, terminal
    from firstglow.accuracy.study import document, harder, study

    rows = study()
    if docs is not None:
        docs.write_text(page(rows, harder()), encoding="utf-8")
    if as_json:
        print_json(document(rows))
        return
    for line in terminal(rows):
        say(line)
    if docs is not None:
        say(f"written: {docs}")
