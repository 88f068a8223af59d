"""``firstglow changed FILE PART...``."""

import sys
from collections.abc import Mapping
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING

import click

from firstglow.cli.output import AS, BENCH, FILE, JSON, MAINS, METER, bench_of, print_json, say, volts_of

if TYPE_CHECKING:
    from firstglow.ladder.changed import Changed
    from firstglow.ladder.ladder import Ladder

WIDTH = 79


@click.command()
@FILE
@click.argument("parts", nargs=-1, required=True, metavar="PART...")
@click.option(
    "--before",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The amplifier file as it was, where the drawing changed too.",
)
@AS
@BENCH
@MAINS
@METER
@JSON
def command(
    file: Path, parts: tuple[str, ...], before: Path | None, as_: str, bench: Path | None, mains_now: str | None,
    meter: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Parts were changed: which readings count no longer and are taken again, and which rungs still stand.

    \b
    Example:  firstglow changed examples/b-hazel-four.toml C5
              firstglow changed examples/a-linden-twin.toml "left C4" V3
    """
    from firstglow.amplifier import load
    from firstglow.ladder.changed import changed
    from firstglow.ladder.ladder import build

    if sys.stderr.isatty():
        both = "both ladders, before and after" if before else "the ladder, and what the change moves"
        click.echo(f"Working out {both}: a few seconds.", err=True)
    gear, mains = bench_of(bench), volts_of(mains_now)
    ladder = build(load(file, as_=as_), gear, mains, meter, mode="fast")
    was = build(load(before, as_=as_), gear, mains, meter, mode="fast").expected if before else None
    found = changed(ladder, parts, was)
    if as_json:
        repeat = [{"rung": rung, "readings": list(rows), "why": _why(rows)} for rung, rows in found.by_rung().items()]
        print_json({"repeat": repeat, "stands": list(found.stands)})
        return
    _say(ladder, found, parts)


def _why(rows: Mapping[str, str]) -> str:
    return "; ".join(dict.fromkeys(rows.values()))


def _say(ladder: "Ladder", found: "Changed", parts: tuple[str, ...]) -> None:
    expected = ladder.expected
    titles = {r.id: r.planned.title for r in expected.rungs}
    say(f"{expected.amplifier}: {', '.join(parts)} changed.")
    if not found.repeat:
        say("No reading of this ladder hangs on that: every rung still stands.")
        return
    first = next(iter(found.by_rung()))
    say("\n".join(wrap(f"{len(found.repeat)} readings count no longer. Begin again at {titles[first]}.", WIDTH)))
    numeric = {r.id: len(r.readings) for r in expected.rungs}
    for rung, rows in found.by_rung().items():
        say(f"  {len(rows):3d} of {numeric[rung]:3d}   {titles[rung]}")
    say("What they are, and why:")
    for rung, rows in found.by_rung().items():
        say(f"\n{titles[rung]}")
        for why in dict.fromkeys(rows.values()):
            names = [_what(ladder, name) for name, text in rows.items() if text == why]
            lines = wrap(f"{why}: {'; '.join(names)}", WIDTH - 4)
            say("\n".join(f"  {line}" if n == 0 else f"    {line}" for n, line in enumerate(lines)))
    stand = ", ".join(found.stands) or "none"
    say()
    last = f"Rungs of which no reading moved: {stand}. A rung above one that fell is climbed to again."
    say("\n".join(wrap(last, WIDTH)))


def _what(ladder: "Ladder", name: str) -> str:
    r = ladder.expected.by_id[name].planned
    side = r.channel if r.channel and r.channel != "shared" else ""
    return f"{r.what} ({side})" if side and side not in r.what else r.what
