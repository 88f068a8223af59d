"""``firstglow parts FILE``."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firstglow.cli.output import AS, FILE, JSON, MAINS, print_json, say, volts_of

if TYPE_CHECKING:
    from firstglow.amplifier import Amplifier
    from firstglow.audit.parts import Audit, Audited
    from firstglow.audit.stress import Stress

DONE = ("valve", "rectifier", "heater", "transformer", "gas tube", "input", "load", "output transformer")
"""Kinds whose proposal says what to do, one thing a line; of all others what to fit."""
EVERYDAY = 0.95
"""Part of its worst under which what a part meets every day is told beside it."""
HEADS = (
    ("unfit", "UNFIT: past a rating"),
    ("tight", "TIGHT: within its rating with less to spare than is asked, or past it by the mains alone"),
)


@click.command()
@FILE
@click.argument("parts", nargs=-1, metavar="[PART]...")
@click.option("--all", "every", is_flag=True, help="Every stress of every part, the fit ones too.")
@AS
@MAINS
@JSON
def command(file: Path, parts: tuple[str, ...], every: bool, as_: str, mains_now: str | None, as_json: bool) -> None:
    """Are the parts fit? Each part's worst stress over every way of standing.

    \b
    Example:  firstglow parts examples/b-hazel-four.toml
              firstglow parts examples/a-linden-twin.toml --mains-now 238
              firstglow parts examples/c-sorrel-twenty.toml C3 R1 V2
    Running, cold start, valves pulled, standby open, on the highest mains too;
    and what a neighbour's fault would do. At idle: full power is not in it.
    A rating that the file does not say is never taken as fit.
    """
    from firstglow.amplifier import load
    from firstglow.amplifier.mains_mark import mains_refused
    from firstglow.amplifier.model import AmplifierError
    from firstglow.audit.parts import audit, document

    amplifier = load(file, as_=as_)
    volts = volts_of(mains_now)
    problem = mains_refused(amplifier, volts) if volts is not None else None
    if problem is not None:
        raise AmplifierError((problem,))
    asked = _asked(amplifier, parts)
    found = audit(amplifier, volts)
    if (every or asked) and not as_json:
        for line in _whole(amplifier.name, as_, found, asked):
            say(line)
        return
    if as_json:
        print_json(document(found))
        return
    for line in _lines(amplifier.name, as_, found):
        say(line)


def _asked(amplifier: "Amplifier", words: Sequence[str]) -> set[str]:
    """The parts named, of a glass or a can all that is in it."""
    from firstglow.amplifier.options import parts_called

    inside = {p.name for p in amplifier.parts.values() if p.envelope in words}
    return inside | {name for word in words for name in parts_called(amplifier, word)}


def _whole(name: str, as_: str, found: "Audit", asked: set[str]) -> Iterator[str]:
    """Every stress, part by part."""
    from firstglow.audit.proposal import said

    yield from _head(name, as_, found)
    for a in found.parts:
        if asked and a.part not in asked:
            continue
        yield f"\n{a.part}: {a.verdict}{f'; {a.ages}' if a.ages else ''}"
        for s in a.stresses:
            left = "" if s.margin is None else f", {_margin(s)}"
            verdict = s.verdict or {True: "survives", False: "does not survive", None: "rating unknown"}[s.survives]
            yield f"  {s.stress}: {said(s)}{left}{f': {verdict}' if s.judged else ''}"
            yield f"      {s.situation}{f' ({s.note})' if s.note else ''}"
        if a.proposal is not None:
            yield from _proposed(a)
    yield ""
    yield CAUTION


def _head(name: str, as_: str, found: "Audit") -> Iterator[str]:
    from firstglow.audit.parts import unsolved

    mains = found.stood.mains
    yield f"{name}, as {as_}: are the parts fit?"
    if found.stood.amplifier.of_kind("inlet"):
        yield f"Mains {mains['now']:g} V, highest {mains['high']:.0f} V, lowest {mains['low']:.0f} V."
    yield "At idle: what full power asks is not in it."
    if lost := unsolved(found):
        yield f"! NOT JUDGED, for it would not settle: {', '.join(lost)}."


def _lines(name: str, as_: str, found: "Audit") -> Iterator[str]:
    from firstglow.audit.order import told

    yield from _head(name, as_, found)
    for verdict, head in HEADS:
        mine = [a for a in found.parts if a.verdict == verdict]
        if mine:
            yield f"\n{head}"
            for group in _alike(mine):
                yield from _part(found, group)
    if found.more:
        yield "\nFIT AS IT STANDS, and asked more with the order list fitted"
        for group in _alike(found.more):
            yield from _part(found, group)
    ageing = [a for a in found.parts if a.ages and a.verdict not in ("unfit", "tight")]
    if ageing:
        yield "\nAGEING: renewed or measured whatever the figures say"
        for group in _alike(ageing):
            yield from _part(found, group)
    yield from _idles(found)
    yield from _unknown(found)
    yield from _fit(found)
    yield from _faults(found)
    yield from told(found)
    yield ""
    yield "Every stress of a part: firstglow parts FILE PART, or --all."
    yield ""
    yield CAUTION


CAUTION = (
    "High voltage kills. Nothing is changed before the plug is out and every capacitor reads below 10 V, and again after a "
    "minute: firstglow discharge says how long."
)


def _alike(parts: Sequence["Audited"]) -> list[list["Audited"]]:
    """Parts that are told the same, together: both channels, a pair; what the mains alone take past one rating, the worst first."""
    groups: dict[tuple[Any, ...], list[Any]] = {}
    for a in parts:
        told = [s for s in a.stresses if s.verdict in ("tight", "unfit")]
        mains = bool(told) and all(s.mains_alone for s in told)
        pressing = tuple((s.stress, "" if mains else f"{s.value:.2g}", s.rating) for s in told)
        key = (pressing, a.proposal.what if a.proposal else "")
        groups.setdefault(key, []).append(a)
    return [sorted(group, key=_spared) for group in groups.values()]


def _spared(a: "Audited") -> float:
    """The least that it has to spare of what the mains alone take past it."""
    return min((s.margin or 0.0 for s in a.stresses if s.mains_alone and s.verdict != "fit"), default=0.0)


def _part(found: "Audit", group: Sequence["Audited"]) -> Iterator[str]:
    from firstglow.audit.proposal import said, shown

    a, told = group[0], list[str]()
    yield f"  {', '.join(g.part for g in group)}"
    for s in a.stresses:
        if s.verdict in ("tight", "unfit"):
            left = "" if s.margin is None else f", {_margin(s)}"
            most = "the most of these, " if s.mains_alone and len(group) > 1 else ""
            yield f"    {s.stress}: {said(s)}{left}: {most}{s.situation}"
            if s.note:
                yield f"      ({s.note})"
            runs = f"      (running on {found.stood.mains['now']:g} V: {shown(s.everyday or 0.0, s.unit)})"
            if s.everyday is not None and s.everyday < EVERYDAY * s.value and runs not in told:
                told.append(runs)
                yield runs
    if a.ages:
        yield f"    {a.ages}"
    yield from (f"    {text}" for g in group for text in _at_stake(found, g.part, "it" if len(group) == 1 else g.part))
    if a.proposal is not None:
        yield from _proposed(a)


def _proposed(a: "Audited") -> Iterator[str]:
    assert a.proposal is not None
    steps = a.proposal.what.split("; ") if a.kind in DONE else [a.proposal.what]
    for step in steps:
        yield f"    or: {step[3:]}" if step.startswith("or ") else f"    {'do' if a.kind in DONE else 'put in'}: {step}"
    yield from (f"    or: {other}" for other in a.proposal.alternatives)
    yield from (f"    not: {other}" for other in a.proposal.refused)
    yield f"    then: {a.proposal.changes}"
    if a.proposal.keep:
        yield f"    {a.proposal.keep}"


def _at_stake(found: "Audit", part: str, name: str) -> Iterator[str]:
    """What the valves take once this part, named so, fails as its kind does: no more volts kept off a grid, no more bias."""
    from firstglow.audit.proposal import said
    from firstglow.quantities import show

    for way in found.stood.ways:
        fault = next((f for f in way.faults if f.part == part), None)
        if fault is None or fault.mode not in VERBS:
            continue
        rows: dict[str, list[str]] = {}
        for a in found.parts:
            hurt = [s for s in a.stresses if a.kind == "valve" and s.survives is False and s.situation == way.text]
            if hurt:
                rows.setdefault(f"{said(hurt[0])} ({hurt[0].stress})", []).append(a.part)
        ohms = f" ({show(fault.value, 'ohm')})" if fault.value else ""
        for text, valves in rows.items():
            yield f"if {name} {VERBS[fault.mode]}{ohms}: {', '.join(valves)} take{'s' if len(valves) == 1 else ''} {text}"


VERBS = {"shorted": "shorts", "leaks": "leaks", "open": "opens"}
"""What a part does in a fault of a mode."""


def _margin(s: "Stress") -> str:
    margin = s.margin or 0.0
    if s.verdict == "tight" and margin >= 0.01:
        left, asked = f"{100 * margin:.0f}", f"{100 * s.tight:.2g}"
        return f"{f'{100 * margin:.1f}' if left == asked else left} % left where {asked} % is asked"
    asked = f" where {100 * s.tight:.2g} % is asked" if s.verdict == "tight" else ""
    if abs(margin) < 0.01:
        return f"just at it{asked}"
    if margin < 0.0:
        return f"{-100 * margin:.0f} % past"
    return f"{100 * margin:.0f} % left{asked}"


def _idles(found: "Audit") -> Iterator[str]:
    """Where the output valves idle in what their class is run at; those alike in one line."""
    from firstglow.audit.idle_band import idle_bands
    from firstglow.readings.rated import section_of

    lines: dict[str, list[str]] = {}
    for i in idle_bands(found.stood):
        share = "its limit is not said" if i.share is None else f"{100.0 * i.share:.0f} % of {i.limit:g} W"
        lines.setdefault(f"{share}, {i.mark} ({i.text})", []).append(i.valve)
    if lines:
        yield "\nIDLE of the plate's limit (common practice; a mark, no verdict)"
    for text, valves in lines.items():
        mark = "! " if ", above (" in text or ", below (" in text else "  "
        yield f"{mark}{', '.join(valves)}: {text}"
    if any(
        str(section_of(p).limits.rating_system).startswith("design-maximum")
        for p in found.stood.amplifier.of_kind("valve")
    ):
        yield DESIGN


DESIGN = (
    "  Design-maximum limits hold for the worst valve on the worst mains; older sheets give design-centre ones for the same valve, about a "
    "seventh lower (12 W for 14 W of a 6V6GT: RCA sheets, from memory)."
)


def _unknown(found: "Audit") -> Iterator[str]:
    """Ratings that nobody said, by where they stand on the part."""
    from firstglow.audit.looks import look
    from firstglow.audit.looks import say as in_file
    from firstglow.audit.proposal import shown

    by_look: dict[tuple[str, str, bool], list[tuple[Any, Any]]] = {}
    idle: list[str] = []
    for a in found.parts:
        part = found.stood.amplifier.parts[a.part]
        for s in a.stresses:
            if not s.missing:
                continue
            if not s.felt:
                idle.append(f"{a.part} ({s.stress})")
            else:
                key = (s.stress, look(a.kind, s.stress), part.type == "electrolytic")
                by_look.setdefault(key, []).append((part, s))
    if by_look or idle:
        yield "\nRATING UNKNOWN: look on the part, then say it in the file"
    for (stress, where, _), rows in by_look.items():
        yield f"  {stress}: {', '.join(f'{part.name} {shown(s.value, s.unit)}' for part, s in rows)}"
        yield f"    look for {where}"
        if line := in_file(*rows[0]):
            yield f"    in its line of the file, for instance {line}"
    if idle:
        yield f"  bear almost nothing as it stands, so their ratings matter little: {', '.join(idle)}"


def _fit(found: "Audit") -> Iterator[str]:
    """What is fit, a channel's parts once."""
    fit = [a.part for a in found.parts if a.verdict == "fit" and not a.ages]
    channels = found.stood.amplifier.channels
    if not fit:
        return
    yield "\nFIT (at idle)"
    bare = {c: [n.removeprefix(f"{c} ") for n in fit if n.startswith(f"{c} ")] for c in channels}
    both = [n for n in bare[channels[0]] if all(n in names for names in bare.values())] if len(channels) > 1 else []
    alone = [n for n in fit if not any(n == f"{c} {name}" for c in channels for name in both)]
    if alone:
        yield f"  {', '.join(alone)}"
    if both:
        yield f"  {' and '.join(channels)}: {', '.join(both)}"


def _faults(found: "Audit") -> Iterator[str]:
    """What would not survive a neighbour's fault, and which fuse surely opens in time."""
    from firstglow.audit.order import wipers

    hurt: dict[str, list[str]] = {way.text: [] for way in found.stood.ways if way.faults}
    opens: dict[str, list[str]] = {}
    for a in found.parts:
        for s in a.stresses:
            if s.survives is False:
                names = opens.setdefault(s.situation, []) if a.kind == "fuse" else hurt[s.situation]
                names += [a.part] if a.part not in names else []
    hurt = {situation: names for situation, names in hurt.items() if names}
    ended, lasts = ({s: p for s, p in hurt.items() if (s in opens) == by_fuse} for by_fuse in (True, False))
    if lasts:
        yield "\nWOULD NOT SURVIVE a neighbour's fault"
    yield from (f"  {text}" for text in _together(found, lasts))
    if any(wipers(found)):
        yield "  What makes an open wiper harmless: firstglow bias FILE (two or three resistors)."
    yield from _fuses(found, lasts, bool(ended))
    if ended:
        fuses = dict.fromkeys(n for situation in ended for n in opens[situation])
        yield f"\nENDED BY {', '.join(fuses)}, which surely opens within two minutes; past their ratings until then"
    yield from (f"  {text}" for text in _together(found, ended))
    for situation, rows in _untold(found).items():
        yield f"  cannot tell, its rating is not said; {situation}: {', '.join(rows)}"


def _together(found: "Audit", hurt: Mapping[str, Sequence[str]]) -> Iterator[str]:
    """Faults of one kind in one line: what each of them takes, and what only its own one does."""
    kinds: dict[str, list[tuple[str, str]]] = {}
    for way in found.stood.ways:
        if way.text in hurt:
            part = way.faults[0].part if len(way.faults) == 1 else ""
            kind = way.text.replace(part, "#", 1) if part else way.text
            kinds.setdefault(kind, []).append((part, way.text))
    for kind, rows in kinds.items():
        common = [p for p in hurt[rows[0][1]] if all(p in hurt[text] for _, text in rows)]
        own = [[p for p in hurt[text] if p not in common] for _, text in rows]
        if len(rows) == 1 or len({len(o) for o in own}) > 1 or len(own[0]) > 1:
            yield from (f"{text}: {', '.join(hurt[text])}" for _, text in rows)
            continue
        told = ", ".join(common)
        if own[0]:
            told += f"{', and ' if told else ''}{_or([o[0] for o in own])}"
        yield f"{kind.replace('#', _or([part for part, _ in rows]), 1)}: {told}"


def _or(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


MUCH = 2.0
"""Times its worst without the fault, from where on a fault asks a part of unknown rating something new."""


def _untold(found: "Audit") -> dict[str, list[str]]:
    """Fault -> parts that it asks much more of, and whose rating nobody has said."""
    out: dict[str, list[str]] = {}
    for a in found.parts:
        usual = {s.stress: s.value for s in a.stresses if not s.fault}
        for s in a.stresses:
            if s.fault and s.rating is None and s.stress in usual and s.value > MUCH * usual[s.stress]:
                names = out.setdefault(s.situation, [])
                names += [a.part] if a.part not in names else []
    return out


def _fuses(found: "Audit", lasts: Mapping[str, Sequence[str]], other: bool) -> Iterator[str]:
    """What to go by where no fuse of the file ends a fault in time. other: it ends some."""
    fuses = [a for a in found.parts if a.kind == "fuse"]
    if lasts and fuses:
        names = ", ".join(f"{f.part}{' (its amps are not said)' if f.looks() else ''}" for f in fuses)
        yield (
            f"  Not sure to open within two minutes on {'these' if other else 'any of these'}: {names}. The signs: a plate that glows "
            "red, mains or HT amps well over what firstglow standing says, HT that sinks; off at the first, never wait for smoke."
            f"{'' if other else ' What a fuse in HT would do: firstglow mains.'}"
        )
