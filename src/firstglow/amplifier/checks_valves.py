"""Valves: grids without a leak, plates and screens fed from nowhere, cathodes on nothing, outputs without bias."""

from collections.abc import Iterable, Iterator

from firstglow.amplifier.graph import holds
from firstglow.amplifier.half_rails import taps
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Part, Problem
from firstglow.amplifier.positive_grids import positive_grid_problems, positive_grids
from firstglow.amplifier.remedies import like, local, problem, resistor_line, wire_line
from firstglow.amplifier.role_types import OutputValve
from firstglow.amplifier.roles_output import bias_root, cathode_path, grid_reference, output_valves

LEAST_HT_WINDING = 90.0
"""A winding of more volts than this is there to make HT [V rms] (bias windings: 30 to 70 V, common practice)."""
MOST_DROPPER = 47e3
"""The most ohms in a dropper of an HT line; a divider that sets a grid has more (common practice) [ohm]."""
_OHMIC = ("wire", "resistance", "choke", "winding", "source")


def valve_problems(look: Look) -> list[Problem]:
    """Every electrode that hangs in the air, and every output valve that nothing holds back."""
    found: list[Problem] = []
    for part in look.amplifier.of_kind("valve"):
        found += [
            *_grid_on_rail(look, part),
            *_grid(look, part),
            *_fed(look, part, "plate"),
            *_fed(look, part, "screen"),
            *_cathode(look, part),
        ]
    return [*found, *positive_grid_problems(look), *_unbiased(look), *_crossed(look), *_no_ht(look)]


def _reached(look: Look, joint: str) -> set[str]:
    """Joints a direct current gets to through passive parts; other electrodes and chassis are not passed."""
    return set(look.walk([joint], _OHMIC, set(look.electrodes) - {joint}))


def slips(look: Look, joints: Iterable[str]) -> bool:
    """Whether one of the joints is a slip of the pen, told of where it stands: it needs no feed and no leak of its own."""
    for name in joints:
        joint = look.amplifier.joints.get(name)
        if joint is None or len(joint.terminals) != 1 or joint.name in joint.terminals or joint.floating:
            continue
        if like(look.amplifier, joint.name) is not None:
            return True
    return False


def loose_grid(look: Look, section: str) -> bool:
    """Whether no direct current can get from a grid to chassis, to a rail, or to the valve before it."""
    reached = _reached(look, look.part(section).leads["grid"])
    if "chassis" in reached or any(look.rail(j) or j in look.minus for j in reached):
        return False
    return not any(set(look.at(j, "plate", "cathode")) for j in reached)


def _grid(look: Look, part: Part) -> Iterator[Problem]:
    if not loose_grid(look, part.name) or slips(look, _reached(look, part.leads["grid"])):
        return
    output = part.name in look.plates
    node = _home(look, part) if output and _grounded(look, part) else "chassis"
    yield problem(
        look.amplifier,
        part,
        part.name,
        "its grid has no leak: no dc path from it to anywhere",
        "a resistor from the grid to chassis, to its bias, or a direct coupling",
        resistor_line(look.amplifier, "220k" if output else "1M", part.leads["grid"], node, part.channel),
    )


def _grid_on_rail(look: Look, part: Part) -> Iterator[Problem]:
    """A grid on an HT node, or no more than a dropper away from it: nothing would hold the valve back.

    A plate of another valve on the way (a direct coupling through its plate load) and a divider of large resistors (a
    cathode follower's) are how grids come to stand high; a joint that a large capacitor holds is HT all the same.
    """
    grid = part.leads["grid"]
    if grid in {part.leads["plate"], part.leads.get("screen")} and grid not in look.sources:
        return  # wired as a diode
    sources = {j for s in look.supplies if s.use == "ht" for j in (s.joint, s.rectified) if j in look.positive}
    coupled = {j for j in look.electrodes if look.at(j, "plate") and not _held(look, j)}
    if grid in coupled:
        return
    for joint, (ohms, path) in look.ohmic(grid, coupled | sources, _OHMIC).items():
        if joint not in sources or ohms > MOST_DROPPER:
            continue
        through = f" through {', '.join(b.part for b in path)}" if path else ""
        yield problem(
            look.amplifier,
            part,
            part.name,
            f"its grid is on HT: {joint}{through}, with nothing to hold it below its cathode",
            "a grid on its leak to chassis or to its bias, or on the plate before it",
            f"the grid of {local(look.amplifier, part.name, part.channel)} on its own leak, as the drawing has it",
        )
        return


def _held(look: Look, joint: str) -> bool:
    """Whether a large capacitor holds a joint still: a node, not a plate."""
    return any(holds(look.net, b) for b in look.net.at[joint])


def _home(look: Look, part: Part) -> str:
    """Where a fixed-bias valve's leak belongs: a wiper that nothing hangs on, else the last negative node."""
    for pot in look.amplifier.of_kind("pot"):
        if pot.channel == part.channel and len(look.amplifier.joints[pot.leads["wiper"]].terminals) == 1:
            return pot.leads["wiper"]
    return next((s.nodes[-1] for s in look.supplies if s.use in {"bias", "negative"} and s.nodes), "chassis")


def _grounded(look: Look, part: Part) -> bool:
    """Whether a cathode has no bias resistor, so that its grid needs a negative supply."""
    return sum(b.ohms for b in cathode_path(look, part.name)) <= 50


def _fed(look: Look, part: Part, electrode: str) -> Iterator[Problem]:
    """A plate or screen that no positive rail reaches. Sections wired as diodes, and stacked ones, are left alone."""
    joint = part.leads.get(electrode)
    if joint is None or not look.positive or joint in {part.leads["grid"], part.leads["cathode"]}:
        return
    reached = look.walk([joint], _OHMIC, ())
    if any(j in look.positive for j in reached):
        return
    if any(s != part.name for j in reached for s in look.at(j, "cathode")):
        return
    if slips(look, reached) or any(j in taps(look) for j in reached):
        return
    nodes = next((s.nodes for s in look.supplies if s.use == "ht" and s.nodes), tuple(look.positive))
    if part.name not in look.plates:
        remedy = resistor_line(look.amplifier, "100k", nodes[-1], joint, part.channel)
    elif electrode == "screen":
        remedy = resistor_line(look.amplifier, "470R 2W", nodes[min(1, len(nodes) - 1)], joint, part.channel)
    else:
        centre = look.part(look.plates[part.name][0]).leads["centre"]
        remedy = wire_line(look.amplifier, nodes[0], centre, part.channel)
    yield problem(
        look.amplifier,
        part,
        part.name,
        f"its {electrode} is fed from nowhere: no dc path from it to a positive rail",
        f"a load or a wire from the {electrode} to an HT node",
        remedy,
    )


def _no_ht(look: Look) -> Iterator[Problem]:
    """Valves and a mains transformer, but no positive rail at all: a ladder without HT would call every plate dead while
    the real rectifier, left out of the file, puts HT on it."""
    amplifier = look.amplifier
    transformers, valves = amplifier.of_kind("transformer"), amplifier.of_kind("valve")
    if look.positive or amplifier.fragment or not transformers or not valves:
        return
    every = [(w.turns.value, part, w) for part in transformers for w in part.windings if w.role == "secondary"]
    pairs = [pair for pair in every if pair[0] > LEAST_HT_WINDING]
    if not pairs:
        return
    _, part, winding = max(pairs, key=lambda pair: pair[0])
    lead = winding.end if winding.start.endswith(" ct") or part.leads[winding.start] == "chassis" else winding.start
    stores = [c for c in amplifier.of_kind("capacitor") if c.leads["+"] != "chassis" and "volts" in c.values]
    stores.sort(key=lambda c: c.values["volts"].value, reverse=True)
    joint = stores[0].leads["+"] if stores else "HT1"
    yield problem(
        amplifier,
        part,
        part.name,
        f"no HT: no rectifier joins winding {winding.name} to a reservoir",
        "every rectifier that is fitted stands in the file, or nothing here can say where HT is",
        f'D99 = ["silicon 1A 1000V", "{part.name} {lead}", "{joint}"]',
    )


def _cathode(look: Look, part: Part) -> Iterator[Problem]:
    cathode = part.leads["cathode"]
    if cathode == "chassis" or cathode_path(look, part.name):
        return
    reached = _reached(look, cathode)
    if slips(look, reached):
        return
    if any(look.rail(j) for j in reached) or any(s != part.name for j in reached for s in look.at(j, "plate")):
        return
    ohms = "1k5"
    if part.name in look.plates:
        held = grid_reference(look, bias_root(look, part.name))[0]
        ohms = "10R" if held in {"fixed", "back"} else "270R 5W"
    yield problem(
        look.amplifier,
        part,
        part.name,
        "its cathode goes nowhere: no dc path from it to chassis",
        "a resistor or a wire from the cathode to chassis",
        resistor_line(look.amplifier, ohms, cathode, "chassis", part.channel),
    )


def _unbiased(look: Look) -> Iterator[Problem]:
    """Output valves with neither a negative supply nor a cathode resistor: nothing limits their current."""
    positive = {found.valve.valve for found in positive_grids(look)}  # told of already, and worse
    for v in output_valves(look):
        if v.bias != "none" or v.driver is not None or v.grid_leak is None or v.valve in positive:
            continue
        if _loose(look) & set(look.walk([v.bias_joint], _OHMIC, ())):
            continue  # its supply is there, and what is wrong with that is told
        part = look.part(v.valve)
        remedy = _bias_remedy(look, v)
        yield problem(
            look.amplifier,
            part,
            part.name,
            f"it has no bias: grid leak on {v.bias_joint}, cathode on chassis through no more than a sense resistor",
            "a negative supply at the grid, or a cathode resistor over 50 ohm",
            remedy,
        )


def _loose(look: Look) -> set[str]:
    """Joints of diodes that are in no supply: their path does not come back."""
    whole = {name for s in look.supplies for name in s.rectifiers}
    return {j for d in look.amplifier.of_kind("diode") if d.name not in whole for j in d.leads.values()} - {"chassis"}


def _bias_remedy(look: Look, v: OutputValve) -> str:
    """The leak on the negative rail where there is one, else a cathode resistor."""
    node = next((s.nodes[-1] for s in look.supplies if s.use in {"bias", "negative"} and s.nodes), None)
    if node is not None and v.grid_leak is not None:
        return f'"{local(look.amplifier, node, v.channel)}" for the end of {v.grid_leak} on {v.bias_joint}'
    if v.sense is not None:  # the resistor that is there, made large enough
        ends = look.part(v.sense).leads
        if " " in local(look.amplifier, v.sense, v.channel):  # said in the valve's own line
            return f'cathode = "270R 5W {local(look.amplifier, ends["2"], v.channel)}"'
        joints = ", ".join(f'"{local(look.amplifier, ends[lead], v.channel)}"' for lead in ("1", "2"))
        return f'{local(look.amplifier, v.sense, v.channel)} = ["270R 5W", {joints}]'
    if v.cathode == "chassis":
        return 'cathode = "270R chassis"'
    return resistor_line(look.amplifier, "270R 5W", v.cathode, "chassis", v.channel)


def _crossed(look: Look) -> Iterator[Problem]:
    """Ultralinear screens on the tap of the other half."""
    for v in output_valves(look):
        if v.connection != "ultralinear":
            continue
        transformer = look.part(v.transformer)
        other = "b" if v.half == "a" else "a"
        if v.screen_joint == transformer.leads.get(f"screen {other}") != transformer.leads.get(f"screen {v.half}"):
            right = f"{local(look.amplifier, v.transformer, v.channel)} screen {v.half}"
            yield problem(
                look.amplifier,
                look.part(v.valve),
                v.valve,
                f"its screen is on tap screen {other}, its plate on plate {v.half}",
                "plate and screen on the same half of the output transformer",
                f'"{right}"',
            )
