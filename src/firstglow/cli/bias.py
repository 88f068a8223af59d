"""``firstglow bias FILE``."""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import click

from firstglow.cli.output import AS, FILE, JSON, MAINS, print_json, say, volts_of


@click.command()
@FILE
@AS
@MAINS
@click.option(
    "--rectifier",
    type=click.Choice(["silicon", "selenium new", "selenium aged"]),
    default=None,
    help="Try this one instead of the file's.",
)
@click.option("--series", type=click.Choice(["E12", "E24", "E96"]), default="E24", show_default=True, help="Resistors.")
@click.option(
    "--hum", type=str, default=None, metavar="VOLTS", help="Most hum at a grid, V rms.  [default: bias / 10000]"
)
@JSON
def command(
    file: Path, as_: str, mains_now: str | None, rectifier: str | None, series: str, hum: str | None, as_json: bool
) -> None:
    """The negative bias supply, designed again: resistors that reach every idle and fail to the cold side.

    \b
    Example:  firstglow bias examples/a-linden-twin.toml
              firstglow bias examples/a-linden-twin.toml --series E12 --hum 1m
    As it was drawn stands beside as changed (selenium beside silicon, say).
    """
    from firstglow.amplifier import AmplifierError, load
    from firstglow.amplifier.mains_mark import mains_refused
    from firstglow.audit.bias import design
    from firstglow.audit.bias_parts import NoBiasError, with_rectifier

    drawn, amplifier = load(file, as_="drawn"), load(file, as_=as_)
    today = volts_of(mains_now)
    told = mains_refused(amplifier, today) if today is not None else None
    if told is not None:
        raise AmplifierError((told,))
    try:
        if rectifier:
            amplifier = with_rectifier(amplifier, drawn, rectifier)
        found = design(drawn, amplifier, series, hum_of(hum), today)
    except NoBiasError as nothing:
        if as_json:
            print_json({"amplifier": amplifier.name, "as_it_was": None, "as_changed": None, "alternatives": [],
                        "refused": str(nothing)})  # fmt: skip
        else:
            say(f"{amplifier.name}: {nothing}.")
        return
    if as_json:
        print_json(bias_document(found))
        return
    for line in _lines(found):
        say(line)


def hum_of(text: str | None) -> float | None:
    """``--hum`` as volts rms. ClickException for what is none."""
    if text is None:
        return None
    from firstglow.quantities import QuantityError, read_value

    try:
        volts = read_value(text if text.strip()[-1:] in "Vv" else f"{text.strip()}V", "V")
    except QuantityError:
        volts = 0.0
    if volts <= 0.0:
        raise click.ClickException(f"--hum: {text}; volts rms at a grid, above 0; try --hum 2m")
    return volts


# -- JSON --------------------------------------------------------------------------------------------------------------
def bias_document(b: Any) -> dict[str, Any]:
    """CONTRACTS.md's document."""
    low, nominal, high = b.trial.mains
    was = [{"rectifier": k, **_proposal(b, p)} for k, p in b.was.items()]
    return {
        "amplifier": b.amplifier.name,
        "supply": b.trial.net.supply.name,
        "mains_volts": {"low": low, "nominal": nominal, "high": high},
        "hum_limit_volts": b.hum_limit,
        "wanted": [
            {
                "valve": v, "safe_bias_volts": b.trial.safe[v][1], "strongest_high_mains": float(n[2, 2]),
                "published": float(n[1, 1]), "weakest_low_mains": float(n[0, 0]),
            }
            for v, n in b.trial.needs.items()
        ],
        "as_it_was": {**was[0], "others": was[1:]} if was else None,
        "as_changed": {"rectifier": b.trial.net.supply.kind, **_proposal(b, b.now)},
        "alternatives": [_proposal(b, p) for p in b.alternatives],
        "refused": b.refused,
    }  # fmt: skip


def _proposal(b: Any, p: Any) -> dict[str, Any]:
    f, ready = p.found, p.ready
    return {
        "parts": _values(p),
        "added": {
            n: {"from": b.trial.amplifier.parts[n].leads["1"], "to": b.trial.amplifier.parts[n].leads["2"]}
            for n in b.trial.net.added if f"{n} ohms" in p.parts
        },
        "ratings": {n: v for n, v in p.parts.items() if n.endswith((" volts", " watts"))},
        "range": [
            {"valve": v, "out": _ends(f.out[v]), "in": _ends(f.into[v])} for v in f.out
        ],
        "idle_range": [_idle(b, i, f.turns) for i in f.idle.values()],
        "wiper_open": {
            "fail_safe": p.fail_safe,
            "pots": [
                {
                    "pot": w.pot, "valve": w.valve, "mains_volts": w.mains, "idle_amps": w.before, "open_amps": w.after,
                    "grid_volts": w.grid, "others_rise": w.others, "total": w.total, "safe": w.safe,
                }
                for w in f.wipers
            ],
        },
        "hum_volts": max(f.hum.values()),
        "ready_before_ht_s": ready.before_ht if ready else None,
        "ready_before_current_s": ready.before_current if ready else None,
        "ready_s": ready.bias if ready else None,
        "room": f.room,
        "fail_safe": p.fail_safe,
        "checks": [{"what": c.what, "holds": c.holds, "text": c.text, "as_drawn": c.as_drawn} for c in p.checks],
        "trade_offs": list(trade_offs(p)),
        "settled": f.settled,
    }  # fmt: skip


def _values(p: Any) -> dict[str, float]:
    """Part -> ohms or farads: of a proposal what changes or is added, of a network that stands all that it is made of."""
    changed = {n.rpartition(" ")[0]: v for n, v in p.parts.items() if n.endswith((" ohms", " farads"))}
    return changed or dict(p.present)


def _ends(e: Any) -> dict[str, float]:
    return {"most": e.most, "middle": e.middle, "least": e.least}


def _idle(b: Any, i: Any, turns: Mapping[str, float]) -> dict[str, Any]:
    sense = b.sense(i.valve)
    return {
        "band": b.band(i).row(),
        "valve": i.valve, "pot": b.trial.pot_of[i.valve].name, "travel": turns[b.trial.pot_of[i.valve].name],
        "target_amps": i.target, "low_mains_amps": i.low, "high_mains_amps": i.high, "stands_amps": i.stands, "reached": i.reached,
        "sense_volts": sense and {"part": sense.part, "nominal": sense.nominal, "measured": sense.measured},
        "plate_watts": i.plate_watts, "screen_watts": i.screen_watts, "limit_watts": i.limit, "share": i.share,
        "cathode_volts": i.cathode_volts, "weak_end_amps": i.at_least_amps, "weak_end_watts": i.at_least_watts,
    }  # fmt: skip


# -- text --------------------------------------------------------------------------------------------------------------
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


def _lines(b: Any) -> Iterator[str]:
    low, _, high = b.trial.mains
    net = b.trial.net
    yield f"{b.amplifier.name}: the bias supply ({net.supply.joint}, {net.supply.kind}), mains {low:.0f} to {high:.0f} V"
    yield ""
    yield "What the valves want, grid volts to chassis (mains; HT follows):"
    yield f"{'valve':<9}{'weakest, low':>14}{'published':>12}{'strongest, high':>17}{'strongest, HT unloaded':>25}"
    for v, n in b.trial.needs.items():
        yield f"{v:<9}{n[0, 0]:14.1f}{n[1, 1]:12.1f}{n[2, 2]:17.1f}{b.trial.safe[v][1]:25.1f}"
    yield "  Weakest and strongest: one valve in 740 lies beyond."
    yield from (f"  ! {c.what}: {c.text}" for c in b.now.checks if c.as_drawn)
    yield from _idle_lines(b)
    shown = [] if b.now in b.was.values() else [("As changed", b.now)]
    for title, p in [*((f"As it was ({k})", p) for k, p in b.was.items()), *shown]:
        yield ""
        yield f"{title}:"
        yield from _range_lines(b, p)
        yield from (f"  ! {c.what}: {c.text}" for c in p.checks if not c.holds and not c.as_drawn)
    for number, p in enumerate(b.alternatives, 1):
        yield ""
        yield f"{number}. {', '.join(p.merits) or 'another that does'}:"
        yield from (f"  {line}" for line in part_lines(b, p))
        yield from _range_lines(b, p)
        yield from _check_lines(p)
        yield from (f"  {t}" for t in list(trade_offs(p))[len(p.merits) :])
    yield ""
    if b.refused:
        yield f"No network is proposed: {b.refused}"
        return
    yield from _closing(b)


def _idle_lines(b: Any) -> Iterator[str]:
    yield ""
    yield "Idle to set, valves warm, mains nominal:"
    yield f"{'valve':<9}{'mA':>7}{'across':>12}{'mV drawn':>10}{'mV as is':>10}{'plate W':>9}{'screen W':>10}{'of limit':>11}"
    for i in b.now.found.idle.values():
        s = b.sense(i.valve)
        at = (
            (f"{s.part[-11:]:>12}{1e3 * s.nominal:10.0f}{1e3 * s.measured:10.0f}")
            if s
            else f"{'-':>12}{'-':>10}{'-':>10}"
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
    yield f"  {'grid volts, preset at':<30}{'most':>10}{'middle':>10}{'least':>10}"
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
