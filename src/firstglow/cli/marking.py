"""``firstglow marking TEXT...``."""

from typing import Any

import click

from firstglow.cli.output import JSON, print_json, say


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("text", nargs=-1, required=True)
@click.option("--of", type=click.Choice(["resistor", "capacitor", "inductor"]), help="Which part bears it.")
@click.option(
    "--as", "layout", type=click.Choice(["bands", "dots", "tubular", "body-tip-spot"]), default="bands",
    show_default=True, help="How colours are laid: mica dots, moulded paper, pre-war resistors.",
)  # fmt: skip
@click.option("--write", is_flag=True, help="The other way: from a value to bands and codes.")
@JSON
def command(text: tuple[str, ...], of: str | None, layout: str, write: bool, as_json: bool) -> None:
    """What a part's marking means: colours, letter and figure codes, old ones; and back.

    \b
    Example:  firstglow marking yellow violet orange gold
    Also:     firstglow marking 104K
              firstglow marking 0.02 MFD 600 V
              firstglow marking T315mAL250V
              firstglow marking --as dots black green brown red yellow black
              firstglow marking --write 4.7k 5%
              firstglow marking --write 0.02uF 20% 600V
    Dots: arrow to the right, top row first. A marking with more meanings than
    one is asked about, never guessed.
    """
    from firstglow.markings.fuses import read_fuse
    from firstglow.markings.read import read

    fuse = read_fuse(" ".join(text)) if of is None else None
    if fuse is not None:
        first, *rest = fuse.shown()
        if as_json:
            print_json({"meanings": [], "ask": None, "fuse": fuse.row()})
            return
        for line in (first, *(f"  {line}" for line in rest)):
            say(line)
        return
    found = read(" ".join(text), of, layout)
    document = found.document()
    if write:
        document["meanings"] = [
            m.row()
            | {"marks": [{"kind": k.kind, "text": k.text, "as": k.layout} for k in marked(m, len(found.meanings))]}
            for m in found.meanings
        ]
    if as_json:
        print_json(document)
        return
    for row in document["meanings"]:  # type: ignore[attr-defined]
        tell(row)
    if found.ask:
        say(f"ask: {found.ask}")


def marked(meaning: Any, of_how_many: int) -> Any:
    """The marks of a meaning; where there are more meanings, one without marks is no mistake."""
    from firstglow.markings.series import MarkingError
    from firstglow.markings.write import marks_of

    try:
        return marks_of(meaning)
    except MarkingError:
        if of_how_many == 1:
            raise
        return ()


def tell(row: dict[str, Any]) -> None:
    """One meaning: the value in every unit, its band, its marks, what to beware of."""
    first, *rest = row["shown"]
    say(f"{row['of']}: {first}")
    for line in rest:
        say(f"  {line}")
    for mark in row.get("marks", ()):
        say(f"  {mark['kind']}: {mark['text']}{'' if mark['as'] == 'bands' else ' (--as ' + mark['as'] + ')'}")
    say(f"  read as: {row['how']}")
