"""``firstglow demo``: an invented amplifier rehearsed with one fault hidden in it. Non-interactive, always the same."""

import click

from firstglow.cli.output import JSON, print_json

SEED = 3
PART, MODE, OHMS = "C5", "leaks", 6e7
SIGNS = {"go on": "✓", "look first": "?", "switch off now": "✗"}
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


@click.command()
@JSON
def command(as_json: bool) -> None:
    """An invented amplifier climbed with one hidden fault: see what firstglow does in fifteen seconds.

    \b
    Example:  firstglow demo
    """
    from firstglow.amplifier import Fault
    from firstglow.ladder.ladder import build
    from firstglow.ladder.rehearsal import demo_amplifier, rehearse
    from firstglow.sheets.rows import expect_text, stop_text

    amplifier = demo_amplifier()
    ladder = build(amplifier, mode="fast")
    climbed = rehearse(ladder, [Fault(PART, MODE, OHMS)], SEED)
    if as_json:
        events = [
            {"rung": e.rung, "reading": e.reading, "value": e.shown, "verdict": e.verdict} for e in climbed.events
        ]
        print_json(
            {
                "amplifier": amplifier.name,
                "seed": SEED,
                "fault": f"{PART}:{MODE}={OHMS:g}",
                "stopped_at": climbed.stopped_at,
                "events": events,
            }
        )
        return
    click.echo(f"{amplifier.name}, an invented amplifier: sixteen lines of text say what stands on the bench.")
    click.echo(
        "From them firstglow derives every reading of its first power-up, with a band and a value to switch off at."
    )
    click.echo("Here a virtual one is climbed: a meter with its own errors, and one fault hidden in it.\n")
    document = ladder.document
    rungs = len(document["rungs"])
    count = sum(len(r["readings"]) for r in document["rungs"])
    click.echo(f"The ladder: {rungs} rungs, {count} readings at {document['mains']:g} V mains. Some of its numbers:\n")
    for rung in document["rungs"]:
        chosen = [r for r in rung["readings"] if r["id"] in KEY_READINGS]
        if chosen:
            click.echo(f"  {rung['title']}")
        for r in chosen:
            figure, band = expect_text(r)
            band = band.replace(f" {r['unit']}  to  ", " to ")
            stop = stop_text(r).split(";")[0]
            click.echo(f"    {r['what']:<33}{figure:>9}  {band:<18}  {'stop ' + stop if stop else ''}".rstrip())
    click.echo("\nThe climb:\n")
    last = None
    for rung in document["rungs"]:
        taken = [e for e in climbed.events if e.rung == rung["id"]]
        good = [e for e in taken if e.verdict == "go on"]
        if taken:
            click.echo(
                f"  {rung['title']}: {len(good)} readings, go on" + ("" if len(good) == len(taken) else ", then")
            )
        last = next((e for e in taken if e.verdict != "go on"), last)
    if last is not None:
        told = f"{last.what} reads {last.shown}, expected {last.expected}"
        click.echo(f"\n  {SIGNS[last.verdict]} {last.verdict.upper()}: {told}")
        for text in last.check_first:
            click.echo(f"    check first: {text}")
        click.echo("    Off, plug out, make safe: the output valves were never at risk.\n")
    click.echo(
        f"What was hidden: {PART}, the coupling capacitor, leaks {OHMS / 1e6:g} MΩ. An ohmmeter calls that good."
    )
    click.echo("High voltage kills. Nothing here says a chassis may be touched: local codes, licensed practice.")
