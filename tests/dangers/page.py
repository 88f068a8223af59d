"""docs/evidence/dangers.md, computed: ``python tests/dangers/page.py`` from the top of the repository (two minutes)."""

import sys
from math import isinf
from pathlib import Path

sys.path.insert(1, str(Path(__file__).parents[1]))  # what the tests have at hand, as pytest finds it

from planted import PLANTED
from test_dangers import climbs, on

from climb import Climb, Sight

PAGE = Path(__file__).parents[2] / "docs/evidence/dangers.md"
HEAD = """# The twelve dangers, planted

Made by `python tests/dangers/page.py`; tested by `tests/dangers`. Do not edit.

Each danger is planted in three virtual amplifiers with tolerances and a meter with errors of its own, and climbs the
whole ladder. *Seen* is the first reading that the fault moves by at least 4 sigma (of 64 healthy amplifiers, meter
included), or a lamp or a look whose answer changes; *stopped* is the first such reading with a verdict but go on that
the same amplifier without the fault does not get. The figures are the least of the three. >9999: as good as from a
figure to an open circuit. *Stress* is the worst share, up to that reading, of what nothing may pass: 2 x rated plate or screen
watts, surge volts, 2 x a winding's rated amps (rms against the rating; on rung 2a at the dial at which the watched
ammeter passes its limit). *Row* is the ladder reference's own (section 8): the rung of the stop is never later.
The second table passes over everything read unplugged and every look, as if the fault had come afterwards.

A reading that stops is no promise that a chassis may be touched. Hands go in only made safe.
"""
COLUMNS = (
    "| example | danger | fault | first seen | stopped by | sigmas | row | worst stress before |\n" + "|---" * 8 + "|\n"
)


def main() -> None:
    """Write it."""
    parts = [HEAD]
    for title, powered in (("## With every reading", False), ("## Under power alone", True)):
        parts += [f"\n{title}\n\n", COLUMNS]
        for name in PLANTED:
            made = climbs(name, powered)
            parts += [line(name, made[k : k + 3], powered) for k in range(0, len(made), 3)]
    parts.append("\nNot under power: ")
    parts.append("; ".join(f"({n[0]}) {p.name}" for n, ps in PLANTED.items() for p in ps if p.hot is None))
    parts.append(
        ". Another rectifier of nearly the same law moves no reading past its band (at most about 4 sigma); its print tells.\n"
    )
    PAGE.write_text("".join(parts), encoding="utf-8")


def line(name: str, made: list[Climb], powered: bool) -> str:
    """One danger of one example: the slowest of its amplifiers."""
    places = [r.id for r in on(name).ladder.expected.rungs]
    late = max(made, key=lambda c: len(places) if c.stop is None else places.index(c.stop.rung))
    share, what = max(c.stress for c in made)
    p = late.planted
    row = p.hot if powered else ", else ".join(p.rows)
    sigmas = min((c.stop.sigmas for c in made if c.stop is not None), default=0.0)
    stopped = "**nothing**" if late.stop is None else f"`{late.stop.reading}`"
    stress = "none" if share < 0.005 else f"{share:.2f} {what}"
    return (
        f"| {name[0]} | {p.danger} | {p.name} | {seen(late.seen)} | {stopped} | {size(sigmas)} | {row} | {stress} |\n"
    )


def seen(sight: Sight | None) -> str:
    """Where."""
    return "nowhere" if sight is None else f"`{sight.reading}`"


def size(sigmas: float) -> str:
    """Sigmas as they are worth printing."""
    return (
        "changed"
        if isinf(sigmas)
        else ">9999"
        if sigmas > 9999
        else f"{sigmas:.1f}"
        if sigmas < 100
        else f"{sigmas:.0f}"
    )


if __name__ == "__main__":
    main()
