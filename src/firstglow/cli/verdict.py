"""``firstglow verdict FILE --readings R``."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstglow.cli.output import AS, BENCH, FILE, JSON, MAINS, METER, bench_of, print_json, say, volts_of

if TYPE_CHECKING:
    from firstglow.readings.taken import TakenFile

SHOWN = 12  # unread readings named one by one
MANY = 12  # rows: with more, good ones are a line each
STOPS = 6  # stops named in the last line
SIGNS = {"go on": "✓", "look first": "?", "switch off now": "✗", "note only": "·"}


@click.command()
@FILE
@click.option("--readings", type=click.Path(path_type=Path), required=True, help="Readings file (TOML).")
@AS
@BENCH
@MAINS
@METER
@JSON
def command(
    file: Path, readings: Path, as_: str, bench: Path | None, mains_now: str | None, meter: str | None, as_json: bool
) -> None:
    """What your readings mean: go on, look first, or switch off now.

    \b
    Example:  firstglow verdict examples/b-hazel-four.toml --readings today.toml
    A readings file:
        mains = 228
        [readings]
        "4/HT1 after 10 min/shared" = "360"
        "5/V1 cathode/shared" = { value = "2.6", mains = 229 }
    The names stand under each reading of `firstglow ladder` and of the printed sheet.
    """
    from firstglow.amplifier import load
    from firstglow.ladder.ladder import build
    from firstglow.ladder.slipped import file_judged
    from firstglow.readings.charts import side_by_side
    from firstglow.readings.meters import ReadingsError, meter_from_table
    from firstglow.readings.slips import alone
    from firstglow.readings.taken import read_taken
    from firstglow.sheets.climb_screen import called

    gear = bench_of(bench)
    meters = {n: meter_from_table(n, t, gear.file) for n, t in gear.meters.items()} if gear else None
    taken = read_taken(readings, meters, later=True)
    mains = volts_of(mains_now)
    ladder = build(load(file, as_=as_), gear, mains if mains is not None else taken.mains, meter or taken.one_meter)
    try:
        told = file_judged(ladder, taken)
    except ReadingsError as error:
        if as_json:
            raise
        for line in str(error).splitlines():  # what its other rows mean stands in it: to be read, not only found
            say(line, err=True)
        sys.exit(2)
    charts = {r["id"]: r["charts"] for rung in ladder.document["rungs"] for r in rung["readings"] if r.get("charts")}
    if as_json:
        made = told.json()
        made["verdicts"] = [{**v, "charts": charts[v["id"]]} if v["id"] in charts else v for v in made["verdicts"]]
        print_json(made)
        return
    if told.ahead:  # before any GO ON that could be followed
        say(f"{told.ahead}.")
    if for_meter := _judged_for(told.meter, next(iter(meters or {}), "digital"), taken):
        say(for_meter)
    usual = (gear.mains_now if gear else None) or ladder.frame.amplifier.mains_volts
    if ladder.expected.mains != usual:
        say(
            f"Judged at your {ladder.expected.mains:g} V of mains: bands and stops are those of a sheet made with "
            f"--mains-now {ladder.expected.mains:g}, not of one for {usual:g} V."
        )
    if any(v.id in charts for v in told.verdicts):
        say(
            "Where a chart has the reading: chart against expected questions the drawing, expected against read the amplifier."
        )
    stops = [v for v in told.verdicts if v.verdict == "switch off now"]
    halted = bool(stops or told.ahead)  # nobody goes on: a good figure is only said to be one
    brief = len(told.verdicts) > MANY or any(v.verdict in ("look first", "switch off now") for v in told.verdicts)
    for v in [*stops, *(v for v in told.verdicts if v not in stops)]:
        word = called(v.verdict, on=ladder.expected.by_id[v.id].planned.under_power)
        word = "AS EXPECTED" if halted and v.verdict == "go on" else word
        say(f"{SIGNS[v.verdict]} {word:<15} {v.id} = {v.value}")
        if not (brief and v.verdict == "go on"):
            say(f"    {alone(v.why, v.slips)}")
        for line in side_by_side(charts.get(v.id, ()), ladder.expected.by_id[v.id], v.compared):
            say(f"    {line}")
        checks = [f"check first: {text}" for text in v.check_first]
        slips = [f"a slip? {one.text}" for one in v.slips]
        for text in (*slips, *checks) if v.innocent else (*checks, *slips):
            say(f"    {text}")
    if told.unread:
        rung = told.unread[0].split("/")[0]
        names = [name for name in dict.fromkeys(told.unread) if name.split("/")[0] == rung]
        say(f"Still to read before the gate of rung {rung}: {len(names)}")
        for name in names[:SHOWN]:
            say(f"    {name}")
        if len(names) > SHOWN:
            say(f"    and {len(names) - SHOWN} more: firstglow ladder {file} --from {rung} --to {rung}")
    if stops:  # the last line that is read says it too
        say(_stopped([v.id for v in stops], on=any(ladder.expected.by_id[v.id].planned.under_power for v in stops)))
    else:
        say(f"Passed to: {told.passed_to or 'no rung yet'}")


def _stopped(names: list[str], *, on: bool) -> str:
    """What halts, each by its name, and what to do. on: under power."""
    more = len(names) - STOPS
    named = ", ".join(names[:STOPS]) + (f" and {more} more, above" if more > 0 else "")
    if on:
        return f"SWITCH OFF NOW: {named}. Off, plug out, make safe before anything else."
    return f"DO NOT GO ON: {named}. Plug out, and it stays out until that is right."


def _judged_for(meter: str, usual: str, taken: "TakenFile") -> str:
    """Which meter's sheet it is judged by, and what becomes of a figure of another one; "" where all is of the usual one."""
    others = dict.fromkeys(row.meter or taken.meter or meter for row in taken.readings)
    named = [name for name in others if name != meter]
    if meter == usual and not named:
        return ""
    text = f"Judged for the meter {meter}: bands and stops are those of a sheet made with --meter {meter}."
    if named:
        text += f" What {' and '.join(named)} read is brought to it, and held to the tighter stop where its range is not said."
    return text
