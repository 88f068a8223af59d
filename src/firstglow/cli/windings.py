"""``firstglow windings``."""

import sys
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from firstglow.cli.output import JSON, print_json

if TYPE_CHECKING:
    from firstglow.windings import Question, Study

WIDTH = 79
CAUTIONS = """An unknown transformer. Every lead capped and apart, nothing else connected,
and no plug in the wall until you are told so. Colours are a hint, never proof.
Under power: one hand, clips put on with power off, a lamp in series. A variable
transformer limits volts, not current, and does not isolate. Never take a
winding for dead because it should be. Follow local codes; have mains work done
or checked by someone licensed. "back" takes the last answer again, "none" skips
what may be skipped, "quit" ends."""
ASKED = {
    "mains": "Volts and hertz of your mains (230V 50Hz)",
    "leads": "Name every lead, blanks between (1 2 3, or black1 black2 red1)",
    "lead_ohms": "Meter tips held together: ohms (or none)",
    "ohms": "Unplugged. Ohms from {one} to {two} (OL where open)",
    "core": "Unplugged. Ohms from {lead} to the bare core (OL where open)",
    "insulation": "500 V dc tester, all other leads and the core joined: {lead} to them. Hands off; discharge after. Ohms, as 200M",
    "excite": "Low ac from an isolated bench winding, through a small lamp, on {one} and {two}: at most {most:g} V. "
    "By their ohms all others stay under {others:.0f} V, yet take none for dead. Lamp glows: off. Volts across {one} {two}",
    "excite_amps": "Amps that it draws so (off at once above 0.1 A)",
    "ac": "Same volts on. Volts ac from {one} to {two}, on the lowest range that holds them (off above {most:g} V)",
    "primary": "Which winding takes the mains? Leads as above, or Enter for the first",
    "phase": "Low ac off, join {one} and {two}, low ac on as before. Volts ac from {a} to {d}: "
    "{sum:.3g} V if they aid, {difference:.2g} V if they oppose. Opposed on the mains is a short",
    "limb": "Width of the core's middle limb in mm (or none)",
    "stack": "Thickness of the stack in mm (or none)",
    "lamp": "All secondaries capped. Mains on the primary through a 40 W lamp, fuse in the line, core earthed. "
    "After 2 s the lamp is: dark, dim, half, full (or none)",
    "noload": "Dial at {percent:g} % of the mains, lamp in until it agrees. Amps ac in the line: {least:.2g} to {most:.2g} A is usual, "
    "off at once above {stop:.2g} A",
    "hour_cold": "Ohms of the primary cold, unplugged (none: no hour)",
    "hour_warm": "An hour alone at full mains, never out of sight; unplugged: ohms of the primary at once",
    "hour_room_before": "Room in degC when it was cold",
    "hour_room_after": "Room in degC after the hour",
}


@click.command()
@click.option("--readings", type=click.Path(path_type=Path), metavar="FILE", help="Readings as TOML instead of asking.")
@click.option("--keep", type=click.Path(path_type=Path), metavar="FILE", help="Keep every answer there; go on from it.")
@JSON
def command(readings: Path | None, keep: Path | None, as_json: bool) -> None:
    """From a bundle of unknown leads to the transformer's line of the amplifier file, one reading at a time.

    \b
    Example:  firstglow windings --keep unknown.toml
              firstglow windings --readings unknown.toml --json
    """
    if readings is not None:
        answers, lines = _load(readings)
        found = _from_file(readings, answers, lines)
    else:
        if keep and not keep.absolute().parent.is_dir():  # before a quarter of an hour of readings, not after it
            raise click.ClickException(
                f"--keep {keep}: no folder {keep.parent}; one that is there; try --keep {keep.name}"
            )
        answers = _load(keep)[0] if keep and keep.exists() else {}
        found = _asked(answers, keep, as_json)
    if as_json:
        print_json(_document(found))
        return
    _say(found)


def _from_file(path: Path, answers: dict[str, str], lines: dict[str, int]) -> "Study":
    from firstglow.windings import WindingsError, study

    try:
        return study(answers)
    except WindingsError as error:
        raise click.ClickException(f"{path}:{lines.get(error.key, 1)}: {error}") from None


def _load(path: Path) -> tuple[dict[str, str], dict[str, int]]:
    """Answers by key, and the line of each."""
    import tomllib

    from firstglow.amplifier.lines import line_index

    text = path.read_text(encoding="utf-8")
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise click.ClickException(f'{path}:1: readings: {error}; TOML; try "1 2" = "14.2" under [ohms]') from None
    index = line_index(text)
    answers: dict[str, str] = {}
    lines: dict[str, int] = {}
    for key, value in table.items():
        for name, one in value.items() if isinstance(value, dict) else [("", value)]:
            full = f"{key} {name}".strip()
            answers[full] = " ".join(map(str, one)) if isinstance(one, list) else str(one)
            lines[full] = index.get((key, name) if name else (key,), 1)
    return answers, lines


def _save(path: Path | None, answers: dict[str, str]) -> None:
    """All answers on disc before the next question: written beside, then put in place."""
    if path is None:
        return
    import json
    import os

    rows: dict[str, list[str]] = {"": []}
    for key, text in answers.items():
        table, _, name = key.partition(" ")
        rows.setdefault(table if name else "", []).append(f"{json.dumps(name or table)} = {json.dumps(text)}")
    body = "\n".join(("" if not t else f"\n[{t}]\n") + "\n".join(found) for t, found in rows.items()) + "\n"
    beside = path.with_name(path.name + ".new")
    with beside.open("w", encoding="utf-8") as file:
        file.write(body)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


def _asked(answers: dict[str, str], keep: Path | None, quiet: bool) -> "Study":
    """Ask until nothing is left, or nobody answers any more."""
    from firstglow.windings import Question, WindingsError, study

    click.echo(CAUTIONS, err=quiet)
    again: Question | None = None
    while True:
        try:
            found = study(answers)
            question = again or found.question
        except WindingsError as error:
            for line in wrap(f"! {error}", WIDTH):
                click.echo(line, err=quiet)
            again_keys = {frozenset(key.split()) for key in error.again}
            wrong = [key for key in answers if frozenset(key.split()) in again_keys]
            for key in wrong or list(answers)[-1:]:
                del answers[key]
            continue
        again = None
        if question is None:
            return found
        for line in _question(question, found):
            click.echo(line, err=quiet)
        text = sys.stdin.readline()
        typed = text.strip()
        if not text or typed == "quit":
            return found
        if typed == "back":
            if answers:
                answers.popitem()
        elif question.key == "primary" and not typed:
            answers["primary"] = found.guesses[0].text
        elif typed and (question.optional or typed.lower() not in {"none", "skip"}):
            answers[question.key] = typed
        _save(keep, answers)


def _question(question: "Question", found: "Study") -> list[str]:
    lines = [""]
    if question.key == "primary":
        lines += [f"  {g.text:<28} {100 * min(g.chance, 0.95):.0f} in 100, a guess" for g in found.guesses[:4]]
    return lines + wrap(ASKED[question.kind].format(**question.data) + " >", WIDTH)


def _document(found: "Study") -> dict[str, Any]:
    from firstglow.windings.section import section, written

    q = found.question
    return {
        "windings": [
            {"name": w.name, "text": w.text, "leads": w.leads, "volts": w.volts, "ohms": w.ohms, "amps": w.amps}
            for w in written(found)
        ],
        "doubts": list(found.doubts), "refused": list(found.refused), "section": section(found),
        "guesses": [{"primary": g.text, "chance": min(g.chance, 0.95)} for g in found.guesses],
        "next": None if q is None else {"key": q.key, "text": ASKED[q.kind].format(**q.data), "optional": q.optional},
    }  # fmt: skip


def _say(found: "Study") -> None:
    from firstglow.windings.section import section

    text = section(found)
    if found.refused:
        click.echo("\nREFUSED: do not put this transformer on the mains.")
        for why in found.refused:
            click.echo("\n".join(wrap(f"  {why}", WIDTH)))
    elif text is not None:
        click.echo("\nUnder [parts] or [shared] of the amplifier file; then: firstglow check FILE\n")
        click.echo(text)
    elif found.question is not None:
        click.echo("\nNot finished. Next:")
        click.echo("\n".join(_question(found.question, found)))
