"""``firstglow climb FILE``."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firstglow.cli.output import AS, BENCH, FILE, MAINS, METER, bench_of, spoken, volts_of

if TYPE_CHECKING:
    from firstglow.amplifier import Amplifier, Bench
    from firstglow.ladder.climb import Climb
    from firstglow.ladder.ladder import Ladder
    from firstglow.records.record import Record


@click.command()
@FILE
@AS
@BENCH
@MAINS
@METER
@click.option("--resume", is_flag=True, help="Go on where the records end.")
@click.option(
    "--records",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Where every answer is kept (default: FILE.climb.jsonl).",
)
@click.option(
    "--from", "from_rung", metavar="RUNG", help="Read again from this rung; every one before it must be passed."
)
@click.option(
    "--quick", is_flag=True, help="Bands by sensitivities instead of sampling: at once, and a little rougher."
)
@click.option("--mend", is_flag=True, help="Set right a records file that was edited by hand; what was found is kept.")
@click.option("--json", "as_json", is_flag=True, help="One event a line on stdout, answers a line each on stdin.")
def command(
    file: Path,
    as_: str,
    bench: Path | None,
    mains_now: str | None,
    meter: str | None,
    resume: bool,
    records: Path | None,
    from_rung: str | None,
    quick: bool,
    mend: bool,
    as_json: bool,
) -> None:
    """The first power-up, one reading at a time: where the probe goes, what it must be, and what it means.

    Every answer is kept before it is answered. Esc makes safe at any moment.

    \b
    Example:  firstglow climb examples/b-hazel-four.toml
              firstglow climb examples/b-hazel-four.toml --resume
    """
    from firstglow.amplifier import load
    from firstglow.cli.check import in_charts
    from firstglow.records.jsonl import open_jsonl

    kept = records or file.with_suffix(".climb.jsonl")
    amplifier, gear = load(file, as_=as_), bench_of(bench)
    if resume and not kept.exists():
        raise click.ClickException(f"{kept}: no records to go on from; a climb that was begun; try it without --resume")
    store = open_jsonl(kept, mend=mend)
    try:
        before = store.records()
        if before and not resume and not mend:
            raise click.ClickException(
                f"{kept}: {len(before)} records of a climb are in it; one climb, one file; try --resume, or --records with "
                f"another name"
            )
        begun = _begun(before)
        old = _as_it_was(begun, amplifier, kept, as_)
        # what stood at another tap's socket says nothing of this one's
        same_tap = old is None or old.mains_volts == amplifier.mains_volts
        mains = volts_of(mains_now) or (begun.get("mains") if same_tap else None)
        ladder = _ladder(amplifier, gear, mains, meter or begun.get("meter"), bool(quick or begun.get("quick")))
        climb = _climb(ladder, store, gear)
        climb.begin(
            file=str(file), mains=ladder.expected.mains, meter=ladder.expected.meter.name, quick=quick,
            as_=as_, source=file.read_text(encoding="utf-8-sig"),
        )  # fmt: skip
        if old is not None:
            _since(climb, begun, old, amplifier, gear, as_)
        if from_rung is not None:
            _again(climb, from_rung)
        _sit(climb, as_json, store.told, in_charts(amplifier, file))
    finally:
        store.close()


def _begun(records: "tuple[Record, ...]") -> dict[str, Any]:
    """What the last beginning or change of these records was made on."""
    found: dict[str, Any] = {}
    for record in records:
        if record.event in ("begin", "repeat"):
            found |= dict(record.data)
    return found


def _ladder(
    amplifier: "Amplifier", gear: "Bench | None", mains: float | None, meter: str | None, quick: bool
) -> "Ladder":
    from firstglow.ladder.ladder import build

    click.echo("Working out the ladder: a few seconds.", err=True)
    return build(amplifier, gear, mains, meter, mode="fast" if quick else "sampled")


def _climb(ladder: "Ladder", store: Any, gear: "Bench | None") -> "Climb":
    from firstglow.ladder.climb import Climb
    from firstglow.readings.meters import meter_from_table
    from firstglow.records import record

    meters = {n: meter_from_table(n, t, gear.file) for n, t in gear.meters.items()} if gear else {}
    return Climb(ladder, store, meters=meters, clock=record.now)


def _as_it_was(begun: dict[str, Any], amplifier: "Amplifier", kept: Path, as_: str) -> "Amplifier | None":
    """The amplifier that these records were made on, None where the file says the same today. Those of another one are refused
    before anything is worked out: its mains and its figures say nothing of this one."""
    from firstglow.amplifier import load
    from firstglow.amplifier.digest import digest

    if not begun or begun.get("digest") == digest(amplifier):
        return None
    old = load(str(begun["source"]), as_=begun.get("as_", as_))
    if old.name == amplifier.name:
        return old
    own = Path(amplifier.file).with_suffix(".climb.jsonl").name
    raise click.ClickException(
        f"{kept}: these records are of {old.name}, and {Path(amplifier.file).name} is {amplifier.name}; records of the amplifier on "
        f"the bench, by its name; try --records {own}, or the name in the file as it was"
    )


def _since(
    climb: "Climb", begun: dict[str, Any], old: "Amplifier", amplifier: "Amplifier", gear: "Bench | None", as_: str
) -> None:
    """A file that changed since the last sitting, ``old`` then: what that moved is read again, and the rest stands."""
    from firstglow.ladder.changed import moved

    ladder, digest = climb.ladder.expected, climb.ladder.expected.digest
    mains = ladder.mains if old.mains_volts == amplifier.mains_volts else begun.get("mains")
    before = _ladder(old, gear, mains, ladder.meter.name, bool(begun.get("quick"))).expected
    gone = moved(before, ladder, climb.here.taken)
    if climb.here.powered:
        raise click.ClickException(
            f"{climb.store.name}: the amplifier file changed while the records say that it is under power; nothing may "
            f"change then; try making safe with the file as it was (--resume), then change it"
        )
    gone = (*gone, *(name for name in climb.way_up() if name not in gone))
    climb.repeat(
        gone, "the amplifier file changed since it was read", digest=digest, rungs=list(climb.here.signed),
        source=Path(amplifier.file).read_text(encoding="utf-8-sig") if Path(amplifier.file).exists() else "", as_=as_,
    )  # fmt: skip
    click.echo(
        f"The amplifier file changed since the last sitting: {len(gone)} reading(s) that this moves are read again, "
        f"{len(climb.here.taken)} stand.",
        err=True,
    )


def _again(climb: "Climb", rung: str) -> None:
    """``--from``: that rung and all after it, again."""
    ids = [r.id for r in climb.ladder.expected.rungs]
    if rung not in ids:
        raise click.ClickException(f"--from {rung}: no such rung on this ladder; {', '.join(ids)}; try --from {ids[0]}")
    before = ids[: ids.index(rung)]
    missing = next((r for r in before if r not in climb.here.passed), None)
    if missing is not None:
        raise click.ClickException(
            f"--from {rung}: rung {missing} before it is not passed in these records; every rung before it; "
            f"try --from {missing}"
        )
    if climb.here.powered or climb.here.state == "switched off":
        raise click.ClickException(f"--from {rung}: the records end before it was made safe; try --resume alone first")
    later = set(ids[ids.index(rung) :])
    names = [n for n in climb.here.taken if n.split("/", 1)[0] in later]
    climb.repeat(names, f"read again from rung {rung}", rungs=sorted(later))


def _sit(climb: "Climb", as_json: bool, told: tuple[str, ...], charts: tuple[str, ...]) -> None:
    """At the terminal where there is one, else from lines."""
    from firstglow.cli.sitting import Sitting
    from firstglow.cli.talk import Lines, Terminal, Worded

    said = spoken().said
    for line in told:
        click.echo(line, err=True)
    if not as_json and sys.stdin.isatty() and sys.stdout.isatty():
        with Terminal() as terminal:
            try:
                Sitting(climb, Worded(terminal, said), charts).run()
            except KeyboardInterrupt:
                terminal.say([said(line) for line in Sitting(climb, terminal).leaving()])
        return
    Sitting(climb, Worded(Lines(as_json), said), charts).run()
