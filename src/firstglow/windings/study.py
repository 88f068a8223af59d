"""The whole procedure as one pure function: answers in, conclusions and the next question out."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from firstglow.readings.warm import MOST_KELVIN
from firstglow.windings.coils import MOST_BENCH_VOLTS, MOST_EXCITE_AMPS, Coil, Excitation, by_ohms, by_volts, excitation
from firstglow.windings.facts import Facts, Pair, Read, WindingsError, facts_of, pair_of
from firstglow.windings.groups import groups, leaks
from firstglow.windings.guess import Guess, confirmed, guesses
from firstglow.windings.order import Line, of
from firstglow.windings.rating import copper_volt_amps, core_volt_amps, most_no_load, rise, volt_amps

INSULATION_REFUSED, INSULATION_DOUBTED = 1e6, 2e6  # ohm at 500 V dc (in-service codes: class I; safe separation)


@dataclass(frozen=True, slots=True)
class Question:
    """What to read next. key: where the answer goes; kind: of text; data: figures that its text needs; optional: "none" will do."""

    key: str
    kind: str
    data: Mapping[str, float | str]
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Study:
    """What is known. question: None when all is answered. doubts, refused: bench words; refused means no section."""

    facts: Facts
    question: Question | None
    coils: tuple[Coil, ...] = ()
    single: tuple[str, ...] = ()
    guesses: tuple[Guess, ...] = ()
    chosen: Guess | None = None
    flipped: bool = False
    va: float | None = None
    va_room: float = 0.0
    doubts: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()


def study(answers: Mapping[str, str]) -> Study:
    """Everything that these answers say; WindingsError where one cannot be."""
    facts = facts_of(answers)
    for key in ("mains", "leads"):
        if key not in facts.answered:
            return Study(facts, Question(key, key, {}))
    if "lead_ohms" not in facts.answered:
        return Study(facts, Question("lead_ohms", "lead_ohms", {}, True))
    found, pair = groups(facts.leads, facts.ohms, facts.colours)
    if pair:
        return Study(facts, _ask("ohms", pair, facts))
    lines: list[Line] = []
    for group in (g for g in found if len(g) > 1):
        line = by_ohms(group, facts)
        if not isinstance(line, Line):
            return Study(facts, _ask("ohms", line, facts))
        lines.append(line)
    source = excitation(lines)
    doubts, refused = _cold(facts, found)
    for table in ("core", "insulation"):
        for group in found:
            if not any(f"{table} {b}" in facts.answered for b in group):
                return Study(facts, Question(f"{table} {group[0]}", table, {"lead": group[0]}, True))
    single = tuple(g[0] for g in found if len(g) == 1)
    coils = _turns(facts, lines, source, doubts, refused, single)
    return coils if isinstance(coils, Study) else _powered(facts, coils, single, doubts, refused)


def _ask(table: str, pair: Pair, facts: Facts, kind: str = "", /, **data: float | str) -> Question:
    a, b = sorted(pair, key=facts.leads.index)
    return Question(f"{table} {a} {b}", kind or table, {"one": a, "two": b, **data})


def _cold(facts: Facts, found: list[list[str]]) -> tuple[list[str], list[str]]:
    doubts = [
        f"{a} to {b} conduct {facts.ohms[a, b].value:.3g} ohm without copper: damp or burnt"
        for a, b in leaks(facts.ohms)
    ]
    refused = []
    for lead, r in facts.core.items():
        if r.value < 1e6 and not any(lead in g and len(g) == 1 for g in found):
            refused.append(f"the winding of {lead} touches the core: {r.value:.3g} ohm")
    for lead, r in facts.insulation.items():
        if r.value < INSULATION_REFUSED:
            refused.append(f"insulation of {lead} at 500 V dc is {r.value / 1e6:.3g} megohm, under 1")
        elif r.value < INSULATION_DOUBTED:
            doubts.append(
                f"insulation of {lead} at 500 V dc is {r.value / 1e6:.3g} megohm, under 2: dry it and read again"
            )
    if any(k.startswith("insulation ") for k in facts.none):
        doubts.append("insulation at 500 V dc was not read")
    doubts += [
        f"lead {g[0]} is joined to no other: a static screen, or the end of a broken winding"
        for g in found
        if len(g) == 1
    ]
    return doubts, refused


def _turns(
    facts: Facts, lines: list[Line], source: Excitation, doubts: list[str], refused: list[str], single: tuple[str, ...]
) -> Study | tuple[Coil, ...]:
    """Turns of every winding from low ac; a Study with the next question while some are not read."""
    volts = of(facts.ac, *source.pair)
    if volts is None:
        data: dict[str, float | str] = {"most": source.most_volts, "others": source.others_below}
        return Study(
            facts, _ask("ac", source.pair, facts, "excite", **data), doubts=tuple(doubts), refused=tuple(refused)
        )
    if volts.value > 1.1 * source.most_volts:
        a, b = source.pair
        raise WindingsError(
            f"ac {a} {b}",
            f"{volts.value:g} V",
            f"at most {source.most_volts:g} V on it",
            "a lower winding of the bench supply",
        )
    if "excite amps" not in facts.answered:
        return Study(
            facts, Question("excite amps", "excite_amps", {}, True), doubts=tuple(doubts), refused=tuple(refused)
        )
    if facts.excite_amps and facts.excite_amps.value > MOST_EXCITE_AMPS:
        refused.append(f"it draws {facts.excite_amps.value:.3g} A at {volts.value:.3g} V: a short inside")
    coils = []
    for line in lines:
        coil = (
            _excited(line, volts, facts, source, doubts)
            if source.pair[0] in line.leads
            else by_volts(line, volts, facts)
        )
        if not isinstance(coil, Coil):
            return Study(
                facts, _ask("ac", coil, facts, "", most=MOST_BENCH_VOLTS), doubts=tuple(doubts), refused=tuple(refused)
            )
        coils.append(coil)
    return tuple(coils)


def _excited(line: Line, volts: Read, facts: Facts, source: Excitation, doubts: list[str]) -> Coil | Pair:
    """The excited winding; its parts may add up to less than is put on it where a short inside loads its own copper."""
    try:
        return by_volts(line, volts, facts)
    except WindingsError:
        wide = {p: Read(r.value, r.error + 0.1 * r.value) if {*p} == {*source.pair} else r for p, r in facts.ac.items()}
        found = by_volts(line, volts, replace(facts, ac=wide))
        doubts.append(
            "the excited winding's parts add up to less than is put on it: it draws much; a misreading, or a short inside"
        )
        return found


def _powered(
    facts: Facts, coils: tuple[Coil, ...], single: tuple[str, ...], doubts: list[str], refused: list[str]
) -> Study:
    assert facts.volts is not None
    ranked = guesses(coils, facts.volts)
    if facts.primary is None:
        return Study(
            facts,
            Question("primary", "primary", {}),
            coils,
            single,
            ranked,
            doubts=tuple(doubts),
            refused=tuple(refused),
        )
    chosen = confirmed(facts, coils, facts.volts)
    if _where(ranked[0]) != _where(chosen):
        doubts.append(f"the primary is as you said; by the readings {ranked[0].text} is likelier")
    flipped = False
    if len(chosen.spans) == 2:
        (a, b), (c, d) = chosen.spans
        read = facts.phase.get(pair_of(f"{b} {c}", facts.leads, "primary"))
        one, two = (next(x for x in coils if s[0] in x.leads) for s in chosen.spans)
        volts = (
            next(r for p, r in facts.ac.items() if {*p} == {*one.ends}),
            next(r for p, r in facts.ac.items() if {*p} == {*two.ends}),
        )
        data: dict[str, float | str] = {
            "a": a,
            "d": d,
            "sum": volts[0].value + volts[1].value,
            "difference": abs(volts[0].value - volts[1].value),
        }
        if read is None:
            q = _ask("phase", (b, c), facts, "", **data)
            return Study(facts, q, coils, single, ranked, chosen, doubts=tuple(doubts), refused=tuple(refused))
        flipped = _phase(read, volts, f"phase {b} {c}")
    va, room = _rating(facts, coils, chosen)
    question = _last(facts, chosen, va, doubts, refused)
    return Study(facts, question, coils, single, ranked, chosen, flipped, va, room, tuple(doubts), tuple(refused))


def _where(guess: Guess) -> tuple[str, set[frozenset[str]]]:
    """Where the mains go, whichever way the leads are named."""
    return guess.joined, {frozenset(span) for span in guess.spans}


def _phase(read: Read, volts: tuple[Read, Read], key: str) -> bool:
    """Whether the second winding is to be turned: the free ends read the difference."""
    total, less = volts[0].value + volts[1].value, abs(volts[0].value - volts[1].value)
    room = volts[0].error + volts[1].error + read.error + 0.02 * total
    if abs(read.value - total) <= room:
        return False
    if abs(read.value - less) <= room:
        return True
    raise WindingsError(
        key,
        f"{read.value:.3g} V",
        f"{total:.3g} V if they aid, {less:.3g} V if they oppose",
        "the clips and the joint again",
    )


def _rating(facts: Facts, coils: tuple[Coil, ...], chosen: Guess) -> tuple[float, float]:
    ohms = 0.0
    for a, b in chosen.spans:
        coil = next(c for c in coils if a in c.leads)
        at = dict(zip(coil.leads, coil.ohms, strict=True))
        ohms += abs(at[b] - at[a])
    if chosen.joined == "parallel":
        ohms /= 4
    limb, stack = facts.size.get("limb"), facts.size.get("stack")
    core = core_volt_amps(limb, stack, facts.hertz) if limb and stack else None
    return volt_amps(core, copper_volt_amps(chosen.mark, max(ohms, 0.01)))


def _last(facts: Facts, chosen: Guess, va: float, doubts: list[str], refused: list[str]) -> Question | None:
    """Core size, no-load current and the hour alone: the next that is not answered; fills doubts and refusals."""
    for word in ("limb", "stack"):
        if f"size {word}" not in facts.answered:
            return Question(f"size {word}", word, {}, True)
    if refused:
        return None
    for percent in ("lamp", "30", "65", "100"):
        key = f"noload {percent}"
        share = 100.0 if percent == "lamp" else float(percent)
        least, most, stop = most_no_load(va, chosen.mark, share)
        if key not in facts.answered:
            kind = "lamp" if percent == "lamp" else "noload"
            return Question(key, kind, {"percent": share, "least": least, "most": most, "stop": stop}, True)
        amps = facts.noload.get(percent)
        if amps and amps.value > stop:
            refused.append(f"{amps.value:.3g} A at {percent} % of the mains with nothing connected, over {stop:.3g} A: shorted turns, "
                           "or the mains on the wrong winding")  # fmt: skip
        elif amps and amps.value > most:
            doubts.append(
                f"{amps.value:.3g} A at {percent} % with nothing connected is much (usual to {most:.3g} A): the hour decides"
            )
        elif percent == "lamp" and facts.lamp in {"half", "full"}:
            refused.append(f"the lamp stays {facts.lamp} with nothing connected: a short inside, or the wrong winding")
        if refused:
            return None
    for word in ("cold", "warm", "room_before", "room_after"):
        if f"hour {word}" not in facts.answered and "hour cold" not in facts.none:
            return Question(f"hour {word}", f"hour_{word}", {}, True)
    hour = facts.hour
    if len(hour) == 4:
        kelvin = rise(hour["cold"], hour["warm"], hour["room_before"], hour["room_after"])
        if kelvin > MOST_KELVIN:
            refused.append(f"{kelvin:.0f} K over the room after an hour alone: shorted turns")
        elif kelvin > 0.6 * MOST_KELVIN:
            doubts.append(f"{kelvin:.0f} K over the room after an hour alone is much: a single shorted turn heats so")
    else:
        doubts.append("not left alone for an hour: a single shorted turn shows there only, not in the current")
    if not facts.noload:
        doubts.append("no-load current was not read: shorted turns are not excluded")
    return None
