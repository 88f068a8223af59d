"""What each thing in the amplifier is for: frozen types, filled in by ``roles``."""

from dataclasses import dataclass
from typing import Literal

from firstglow.amplifier.supplies import Supply

Bias = Literal["fixed", "cathode", "mixed", "back", "none"]
Connection = Literal["triode", "triode strapped", "ultralinear", "pentode"]


@dataclass(frozen=True, slots=True)
class OutputValve:
    """One output valve section: a valve with its plate on an output transformer.

    valve: section name; envelope: its glass. plate, grid, cathode, screen: joints (screen None for a triode).
    transformer: the output transformer. half: which side of it ("a" also for single-ended).
    connection: by what the screen is tied to; ``ultralinear`` and ``triode_strapped`` say the same in short.
    bias: "fixed" (a negative supply at the grid), "cathode", "mixed" (both), "back" (resistor in HT minus), "none".
    sense: resistor in the cathode lead put there to read current across (up to 20 ohm, or marked test, or up to
        50 ohm with a negative supply at the grid). cathode_resistor: the one that makes bias. Either may be shared.
    cathode_path: every part from the cathode to chassis, in order. shares_cathode: other output valves whose current
        passes the same cathode resistor or sense resistor. bypass: capacitor across the cathode resistor.
    hum_pot: pot across a directly heated filament whose wiper is in the cathode path.
    grid_leak: resistor to ``bias_joint`` (a follower on the grid: its cathode resistor and that one's far end).
    stopper: resistor at the grid pin. coupling: capacitors that bring the signal. driver: section that drives the grid
        without a capacitor. driven_by: sections whose plate or cathode the signal comes from.
    bias_supply: name of the negative supply its grid is held by. pot: the pot that moves this grid most (and is no
        balance pot); pots: all that move it, most first.
    screen_resistor: in the screen's own lead. screen_joint: what the screen is fed from (the plate if strapped, the
        tap's joint if ultralinear).
    partner: first valve on the other half; parallel: valves on the same half. twin: same valve, other channel.
    """

    valve: str
    envelope: str
    channel: str | None
    plate: str
    grid: str
    cathode: str
    screen: str | None
    transformer: str
    half: Literal["a", "b"]
    connection: Connection
    bias: Bias
    sense: str | None
    cathode_resistor: str | None
    cathode_path: tuple[str, ...]
    shares_cathode: tuple[str, ...]
    bypass: str | None
    hum_pot: str | None
    grid_leak: str | None
    bias_joint: str
    stopper: str | None
    coupling: tuple[str, ...]
    driver: str | None
    driven_by: tuple[str, ...]
    bias_supply: str | None
    pot: str | None
    pots: tuple[str, ...]
    screen_resistor: str | None
    screen_joint: str | None
    partner: str | None
    parallel: tuple[str, ...]
    twin: str | None

    @property
    def ultralinear(self) -> bool:
        """Whether its screen is on a tap of the output transformer."""
        return self.connection == "ultralinear"

    @property
    def triode_strapped(self) -> bool:
        """Whether its screen is tied to its plate."""
        return self.connection == "triode strapped"


Duty = Literal["gain", "split load", "long-tailed pair", "follower", "cascode", "stage"]


@dataclass(frozen=True, slots=True)
class SmallValve:
    """One section that is no output valve.

    plate, grid, cathode, screen: joints. plate_load: resistors (or choke) from the plate to ``feed``, an HT node.
    grid_leak and leak_joint: resistor from the grid and its far end. cathode_resistor: first resistor below it.
    bypass: capacitor across that. duty: what its surroundings make of it; "stage" where that is not plain.
    direct_coupled_to: sections it shares dc with and must stand with (the whole chain, without itself).
    direct_coupled_from: sections whose plate or cathode its grid takes its dc from.
    drives: sections whose grids it drives, through capacitors or not. follows: output valves driven without capacitor.
    """

    valve: str
    envelope: str
    channel: str | None
    plate: str
    grid: str
    cathode: str
    screen: str | None
    plate_load: tuple[str, ...]
    feed: str | None
    grid_leak: str | None
    leak_joint: str | None
    cathode_resistor: str | None
    bypass: str | None
    duty: Duty
    direct_coupled_to: tuple[str, ...]
    direct_coupled_from: tuple[str, ...]
    drives: tuple[str, ...]
    follows: tuple[str, ...]
    twin: str | None


@dataclass(frozen=True, slots=True)
class HtNode:
    """One joint of a positive rail, held by a capacitor or a gas tube.

    supply: name of the supply (or bench supply) it comes from. order: 0 at the reservoir, counted outward.
    before: the node it is fed from (None at the reservoir), through: the parts between, ohms: theirs in sum [ohm].
    capacitors: large ones on it. gas_tube: one that holds it, or None.
    """

    joint: str
    supply: str
    order: int
    before: str | None
    through: tuple[str, ...]
    ohms: float
    capacitors: tuple[str, ...]
    gas_tube: str | None = None


Reference = Literal[
    "centre tap", "hum pot", "resistors", "one side", "lifted", "at HT", "dc supply", "at cathode", "none"
]


@dataclass(frozen=True, slots=True)
class HeaterWinding:
    """One heater line: a winding (or dc heater supply) and every heater on it.

    name: "T1 heat" (or the dc supply's name). windings: winding names of ``transformer`` that feed it.
    joints: the two end joints. centre: joint of its tap, or None.
    reference: what ties it to chassis; "lifted": through a joint of its own with dc on it; "at HT": it stands on a
        positive rail; "at cathode": it heats filaments and rides at their cathode's volts; "none": to nothing (bad).
    reference_parts: pot or resistors that tie it. reference_joint: where they tie it to.
    envelopes: every glass on it. rectifiers: those of them that are rectifiers. lamps: pilot lamps.
    supply: name of the dc supply, for dc heaters; else None. volts: rms (dc: None) from end to end as wound [V].
    """

    name: str
    transformer: str | None
    windings: tuple[str, ...]
    joints: tuple[str, str]
    centre: str | None
    reference: Reference
    reference_parts: tuple[str, ...]
    reference_joint: str | None
    envelopes: tuple[str, ...]
    rectifiers: tuple[str, ...]
    lamps: tuple[str, ...]
    supply: str | None
    volts: float | None


@dataclass(frozen=True, slots=True)
class Rectifier:
    """One rectifying part. envelope: its glass, None for a diode. supplies: names of those it feeds.

    heated_by: name of its heater line. own_winding: that line heats nothing but rectifiers. at_ht: its cathode is
    joined to its heater, so the line stands at full HT.
    """

    part: str
    envelope: str | None
    kind: Literal["valve", "silicon", "selenium"]
    supplies: tuple[str, ...]
    heated_by: str | None = None
    own_winding: bool = False
    at_ht: bool = False


@dataclass(frozen=True, slots=True)
class Loop:
    """One feedback loop around the output stage.

    kind: "loudspeaker" (from a secondary), "plate" (from an output plate), "cathode winding" (a winding of the output
        transformer in the output cathodes).
    name: link name if it can be lifted, else its first part. source, target: joints it starts from and arrives at.
    parts: every part between them. resistor: the resistor that sets it (the largest in series), or None.
    sections: valve sections at the target. link: name of the link that lifts it, or None.
    inner: output valve of a plate or cathode-winding loop, else None.
    """

    name: str
    kind: Literal["loudspeaker", "plate", "cathode winding"]
    source: str
    target: str
    parts: tuple[str, ...]
    resistor: str | None
    sections: tuple[str, ...]
    link: str | None
    channel: str | None
    transformer: str
    inner: str | None = None


@dataclass(frozen=True, slots=True)
class BackBias:
    """Resistor(s) between HT minus and chassis. joint: HT minus. supply: the HT supply's name. bypass: across it."""

    resistors: tuple[str, ...]
    joint: str
    supply: str
    bypass: str | None


PotKind = Literal["bias", "bias balance", "bias common", "cathode balance", "hum", "signal"]


@dataclass(frozen=True, slots=True)
class PotRole:
    """What a pot does.

    kind: "bias" moves one valve's grid, "bias common" several the same way, "bias balance" two against each other,
        "cathode balance" lies in the cathodes, "hum" across a heater line, "signal" everything else.
    valves: output valves it moves, most first. negative_end: the position (0.0 or 1.0) at which the grids are most
        negative; 0.5 for a balance pot; None where it moves no grid.
    """

    pot: str
    kind: PotKind
    valves: tuple[str, ...]
    negative_end: float | None


@dataclass(frozen=True, slots=True)
class Standby:
    """A standby switch: the joints it parts, ``live`` (still fed with it open) and ``dead``; nodes behind it."""

    switch: str
    live: tuple[str, ...]
    dead: tuple[str, ...]
    nodes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GasTube:
    """A gas stabiliser: joints, the resistor that feeds it, valve sections whose screen or plate it holds."""

    part: str
    anode: str
    cathode: str
    feed: tuple[str, ...]
    holds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Input:
    """An input and the section whose grid it reaches first."""

    part: str
    hot: str
    channel: str | None
    section: str | None


@dataclass(frozen=True, slots=True)
class LoadRole:
    """Loudspeaker terminals: joints, the output transformer behind them, the secondary lead they are on."""

    part: str
    hot: str
    common: str
    channel: str | None
    transformer: str | None
    tap: str | None


@dataclass(frozen=True, slots=True)
class Interference:
    """A capacitor on the mains side. across: "line to neutral", or "to chassis". safety: it is class X or Y."""

    part: str
    across: Literal["line to neutral", "to chassis"]
    safety: bool


@dataclass(frozen=True, slots=True)
class Roles:
    """What the structure of one amplifier says. Every tuple in the amplifier's own order.

    rails: every positive rail's first joint: HT supplies, separate screen supplies, dc bench supplies.
    chains: groups of sections that share dc and go in together. ht_nodes: per supply from the reservoir outward.
    mains_switches: switches with role "mains".
    """

    supplies: tuple[Supply, ...]
    outputs: tuple[OutputValve, ...]
    smalls: tuple[SmallValve, ...]
    rectifiers: tuple[Rectifier, ...]
    ht_nodes: tuple[HtNode, ...]
    rails: tuple[str, ...]
    loops: tuple[Loop, ...]
    heater_windings: tuple[HeaterWinding, ...]
    pots: tuple[PotRole, ...]
    chains: tuple[tuple[str, ...], ...]
    standby: tuple[Standby, ...]
    mains_switches: tuple[str, ...]
    back_bias: tuple[BackBias, ...]
    gas_tubes: tuple[GasTube, ...]
    loads: tuple[LoadRole, ...]
    inputs: tuple[Input, ...]
    interference: tuple[Interference, ...]

    @property
    def sense(self) -> tuple[str, ...]:
        """Sense resistors of the output valves, each once."""
        return tuple(dict.fromkeys(v.sense for v in self.outputs if v.sense is not None))

    def output(self, valve: str) -> OutputValve:
        """The output valve of that section name; KeyError if it is none."""
        for v in self.outputs:
            if v.valve == valve:
                return v
        raise KeyError(valve)
