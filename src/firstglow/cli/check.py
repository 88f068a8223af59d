"""``firstglow check FILE``."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstglow.cli.output import AS, BENCH, FILE, JSON, MAINS, bench_of, mains_of, print_json, say

if TYPE_CHECKING:
    from firstglow.amplifier.model import Amplifier


@click.command()
@FILE
@AS
@BENCH
@MAINS
@JSON
def command(file: Path, as_: str, bench: Path | None, mains_now: str | None, as_json: bool) -> None:
    """Every mistake in an amplifier file; findings in what it draws, by its structure and its ratings; every default
    that stands in for what the file does not say, those worth measuring first; and the ratings that nothing stands in for.

    \b
    Example:  firstglow check examples/b-*.toml
    With --mains-now the capacitors are held against that; what parts draw, against
    the mains that the primary is marked for.
    """
    from firstglow.amplifier import AmplifierError, load
    from firstglow.solver.circuit import compile_circuit

    bench_of(bench)
    try:
        amplifier = load(file, as_=as_)
        compile_circuit(amplifier)  # what cannot be solved is told here too
    except AmplifierError as error:
        if as_json:
            fields = ("file", "line", "part", "found", "allowed", "remedy")
            rows = [{f: getattr(p, f) for f in fields} for p in error.problems]
            print_json({"problems": rows, "defaults": [], "findings": [], "ratings_unknown": []})
            raise click.exceptions.Exit(2) from None
        raise
    findings = [*found_in(amplifier, mains_of(amplifier, mains_now)), *in_charts(amplifier, file)]
    defaults = [
        {"part": d.part, "what": d.what, "value": d.value, "spread": d.spread, **in_si(d.value)}
        for d in amplifier.defaults
    ]
    from firstglow.amplifier.unsaid import unsaid

    ratings = unsaid(amplifier)
    if as_json:
        rows = [{"kind": u.kind, "rating": u.rating, "attribute": u.attribute, "parts": list(u.parts)} for u in ratings]
        print_json({"problems": [], "defaults": defaults, "findings": findings, "ratings_unknown": rows})
        return
    from firstglow.cli.said_by_default import grouped
    from firstglow.sheets.rows import findings_text

    say(f"{amplifier.name}: {file} reads without a mistake. That says nothing of the amplifier on the bench.")
    say(f"{len(amplifier.parts)} parts, {len(amplifier.joints)} joints, layers: {', '.join(amplifier.layers)}")
    told = findings_text(findings)
    say(_findings_head(len(told)))
    for number, text in enumerate(told, 1):
        say(f"  {number}. {text}")
    say(
        "What a cold start's ring, a crest and a fault ask of the parts is not looked at here: firstglow parts FILE tells it."
    )
    if defaults:
        say("Not said in the file, so taken:")
        for head, lines in grouped(amplifier):
            say(f"  {head}")
            for line in lines:
                say(f"    {line}")
    if ratings:
        say("Ratings not said in the file; nothing stands in for them, and nothing that rests on them is judged:")
        for u in ratings:
            say(f"    {u.kind}, {u.rating}: {', '.join(u.parts)}")
        say("  What each must bear, and where on the part to look: firstglow parts FILE (ratings of data sheets, too).")


def in_si(text: str) -> dict[str, float | str | None]:
    """A default's value as ``number`` [SI] and ``unit``; both null for words ("joined to its cathode")."""
    from firstglow.quantities import QuantityError, read_value

    for unit in ("1", "V", "A", "ohm", "W", "F", "Hz", "s", "degC"):
        try:
            return {"number": read_value(text, unit), "unit": unit}
        except QuantityError:
            continue
    return {"number": None, "unit": None}


def _findings_head(count: int) -> str:
    if not count:
        return "Findings: none. What the drawing shows and a rating can tell as it plays was looked at; only the ladder proves the rest."
    return f"Findings: {count}, to be looked at before any power:"


def found_in(amplifier: "Amplifier", mains_now: float | None = None) -> list[str]:
    """What the structure shows, then what the solution shows; one line each, none twice. mains_now: at the socket [V rms],
    default what the primary is marked for."""
    from firstglow.amplifier.findings import findings

    found = dict.fromkeys((*findings(amplifier), *asked_too_much(amplifier, mains_now)))
    second = by_the_solution(amplifier)
    return [second.get(text, text) for text in found]


def in_charts(amplifier: "Amplifier", file: Path) -> tuple[str, ...]:
    """Charts that the drawing disagrees with, and what would explain it; one line each."""
    if not amplifier.charts:
        return ()
    from firstglow.amplifier import load
    from firstglow.readings.chart_doubts import findings

    return findings(amplifier, load(file, as_="drawn") if amplifier.layers != ("drawn",) else None)


def by_the_solution(amplifier: "Amplifier") -> dict[str, str]:
    """Each line of a loop whose sign cannot be counted -> what its loop gain at the solved point says instead."""
    from firstglow.amplifier.drawn_loops import drawn_loops
    from firstglow.amplifier.findings import computed, uncounted
    from firstglow.amplifier.look import look_at

    look = look_at(amplifier)
    open_questions = uncounted(look, drawn_loops(look))
    if not open_questions:
        return {}
    from firstglow.ladder.overloads import as_it_stands
    from firstglow.solver.circuit import compile_circuit
    from firstglow.solver.midband import midband
    from firstglow.solver.slopes import valve_slopes
    from firstglow.solver.standing import SolveError

    circuit, situation = compile_circuit(amplifier), as_it_stands(amplifier).but(idle={})
    try:
        standing = circuit.solve(circuit.vector(situation)[:, None])
    except SolveError:
        return {}
    found = midband(amplifier, situation, valve_slopes(circuit, standing.x, standing.values))
    links = {k.name for k in amplifier.links.values() if k.feedback}
    out = {}
    for loop, text in open_questions:
        signal = found.get(loop.channel)
        if signal is not None and loop.link in links and signal.loop is not None:
            out[text] = computed(look, loop, float(signal.loop_gain[0]))
    return out


def asked_too_much(amplifier: "Amplifier", mains_now: float | None = None) -> list[str]:
    """Parts past their ratings as drawn, and capacitors that full mains would be too much for; one line each."""
    from firstglow.ladder.answers import SolverPhysics
    from firstglow.ladder.gear import Gear
    from firstglow.ladder.grid_current import findings as grids
    from firstglow.ladder.overloads import at_the_limit, by_part, overloads
    from firstglow.ladder.plan import frame_of
    from firstglow.solver.standing import SolveError

    physics = SolverPhysics(amplifier)
    try:
        found = overloads(amplifier, physics)
        if amplifier.of_kind("transformer"):
            told = frame_of(amplifier, Gear(mains_now or amplifier.mains_volts), physics, found).findings
            return [*told, *at_the_limit(amplifier, physics), *grids(amplifier, physics)]
    except SolveError as error:
        return [f"As drawn it would not settle around {error.joint}: check the values of the parts there."]
    return [*by_part(found), *at_the_limit(amplifier, physics), *grids(amplifier, physics)]
