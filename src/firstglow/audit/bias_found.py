"""What a bias network does in the whole amplifier, as ``bias_trial`` finds it."""

from collections.abc import Mapping
from dataclasses import dataclass

Design = Mapping[str, float]
"""Parameter name ("R4 ohms", "C5 farads") -> value; what is not named stays as drawn."""
NEAR = 0.01
"""An idle this near its target is set: a preset is turned no finer (common practice)."""


@dataclass(frozen=True, slots=True)
class Ends:
    """Grid volts to chassis with the pot at its most negative end, its middle, its least negative end."""

    most: float
    middle: float
    least: float


@dataclass(frozen=True, slots=True)
class Idle:
    """One output valve, its pot set on nominal mains.

    target, low, high: cathode amps: wanted; on low and high mains with the pot left alone. stands: on nominal mains, the
    target but where the pot comes to its end first. reached: the pot brings weakest
    and strongest valve to it on every mains. sense_ohms, sense_measured: of the sense resistor as drawn and as measured.
    plate_watts: plate volts to CATHODE times plate current; screen_watts; limit: plate watts allowed (None: unknown).
    cathode_volts; at_least_amps, at_least_watts: with the pot at its weak end by mistake.
    """

    valve: str
    target: float
    low: float
    high: float
    stands: float
    reached: bool
    plate_watts: float
    screen_watts: float
    limit: float | None
    cathode_volts: float
    at_least_amps: float
    at_least_watts: float

    @property
    def comes_short(self) -> bool:
        """Its pot is at an end on nominal mains, and the idle is not the target."""
        return abs(self.stands / self.target - 1.0) > NEAR

    @property
    def share(self) -> float | None:
        """Plate watts at idle over the limit."""
        return self.plate_watts / self.limit if self.limit else None


@dataclass(frozen=True, slots=True)
class WiperOpen:
    """A pot whose wiper lost its track. before, after: cathode amps of the worst of its valves on the worst mains [V]. grid:
    its volts then. others: by how much the worst other valve's current rose [1]; total: all output valves' together, over
    what it was; grids_fall: no grid came less negative."""

    pot: str
    valve: str
    mains: float
    before: float
    after: float
    grid: float
    others: float
    total: float
    grids_fall: bool

    @property
    def safe(self) -> bool:
        """Its valves draw no more than before, and no other grid comes less negative. (The others' current follows HT, which
        rises when a valve of theirs goes quiet: ``others``.)"""
        return self.after <= self.before and self.grids_fall


@dataclass(frozen=True, slots=True)
class Found:
    """What one design does in the whole amplifier.

    settled: every column came out. room: least travel left at either end of any pot over all valves and mains (fraction, 0
    where an idle is not reached). turns: setting pot -> travel from the negative end at idle, nominal;
    positions: every pot that was turned, 0 to 1. safe: valve -> (mains, safe bias, most negative with the valves out), the
    worst mains. watts: part -> most [W]. winding_amps: most dc that this supply draws from its winding, None where a winding
    serves others too. volts: capacitor -> most [V]. grid_ohms: valve -> ohms between grid and chassis. raw, raw_in: reservoir
    volts on nominal mains, valves out and at idle. high: joint -> volts on high mains, idle set on nominal: plates and grids.
    hum: valve -> volts rms that the bias supply leaves at its grid.
    """

    design: Design
    settled: bool
    out: Mapping[str, Ends]
    into: Mapping[str, Ends]
    idle: Mapping[str, Idle]
    room: float
    turns: Mapping[str, float]
    positions: Mapping[str, float]
    safe: Mapping[str, tuple[float, float, float]]
    wipers: tuple[WiperOpen, ...]
    watts: Mapping[str, float]
    volts: Mapping[str, float]
    winding_amps: float | None
    grid_ohms: Mapping[str, float]
    raw: float
    raw_in: float
    high: Mapping[str, float]
    hum: Mapping[str, float]

    @property
    def holds(self) -> bool:
        """The most negative end holds the strongest valve on unloaded HT, on every mains."""
        return all(most <= safe for _, safe, most in self.safe.values())
