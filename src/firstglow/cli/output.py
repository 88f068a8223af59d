"""What every verb shares: the options that say how the amplifier stands, and JSON that is always finite."""

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from firstglow.amplifier import Amplifier
    from firstglow.amplifier.bench import Bench
    from firstglow.ladder.spoken import Spoken

Command = Callable[..., Any]
WIDTH = 80

FILE = click.argument("file", type=click.Path(path_type=Path))
AS = click.option(
    "--as", "as_", type=click.Choice(["drawn", "found", "changed"]), default="changed", show_default=True,
    help="Which layers of the file count.",
)  # fmt: skip
BENCH = click.option("--bench", type=click.Path(path_type=Path), default=None, help="Bench file: meters, lamps, dial.")
JSON = click.option("--json", "as_json", is_flag=True, help="One JSON document (see: firstglow schema).")
MAINS = click.option("--mains-now", type=str, default=None, metavar="VOLTS", help="Mains at the socket, read today.")
METER = click.option(
    "--meter",
    type=str,
    default=None,
    metavar="NAME",
    help="What reads: digital, 20k, 1k, or a meter of the bench file.",
)


def situation_options(command: Command) -> Command:
    """``--mains-now --out --lift --pot --fault ...``: one spelling everywhere (FILE.md 4)."""
    for option in reversed(
        [
            MAINS,
            click.option("--out", multiple=True, metavar="V3,V4", help="Valves out of their sockets."),
            click.option("--lift", multiple=True, metavar="LINK", help="Links lifted."),
            click.option("--pot", multiple=True, metavar="P1=0", help="Pot position, 0 to 1."),
            click.option(
                "--fault",
                multiple=True,
                metavar="PART:MODE",
                help="One thing wrong, for instance C5:leaks=500k.",
            ),
            click.option("--load", type=click.Choice(["dummy", "none", "loudspeaker"]), default=None),
            click.option("--lamp", type=str, default=None, metavar="WATTS", help="Limiter lamp in the line."),
            click.option("--open", "switch_open", multiple=True, metavar="SWITCH", help="Switches open (standby)."),
            click.option("--feedback", type=click.Choice(["closed", "open", "test"]), default=None),
            click.option(
                "--test-ohms", type=str, default=None, metavar="OHMS", help="What stands in the loop under test."
            ),
            click.option("--stimulus", type=str, default=None, metavar="VOLTS", help="Generator at the inputs, V rms."),
        ]
    ):
        command = option(command)
    return command


WORDS = "firstglow.words"


def bench_of(path: Path | None) -> "Bench | None":
    """The bench file, where one is named; from here on this verb speaks its words."""
    from firstglow.amplifier import load_bench

    if path is None:
        return None
    bench = load_bench(path)
    speak(bench.words)
    return bench


def speak(words: Mapping[str, str]) -> None:
    """How this verb's texts say things."""
    context = click.get_current_context(silent=True)
    if context is not None:
        context.meta[WORDS] = dict(words)


def spoken() -> "Spoken":
    """The words of the bench that this verb was given; ours without one."""
    from firstglow.ladder.spoken import OURS, Spoken

    context = click.get_current_context(silent=True)
    return Spoken(OURS if context is None else context.meta.get(WORDS, OURS))


def say(text: str = "", *, err: bool = False) -> None:
    """Text on stdout (err: on stderr) in lines of 80 characters: a longer line goes on two spaces further in; a word is never broken (a
    path, or a line to be pasted, stays whole)."""
    from textwrap import wrap

    for line in spoken().said(text).split("\n"):
        if len(line) <= WIDTH:
            click.echo(line, err=err)
            continue
        first = " " * (len(line) - len(line.lstrip()))
        for part in wrap(
            line.lstrip(), WIDTH, initial_indent=first, subsequent_indent=first + "  ", replace_whitespace=False,
            break_long_words=False, break_on_hyphens=False,
        ):  # fmt: skip
            click.echo(part.rstrip(), err=err)


def print_json(document: object) -> None:
    """One JSON document on stdout; NaN and infinities are a bug, never output."""
    click.echo(json.dumps(document, allow_nan=False, ensure_ascii=False, indent=1))


def volts_of(text: str | None) -> float | None:
    """``--mains-now`` as volts. How far from the primary's mark they may be is the ladder's to say, one range for all."""
    if text is None:
        return None
    from math import isfinite

    from firstglow.amplifier.options import SituationError

    try:
        volts = float(text.strip().rstrip("Vv").replace(",", "."))
    except ValueError:
        volts = float("nan")
    if not isfinite(volts) or volts <= 0:
        raise SituationError("--mains-now", f"{text!r} cannot be read", "a value in V, above 0", "--mains-now 230")
    return volts


def mains_of(amplifier: "Amplifier", text: str | None) -> float | None:
    """``--mains-now`` as volts that this primary can live on: the ladder's own range. AmplifierError where it cannot."""
    volts = volts_of(text)
    if volts is not None and amplifier.of_kind("inlet"):
        from firstglow.amplifier.mains_mark import mains_refused
        from firstglow.amplifier.model import AmplifierError

        problem = mains_refused(amplifier, volts)
        if problem is not None:
            raise AmplifierError((problem,))
    return volts
