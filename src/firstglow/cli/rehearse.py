"""``firstglow rehearse FILE``: the climb with no high voltage."""

import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from firstglow.cli.output import AS, BENCH, FILE, MAINS, METER, bench_of, spoken, volts_of

if TYPE_CHECKING:
    from firstglow.amplifier import Amplifier, Fault
    from firstglow.cli.talk import Said, Screen, Talk
    from firstglow.ladder.careful import Careful, Outcome, Taken
    from firstglow.ladder.ladder import Ladder
    from firstglow.readings.expected import ExpectedReading
    from firstglow.records.record import Record

WIDTH = 79
HIDDEN = "hidden"
REAL = "The real one has high voltage in it: local codes, licensed practice."
NOTE = "REHEARSAL: no high voltage here; time runs on by itself where you wait."


@click.command()
@FILE
@click.option("--fault", metavar="hidden|PART:MODE", help="What is wrong with it: something hidden, or C5:leaks=500k.")
@click.option("--seed", type=int, default=1, show_default=True, help="Which amplifier of the spread, which fault.")
@click.option("--auto", is_flag=True, help="A careful person climbs; nothing is asked.")
@click.option(
    "--quick/--sampled", default=None,
    help="Bands by sensitivities, which do not learn (default with --auto), or by sampling.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="One event a line on stdout, answers a line each on stdin.")
@AS
@BENCH
@MAINS
@METER
def command(
    file: Path, fault: str | None, seed: int, auto: bool, quick: bool | None, as_json: bool, as_: str, bench: Path | None,
    mains_now: str | None, meter: str | None,
) -> None:  # fmt: skip
    """The climb with a virtual amplifier and a virtual meter: one drawn from the spreads, with a fault in it or none.

    \b
    Example:  firstglow rehearse examples/b-hazel-four.toml --fault hidden --seed 7
              firstglow rehearse examples/a-linden-twin.toml --auto --fault "left C13:leaks=500k"
    """
    from firstglow.amplifier import load
    from firstglow.amplifier.options import fault_text
    from firstglow.ladder.careful import Careful, Clock
    from firstglow.ladder.climb import Climb
    from firstglow.ladder.ladder import build
    from firstglow.ladder.virtual import Virtual, hidden_fault
    from firstglow.readings.meters import meter_from_table
    from firstglow.records.store import MemoryStore

    if seed < 0:
        raise click.ClickException(f"--seed {seed}: 0 or more; which amplifier of the population; try --seed 1")
    amplifier, gear = load(file, as_=as_), bench_of(bench)
    named = _named(amplifier, fault)
    click.echo("Working out the ladder: a few seconds.", err=True)
    ladder = build(
        amplifier, gear, volts_of(mains_now), meter, mode="fast" if (auto if quick is None else quick) else "sampled"
    )
    faults = [hidden_fault(ladder, seed)] if fault == HIDDEN else named
    meters = {n: meter_from_table(n, t, gear.file) for n, t in gear.meters.items()} if gear else {}
    clock = Clock()
    climb = Climb(ladder, MemoryStore(), meters=meters, clock=clock, ahead=not auto)
    climb.begin(file=str(file), rehearsal=True, seed=seed)
    person = Careful(climb, Virtual(ladder, faults, seed), clock)
    if auto:
        _auto(person, as_json)
    else:
        _sit(person, as_json, ", ".join(fault_text(amplifier, f) for f in faults) if fault == HIDDEN else "")
        if fault == HIDDEN and climb.step.kind != "done" and not (as_json or _wants_to_know()):
            click.echo(f"\nNot told. The same one again: --fault hidden --seed {seed}\n{REAL}")
            return
    _reveal(amplifier, faults, fault, as_json, auto and climb.step.kind == "done")


def _named(amplifier: "Amplifier", fault: str | None) -> "list[Fault]":
    from firstglow.amplifier.options import read_fault

    return [] if fault in (None, HIDDEN) else [read_fault(amplifier, str(fault))]


# -- a careful person --------------------------------------------------------------------------------------------
def _auto(person: "Careful", as_json: bool) -> None:
    """To the top, or to what stops it."""
    ladder = person.climb.ladder
    if as_json:
        person.run()
        for record in person.climb.events:
            _event(record.json())
        return
    click.echo(f"{ladder.expected.amplifier}: {NOTE.split(':')[0].lower()}, climbed by a careful person.")
    outcome = person.run()
    for line in told(ladder, outcome):
        click.echo(spoken().said(line))


def told(ladder: "Ladder", outcome: "Outcome") -> list[str]:
    """A climb in lines: a rung a line, and what stopped it."""
    lines = []
    for rung in ladder.expected.rungs:
        taken = [t for t in outcome.taken if t.reading.rung == rung.id]
        if not taken and (outcome.stopped_at is not None or rung.readings):
            continue
        good = [t for t in taken if t.verdict.verdict in ("go on", "note only")]
        then = "" if len(good) == len(taken) else ", then"
        count = f"{len(good)} reading{'' if len(good) == 1 else 's'}"
        lines.append(f"  {rung.planned.title}: {count}, go on{then}")
    if outcome.stopped_at is None:
        lines.append("  The top: no reading was out of its band.")
        return lines
    return [*lines, "", *stopped(outcome.stopped_at)]


def stopped(taken: "Taken") -> list[str]:
    """The reading that stopped a climb."""
    from firstglow.sheets.climb_screen import SIGNS, called

    verdict, r = taken.verdict, taken.reading
    expected = r.shown or ("open" if r.expected is None else str(r.expected))
    what = (
        f"{r.planned.what} ({r.planned.channel})" if r.planned.channel not in ("", "shared", None) else r.planned.what
    )
    word = called(verdict.verdict, on=r.planned.under_power)
    first = f"{SIGNS[verdict.verdict]} {word}: {what} reads {taken.text}, expected {expected}"
    lines = [first, f"why: {verdict.why}", *(f"check first: {text}" for text in verdict.check_first)]
    return [
        line
        for n, text in enumerate(lines)
        for line in wrap(text, WIDTH, initial_indent="  " if n == 0 else "    ", subsequent_indent="    ")
    ]


# -- somebody at a terminal --------------------------------------------------------------------------------------
class AtTheMeter:
    """A person's end with the virtual meter beside it: what it shows is shown, and waits are let run.

    hidden: in words, what is wrong with it; "" where nothing is kept from whoever rehearses.
    """

    def __init__(self, talk: "Talk", person: "Careful", hidden: str = "") -> None:
        self._talk, self._person, self._hidden = talk, person, hidden
        self._note = ""

    def ask(self, screen: "Screen", ask: dict[str, Any], seconds: float | None) -> "tuple[Said, str]":
        """As the climb asks; Enter alone takes what the meter shows, ``wait`` lets the time run that is to be waited, ``tell``
        tells what is hidden."""
        person = self._person
        step = person.climb.step
        if seconds is not None:
            person.clock.run(seconds + 0.1)
            return "tick", ""
        left = person.to_wait(step) if step.kind == "reading" else 0.0
        meter = person.meter(step)
        pull = person.climb.to_pull(step.reading or "") if step.kind == "reading" else None
        still = {**ask, "data": {**ask["data"], "left": 0.0}}  # time stands still here until it is let run
        said, text = self._talk.ask(lambda: self._beside(screen(), meter, left, pulls=pull is not None), still, None)
        person.clock.run(5.0)
        word = text.strip().lower() if said == "line" else ""
        self._note = ""
        if word == "wait":
            person.clock.run(left)
            return "tick", ""
        if word == "tell" and self._hidden:
            self._note = f"what is hidden: {self._hidden}{_shown_by(person)}"
            return "tick", ""
        if pull is not None and said == "line" and word in ("", "out"):
            person.clock.run(pull)
            return "line", "out"
        if said == "line" and not text.strip() and meter:
            return "line", meter
        if (
            said == "line"
            and step.kind == "reading"
            and not _agree(text, meter, person.climb.reading(step.reading or ""))
        ):
            self._note = f"taken as typed, {text.strip()}: the virtual meter shows {meter}"
        return said, text

    def _beside(self, lines: Sequence[str], meter: str, left: float, *, pulls: bool = False) -> list[str]:
        """The screen with what the virtual meter shows."""
        head = NOTE.split(":")[0]
        note = wrap(f"{head}: {self._note}.", WIDTH) if self._note else []
        if not meter:
            own = f"{head}: no plug here; Enter is the moment at which it comes out." if pulls else NOTE
            return [*lines[:-1], *note, *([] if note else [own]), lines[-1]]
        wait = f"   (not settled: wait lets {left:.0f} s run)" if left > 1.0 else ""
        tell = "; tell: what is hidden" if self._hidden else ""
        keys = f"{head}. Enter takes it; changed PART: a good one{tell}."
        looked = meter in ("yes", "no", "dark", "dim", "half", "full", "bright")
        shows = "YOUR EYES SEE" if looked else "THE METER SHOWS"
        return [*lines[:-1], *note, f"{shows}   {meter}{wait}", keys, lines[-1]]

    def say(self, lines: Sequence[str]) -> None:
        """As the climb says it."""
        self._talk.say(lines)

    def busy(self, line: str) -> None:
        """As the climb says it."""
        self._talk.busy(line)

    def kept(self, records: "Sequence[Record]") -> None:
        """As the climb keeps it. A part that was changed is another one: what was wrong with it is gone, and whoever changed
        it is told whether that was it."""
        for record in records:
            if record.event != "change":
                continue
            parts, before = record.data.get("parts", ()), self._person.virtual
            self._person.virtual = before.without(parts)
            if not before.faults:
                self._note = f"{', '.join(parts)} changed: nothing was wrong with it any more"
            elif self._person.virtual is before:
                self._note = f"{', '.join(parts)} was sound: what is wrong with it is still there"
            else:
                self._note = f"that was it: {', '.join(parts)} is a good one now"
        self._talk.kept(records)


def _shown_by(person: "Careful") -> str:
    """Which reading would show it, the first of the climb; "" where nothing is wrong any more or none does."""
    ladder, first = person.climb.ladder, next(iter(person.virtual.alarms), None) if person.virtual.faults else None
    if first is None:
        return ""
    reading = ladder.expected.by_id[first]
    side = f" ({reading.planned.channel})" if reading.planned.channel else ""
    return f"; first shown by rung {reading.rung}, {reading.planned.what}{side}"


def _agree(text: str, meter: str, reading: "ExpectedReading") -> bool:
    """Is what was typed what the meter shows, or no figure at all? Within a few of its last digits, or a twentieth."""
    from firstglow.readings.meters import ReadingsError
    from firstglow.readings.typed import split_range, typed_number

    try:
        one, other = (typed_number(split_range(t)[0], reading.unit) for t in (text, meter))
    except ReadingsError:
        return True
    step = 0.0 if reading.on is None else reading.on.step
    return one == other or abs(one - other) <= max(3.0 * step, 0.05 * abs(other))


def _sit(person: "Careful", as_json: bool, hidden: str = "") -> None:
    """At the terminal where there is one, else from lines."""
    from firstglow.cli.sitting import Sitting
    from firstglow.cli.talk import Lines, Terminal, Worded

    said = spoken().said
    if not as_json and sys.stdin.isatty() and sys.stdout.isatty():
        with Terminal() as terminal:
            try:
                Sitting(person.climb, AtTheMeter(Worded(terminal, said), person, hidden)).run()
            except KeyboardInterrupt:
                terminal.say(["Left."])
        return
    Sitting(person.climb, AtTheMeter(Worded(Lines(as_json), said), person, hidden)).run()


def _wants_to_know() -> bool:
    """Who leaves before the top may want to look on another evening: what is hidden is told only who asks for it."""
    click.echo("\nType tell to be told what was hidden; Enter leaves it hidden:")
    return sys.stdin.readline().strip().lower() == "tell"


def _reveal(
    amplifier: "Amplifier", faults: "Sequence[Fault]", asked: str | None, as_json: bool, at_the_top: bool
) -> None:
    """What was wrong with it; at the top, that no reading told it."""
    from firstglow.amplifier.options import fault_text

    if as_json:
        return
    names = [fault_text(amplifier, _rounded(f)) for f in faults]
    text = "Nothing was wrong with this one."
    if names:
        unseen = (
            " It moves no reading of this ladder out of its band: not everything that is wrong can be read."
            if at_the_top
            else ""
        )
        text = f"What was {'hidden' if asked == HIDDEN else 'wrong with it'}: {names[0]}.{unseen}"
    folded = "\n".join(wrap(text, 80))
    click.echo(f"\n{folded}\n{REAL}")


def _rounded(fault: "Fault") -> "Fault":
    """With three figures: what a person reads."""
    return fault if fault.value is None else replace(fault, value=float(f"{fault.value:.3g}"))


def _event(data: dict[str, Any]) -> None:
    click.echo(json.dumps(data, ensure_ascii=False, allow_nan=False))
