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
                "target_volts": r.target if r.steps else None, "resistor_ohms": r.ohms if r.steps else None,
                "resistor_watts": r.watts if r.steps else None,
                "behind_valve": r.behind_valve, "beside": list(r.beside), "source": r.source or None, "doubt": r.doubt or None,
                "rectifiers_out": list(r.out), "lifted": list(r.lifted),
                "dial_limit": None if r.limit is None else {
                    "part": r.limit.part, "rated_volts": r.limit.rating, "dial_share": r.limit.dial,
                },
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
    found = tuple(r for r in found if r.steps)
    if not found:
        return
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

    made = "rating not in the file" if r.rated is None else f"made for {r.rated:g} V"
    yield f"{r.part}: {show(r.farads, 'F')}, {made}, stands at up to {_volts(r.meets)} V here"
    if r.why:
        yield f"  {r.why}"
    if r.rated is None:
        yield from _unrated(r)
        return
    if r.meets > r.rated:
        yield "  ! that is more than it is made for: renew it here. The steps are for another place, of less volts"
    if r.target > r.meets:
        yield f"  so little forms nothing that shows: {_volts(r.target)} V, on a battery or a small bench supply"
    yield f"  resistor in series: {show(r.ohms, 'ohm')}, {max(r.watts, LEAST_WATTS):.2g} W or more, rated for {_volts(r.target)} V"
    yield ""
    yield f"  {'supply':>7}{'dial':>7}{'drop at once':>14}{'leak after':>12}{'go on under':>18}{'give up over':>18}"
    small = 2 if r.target < SMALL_VOLTS else 1
    for s in r.steps:
        dial = "-" if s.dial is None else f"{100.0 * s.dial:.0f} %"
        go_on, give_up = (
            f"{volts:.{small}f} V, {1e3 * amps:.2f} mA"
            for volts, amps in ((s.go_on, s.go_on_amps), (s.give_up, s.give_up_amps))
        )
        at, once = (f"{v:.{small - 1}f}" for v in (s.supply, s.at_once))
        yield f"  {at:>5} V{dial:>7}{once:>12} V{s.alone:10.0f} s{go_on:>18}{give_up:>18}"
    yield from _dial(r)
    yield f"  'go on' at most: {r.source}; {r.doubt}."


SMALL_VOLTS = 20.0
"""Below this the steps are told to a tenth of a volt."""
LEAST_WATTS = 0.25
"""No smaller resistor is asked for."""


def _volts(volts: float) -> str:
    return f"{volts:.0f}" if volts >= SMALL_VOLTS else f"{volts:.1f}"


def _unrated(r: "Reform") -> "Iterator[str]":
    """No volts for what nobody knows to stand them."""
    yield "  ! no volts are put on it and none are told here: nobody knows what it stands."
    yield "  Look on its can or sleeve for V, VDC or WV (SURGE beside it is not that figure), plug out and discharged."
    yield f'  Say it in its line of the file: {{ volts = "450V" }}, with the figure found; then firstglow reform FILE {r.part}.'
    if r.meets >= 1.0:
        yield f"  Its place asks for {_volts(r.meets)} V and more."
    yield "  Not to be read: an electrolytic of unknown rating is replaced, not reformed (firstglow parts says by what)."


def _dial(r: "Reform") -> "Iterator[str]":
    """Why there is a dial, from where on there is none, or why there is none at all."""
    if r.target > r.meets:
        return
    limit = r.limit
    if limit is not None:
        what = "whose rating is not in the file" if limit.rating is None else f"made for {limit.rating:g} V"
        there = f"{limit.part} ({what})"
    if any(s.dial is not None for s in r.steps):
        out = f", {', '.join(r.out)} too, so that no HT comes" if r.out else " but rectifiers out"
        opened = (
            f", with {', '.join(r.lifted)} lifted and insulated as on the ladder's rung 2b (no HT)" if r.lifted else ""
        )
        yield (
            f"  'dial': of the marked mains, for these volts in the amplifier with all valves{' out' if r.out else ''}{out}{opened}, and "
            f"the resistor in its plus lead. On that rail with it: {', '.join(r.beside) or 'nothing else'}, at the rail's full volts."
        )
        if limit is not None and any(s.dial is None for s in r.steps):
            yield (
                f"  ! '-': from {100.0 * limit.dial:.0f} % on {there} would stand too much. Those steps: out of the amplifier, on a "
                "supply of its own."
            )
    elif r.behind_valve:
        yield "  Behind a rectifier valve HT comes all at once: a supply of its own, no dial."
    elif limit is not None and r.steps:
        yield f"  ! No dial: before it has these volts {there} would stand too much. Out of the amplifier, on a supply of its own."
