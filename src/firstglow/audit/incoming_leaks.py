"""Incoming capacitors: what each may leak at the volts it stands at in this amplifier, and the test that shows it.

How it is tested follows from where it stands: one lead off and the meter in that lead (film, paper, mica, ceramic), a
resistor in its lead on the rail it belongs to (electrolytics), a supply of its own (the first capacitor behind a rectifier,
whose rail is not there without it, and what stands past its rating in its place), a battery (low volts), an insulation tester (on
the mains). An electrolytic whose rating the file does not say gets no test: nobody knows what it stands.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.amplifier.roles_ends import is_safety
from firstglow.audit import crests
from firstglow.audit.ageing import ages, paper
from firstglow.audit.ways import Array, Stood
from firstglow.markings.incoming import LeakTest, leak_test
from firstglow.readings.meters import Meter, Range

How = Literal[
    "meter in its lead",
    "resistor in its lead",
    "supply of its own",
    "battery",
    "insulation tester",
    "rating unknown",
    "no volts",
]

LOW_VOLTS = 60.0
"""Up to here a battery or a small bench supply does it [V] (the hazard limit of dc, IEC 62368-1)."""
NO_VOLTS = 1.0
"""Less than this across it asks nothing of a capacitor [V]."""
WINDING_VOLTS = 10.0
"""From here on a winding's ac at one of its leads forbids a test in place [V rms] (common practice)."""
TESTER_VOLTS = 500.0
"""What an insulation tester puts across a capacitor of the mains side [V dc]."""
BATTERY_VOLTS = 9.0
"""What a low-volts capacitor is tried at, where it stands at less and is made for so much [V dc]."""
BATTERY_OHMS = 10e3
"""In series then: a microampere shows as 10 mV [ohm]."""
SEEN = 4.0
"""Steps of a meter that a limit must be apart to be told from nothing."""
BY_RESISTOR: tuple[How, ...] = ("resistor in its lead", "supply of its own", "battery")
"""Tests with the meter across a resistor in the lead."""
IN_PLACE: tuple[How, ...] = ("meter in its lead", "resistor in its lead")
"""Tests on its own rail, which brings all its volts."""
NO_FARADS = 5e-6
"""What is no electrolytic and smaller than this charges through a meter's own ohms in a minute [F]."""


@dataclass(frozen=True, slots=True)
class Leak:
    """One capacitor. age: new or old; volts: its working volts [V dc], in which way of standing; test_volts: what it is tested
    at; must: the most that stands across it without a fault, in which way (``most_in``), which this test does not try. lead,
    joint: the lead that comes off and where it was; feed: the joint at its other end, which brings the volts. first, on: the
    meter's ranges, to begin on and to read on; test: None where nothing stands across it, or where nobody knows what it stands.
    ordered: of what the order list puts there; pieces: so many make the part there, each is tested alone. unfit: more stands in its
    place than it is made for, a moment's ringing of a choke not counted."""

    part: str
    kind: str
    age: str
    farads: float
    rated: float | None
    volts: float
    test_volts: float
    must: float
    most_in: str
    situation: str
    how: How
    lead: str
    joint: str
    feed: str
    first: Range
    on: Range
    test: LeakTest | None
    ordered: bool = False
    pieces: int = 1
    unfit: bool = False

    @property
    def hidden(self) -> bool:
        """What is never fitted shows too little on this meter to be told from nothing."""
        return self.test is not None and self.test.reject_volts < SEEN * self.on.step


def leaks(stood: Stood, meter: Meter, age: str | None = None) -> Iterator[Leak]:
    """Every capacitor in the amplifier's own order. age: "new" or "old" for all of them; default as the file has each."""
    for part in stood.amplifier.of_kind("capacitor"):
        yield leak(stood, part, meter, age)


def leak(stood: Stood, part: Part, meter: Meter, age: str | None = None, pieces: int = 1) -> Leak:
    """One capacitor's test. pieces: it is one of so many that make the part together: tried alone, at what it is made for."""
    kind, how_old = _kind(part), age or ("old" if ages(part) else "new")
    farads = part.value("farads")
    rated = part.value("volts") if part.values.get("volts") else None
    k: int
    how: How
    if kind == "safety":
        k, how, volts = 0, "insulation tester", float(np.max(stood.row(part.name).get("volts_ac", np.zeros(1))))
        lead, joint, feed = _mains_ends(part)
        at = TESTER_VOLTS
    else:
        k, how = _way(stood, part, kind)
        volts = float(np.abs(_across(stood, part))[k])
        lead, joint, feed = _ends(stood, part, k, kind)
        at = max(volts, BATTERY_VOLTS) if how == "battery" else volts
        if rated is not None:
            at = min(at, rated)  # past its rating it is unfit, and tested at what it is made for
    must, most_in = _must(stood, part, kind)
    unfit = kind != "safety" and pieces == 1 and rated is not None and _steady(stood, part) > rated
    if how != "no volts" and kind == "electrolytic" and rated is None:
        how, at = "rating unknown", 0.0
    elif rated is not None and (pieces > 1 or (how in IN_PLACE and unfit)):
        # past its rating it is not left to its rail; of several none has the place to itself
        how, at = "supply of its own", rated
    # in the amplifier more stands there until the valves are warm, and on the highest mains
    first = meter.range_for("dc volts", max(at, must) if how in IN_PLACE else at)
    on = meter.range_for("dc volts", at)
    test = None
    if how not in ("no volts", "rating unknown"):
        ranges = [on] if how == "insulation tester" else meter.of_kind("dc volts")
        for on in ranges:
            test = _test(stood, part, kind, how_old, how, at, joint, feed, on)
            if test.reject_volts <= on.full:
                break
    return Leak(
        part.name, kind, how_old, farads, rated, volts, at, must, most_in, stood.ways[k].text, how, lead, joint, feed, first, on,
        test, pieces=pieces, unfit=unfit,
    )  # fmt: skip


def _must(stood: Stood, part: Part, kind: str) -> tuple[float, str]:
    """The most volts that stand across it in any way without a fault, a choke's ringing at switch-on included (of a class X or Y
    part: rms), and in which."""
    if kind == "safety":
        values = np.broadcast_to(stood.row(part.name).get("volts_ac", np.zeros(1)), (len(stood.ways),))
    else:
        values = np.abs(_across(stood, part)) * stood.swing(part.leads["+"], part.leads["-"])
    k = int(np.where(stood.where(ends=True), values, -1.0).argmax())
    return float(values[k]), stood.ways[k].text


def _steady(stood: Stood, part: Part) -> float:
    """The most volts that stand across it for longer than a moment."""
    return float(np.abs(_across(stood, part))[stood.where()].max())


def _test(
    stood: Stood, part: Part, kind: str, age: str, how: How, volts: float, joint: str, feed: str, on: Range
) -> LeakTest:
    """Its limits as one range of the meter shows them."""
    farads = part.value("farads")
    if kind == "safety":
        return leak_test("safety", "new", farads, volts)
    leak_of, feeds = _place(stood, part, joint, feed)
    series = BATTERY_OHMS if how == "battery" and age == "new" else None
    return leak_test(
        *_row(kind, age),
        farads,
        volts,
        grid_leak_ohms=leak_of,
        feed_ohms=feeds,
        meter_ohms=on.input_ohms,
        series_ohms=series,
        by_resistor=how in BY_RESISTOR,
    )


def _kind(part: Part) -> str:
    """A kind of the leakage table."""
    if is_safety(part.type):
        return "safety"
    if paper(part):
        return "paper"
    if part.type in ("electrolytic", "paper", "mica", "ceramic", "polypropylene"):
        return str(part.type)
    return "film"


def _row(kind: str, age: str) -> tuple[str, str]:
    """Its row: paper is old whenever it was bought, an old polypropylene is any old film."""
    if kind == "paper":
        return kind, "old"
    if kind == "polypropylene" and age == "old":
        return "film", "old"
    return kind, age


def _across(stood: Stood, part: Part) -> Array:
    """Its dc; on a winding the crest."""
    if _on_a_winding(stood, part):
        return crests.across(stood, part)
    return stood.dc(part.leads["+"]) - stood.dc(part.leads["-"])


def _on_a_winding(stood: Stood, part: Part) -> bool:
    """Whether ac stands at it that no meter on dc shows and no clip belongs on."""
    return any(float(np.abs(stood.ac(j)).max()) > WINDING_VOLTS for j in part.leads.values())


def _way(stood: Stood, part: Part, kind: str) -> tuple[int, How]:
    """In which column it is tested, and how."""
    running = int(np.flatnonzero(stood.where(level="now", runs=True))[0])
    highest = float(np.abs(_across(stood, part))[stood.where(level="now")].max())
    if highest < NO_VOLTS:
        return running, "no volts"
    now = np.flatnonzero(stood.where(level="now", cold=False))
    if _on_a_winding(stood, part):
        return int(now[np.abs(_across(stood, part))[now].argmax()]), "supply of its own"
    if kind == "electrolytic" or part.value("farads") > NO_FARADS:
        at = np.abs(_across(stood, part))[now]
        if at.max() <= LOW_VOLTS:
            return int(running if np.abs(_across(stood, part))[running] >= NO_VOLTS else now[at.argmax()]), "battery"
        first = {c for s in stood.roles.supplies for c in (s.reservoir, *s.reservoirs) if c}
        return int(now[at.argmax()]), "supply of its own" if part.name in first else "resistor in its lead"
    # with the output valves out: their grids may then lose what holds them, and HT stands a little higher
    out = [int(k) for k in now if stood.ways[k].text == "output valves out"]
    k = next((k for k in out if np.abs(_across(stood, part))[k] >= NO_VOLTS), running)
    return k, "meter in its lead" if np.abs(_across(stood, part))[k] >= NO_VOLTS else "no volts"


def _ends(stood: Stood, part: Part, k: int, kind: str) -> tuple[str, str, str]:
    """(the lead to take off, its joint, the other end's joint): an electrolytic's hot one, any other's quiet one."""
    volts = {lead: abs(float(stood.dc(j)[k])) for lead, j in part.leads.items()}
    quiet = min(volts, key=lambda lead: (volts[lead], part.leads[lead] != "chassis"))
    hot = next(lead for lead in part.leads if lead != quiet)
    off = hot if kind == "electrolytic" or part.value("farads") > NO_FARADS else quiet
    return off, part.leads[off], part.leads[hot if off == quiet else quiet]


def _mains_ends(part: Part) -> tuple[str, str, str]:
    one, two = list(part.leads)[:2]
    return one, part.leads[one], part.leads[two]


def _place(stood: Stood, part: Part, joint: str, feed: str) -> tuple[float | None, float | None]:
    """(ohms that its leak runs through where it couples, ohms that feed it where it bypasses); None where neither."""
    if part.type == "electrolytic":  # its hot lead comes off: what feeds it, or the cathode resistor that it bypasses
        return None, _feeding(stood, part, joint)
    if {"chassis", "earth"} & {joint, feed}:
        return None, _feeding(stood, part, feed)
    own = [r for r in stood.amplifier.of_kind("resistor") if r.name != part.name]
    grids = {p.leads["grid"] for p in stood.amplifier.of_kind("valve")}
    # a stopper leads on to a grid and carries nothing
    at = [r.value("ohms") for r in own if joint in r.leads.values() and not (grids - {joint}) & set(r.leads.values())]
    return (min(at) if at else None), None


def _feeding(stood: Stood, part: Part, joint: str) -> float | None:
    """Least ohms of the resistors that feed a joint: from where more volts stand, not on to where it feeds others; of a cathode,
    those that carry its current away. None where none does (a choke, a rectifier)."""
    k = int(np.flatnonzero(stood.where(level="now", runs=True))[0])
    here = float(stood.dc(joint)[k])
    cathode = any(joint == p.leads["cathode"] for p in stood.amplifier.of_kind("valve"))
    found = []
    for r in stood.amplifier.of_kind("resistor"):
        if joint not in r.leads.values():
            continue
        there = [float(stood.dc(j)[k]) for j in r.leads.values() if j != joint]
        if cathode or any(abs(v) > abs(here) and v * here >= 0.0 for v in there):
            found.append(r.value("ohms"))
    return min(found, default=None)
