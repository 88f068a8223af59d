"""Output valves: bias, cathode, screen, partner."""

from dataclasses import dataclass, replace
from typing import Literal

from firstglow.amplifier.graph import Path
from firstglow.amplifier.grids import GridNetwork, grid_network
from firstglow.amplifier.look import Look
from firstglow.amplifier.role_types import Bias, Connection, OutputValve, PotRole

# A cathode to chassis through up to about 20 ohm is a sense resistor, over 50 ohm cathode bias (common practice) [ohm].
SENSE_OHMS = 20.0
BIAS_OHMS = 50.0
BYPASS_FARADS = 0.5e-6


@dataclass(frozen=True, slots=True)
class Cathode:
    """The way from a cathode to chassis. parts in order; sense, resistor, bypass, hum_pot, balance: parts or None."""

    parts: tuple[str, ...]
    sense: str | None
    resistor: str | None
    bypass: str | None
    hum_pot: str | None
    balance: str | None


def output_valves(look: Look) -> tuple[OutputValve, ...]:
    """Every output valve but for its pots (see ``with_pots``)."""
    found = [_output(look, section) for section in look.plates]
    return tuple(_with_others(v, found) for v in found)


def _output(look: Look, section: str) -> OutputValve:
    part = look.part(section)
    transformer, half = look.plates[section]
    grid = grid_network(look, section)
    driver = grid.direct[0] if grid.direct else None
    root = bias_root(look, section)
    held = grid_reference(look, root)
    cathode = cathode_of(look, section, held[0] == "fixed")
    connection, screen_resistor, screen_joint = _screen(look, section)
    side: Literal["a", "b"] = "a" if half == "a" else "b"
    return OutputValve(
        section,
        part.envelope or section,
        part.channel,
        part.leads["plate"],
        part.leads["grid"],
        part.leads["cathode"],
        part.leads.get("screen"),
        transformer,
        side,
        connection,
        _bias(held[0], cathode),
        cathode.sense,
        cathode.resistor,
        cathode.parts,
        (),
        cathode.bypass,
        cathode.hum_pot,
        grid.leak,
        grid.leak_joint or grid.drive,
        grid.stopper,
        grid.coupling,
        driver,
        grid.sources,
        held[1],
        None,
        (),
        screen_resistor,
        screen_joint,
        None,
        (),
        part.twin,
    )


def _with_others(v: OutputValve, found: list[OutputValve]) -> OutputValve:
    """Partner, parallel valves, and whose current the cathode parts carry too."""
    mine = {p for p in (v.sense, v.cathode_resistor) if p is not None}
    return replace(
        v,
        partner=next((o.valve for o in found if o.transformer == v.transformer and o.half != v.half), None),
        parallel=tuple(
            o.valve for o in found if o.transformer == v.transformer and o.half == v.half and o.valve != v.valve
        ),
        shares_cathode=tuple(o.valve for o in found if o.valve != v.valve and mine & set(o.cathode_path)),
    )


def with_pots(outputs: tuple[OutputValve, ...], pots: tuple[PotRole, ...]) -> tuple[OutputValve, ...]:
    """Name the pots that move each grid: those that move it alone first, then common ones; balance pots last."""
    order = ("bias", "bias common", "bias balance")
    out = []
    for v in outputs:
        mine = sorted((p for p in pots if v.valve in p.valves and p.kind in order), key=lambda p: order.index(p.kind))
        first = next((p.pot for p in mine if p.kind != "bias balance"), None)
        out.append(replace(v, pot=first, pots=tuple(p.pot for p in mine)))
    return tuple(out)


# -- grid side -----------------------------------------------------------------------------------------------------
def bias_root(look: Look, section: str) -> GridNetwork:
    """The grid network that decides this grid's dc: its own, or that of the follower that drives it."""
    seen: set[str] = set()
    network = grid_network(look, section)
    while network.direct and network.direct[0] not in seen and section in _followed(look, network):
        seen.add(network.direct[0])
        section = network.direct[0]
        network = grid_network(look, section)
    return network


def _followed(look: Look, network: GridNetwork) -> tuple[str, ...]:
    """Sections on this grid if its driver's CATHODE sets it (a plate does not pass its own grid's dc on)."""
    driver = look.part(network.direct[0])
    plates = look.at(driver.leads["plate"], "plate")
    if driver.leads["cathode"] == driver.leads["plate"] or not plates:
        return ()
    reached = look.walk([network.grid], ("resistance", "wire"), {*look.quiet, *(set(look.electrodes) - {network.grid})})
    near_cathode = driver.leads["cathode"] in reached
    return look.at(network.grid, "grid") if near_cathode else ()


def grid_reference(look: Look, network: GridNetwork) -> tuple[Literal["fixed", "back", "chassis", "none"], str | None]:
    """What holds a grid's dc, and the negative supply's name."""
    start = network.leak_joint
    if start is None:
        return "none", None
    if start == "chassis":
        return "chassis", None
    stop = {*look.negative, *look.minus, *look.positive, *look.electrodes} - {start}
    found = look.ohmic(start, stop, ("wire", "resistance", "choke", "winding"))
    negative = [(c, j) for j, (c, _) in found.items() if j in look.negative]
    if negative:
        return "fixed", look.negative[min(negative)[1]]
    if any(j in look.minus for j in found):
        return "back", None
    return ("chassis", None) if "chassis" in found else ("none", None)


def _bias(held: str, cathode: Cathode) -> Bias:
    if held == "fixed":
        return "mixed" if cathode.resistor else "fixed"
    if held == "back":
        return "back"
    return "cathode" if cathode.resistor else "none"


# -- cathode side --------------------------------------------------------------------------------------------------
def cathode_path(look: Look, section: str) -> Path:
    """Branches of least ohms from a section's cathode to chassis (or to HT minus, or a negative rail)."""
    cathode = look.part(section).leads["cathode"]
    if cathode == "chassis":
        return ()
    found = look.ohmic(cathode, {*look.minus, *look.negative}, ("wire", "resistance", "choke", "winding", "lamp"))
    ends = [
        (c, p) for j, (c, p) in found.items() if j != cathode and (j == "chassis" or j in {*look.minus, *look.negative})
    ]
    return min(ends, key=lambda e: e[0])[1] if ends else ()


def cathode_of(look: Look, section: str, fixed: bool) -> Cathode:
    """Read an output valve's cathode lead. ``fixed``: its grid is held by a negative supply."""
    path = cathode_path(look, section)
    envelope = look.part(section).envelope
    filament = {j for p in look.amplifier.of_kind("heater") if p.envelope == envelope for j in p.leads.values()}
    ohms: dict[str, float] = {}
    hum = balance = None
    for b in path:
        part = look.part(b.part)
        if part.kind == "pot":
            if {part.leads["end 1"], part.leads["end 2"]} <= filament:
                hum = b.part
            elif len({part.leads["end 1"], part.leads["end 2"], part.leads["wiper"]}) == 3:
                balance = b.part
            else:
                ohms[b.part] = max(ohms.get(b.part, 0.0), part.value("ohms"))
        elif b.sort == "resistance":
            ohms[b.part] = b.ohms
    sense = next((p for p, r in ohms.items() if _senses(look, p, r, fixed)), None)
    rest = {p: r for p, r in ohms.items() if p != sense and r > (BIAS_OHMS if fixed else SENSE_OHMS)}
    resistor = max(rest, key=lambda p: rest[p]) if rest else None
    parts = tuple(dict.fromkeys(b.part for b in path if look.part(b.part).kind != "transformer"))
    return Cathode(parts, sense, resistor, _bypass(look, section, path, resistor), hum, balance)


def _senses(look: Look, part: str, ohms: float, fixed: bool) -> bool:
    """Whether a cathode resistor is there to read current across: between 20 and 50 ohm the grid decides."""
    if look.part(part).kind == "pot":
        return False
    return ohms <= SENSE_OHMS or (fixed and (ohms <= BIAS_OHMS or look.part(part).words.get("test") is True))


def _bypass(look: Look, section: str, path: Path, resistor: str | None) -> str | None:
    """Capacitor across the bias resistor: from a joint above it to one below it."""
    if resistor is None:
        return None
    joint = look.part(section).leads["cathode"]
    above, below = {joint}, {"chassis"}
    passed = False
    for b in path:
        joint = b.far(joint)
        passed = passed or b.part == resistor
        (below if passed else above).add(joint)
    across = [
        b.part
        for joint in sorted(above)
        for b in look.net.at[joint]
        if b.sort == "capacitor" and b.far(joint) in below and look.part(b.part).value("farads") >= BYPASS_FARADS
    ]
    return across[0] if across else None


# -- screen side ---------------------------------------------------------------------------------------------------
def _screen(look: Look, section: str) -> tuple[Connection, str | None, str | None]:
    """(connection, resistor in the screen's lead, joint it is fed from)."""
    leads = look.part(section).leads
    screen, plate = leads.get("screen"), leads["plate"]
    if screen is None:
        return "triode", None, None
    taps = {
        p.leads[lead]
        for p in look.amplifier.of_kind("output transformer")
        for lead in ("screen a", "screen b")
        if lead in p.leads
    }
    if screen == plate:
        return "triode strapped", None, plate
    glow = {p.leads["anode"] for p in look.amplifier.of_kind("gas tube")}
    itself = taps | set(look.positive) | glow
    goals = ({plate} | itself | look.quiet) - {"chassis"}
    found = look.ohmic(screen, goals - {screen})
    ends = sorted((c, j) for j, (c, _) in found.items() if j in goals and (j != screen or j in itself))
    if not ends:
        return "pentode", None, None
    joint = ends[0][1]
    path = found[joint][1]
    resistor = next((b.part for b in path if b.sort == "resistance"), None)
    connection: Connection = "triode strapped" if joint == plate else "ultralinear" if joint in taps else "pentode"
    return connection, resistor, joint
