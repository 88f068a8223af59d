"""``firstglow narrow FILE``."""

import re
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from firstglow.cli.output import AS, BENCH, FILE, JSON, MAINS, METER, bench_of, print_json, say, volts_of

if TYPE_CHECKING:
    from firstglow.readings.narrow import Gain

WIDTH = 79
CAUTION = """Unplugged, every capacitor discharged and read below 10 V dc. The few volts ac
come from an isolated low-voltage winding, never from the mains. Read both in
the same minute, on the finest ac range that holds them, hands off the windings."""


@click.command()
@FILE
@AS
@BENCH
@MAINS
@METER
@JSON
def command(file: Path, as_: str, bench: Path | None, mains_now: str | None, meter: str | None, as_json: bool) -> None:
    """Which three measurements, unplugged or at a few volts, would narrow the bands under power most.

    \b
    Example:  firstglow narrow examples/b-hazel-four.toml
    """
    from firstglow.amplifier import load
    from firstglow.ladder.ladder import build
    from firstglow.readings.narrow import as_printed, narrowing

    gear = bench_of(bench)
    ladder = build(load(file, as_=as_), gear, volts_of(mains_now), meter)
    gains = as_printed(narrowing(ladder.sheet), ladder.expected)
    name = ladder.expected.amplifier
    if as_json:
        print_json({"amplifier": name, "digest": ladder.expected.digest, "measurements": [_json(g) for g in gains]})
        return
    if not gains:
        say(f"{name}: nothing that an ohmmeter or a few volts can tell would narrow its bands by much.")
        return
    say(f"{name}: what to measure first, unplugged; best first, each after the last.\n")
    for number, gain in enumerate(gains, 1):
        for line in _said(number, gain):
            say(line)
    say("\nPut what you read in a layer of the file, a figure for each question mark:\n")
    say('[[layer]]\nkind = "measured"')
    for word in dict.fromkeys(g.measurement.word for g in gains):
        text = " ".join(g.measurement.text for g in gains if g.measurement.word == word)
        blank = re.sub(r"\d+(?:\.\d+)?", lambda found: "0" if found[0] == "0" else "?", text)
        click.echo(f'set."{word}" = "{blank}"  # the file: {_short(text)}')
    say(f"\n{CAUTION}")


def _short(text: str) -> str:
    """Figures to four places."""
    return re.sub(r"\d+\.\d+", lambda found: f"{float(found[0]):.4g}", text)


def _said(number: int, gain: "Gain") -> list[str]:
    """One measurement in lines of the screen."""
    count = len(gain.bands)
    texts = [
        gain.measurement.how,
        f"bands under power {100 * gain.narrower:.1f} % narrower on average, {count} clearly so",
    ]
    if gain.bands:
        most = gain.bands[0]
        r, (before, after) = (
            most.reading,
            (f"{most.on.shown(low)} to {most.on.shown(high)}" for low, high in (most.before, most.after)),
        )
        side = f" ({r.channel})" if r.channel and r.channel not in ("shared", r.what) else ""
        texts.append(f"most: {r.what}{side} on rung {r.id.split('/')[0]} ({r.id}): {before} becomes {after}")
    lines = [line for text in texts for line in wrap(text, WIDTH - 4)]
    return [f"{number:>2}. {lines[0]}", *(f"    {line}" for line in lines[1:])]


def _json(gain: "Gain") -> dict[str, Any]:
    m = gain.measurement
    return {
        "what": m.word, "how": m.how, "as_the_file_says": m.text, "narrower": round(gain.narrower, 4),
        "narrows": [
            {"reading": n.reading.id, "from": n.before[1] - n.before[0], "to": n.after[1] - n.after[0]}
            for n in gain.bands
        ],
    }  # fmt: skip
