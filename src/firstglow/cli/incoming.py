"""``firstglow incoming FILE [PART...]``."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firstglow.cli.output import AS, BENCH, FILE, JSON, MAINS, METER, bench_of, print_json, say, volts_of

if TYPE_CHECKING:
    from firstglow.amplifier.bench import Bench
    from firstglow.audit.incoming import Incoming
    from firstglow.audit.incoming_leaks import Leak
    from firstglow.markings.incoming import LeakTest
    from firstglow.readings.meters import Meter

SIGNS = {"good": "✓", "doubtful": "?", "never fit": "✗"}


@click.command()
@FILE
@click.argument("parts", nargs=-1, metavar="[PART]...")
@click.option(
    "--measured", multiple=True, metavar="C7=0.1u,R12=221k",
    help="What parts measured; several of one kind: C7=0.1u 98n 102n 99n.",
)  # fmt: skip
@click.option("--readings", type=click.Path(path_type=Path), help="The same from a readings file, by part names.")
@click.option(
    "--age", type=click.Choice(["new", "old"]), help="Limits for new or old capacitors; default as in the file."
)
@AS
@BENCH
@MAINS
@METER
@JSON
def command(
    file: Path, parts: tuple[str, ...], measured: tuple[str, ...], readings: Path | None, age: Any, as_: str,
    bench: Path | None, mains_now: str | None, meter: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Test parts before they are fitted: leakage, values, pairs, valves.

    \b
    Example:  firstglow incoming examples/a-linden-twin.toml
              firstglow incoming examples/c-sorrel-twenty.toml C7 C9 V2
              firstglow incoming examples/c-sorrel-twenty.toml \\
                  --measured "C7=0.221u 0.214u 0.219u,R11=47.3k,R12=46.8k"
    Capacitors: farads (0.22u), or the leak as the test shows it (0.4V).
    Of parts named or measured it says what firstglow parts orders for them.
    Resistors: ohms. Output valves: amps (56m), or the volts that are read.
    A readings file has a table [readings] with lines like "left C13" = "0.1u".
    """
    from firstglow.amplifier import load
    from firstglow.amplifier.mains_mark import mains_refused
    from firstglow.amplifier.model import AmplifierError
    from firstglow.audit.incoming import document, incoming, typed
    from firstglow.readings.taken import read_taken

    gear = bench_of(bench)
    reads = _meter(gear, meter)
    amplifier, volts = load(file, as_=as_), volts_of(mains_now)
    taken = read_taken(readings) if readings else None
    if volts is None and taken is not None:
        volts = taken.mains
    if volts is None and gear is not None:
        volts = gear.mains_now
    problem = mains_refused(amplifier, volts) if volts is not None else None
    if problem is not None:
        raise AmplifierError((problem,))
    told = {t.id: (t.text, t.where) for t in taken.readings} if taken else {}
    found = incoming(amplifier, reads, volts, parts, age, {**told, **typed(measured)})
    if as_json:
        print_json(document(found))
        return
    for line in _lines(found, bool(parts), bool(told or measured)):
        say(line)


def _meter(gear: "Bench | None", name: str | None) -> "Meter":
    """The meter named, else the bench's first."""
    from firstglow.readings.meters import meter_from_table, meter_named

    own = {n: meter_from_table(n, t, gear.file) for n, t in gear.meters.items()} if gear else {}
    return meter_named(name or next(iter(own), "digital"), own)


def _lines(found: "Incoming", named: bool, measured: bool) -> Iterator[str]:
    """Verdicts first; then the tests of the parts named, or of all where nothing was measured either."""
    from firstglow.cli.incoming_steps import beside
    from firstglow.cli.incoming_valves import valves

    mains = found.stood.mains["now"]
    yield f"{found.amplifier.name}: parts before they are fitted"
    yield f"At {mains:g} V mains, meter {found.meter.name} ({found.meter.about})."
    yield from _measured(found)
    yield from _ordered(found)
    if measured and not named:
        yield from _match(found)
        names = " ".join(
            dict.fromkeys(f"'{p}'" if " " in p else p for p in (r.part for r in found.reads if not r.of_file))
        )
        yield f"\nHow each is tested: firstglow incoming FILE {names}"
        return
    if found.reads:
        yield ""
    yield "High voltage kills. Clips go on and leads come off with the plug out and every"
    yield "capacitor below 10 V (firstglow discharge says how long); one hand, glasses,"
    yield "and nothing is touched while it is on."
    if not named:
        yield "Of a part that is named it says too what firstglow parts orders in its place."
    yield from _capacitors(found)
    yield from _match(found)
    yield from _resistors(found)
    yield from valves(found)
    yield from beside(found.beside)


def _measured(found: "Incoming") -> Iterator[str]:
    from firstglow.quantities import show

    if found.reads:
        yield "\nMEASURED"
    for r, (verdict, why) in zip(found.reads, found.judged, strict=True):
        value = show(r.figure.value, r.unit, 4)
        yield f"  {SIGNS[verdict]} {verdict:<10}{r.figure.label} {value}{' (in the file)' if r.of_file else ''}: {why}"


def _ordered(found: "Incoming") -> Iterator[str]:
    """What the order list puts in place of the parts named or measured."""
    from firstglow.audit.incoming import UNITS
    from firstglow.quantities import show

    if found.ordered:
        yield "\nIN THE ORDER LIST (firstglow parts) for these"
    for o in found.ordered:
        unit = UNITS[found.amplifier.parts[o.part].kind]
        low, high = (show(o.value * (1.0 + side * o.tolerance), unit, 4) for side in (-1.0, 1.0))
        yield f"  {o.part}: {o.pieces} x {o.text}"
        yield f"    good from {low} to {high}"


# -- capacitors --------------------------------------------------------------------------------------------------------
def _capacitors(found: "Incoming") -> Iterator[str]:
    from firstglow.cli.incoming_steps import STEPS, TITLES

    sources: dict[tuple[str, str, str], None] = {}
    for how, title in TITLES.items():
        mine = [x for x in (*found.leaks, *_fresh(found)) if x.how == how]
        if not mine:
            continue
        yield f"\n{title}"
        if how in LEADS:
            yield from _when(mine, found.weak)
        yield from STEPS[how]
        yield from _table(mine, how)
        sources |= dict.fromkeys((x.kind, x.test.source, x.test.doubt) for x in mine if x.test)
        if any(x.hidden for x in mine):
            names = ", ".join(x.part for x in mine if x.hidden)
            yield f"  ! {names}: too little for this meter to see; take a digital one of 10 Mohm."
        most = max(x.must if how in LEADS else x.test_volts for x in mine)
        if how != "insulation tester" and most > found.meter.highest_volts:
            yield (
                f"  ! {most:.0f} V is more than this meter or its leads stand ({found.meter.highest_volts:.0f} V): "
                "take one of the 1000 V class."
            )
    if sources:
        yield "\nTHE LIMITS of these tests"
    yield from (f"  {kind}: {source}; {doubt}." for kind, source, doubt in sources)


def _fresh(found: "Incoming") -> "Iterator[Leak]":
    """Tests of capacitors ordered that are not those of what is drawn anyway."""
    drawn = {(x.part, x.kind, x.age, x.farads) for x in found.leaks}
    return (x for x in found.ordered_leaks if (x.part, x.kind, x.age, x.farads) not in drawn)


def _table(mine: "Sequence[Leak]", how: str) -> Iterator[str]:
    from firstglow.audit.incoming_leaks import BY_RESISTOR
    from firstglow.quantities import show

    if how == "no volts":
        yield f"  {', '.join(x.part for x in mine)}: any sound one of its value does."
        return
    if how == "rating unknown":
        for x in mine:
            yield f"  {x.part} ({x.age} {x.kind} {show(x.farads, 'F')}): its place asks for {show(x.must, 'V')} and more ({x.most_in})"
        return
    for group in _groups(mine):
        x = group[0]
        t = x.test
        assert t is not None
        names = ", ".join(f"{g.part} ({_lead(g)})" if how in LEADS else g.part for g in group)
        yield f"  {names}"
        several = f"each of the {x.pieces} alone, " if x.pieces > 1 else ""
        stands = f"{'as ordered: ' if x.ordered else ''}{several}{x.age} {x.kind} {show(x.farads, 'F')}"
        if how == "insulation tester":
            ohms = (x.test_volts / t.good_amps, x.test_volts / t.reject_amps)
            yield f"    {stands}: good over {show(ohms[0], 'ohm')}, never fitted under {show(ohms[1], 'ohm')}"
            continue
        if how == "battery":
            works = "" if x.test_volts <= 1.001 * x.volts else f" (it works at {show(x.volts, 'V', 2)})"
            yield f"    {stands}, at {show(x.test_volts, 'V', 2)}{works}"
        elif x.unfit or x.pieces > 1:
            yield f"    {stands}, at {show(x.test_volts, 'V')}, which it is made for"
        else:
            yield f"    {stands}, stands at {show(x.test_volts, 'V')} while it is tested ({x.situation})"
        if how in BY_RESISTOR:
            yield f"    resistor {show(t.series_ohms, 'ohm')}, {_watts(t.series_watts)}"
        yield _limits(x, t)
        most = max(group, key=lambda g: g.must)
        if x.pieces > 1:
            continue
        if x.unfit:
            yield (
                f"    ! UNFIT in its place, whatever the test says: up to {show(most.must, 'V')} there ({most.most_in}); "
                "firstglow parts orders what goes in here"
            )
            continue
        if how in LEADS:
            yield f"    up to {show(most.must, 'V')} there ({most.most_in}): meter, leads and clips for that"
            if most.must > SHOWN * x.test_volts:
                yield f"    which this does not try: {_mark(most)}"
        elif most.must > SHOWN * x.test_volts:
            yield f"    must stand {show(most.must, 'V')} ({most.most_in}), which this does not try; {_mark(most)}"


def _mark(x: "Leak") -> str:
    from firstglow.quantities import show

    if x.rated is None:
        return "see its mark"
    return f"it is marked {show(x.rated, 'V')}"


def _when(mine: "Sequence[Leak]", weak: "Sequence[str]") -> Iterator[str]:
    """From which rung on the amplifier makes the rail."""
    later = any(not x.situation.startswith(BARE) for x in mine)
    yield f"  Power is on: not before the ladder's rung {'5' if later else '4'} has passed. In an amplifier that"
    yield "  has not come so far: on a bench supply of 'stands at' that holds a short to"
    yield "  5 mA, as first capacitors are."
    if weak:
        yield (
            f"  ! Full mains puts more on {', '.join(weak)} than {'it is' if len(weak) == 1 else 'they are'} made for, or nobody knows "
            "what that is: until what firstglow parts orders is in, only on such a bench supply."
        )


BARE = "all valves"
"""So begins the situation in which HT stands alone."""
SHOWN = 1.15
"""What a part must stand over what it is tested at, from when on it is said."""


def _lead(x: "Leak") -> str:
    """Which lead comes off; only an electrolytic has a plus and a minus."""
    return f"{x.lead} off {x.joint}" if x.kind == "electrolytic" else f"its lead at {x.joint} off"


def _limits(x: "Leak", t: "LeakTest") -> str:
    from firstglow.quantities import show

    after = f"    after {_minutes(t.after_seconds)}:"
    good, reject = ((show(v, "V", 2), show(t.flows(v), "A", 2)) for v in (t.good_volts, t.reject_volts))
    if x.hidden:
        return f"{after} too little for this meter ({good[1]}, {reject[1]})"
    both = t.reject_volts > 1.0001 * t.good_volts
    rejects = f"never over {reject[0]} ({reject[1]})" if both else "never over that"
    return f"{after} good under {good[0]} ({good[1]}), {rejects}"


LEADS = ("meter in its lead", "resistor in its lead")


def _groups(mine: "Sequence[Leak]") -> "list[list[Leak]]":
    """Tested alike, with the same figures to two digits."""
    out: dict[tuple[object, ...], list[Leak]] = {}
    for x in mine:
        t = x.test
        figures = () if t is None else tuple(f"{v:.2g}" for v in (t.good_volts, t.reject_volts, t.series_ohms))
        key = (x.ordered, x.pieces, x.unfit, x.kind, x.age, x.farads, f"{x.test_volts:.2g}", x.situation, figures)
        out.setdefault(key, []).append(x)
    return list(out.values())


def _watts(watts: float) -> str:
    return f"{max(2.0 * watts, 0.5):.2g} W or more"


def _minutes(seconds: float) -> str:
    return f"{seconds / 60.0:g} min"


# -- pairs and values --------------------------------------------------------------------------------------------------
def _match(found: "Incoming") -> Iterator[str]:
    from firstglow.audit.matching import WANTED
    from firstglow.quantities import show

    if not found.pairs:
        return
    yield "\nTO BE ALIKE (common practice; --measured pairs what you have)"
    for what, share in WANTED.items():
        mine = [p for p in found.pairs if p.what == what]
        if not mine:
            continue
        yield f"  {what}, within {100 * share:g} %"
        if what.startswith("output valves"):
            yield "    (each read in one and the same socket, its preset left as it is)"
        for pair in mine:
            chosen = next((c for c in found.chosen if c.pair == pair), None)
            places = " with ".join(pair.places)
            if chosen is None:
                yield f"    {places}"
                continue
            taken = ", ".join(
                f"{place}: {show(f.value, pair.unit, 4)}{'' if f.label == place else f' ({f.label})'}"
                for place, f in zip(pair.places, chosen.figures, strict=True)
            )
            mark = "" if chosen.within else ": too far apart, look for another"
            yield f"    {taken}: {100 * chosen.apart:.1f} % apart{mark}"
    if found.over:
        units = {r.figure.label: r.unit for r in found.reads}
        yield f"  left over: {', '.join(f'{f.label} ({show(f.value, units[f.label], 4)})' for f in found.over)}"


LISTED = 16
"""Resistors named one by one."""


def _resistors(found: "Incoming") -> Iterator[str]:
    from firstglow.audit.incoming import document
    from firstglow.quantities import show

    if not found.resistors:
        return
    yield "\nRESISTORS"
    yield "  Ohms against the mark, out or one lead off: good within its tolerance, never"
    yield "  fitted past 20 % (common practice). High ones across HT are read again warm."
    rows = document(found)["resistors"]
    for r in rows if len(rows) <= LISTED else ():
        band = f"{show(r['low'], 'ohm', 4)} to {show(r['high'], 'ohm', 4)}"
        yield f"  {r['part']}: {show(r['ohms'], 'ohm', 4)}, {100 * r['tolerance']:g} %: {band}"
