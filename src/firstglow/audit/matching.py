"""Which parts must be alike, and how measured ones are paired and spread: best pairs together, each in one channel.

What must match follows from the structure: the two halves of a push-pull stage, of the stage that splits for it, and each
channel against the other.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import log

import numpy as np

from firstglow.amplifier.model import Amplifier, Quantity
from firstglow.amplifier.role_types import Roles, SmallValve
from firstglow.markings.incoming import pairs

WANTED: Mapping[str, float] = {
    "plate loads of the splitter": 0.01,
    "coupling capacitors": 0.05,
    "grid leaks": 0.05,
    "screen resistors": 0.05,
    "cathode resistors": 0.02,
    "output valves, by idle": 0.10,
    "left against right": 0.05,
}
"""How alike a pair is wanted, as a fraction (common practice; output valves: 10 %, 5 % hi-fi)."""
EQUAL = 1e-9
MEASURED_NEAR = 0.05
"""How near a measured value must lie to one of E24 to be taken for a part of that mark."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two places that want like parts. what: a key of WANTED; unit of the figures; nominal: of each place (of valves 1)."""

    what: str
    unit: str
    places: tuple[str, str]
    nominal: tuple[float, float]
    channel: str | None


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured part. value [SI]; place: the part it was given for; number: which of those given for it, from 1; of: how
    many were."""

    value: float
    place: str
    number: int
    of: int

    @property
    def label(self) -> str:
        """How it is called."""
        return f"{self.place} no. {self.number}" if self.of > 1 else self.place


@dataclass(frozen=True, slots=True)
class Chosen:
    """What goes into a pair's places. apart: larger over smaller less 1, each over its own nominal."""

    pair: Pair
    figures: tuple[Figure, Figure]
    apart: float

    @property
    def within(self) -> bool:
        """Is it as alike as wanted?"""
        return self.apart <= WANTED[self.pair.what] * (1.0 + EQUAL)


def wanted(amplifier: Amplifier, roles: Roles) -> tuple[Pair, ...]:
    """Every pair of places, each once, in the order of WANTED."""
    found = [*_push_pull(amplifier, roles), *_splitters(amplifier, roles), *_channels(amplifier, roles)]
    once: dict[frozenset[str], Pair] = {}
    for pair in sorted(found, key=lambda p: list(WANTED).index(p.what)):
        once.setdefault(frozenset(pair.places), pair)
    return tuple(once.values())


def _push_pull(amplifier: Amplifier, roles: Roles) -> Iterator[Pair]:
    for transformer in dict.fromkeys(o.transformer for o in roles.outputs):
        halves = [[o for o in roles.outputs if o.transformer == transformer and o.half == h] for h in "ab"]
        for a, b in zip(*halves, strict=False):
            yield Pair("output valves, by idle", "A", (a.valve, b.valve), (1.0, 1.0), a.channel)
            for what, one, two in (
                ("coupling capacitors", _first(a.coupling), _first(b.coupling)),
                ("grid leaks", a.grid_leak, b.grid_leak),
                ("screen resistors", a.screen_resistor, b.screen_resistor),
                ("cathode resistors", a.sense or a.cathode_resistor, b.sense or b.cathode_resistor),
            ):
                yield from _pair(amplifier, what, one, two, a.channel)


def _splitters(amplifier: Amplifier, roles: Roles) -> Iterator[Pair]:
    what = "plate loads of the splitter"
    tails = [s for s in roles.smalls if s.duty == "long-tailed pair"]
    for n, one in enumerate(tails):
        for two in tails[n + 1 :]:
            if one.cathode == two.cathode:
                yield from _pair(amplifier, what, _first(one.plate_load), _first(two.plate_load), one.channel)
    for s in roles.smalls:
        if s.duty == "split load":
            yield from _pair(amplifier, what, _first(s.plate_load), _below(amplifier, s), s.channel)


def _below(amplifier: Amplifier, s: SmallValve) -> str | None:
    """The large resistor in its cathode: that one, or the one under it."""
    first = s.cathode_resistor
    if first is None:
        return None
    far = next((j for j in amplifier.parts[first].leads.values() if j != s.cathode), "chassis")
    more = [r for r in amplifier.of_kind("resistor") if r.name != first and set(r.leads.values()) == {far, "chassis"}]
    return max([amplifier.parts[first], *more], key=lambda r: r.value("ohms")).name


def _channels(amplifier: Amplifier, roles: Roles) -> Iterator[Pair]:
    """What should be kept alike in both channels: plate loads, what feeds the screens, coupling of single valves."""
    paired = {o.valve for o in roles.outputs if o.partner is not None}
    names: list[str] = []
    for s in roles.smalls:
        names += s.plate_load
        if s.screen is not None:
            names += [r.name for r in amplifier.of_kind("resistor") if s.screen in r.leads.values()]
    for o in roles.outputs:
        names += o.coupling if o.valve not in paired else ()
    for name in dict.fromkeys(names):
        twin = amplifier.parts[name].twin
        if twin is not None and twin in amplifier.parts and amplifier.parts[name].channel == amplifier.channels[0]:
            yield from _pair(amplifier, "left against right", name, twin, None)


def _pair(amplifier: Amplifier, what: str, one: str | None, two: str | None, channel: str | None) -> Iterator[Pair]:
    if one is None or two is None or one == two:
        return
    parts = (amplifier.parts[one], amplifier.parts[two])
    key = {"resistor": "ohms", "capacitor": "farads"}.get(parts[0].kind)
    if key is None or any(p.kind != parts[0].kind for p in parts):
        return
    unit = "ohm" if key == "ohms" else "F"
    yield Pair(what, unit, (one, two), (marked(parts[0].values[key]), marked(parts[1].values[key])), channel)


def marked(quantity: Quantity) -> float:
    """What a part is marked: a measured 10.2 ohm stands in the place of a 10 ohm one."""
    from firstglow.markings.series import preferred

    if quantity.origin.layer != "measured":
        return quantity.value
    near = preferred(quantity.value, "E24")
    return near if abs(near / quantity.value - 1.0) < MEASURED_NEAR else quantity.value


def _first(names: Sequence[str]) -> str | None:
    return names[0] if names else None


# -- who goes where ----------------------------------------------------------------------------------------------------
def choose(every: Sequence[Pair], figures: Mapping[str, Sequence[Figure]]) -> tuple[list[Chosen], list[Figure]]:
    """What is measured put into pairs of its class (same what, same nominals), and what is left over."""
    classes: dict[tuple[str, tuple[float, float]], list[Pair]] = {}
    for pair in every:
        if pair.what != "left against right":
            classes.setdefault((pair.what, pair.nominal), []).append(pair)
    found: list[Chosen] = []
    over: list[Figure] = []
    for mine in classes.values():
        one, two = mine[0].nominal
        chosen, left = _alike(mine, figures) if abs(one / two - 1.0) < EQUAL else _unlike(mine, figures)
        found, over = found + chosen, over + left
    for pair in every:  # placed already: only said how far apart they are
        if pair.what == "left against right" and all(len(figures.get(p, ())) == 1 for p in pair.places):
            a, b = (figures[p][0] for p in pair.places)
            found.append(_chosen(pair, a, b))
    return found, over


def _alike(mine: Sequence[Pair], figures: Mapping[str, Sequence[Figure]]) -> tuple[list[Chosen], list[Figure]]:
    """Same nominals everywhere: any part fits any place."""
    bag = [f for pair in mine for place in pair.places for f in figures.get(place, ())]
    bag = list(dict.fromkeys(bag))
    made = pairs([f.value for f in bag], len(mine))
    found = []
    for pair, (i, j) in zip(_nearest(mine, [(bag[i], bag[j]) for i, j in made]), made, strict=False):
        a, b = (bag[i], bag[j]) if bag[j].place != pair.places[0] else (bag[j], bag[i])
        found.append(_chosen(pair, a, b))
    used = {id(f) for c in found for f in c.figures}
    return found, [f for f in bag if id(f) not in used] if found else []


def _nearest(mine: Sequence[Pair], made: Sequence[tuple[Figure, Figure]]) -> list[Pair]:
    """A channel for each pair of parts: where most of it lies already."""
    from scipy.optimize import linear_sum_assignment

    if not made:
        return []
    moves = np.array([[sum(f.place not in pair.places for f in two) for pair in mine] for two in made])
    rows, columns = linear_sum_assignment(moves)
    return [mine[int(c)] for _, c in sorted(zip(rows, columns, strict=True))]


def _unlike(mine: Sequence[Pair], figures: Mapping[str, Sequence[Figure]]) -> tuple[list[Chosen], list[Figure]]:
    """Two nominals: each part over its own."""
    from scipy.optimize import linear_sum_assignment

    bags = [list(dict.fromkeys(f for pair in mine for f in figures.get(pair.places[n], ()))) for n in (0, 1)]
    if not bags[0] or not bags[1]:
        return [], []
    one, two = ([log(f.value / mine[0].nominal[n]) for f in bags[n]] for n in (0, 1))
    misfit = (np.array(one)[:, None] - np.array(two)[None, :]) ** 2
    rows, columns = linear_sum_assignment(misfit)
    best = sorted(zip(rows, columns, strict=True), key=lambda rc: float(misfit[rc]))[: len(mine)]
    made = [(bags[0][int(r)], bags[1][int(c)]) for r, c in best]
    found = [_chosen(pair, a, b) for pair, (a, b) in zip(_nearest(mine, made), made, strict=True)]
    used = {id(f) for c in found for f in c.figures}
    return found, [f for bag in bags for f in bag if id(f) not in used]


def _chosen(pair: Pair, a: Figure, b: Figure) -> Chosen:
    one, two = a.value / pair.nominal[0], b.value / pair.nominal[1]
    return Chosen(pair, (a, b), max(one, two) / min(one, two) - 1.0)
