"""``firstglow bias`` in bench words: what the valves want, as it was, the network to build, the others in brief."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any


def trade_offs(p: Any) -> Iterator[str]:
    """What this one is good at, and what it costs."""
    yield from p.merits
    f = p.found
    worst = max(f.idle.values(), key=lambda i: i.at_least_amps)
    limit = f" of {worst.limit:g} W allowed" if worst.limit else ""
    yield (
        f"preset at its weak end by mistake: {worst.valve} draws {1e3 * worst.at_least_amps:.0f} mA, "
        f"{worst.at_least_watts:.1f} W{limit}"
    )
    span = max(e.least - e.most for e in f.out.values())
    yield f"a tenth of the travel moves a grid {span / 10:.1f} V"


def lines(b: Any, every: bool = False, goes_with: str = "", now: str = "As changed") -> Iterator[str]:
    """now: what the amplifier asked about is called beside what was drawn."""
    low, _, high = b.trial.mains
    net = b.trial.net
    yield f"{b.amplifier.name}: the bias supply ({net.supply.joint}, {net.supply.kind}), mains {low:.0f} to {high:.0f} V"
    yield ""
    yield from _wanted_lines(b)
    yield from (f"  ! {c.what}: {c.text}" for c in b.now.checks if c.as_drawn)
    yield from _idle_lines(b)
    shown = [] if b.now in b.was.values() else [(now, b.now)]
    for title, p in [*((f"As it was ({k})", p) for k, p in b.was.items()), *shown]:
        yield ""
        yield f"{title}:"
        yield from _range_lines(b, p)
        yield from (f"  ! {c.what}: {c.text}" for c in p.checks if not c.holds and not c.as_drawn)
    full = b.alternatives if every else b.alternatives[:1]
    for number, p in enumerate(full, 1):
        yield ""
        yield from _whole(b, p, number, goes_with)
    if b.alternatives[len(full) :]:
        yield ""
        yield "Others that do (in full: --all):"
        yield from (f"  {n}. {_brief(b, p)}" for n, p in enumerate(b.alternatives, 1) if n > len(full))
    yield ""
    if b.refused:
        yield f"No network is proposed: {b.refused}"
        return
    yield from _closing(b)


def _wanted_lines(b: Any) -> Iterator[str]:
    """Grid volts of the spread at their idle, each on its mains: with all valves in, and what must hold one that goes in alone."""
    low, nominal, high = (f"{m:.0f} V" for m in b.trial.mains)
    yield "What the valves want, grid volts to chassis, for the idle below:"
    yield f"{'':<9}{'all valves in, HT as it then is':^46}{'alone on unloaded HT':>24}"
    yield f"{'valve':<9}{f'weakest {low}':>14}{f'published {nominal}':>16}{f'strongest {high}':>16}{nominal:>13}{high:>11}"
    for v, n in b.trial.needs.items():
        safe = b.trial.safe[v]
        yield f"{v:<9}{n[0, 0]:14.1f}{n[1, 1]:16.1f}{n[2, 2]:16.1f}{safe[1]:13.1f}{safe[2]:11.1f}"
    yield (
        "  A preset's travel has the first three; its most negative end holds the last two, where the strongest valve goes in first "
        "and meets all of the HT. Weakest and strongest: one valve in 740 lies beyond."
    )


def _whole(b: Any, p: Any, number: int, goes_with: str) -> Iterator[str]:
    """One network in full; the first with why it is the one to build."""
    merits = ", ".join(p.merits) or "another that does"
    if number == 1:
        yield f"1. RECOMMENDED, {merits}:"
        if goes_with:
            yield f"  {goes_with}"
        yield f"  why: {b.recommended}"
    else:
        yield f"{number}. {merits}:"
    yield from (f"  {line}" for line in part_lines(b, p))
    yield from _range_lines(b, p)
    yield from _check_lines(p)
    yield from (f"  {t}" for t in list(trade_offs(p))[len(p.merits) :])


def _brief(b: Any, p: Any) -> str:
    """What it fits beside the grid leaks that all have in common, and how it differs."""
    common = set(b.alternatives[0].parts.items()) if len(b.alternatives) > 1 else set()
    for other in b.alternatives[1:]:
        common &= set(other.parts.items())
    own = {k: v for k, v in p.parts.items() if (k, v) not in common}
    fitted = "; ".join(f"{', '.join(names)} {value}" for names, value in _grouped(own))
    worst = max(p.found.idle.values(), key=lambda i: i.at_least_amps)
    span = max(e.least - e.most for e in p.found.out.values())
    merits = ", ".join(p.merits) or "another that does"
    return (
        f"{fitted}: {1e2 * p.found.room:.0f} % left at either end, {worst.at_least_watts:.1f} W at the weak end, {span / 10:.1f} V a "
        f"tenth of the travel, {1e3 * max(p.found.hum.values()):.2f} mV hum ({merits})"
    )


def _grouped(parts: Mapping[str, float]) -> list[tuple[list[str], str]]:
    """Parts of one new value together, with it."""
    from firstglow.quantities import show

    units = {"ohms": "ohm", "farads": "F", "volts": "V", "watts": "W"}
    groups: dict[tuple[str, float], list[str]] = {}
    for name, value in parts.items():
        part, _, attribute = name.rpartition(" ")
        groups.setdefault((attribute, value), []).append(part)
    return [(names, show(value, units[attribute])) for (attribute, value), names in groups.items()]


def _idle_lines(b: Any) -> Iterator[str]:
    yield ""
    yield "Idle to set, valves warm, mains nominal:"
    yield f"{'valve':<9}{'mA':>7}{'across':>14}{'mV drawn':>10}{'mV as is':>10}{'plate W':>9}{'screen W':>10}{'of limit':>11}"
    for i in b.now.found.idle.values():
        s = b.sense(i.valve)
        at = (
            (f"{s.part[-13:]:>14}{1e3 * s.nominal:10.0f}{1e3 * s.measured:10.0f}")
            if s
            else f"{'-':>14}{'-':>10}{'-':>10}"
        )
        band = b.band(i)
        mark = {"above": " !", "below": " !"}.get(band.mark, "")
        share = f"{1e2 * i.share:.0f} %{mark}" if i.share else "?"
        yield f"{i.valve:<9}{1e3 * i.target:7.1f}{at}{i.plate_watts:9.1f}{i.screen_watts:10.1f}{share:>11}"
    yield from _short_lines(b.now.found.idle.values())
    for text in dict.fromkeys(_outside(b.band(i)) for i in b.now.found.idle.values()):
        if text:
            yield text
    low, nominal, high = b.trial.mains
    i = max(b.now.found.idle.values(), key=lambda x: x.high)
    yield (
        f"  Set on {nominal:.0f} V and left alone, {i.valve} draws {1e3 * i.low:.1f} mA on {low:.0f} V and "
        f"{1e3 * i.high:.1f} mA on {high:.0f} V."
    )
    classes = dict.fromkeys(b.band(i).text for i in b.now.found.idle.values())
    yield (
        "  Plate W is plate to CATHODE volts times plate current, screen current apart. "
        f"Of the plate's limit at idle: {'; '.join(classes)} (common practice)."
    )
    doubtful = sorted({str(b.amplifier.parts[v].type) for v in b.doubtful})
    if doubtful:
        yield f"  {', '.join(doubtful)}: published figures allow no better than: bias for this current +-5 %."


def _short_lines(idles: Iterable[Any]) -> Iterator[str]:
    """Whose preset comes to its end before the mA above: what it draws there, and the watts are of that."""
    short = [i for i in idles if i.comes_short]
    if short:
        draws = ", ".join(f"{i.valve} {1e3 * i.stands:.1f}" for i in short)
        yield f"  ! as it stands the presets come to their end first, at {draws} mA: the watts above are of that."


def _outside(band: Any) -> str:
    """What an idle outside its class says."""
    if band.mark not in ("above", "below"):
        return ""
    price = "little is left for full power and high mains" if band.mark == "above" else "the crossover shows"
    return f"  ! idle {band.mark} its class ({band.text} of the plate's limit): {price}."


def _range_lines(b: Any, p: Any) -> Iterator[str]:
    """Volts at the presets' ends and middle; valves alike are one line."""
    f = p.found
    at = f"grid volts on {b.trial.mains[1]:.0f} V, preset at"
    yield f"  {at:<30}{'most':>10}{'middle':>10}{'least':>10}"
    groups: dict[tuple[str, ...], list[str]] = {}
    for v in f.out:
        ends = [x for e in (f.out[v], f.into[v]) for x in (e.most, e.middle, e.least)]
        groups.setdefault(tuple(f"{x:.1f}" for x in ends), []).append(v)
    for x, valves in groups.items():
        named = ", ".join(valves)
        for words, three in (("out", x[:3]), ("in", x[3:])):
            yield f"  {f'{named} {words}':<30}{three[0]:>10}{three[1]:>10}{three[2]:>10}"


def _check_lines(p: Any) -> Iterator[str]:
    """Each demand; ratings that hold in one line; what only the drawing could mend is said once, elsewhere."""
    ratings = [c for c in p.checks if c.holds and c.rating]
    for c in p.checks:
        if not c.as_drawn and c not in ratings:
            yield f"  {'' if c.holds else '! '}{c.what}: {c.text}"
    if ratings:
        yield f"  ratings: {'; '.join(c.text for c in ratings)}"


def part_lines(b: Any, p: Any) -> Iterator[str]:
    """What to fit: parts of the same value together, what is new said with where it goes."""
    from firstglow.quantities import show

    net = b.trial.net
    guards = {x.guard: (x.name, "from the preset's wiper to its negative end") for x in net.pots}
    guards |= {g: (x.name, "from the bias rail to either end") for x in net.balances for g in x.guards}
    leaks = {o.grid_leak for o in b.trial.outputs}
    couplings = {c for o in b.trial.outputs for c in o.coupling}
    groups: dict[tuple[str, float, str], list[str]] = {}
    for name, value in p.parts.items():
        part, _, attribute = name.rpartition(" ")
        new = "guard" if part in guards and part in net.added else "new" if part in net.added else ""
        groups.setdefault((attribute, value, new), []).append(part)
    for (attribute, value, new), parts in groups.items():
        unit = {"ohms": "ohm", "farads": "F", "volts": "V", "watts": "W"}[attribute]
        was = b.amplifier.parts[parts[0]].values[attribute].value if not new else None
        before = f", was {show(was, unit)}" if was is not None else ""
        yield f"{', '.join(parts)}: {show(value, unit)}{before}"
        if new == "guard":
            for way in dict.fromkeys(guards[g][1] for g in parts):
                ways = ", ".join(f"{g} on {guards[g][0]}" for g in parts if guards[g][1] == way)
                yield f"  new, each {way}: {ways}"
        elif new == "new":
            yield "  new, between the preset's weak end and chassis"
        elif parts[0] in leaks:
            yield "  the grid leaks, 1 %: their valves allow no more with fixed bias"
        elif parts[0] in couplings:
            yield "  the coupling capacitors: keep the bass with those leaks, of the volts that firstglow parts asks there"


def _closing(b: Any) -> Iterator[str]:
    if any(not x.drawn_guard and x.guard for x in b.trial.net.pots):
        yield (
            "As drawn no value makes this network fail-safe: a wiper that opens leaves its grid without bias. The resistor from "
            "wiper to negative end does. Solder it ON the preset."
        )
    yield "Resistors 0.5 W film or more; presets and capacitors as checked above."
    yield (
        "High voltage: fit parts unplugged, every capacitor discharged and below 10 V, the bias rail last. Then prove the bias "
        "at every grid, presets at their most negative ends, before an output valve goes in (firstglow ladder)."
    )
