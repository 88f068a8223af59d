"""``firstglow reform FILE [PART...]``."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firstglow.cli.output import AS, FILE, JSON, MAINS, mains_of, print_json, say

if TYPE_CHECKING:
    from firstglow.audit.reform import Reform


@click.command()
@FILE
@click.argument("parts", nargs=-1, metavar="[PART]...")
@AS
@MAINS
@JSON
def command(file: Path, parts: tuple[str, ...], as_: str, mains_now: str | None, as_json: bool) -> None:
    """Reform an old electrolytic: steps of volts, go on, give up.

    \b
    Example:  firstglow reform examples/c-sorrel-twenty.toml C2
    Without a part: every electrolytic whose note in the file calls it old.
    --mains-now: the highest that the mains may be; default what the file allows.
    """
    from firstglow.amplifier import load
    from firstglow.audit.reform import reform

    amplifier = load(file, as_=as_)
    found = reform(amplifier, parts, mains_of(amplifier, mains_now))
    if as_json:
        print_json(document(found))
        return
    if not found:
        known = [c.name for c in amplifier.of_kind("capacitor") if c.type == "electrolytic"]
        way = f"Name one: firstglow reform FILE {known[0]}" if known else "There is none in it."
        say(f"{amplifier.name}: no electrolytic of this file is called old in its note. {way}")
        return
    for line in _lines(amplifier.name, found):
        say(line)


def document(found: "tuple[Reform, ...]") -> dict[str, Any]:
    """One row a capacitor."""
    from firstglow.audit.reform import LEAST_MINUTES, MOST_MINUTES

    return {
        "least_minutes": LEAST_MINUTES,
        "most_minutes": MOST_MINUTES,
        "parts": [
            {
                "part": r.part, "why": r.why, "farads": r.farads, "rated_volts": r.rated, "meets_volts": r.meets,
                "target_volts": r.target, "resistor_ohms": r.ohms, "resistor_watts": r.watts,
                "behind_valve": r.behind_valve, "beside": list(r.beside), "source": r.source, "doubt": r.doubt,
                "steps": [
                    {
                        "supply_volts": s.supply, "dial_share": s.dial, "at_once_volts": s.at_once, "alone_s": s.alone,
                        "go_on_volts": s.go_on, "give_up_volts": s.give_up, "go_on_amps": s.go_on_amps,
                        "give_up_amps": s.give_up_amps,
                    }
                    for s in r.steps
                ],
            }
            for r in found
        ],
    }  # fmt: skip


def _lines(name: str, found: "tuple[Reform, ...]") -> Iterator[str]:
    from math import ceil

    from firstglow.audit.reform import LEAST_MINUTES, MOST_MINUTES
    from firstglow.solver.discharge import tool_ohms, tool_watts

    yield f"{name}: reforming old electrolytics"
    yield "High voltage kills. Clips on with the supply off, one hand, glasses, nothing"
    yield "touched while it is on; a capacitor may burst: cover it."
    for r in found:
        yield ""
        yield from _one(r)
    most = max(found, key=lambda r: r.target)
    seconds = max(5.0, ceil(max(r.discharged for r in found)))
    yield ""
    yield "How"
    yield "  Out of the amplifier, or with its plus lead off. Supply plus, resistor,"
    yield "  capacitor plus, capacitor minus, supply minus; the meter across the resistor,"
    yield "  begun on a range above the supply's volts. A short is held to 5 mA."
    yield "  Raise to a step. The drop jumps as it charges, then falls: after the seconds"
    yield "  of 'leak' it is the leak alone."
    yield f"  Go on: after {LEAST_MINUTES:g} min at least, with the drop under 'go on'. Give up: over"
    yield f"  'give up' after {MOST_MINUTES:g} min; or rising, at any time; or warm to the back of the"
    yield "  hand once it is off and discharged. Between the two and falling: wait on."
    tool = (
        f"{tool_ohms(most.target) / 1e3:g} kohm, {tool_watts(most.target):g} W wirewound, on a tool of the 1000 V class"
    )
    yield (
        f"  Then supply off and at 0. Not the series resistor, which is in the supply's lead: {tool}, across the capacitor's own two "
        f"ends for {seconds:g} s at least; read below 10 V before the clips come off, and again after a minute."
    )
    yield "  Over some 40 years old it is better renewed (common practice, views differ)."


def _one(r: "Reform") -> Iterator[str]:
    from firstglow.quantities import show

    made = "rating not in the file" if r.rated is None else f"made for {r.rated:.0f} V"
    yield f"{r.part}: {show(r.farads, 'F')}, {made}, stands at up to {r.meets:.0f} V here"
    if r.why:
        yield f"  {r.why}"
    if r.rated is not None and r.meets > r.rated:
        yield "  ! that is more than it is made for: renew it, reforming is no help"
    yield f"  resistor in series: {show(r.ohms, 'ohm')}, {r.watts:.1f} W or more, rated for {r.target:.0f} V"
    yield ""
    yield f"  {'supply':>7}{'dial':>7}{'drop at once':>14}{'leak after':>12}{'go on under':>18}{'give up over':>18}"
    for s in r.steps:
        dial = "-" if s.dial is None else f"{100.0 * s.dial:.0f} %"
        go_on, give_up = (
            f"{volts:.1f} V, {1e3 * amps:.2f} mA"
            for volts, amps in ((s.go_on, s.go_on_amps), (s.give_up, s.give_up_amps))
        )
        yield f"  {s.supply:5.0f} V{dial:>7}{s.at_once:12.0f} V{s.alone:10.0f} s{go_on:>18}{give_up:>18}"
    if r.behind_valve:
        yield "  Behind a rectifier valve HT comes all at once: a supply of its own, no dial."
    elif any(s.dial is not None for s in r.steps):
        yield "  'dial': of the marked mains, for these volts in the amplifier with all valves"
        yield "  but rectifiers out and the resistor in its plus lead. On that rail with it:"
        yield f"  {', '.join(r.beside) or 'nothing else'}, at the rail's full volts."
    yield f"  'go on' at most: {r.source}; {r.doubt}."
