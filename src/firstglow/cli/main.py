"""The command line's front door: finds the verb, turns the rooms' errors into one line each and an exit code.

Exit codes (CONTRACTS.md): 0 answered, 2 bad input, 3 would not settle.
"""

import importlib
import os
import sys

import click

# The matrices here are small, and the ladder forks by itself: a linear-algebra library's own threads only wait for each
# other (measured on two busy cores: the ladder 1.25 times, a climb 5 times slower with them). Read when numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("MKL_NUM_THREADS", "1")

VERBS = {
    "demo": "An invented amplifier climbed with one hidden fault: see what firstglow does in fifteen seconds.",
    "ladder": "The first power-up of one amplifier: every reading, its band, and when to switch off.",
    "climb": "The first power-up, one reading at a time: where the probe goes, what it must be, what it means.",
    "rehearse": "The climb with a virtual amplifier and meter, a fault hidden in it or none.",
    "check": "Every mistake in an amplifier file, and every default that stands in for what it does not say.",
    "changed": "Parts were changed: which readings count no longer, and which rungs still stand.",
    "narrow": "Which three measurements before any power would narrow the bands most.",
    "windings": "From a bundle of unknown leads to the transformer's line of the file, one reading at a time.",
    "standing": "All volts and currents of the amplifier as it stands, in any situation or fault.",
    "parts": "Are the parts fit? The worst stress of each beside its rating, and what to fit instead.",
    "incoming": "Parts before they are fitted: leakage, values, likeness, what a healthy valve draws.",
    "mains": "Today's mains: heaters, HT, ways to bring them down, the fuse, the limiter lamp.",
    "start": "A cold start over seconds: how high HT goes, bias or current first, off and on again.",
    "reform": "An old electrolytic brought back: steps of volts, go on, give up.",
    "discharge": "What stays charged after switch-off, how long, and what a bleeder would change.",
    "bias": "The negative bias supply designed again: ranges, idles, an open wiper, all solved.",
    "verdict": "What your readings mean: go on, look first, or switch off now.",
    "marking": "What a part's marking means: colours, letter and figure codes, old ones; and back.",
    "valves": "The valves it knows: fit reports, limits, and curves with the published points on them.",
    "accuracy": "How near the predictions come to published figures, row by row.",
    "schema": "The JSON Schema of a command's output or of the amplifier file.",
}


_BAD_INPUT = {
    "BenchError",
    "ReadingsError",
    "DeviceError",
    "QuantityError",
    "SituationError",
    "RecordsError",
    "WindingsError",
    "MarkingError",
}
_TYPED = ("--", "PART: ")
"""How a line begins that is about what was typed, not about a file: it is told as the option parser's own are."""


class Verbs(click.Group):
    """Loads a verb's module only when it is asked for, so that ``--help`` is immediate."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All verbs, in the order a newcomer meets them."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The verb's command, imported now."""
        if cmd_name not in VERBS:
            return None
        command: click.Command = importlib.import_module(f"firstglow.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the verbs from the table above, without importing any of them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(VERBS.items()))


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="firstglow")
def main() -> None:
    """From one file that describes a valve amplifier: what every meter reading must be at its first power-up.

    \b
    Start with:   firstglow demo
    Then:         firstglow ladder examples/b-*.toml

    High voltage kills. firstglow never says that a chassis may be touched; follow local codes and have
    mains work done or checked by someone licensed for it.
    """


def run() -> None:
    """Entry point: run a verb, and say what went wrong in one line each."""
    try:
        # an Exit's code comes back as a value here (click's documentation)
        code = main(prog_name="firstglow", standalone_mode=False)
        if isinstance(code, int):
            sys.exit(code)
    except click.exceptions.Abort:
        sys.exit(2)
    except click.ClickException as error:
        from firstglow.cli.refused import refused

        fail([refused(error)], 2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    except Exception as error:
        code, lines = told(error)
        if code is None:
            raise
        fail(lines, code)


def told(error: Exception) -> tuple[int | None, list[str]]:
    """Exit code and lines for the errors that the rooms raise on purpose; (None, []) for a bug of ours."""
    name = type(error).__name__
    if name == "AmplifierError":
        return 2, str(error).splitlines()
    if name in _BAD_INPUT:
        lines = str(error).splitlines()
        return 2, [f"firstglow: {line}" if line.startswith(_TYPED) else line for line in lines]
    if name == "SolveError":
        return 3, str(error).splitlines()
    if isinstance(error, OSError):
        return 2, [
            f"{error.filename or 'firstglow'}: {error.strerror or error}; one that can be read (or written); try another path"
        ]
    return None, []


def fail(lines: list[str], code: int) -> None:
    """Print each line on stderr and leave."""
    for line in lines:
        click.echo(line, err=True)
    sys.exit(code)
