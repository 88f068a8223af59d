"""Incoming parts against this amplifier: leakage, values, likeness, what a valve draws; one document (docs: README).

What was measured is given by part: a capacitor's farads or its leak (volts as the test shows them, amps, or ohms), a
resistor's ohms, an output valve's amps or volts where the sheet reads them.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.options import find_parts, parts_called
from firstglow.audit.incoming_judged import Judging, Read, tolerance_of
from firstglow.audit.incoming_leaks import BY_RESISTOR, LOW_VOLTS, Leak, leak, leaks
from firstglow.audit.incoming_ordered import Ordered, as_ordered, ordered
from firstglow.audit.incoming_valves import Draws, Gas, HeaterLeak, gas, healthy, heater_leaks
from firstglow.audit.matching import WANTED, Chosen, Figure, Pair, choose, marked, wanted
from firstglow.audit.ways import Stood, stood
from firstglow.markings.incoming import Fitness
from firstglow.quantities import QuantityError, read_value, show
from firstglow.readings.meters import Meter, ReadingsError

Age = Literal["new", "old"]
UNITS = {"resistor": "ohm", "capacitor": "F"}
KINDS = ("capacitor", "resistor", "valve", "rectifier")
BESIDE = ("diode", "fuse", "switch", "choke", "pot")
"""Kinds without figures of this amplifier: what can be tried of each is told."""


@dataclass(frozen=True)
class Incoming:
    """All of it. leaks, draws, gas, heater: for the parts asked for; pairs: what must be alike; chosen, over: of what was
    measured; reads: that, with ``judged`` beside: (verdict, why) each. ordered: what the order list puts in place of the parts named
    or measured, other values than the file's first; ordered_leaks: the tests of such capacitors.
    beside: parts named that have no limits here (``BESIDE``). weak: capacitors, asked for or not, on which full mains puts more than
    they are made for, or whose rating nobody knows: while they stand in it nothing is tested in place."""

    amplifier: Amplifier
    stood: Stood
    meter: Meter
    leaks: tuple[Leak, ...]
    draws: tuple[Draws, ...]
    gas: tuple[Gas, ...]
    heater: tuple[HeaterLeak, ...]
    resistors: tuple[Part, ...]
    pairs: tuple[Pair, ...]
    chosen: tuple[Chosen, ...]
    over: tuple[Figure, ...]
    reads: tuple[Read, ...]
    judged: tuple[tuple[Fitness, str], ...]
    ordered: tuple[Ordered, ...]
    ordered_leaks: tuple[Leak, ...]
    beside: tuple[Part, ...] = ()
    weak: tuple[str, ...] = ()


def incoming(
    amplifier: Amplifier, meter: Meter, mains_now: float | None = None, parts: Sequence[str] = (), age: Age | None = None,
    measured: Mapping[str, tuple[str, str]] | None = None,
) -> Incoming:  # fmt: skip
    """parts: only these (names as the file or a channel calls them), default those measured, else all. measured: name -> (text,
    where it stands, for messages). What the order list puts in is worked out for parts named or measured alone: for all of them it is
    the whole parts audit. Raises SolveError, ReadingsError."""
    at = stood(amplifier, mains_now)
    typed_in = tuple(_reads(amplifier, measured or {}))
    asked = {r.part for r in typed_in} if typed_in and not parts else _asked(amplifier, parts)
    reads = typed_in + tuple(_of_file(amplifier, measured or {}))
    pairs = wanted(amplifier, at.roles)
    kinds = {amplifier.parts[n].kind for n in (*asked, *(r.part for r in reads))}
    draws = healthy(at, meter) if kinds & {"valve", "rectifier"} else ()
    chosen, over = choose(pairs, _figures(reads, amplifier, {d.valve: d for d in draws}))
    mine = [p for p in pairs if set(p.places) & asked]
    if typed_in and not parts:  # what was measured of one channel may serve in the other
        kin = {p.what for p in mine}
        mine = [p for p in pairs if p.what in kin]
    places = {name for p in mine for name in p.places}
    named = {*(asked if parts else ()), *(r.part for r in typed_in)}
    bought = tuple(
        o for p in amplifier.of_kind("resistor", "capacitor") if p.name in named for o in ordered(at, p.name)
    )
    fresh = () if age == "old" else tuple(_ordered_leaks(at, meter, bought))
    judging = Judging(at, amplifier, bought, fresh, tuple(leaks(at, meter, age)), draws)
    return Incoming(
        amplifier, at, meter, tuple(x for x in judging.tested if x.part in asked), tuple(d for d in draws if d.valve in asked),
        tuple(g for g in gas(at, meter) if g.valve in asked), tuple(h for h in heater_leaks(at, meter) if h.valve in asked),
        tuple(p for p in amplifier.of_kind("resistor") if p.name in asked), tuple(mine),
        tuple(c for c in chosen if set(c.pair.places) & places), tuple(over), reads,
        tuple(judging.of(r) for r in reads), bought, fresh, _beside(amplifier, parts),
        tuple(x.part for x in judging.tested if x.unfit or (x.how == "rating unknown" and x.must > LOW_VOLTS)),
    )  # fmt: skip


def _ordered_leaks(at: Stood, meter: Meter, bought: Sequence[Ordered]) -> Iterator[Leak]:
    """The leak test of each capacitor that is bought: new, of the value and volts ordered; of several, each alone."""
    for o in bought:
        part = at.amplifier.parts[o.part]
        if part.kind == "capacitor":
            yield replace(leak(at, as_ordered(part, o), meter, "new", o.pieces), ordered=True)


def _asked(amplifier: Amplifier, parts: Sequence[str]) -> set[str]:
    """Names of the parts asked for; of a valve's glass all its sections."""
    able = list(amplifier.of_kind(*KINDS))
    if not parts:
        return {p.name for p in able}
    found: set[str] = set()
    for word in parts:
        names = _named(amplifier, word)
        kinds = {amplifier.parts[n].kind for n in names}
        if not kinds & {*KINDS, *BESIDE}:
            raise ReadingsError(
                f"PART: {word!r} is a {kinds.pop()}; capacitors, resistors and valves are tested before they are fitted; try "
                f"{next((p.name for p in able), 'a capacitor')}"
            )
        found |= {n for n in names if amplifier.parts[n].kind in KINDS}
    return found


def _named(amplifier: Amplifier, word: str) -> set[str]:
    return {*parts_called(amplifier, word), *(p.name for p in amplifier.of_kind(*KINDS) if p.envelope == word)}


def _beside(amplifier: Amplifier, parts: Sequence[str]) -> tuple[Part, ...]:
    """Of the parts named those that have no limits here, in the file's order."""
    named = {n for word in parts for n in _named(amplifier, word)}
    return tuple(p for p in amplifier.of_kind(*BESIDE) if p.name in named)


# -- what was measured ---------------------------------------------------------------------------------------------------
def typed(texts: Sequence[str]) -> dict[str, tuple[str, str]]:
    """``C7=0.101u,R12=221k 219k``: name -> (figures, where)."""
    out: dict[str, tuple[str, str]] = {}
    for text in (t.strip() for part in texts for t in part.split(",")):
        if not text:
            continue
        name, equals, value = (t.strip() for t in text.partition("="))
        if not equals or not name or not value:
            raise ReadingsError(f"--measured: {text}; a part and what it measures; try --measured C7=0.101u")
        before = out.get(name)
        out[name] = (f"{before[0]} {value}" if before else value, "--measured")
    return out


def _reads(amplifier: Amplifier, measured: Mapping[str, tuple[str, str]]) -> Iterator[Read]:
    for word, (texts, where) in measured.items():
        every = parts_called(amplifier, word, where)
        names = tuple(n for n in every if amplifier.parts[n].kind in KINDS) or every
        values, first = texts.split(), names[0]
        if amplifier.parts[first].kind not in KINDS:
            raise ReadingsError(
                f"{where}: {word!r} is a {amplifier.parts[first].kind}; capacitors, resistors and valves are measured here; try "
                f"{next((p.name for p in amplifier.of_kind(*KINDS)), 'C1')}"
            )
        for n, text in enumerate(values, 1):
            value, unit = _value(amplifier.parts[first], text, f"{where}: {word}")
            label = first if len(names) == 1 else word
            yield Read(first, Figure(value, label, n, len(values)), unit, text)


def _of_file(amplifier: Amplifier, measured: Mapping[str, tuple[str, str]]) -> Iterator[Read]:
    """What a measured layer of the file says already."""
    said = {n for word in measured for n in find_parts(amplifier, word)}
    for part in amplifier.of_kind("capacitor", "resistor"):
        key, unit = ("farads", "F") if part.kind == "capacitor" else ("ohms", "ohm")
        q = part.values.get(key)
        if q is not None and q.origin.layer == "measured" and part.name not in said:
            yield Read(part.name, Figure(q.value, part.name, 1, 1), unit, show(q.value, unit, 4), True)


MOST_AMPS = 1.5
"""More than this no cathode here draws for a reading [A]."""


def _value(part: Part, text: str, where: str) -> tuple[float, str]:
    """A figure and its unit: by the part's kind, and of a capacitor or valve by what stands behind it."""
    unit = UNITS.get(part.kind, "A")
    if part.kind != "resistor" and re.search(r"[vV]$", text):
        unit = "V"
    elif part.kind == "capacitor" and re.search(r"[aA]$", text):
        unit = "A"
    elif part.kind == "capacitor" and re.search(r"(ohms?|[RGMkKΩΩ])$", text):
        unit = "ohm"
    try:
        value = read_value(text, unit)
    except QuantityError as error:
        raise ReadingsError(f"{where}: {error.found}; {error.allowed}; try {error.remedy}") from None
    if part.kind == "valve" and unit == "A" and value > MOST_AMPS:
        found = f"{text} is {value:g} A through a valve"
        raise ReadingsError(f"{where}: {found}; milliamperes end in m, volts across its resistor in V; try {text}m")
    if value <= 0.0 and unit in ("F", "ohm", "A"):
        raise ReadingsError(f"{where}: {text}; more than nothing; try what the meter shows")
    return value, unit


def _figures(reads: Sequence[Read], amplifier: Amplifier, draws: Mapping[str, Draws]) -> dict[str, list[Figure]]:
    """By place: what can be matched; an output valve's volts as the amps that they are."""
    out: dict[str, list[Figure]] = {}
    for r in reads:
        kind, figure = amplifier.parts[r.part].kind, r.figure
        if kind == "valve" and r.unit == "V" and r.part in draws:
            figure = replace(figure, value=figure.value * draws[r.part].amps / draws[r.part].volts)
        elif (kind, r.unit) not in (("capacitor", "F"), ("resistor", "ohm"), ("valve", "A")):
            continue
        out.setdefault(r.part, []).append(figure)
    return out


# -- document ------------------------------------------------------------------------------------------------------------
def document(found: Incoming) -> dict[str, Any]:
    """The JSON of ``firstglow incoming``."""
    told = list(zip(found.reads, found.judged, strict=True))
    gases, heaters = {g.valve: g for g in found.gas}, {h.valve: h for h in found.heater}
    return {
        "amplifier": found.amplifier.name,
        "mains": found.stood.mains["now"],
        "meter": found.meter.name,
        "capacitors": [_leak_row(x) for x in found.leaks],
        "resistors": [
            {
                "part": p.name, "ohms": marked(p.values["ohms"]), "tolerance": tolerance_of(found.amplifier, p),
                "low": marked(p.values["ohms"]) * (1.0 - tolerance_of(found.amplifier, p)),
                "high": marked(p.values["ohms"]) * (1.0 + tolerance_of(found.amplifier, p)),
            }
            for p in found.resistors
        ],
        "valves": [_valve_row(d, gases.get(d.valve), heaters.get(d.valve)) for d in found.draws],
        "measured": [
            {
                "part": r.part, "label": r.figure.label, "value": r.figure.value, "unit": r.unit, "verdict": verdict, "why": why,
            }
            for r, (verdict, why) in told
        ],
        "match": [_match_row(p, found.chosen) for p in found.pairs],
        "left_over": [f.label for f in found.over],
        "ordered": [
            {
                "part": o.part, "value": o.value, "unit": UNITS[found.amplifier.parts[o.part].kind], "tolerance": o.tolerance,
                "pieces": o.pieces, "text": o.text, "by": o.by,
            }
            for o in found.ordered
        ],
        "ordered_capacitors": [_leak_row(x) for x in found.ordered_leaks],
        "beside": [{"part": p.name, "kind": p.kind, "type": p.type or None} for p in found.beside],
        "weak": list(found.weak),
    }  # fmt: skip


def _leak_row(x: Leak) -> dict[str, Any]:
    t = x.test
    return {
        "part": x.part, "kind": x.kind, "age": x.age, "farads": x.farads, "rated_volts": x.rated, "working_volts": x.volts,
        "situation": x.situation, "how": x.how, "lead": x.lead,
        "test_volts": None if x.how == "rating unknown" else x.test_volts, "pieces": x.pieces, "joint": x.joint, "feed": x.feed,
        "must_stand_volts": x.must, "must_stand_in": x.most_in,
        "good_amps": t.good_amps if t else None, "reject_amps": t.reject_amps if t else None,
        "good_flows_amps": t.flows(t.good_volts) if t and x.how != "insulation tester" else None,
        "reject_flows_amps": t.flows(t.reject_volts) if t and x.how != "insulation tester" else None,
        "good_ohms": x.test_volts / t.good_amps if t else None, "reject_ohms": x.test_volts / t.reject_amps if t else None,
        "series_ohms": t.series_ohms if t and x.how in BY_RESISTOR else None,
        "series_watts": t.series_watts if t and x.how in BY_RESISTOR else None,
        "across_ohms": t.meter_ohms if t and x.how != "insulation tester" else None,
        "begin_on": x.first.text, "read_on": x.on.text, "too_little_for_the_meter": x.hidden,
        "wait_seconds": t.after_seconds if t else None,
        "good_volts": t.good_volts if t and x.how != "insulation tester" else None,
        "reject_volts": t.reject_volts if t and x.how != "insulation tester" else None,
        "source": t.source if t else None, "doubt": t.doubt if t else None,
    }  # fmt: skip


def _valve_row(d: Draws, g: Gas | None, h: HeaterLeak | None) -> dict[str, Any]:
    return {
        "valve": d.valve, "type": d.type, "situation": d.situation, "red": d.red, "black": d.black, "across": d.across or None,
        "volts": d.volts, "low": d.low, "high": d.high, "amps": d.amps, "amps_low": d.amps_low, "amps_high": d.amps_high,
        "limit_volts": d.limit_volts, "limit_amps": d.limit_amps, "target_amps": d.target, "pot": d.pot or None,
        "reaches": d.reaches, "grid_low": d.grid_low, "grid_high": d.grid_high,
        "gas": None if g is None else {
            "red": g.red, "black": g.black, "good_amps": g.good_amps, "reject_amps": g.reject_amps, "good_volts": g.good_volts,
            "reject_volts": g.reject_volts, "input_empty": g.input_empty, "idle_amps": g.idle,
            "idle_reject_amps": g.idle_reject, "idle_doubled_good_amps": g.doubled_good,
            "idle_doubled_reject_amps": g.doubled_reject, "leak_ohms": g.leak, "leak_most_ohms": g.most,
            "ordered_leak_ohms": g.ordered, "ordered_good_volts": g.ordered_good, "ordered_reject_volts": g.ordered_reject,
        },
        "heater_to_cathode": None if h is None else {
            "method": h.method, "red": h.red, "lead_off": h.lead or None, "across_ohms": h.across_ohms,
            "good_volts_ac": h.good_volts, "reject_volts_ac": h.reject_volts,
        },
    }  # fmt: skip


def _match_row(pair: Pair, chosen: Sequence[Chosen]) -> dict[str, Any]:
    mine = next((c for c in chosen if c.pair == pair), None)
    return {
        "what": pair.what, "places": list(pair.places), "channel": pair.channel, "unit": pair.unit,
        "wanted": WANTED[pair.what],
        "values": None if mine is None else [f.value for f in mine.figures],
        "take": None if mine is None else [f.label for f in mine.figures],
        "apart": None if mine is None else mine.apart, "within": None if mine is None else mine.within,
    }  # fmt: skip
