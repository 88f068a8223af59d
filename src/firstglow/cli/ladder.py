"""``firstglow ladder FILE``."""

from pathlib import Path

import click

from firstglow.cli.output import AS, BENCH, FILE, JSON, MAINS, METER, bench_of, print_json, spoken, volts_of


@click.command()
@FILE
@AS
@BENCH
@MAINS
@METER
@click.option("--from", "from_rung", metavar="RUNG", help="First rung to print; bands stay those of the whole ladder.")
@click.option("--to", "to_rung", metavar="RUNG", help="Last rung to print.")
@click.option(
    "--html", type=click.Path(path_type=Path), metavar="SHEET", help="Write the printable sheet to this file."
)
@click.option(
    "--quick", is_flag=True, help="Bands by sensitivities instead of sampling: at once, and a little rougher."
)
@JSON
def command(
    file: Path,
    as_: str,
    bench: Path | None,
    mains_now: str | None,
    meter: str | None,
    from_rung: str | None,
    to_rung: str | None,
    html: Path | None,
    quick: bool,
    as_json: bool,
) -> None:
    """The first power-up of one amplifier: every reading, its band, and when to switch off.

    \b
    Example:  firstglow ladder examples/b-hazel-four.toml --html sheet.html
              firstglow ladder examples/a-linden-twin.toml --mains-now 238 --from 3 --to 4
    """
    from firstglow.amplifier import load
    from firstglow.ladder.ladder import build

    built = build(
        load(file, as_=as_),
        bench_of(bench),
        volts_of(mains_now),
        meter,
        from_rung,
        to_rung,
        mode="fast" if quick else "sampled",
    )
    if html is not None:
        from firstglow.sheets.ladder_sheet import ladder_sheet

        page = ladder_sheet(spoken().document(built.document), built.frame.amplifier.drawing)
        html.write_text(spoken().page(page), encoding="utf-8")
    if as_json:
        print_json(built.document)
    elif html is None:
        from firstglow.sheets.table import ladder_table

        click.echo(spoken().said(ladder_table(built.document)))
    else:
        click.echo(f"{html}: {len(built.document['rungs'])} rungs, ready to print on A4")
