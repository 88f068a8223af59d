"""Values a thousand times off what their place allows, or off the part in the same place on the other side: a letter (R, k, M; p, n,
u) slipped, in the file or in reading the part. No mistake that a rating shows: an anode at full HT looks like a strong valve."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi

from firstglow.amplifier.grids import grid_network
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Part
from firstglow.amplifier.remedies import line_of
from firstglow.amplifier.role_types import OutputValve, SmallValve
from firstglow.amplifier.roles_output import cathode_path, output_valves
from firstglow.amplifier.roles_small import small_valves
from firstglow.quantities import code, show

APART = (400.0, 2500.0)
"""Two parts of one place so many times apart differ by a letter, their tolerances and a neighbouring value apart."""
MOST_CORNER = 2e3
"""Above this corner no coupling in a chain for speech or music is meant [Hz] (common practice: 5 to 100 Hz, brilliance to 1 kHz)."""


@dataclass(frozen=True, slots=True)
class Place:
    """What a place in the circuit has (common practice). usual: what is met; possible: what somebody may have meant."""

    name: str
    usual: tuple[float, float]
    possible: tuple[float, float]


PLATE = Place("plate load", (10e3, 1e6), (2e3, 3e6))
CATHODE = Place("cathode resistor", (100.0, 100e3), (20.0, 1e6))
OUTPUT_CATHODE = Place("cathode resistor", (1.0, 2e3), (0.1, 4.5e3))
LEAK = Place("grid leak", (10e3, 22e6), (4e3, 60e6))
SCREEN = Place("screen resistor", (22.0, 10e3), (0.0, 60e3))
COUPLING = Place("coupling capacitor", (1e-9, 10e-6), (10e-12, 40e-6))
_SORTS = {"resistor": ("ohms", "ohm"), "capacitor": ("farads", "F")}


def slips(look: Look) -> tuple[str, ...]:
    """One line a part, each part once."""
    outputs = output_valves(look)
    placed = [*_of_small(look, small_valves(look, outputs)), *_of_outputs(look, outputs)]
    told: dict[str, str] = {}
    for name, place, of in placed:
        line = _out_of_place(look, name, place, of)
        if line:
            told.setdefault(name, line)
    for one, other, among in _pairs(look, outputs):
        line = None if {one, other} & told.keys() else _unlike(look, one, other, among)
        if line:
            told |= {one: line, other: ""}
    return tuple(line for line in told.values() if line)


def _of_small(look: Look, smalls: tuple[SmallValve, ...]) -> Iterator[tuple[str, Place, str]]:
    for v in smalls:
        loads = [p for p in v.plate_load if look.part(p).kind == "resistor"]
        if loads and len(loads) == len(v.plate_load) and v.drives and v.duty in {"gain", "split load"}:
            yield max(loads, key=lambda p: look.part(p).value("ohms")), PLATE, v.valve
        path = [b.part for b in cathode_path(look, v.valve) if look.part(b.part).kind == "resistor"]
        if path and (v.leak_joint == "chassis" or look.part(v.grid_leak or path[0]).kind == "pot"):
            yield max(path, key=lambda p: look.part(p).value("ohms")), CATHODE, v.valve
        yield from _grid(look, v.valve, v.grid_leak)


def _of_outputs(look: Look, outputs: tuple[OutputValve, ...]) -> Iterator[tuple[str, Place, str]]:
    for v in outputs:
        if v.cathode_resistor:
            yield v.cathode_resistor, OUTPUT_CATHODE, v.valve
        if v.screen_resistor and v.connection != "triode strapped":
            yield v.screen_resistor, SCREEN, v.valve
        if v.driver is None:
            yield from _grid(look, v.valve, v.grid_leak)


def _grid(look: Look, valve: str, leak: str | None) -> Iterator[tuple[str, Place, str]]:
    """The leak of a grid behind a coupling capacitor (an input's load is what its source wants), and that capacitor."""
    network = grid_network(look, valve)
    if leak is None or not network.coupling or look.part(leak).kind != "resistor":
        return
    yield leak, LEAK, valve
    ohms = look.part(leak).value("ohms")
    if not LEAK.possible[0] <= ohms <= LEAK.possible[1]:
        return  # it would make the capacitor's corner look wrong
    for name in network.coupling:
        part = look.part(name)
        low = 1.0 / (2.0 * pi * ohms * part.value("farads")) > MOST_CORNER
        yield (
            name,
            Place(COUPLING.name, COUPLING.usual, (COUPLING.usual[0], COUPLING.possible[1])) if low else COUPLING,
            valve,
        )


def _value(part: Part) -> tuple[float, str] | None:
    """What a resistor or capacitor is, and its unit; None for other kinds."""
    if part.kind not in _SORTS:
        return None
    name, unit = _SORTS[part.kind]
    return part.value(name), unit


def _out_of_place(look: Look, name: str, place: Place, of: str) -> str | None:
    part = look.part(name)
    found = _value(part)
    if found is None or place.possible[0] <= found[0] <= place.possible[1]:
        return None
    value, unit = found
    times = 1e3 if value < place.usual[0] else 1e-3
    low, high = place.usual
    if not low <= value * times <= high:
        return None
    return (
        f"{name} (line {line_of(part)}): {show(value, unit)} as {place.name} of {of}, where {show(low, unit)} to "
        f"{show(high, unit)} are usual: a letter has slipped, likely {likely(value * times, unit)}. Look at the part, and at the file. "
        + (
            f"Until it is right no figure around {of} means anything."
            if unit == "ohm"
            else f"Until it is right no signal through {of} is told right."
        )
    )


def likely(value: float, unit: str) -> str:
    """A value as the file would have it, a thousand times off freed of what the multiplication left behind."""
    return code(float(f"{value:.6g}"), unit)


def _pairs(look: Look, outputs: tuple[OutputValve, ...]) -> Iterator[tuple[str, str, Place | None]]:
    """Parts in the same place of the two halves or of the two channels."""
    by_name = {v.valve: v for v in outputs}
    for v in outputs:
        other = by_name.get(v.partner or "")
        if other is None or v.half != "a":
            continue
        for one, two, place in (
            (v.grid_leak, other.grid_leak, LEAK), (v.cathode_resistor, other.cathode_resistor, OUTPUT_CATHODE),
            (v.screen_resistor, other.screen_resistor, SCREEN), (v.stopper, other.stopper, None), (v.sense, other.sense, None),
            *zip(v.coupling, other.coupling, (COUPLING,) * len(v.coupling), strict=False),
        ):  # fmt: skip
            if one and two and one != two:
                yield one, two, place
    for part in look.amplifier.of_kind(*_SORTS):
        if part.twin is not None and part.twin > part.name:
            yield part.name, part.twin, None


def _unlike(look: Look, one: str, other: str, place: Place | None) -> str | None:
    """What is said of two parts of one place that are a letter apart."""
    mine, its = (look.part(n) for n in (one, other))
    a, b = _value(mine), _value(its)
    if a is None or b is None or mine.kind != its.kind:
        return None
    unit = a[1]
    ratio = max(a[0], b[0]) / min(a[0], b[0])
    if not any(APART[0] <= ratio / power <= APART[1] for power in (1.0, 1e3)):
        return None
    first, second = (f"{p.name} (line {line_of(p)})" for p in (mine, its))
    told = f"{first} is {show(a[0], unit)} and {second}, in the same place on the other side, {show(b[0], unit)}"
    odd = [
        n for n, v in ((one, a[0]), (other, b[0])) if place is not None and not place.usual[0] <= v <= place.usual[1]
    ]
    which = (
        f"{odd[0]}'s letter has slipped, likely {likely(b[0] if odd[0] == one else a[0], unit)}"
        if len(odd) == 1
        else "one letter has slipped"
    )
    return f"{told}: a thousand times apart, {which}. Look at both parts, and at the file."
