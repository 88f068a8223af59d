"""``firstglow demo``: an invented amplifier rehearsed with one fault hidden in it. Non-interactive, always the same."""

from importlib.resources import files
from typing import TYPE_CHECKING, Any

import click

from firstglow.cli.output import JSON, print_json, say

if TYPE_CHECKING:
    from firstglow.amplifier import Amplifier
    from firstglow.ladder.careful import Outcome
    from firstglow.ladder.ladder import Ladder

SEED = 3
PART, MODE, OHMS = "C5", "leaks", 6e7
KEY_READINGS = (
    "2b/V1 heater pin to pin/shared",
    "2b/HT1 leg 1/shared",
    "4/HT1 after 10 min/shared",
    "4/V2 grid/shared",
    "5/HT1/shared",
    "5/V1 plate/shared",
    "6/V2 cathode lamp out/shared",
    "6/V2 plate/shared",
)


def demo_amplifier() -> "Amplifier":
    """The invented scenario in the package."""
    from firstglow.amplifier import load

    return load(files("firstglow.ladder").joinpath("data/rowan-three.toml").read_text(encoding="utf-8"))


def rehearsed() -> "tuple[Ladder, Outcome]":
    """The ladder of the invented amplifier, and how a careful person climbed it with the fault in."""
    from firstglow.amplifier import Fault
    from firstglow.ladder.careful import Careful, Clock
    from firstglow.ladder.climb import Climb
    from firstglow.ladder.ladder import build
    from firstglow.ladder.virtual import Virtual
    from firstglow.records.store import MemoryStore

    ladder = build(demo_amplifier(), mode="fast")
    clock = Clock()
    climb = Climb(ladder, MemoryStore(), clock=clock, ahead=False)
    climb.begin(rehearsal=True, seed=SEED)
    return ladder, Careful(climb, Virtual(ladder, [Fault(PART, MODE, OHMS)], SEED), clock).run()


def document(ladder: "Ladder", outcome: "Outcome") -> dict[str, Any]:
    """The demo as JSON: what was hidden, every reading taken, where it stopped."""
    events = [
        {"rung": t.reading.rung, "reading": t.reading.id, "value": t.text, "verdict": t.verdict.verdict}
        for t in outcome.taken
    ]
    return {
        "amplifier": demo_amplifier().name,
        "seed": SEED,
        "fault": f"{PART}:{MODE}={OHMS:g}",
        "stopped_at": outcome.stopped_at.reading.id if outcome.stopped_at else None,
        "events": events,
    }


@click.command()
@JSON
def command(as_json: bool) -> None:
    """An invented amplifier climbed with one hidden fault: see what firstglow does in fifteen seconds.

    \b
    Example:  firstglow demo
    """
    from firstglow.cli.rehearse import told
    from firstglow.sheets.rows import expect_text, stop_text

    ladder, outcome = rehearsed()
    if as_json:
        print_json(document(ladder, outcome))
        return
    say(f"{demo_amplifier().name} is invented: sixteen lines of text say what stands on the bench.")
    say("From them: every reading of its first power-up, its band, when to switch off.")
    say("A virtual one is climbed here, its meter with errors, one fault hidden in it.\n")
    climbed = ladder.document
    rungs = len(climbed["rungs"])
    count = sum(len(r["readings"]) for r in climbed["rungs"])
    say(f"The ladder: {rungs} rungs, {count} readings at {climbed['mains']:g} V mains. Some of its numbers:\n")
    for rung in climbed["rungs"]:
        chosen = [r for r in rung["readings"] if r["id"] in KEY_READINGS]
        if chosen:
            say(f"  {rung['title']}")
        for r in chosen:
            figure, band = expect_text(r)
            band = band.replace(f" {r['unit']}  to  ", " to ").replace("  to  ", " to ")
            stop = stop_text(r).split(";")[0]
            say(f"    {r['what']:<36} {figure:>9}   {band}".rstrip())
            if stop:
                say(f"      stop {stop}")
    say("\nThe climb:\n")
    for line in told(ladder, outcome):
        say(line)
    say("    Off, plug out, made safe: the output valve was never at risk.\n")
    say(f"What was hidden: {PART}, the coupling capacitor, leaks {OHMS / 1e6:g} MΩ: good to an ohmmeter.")
    say("High voltage kills. Nothing here says a chassis may be touched: follow local codes.")
