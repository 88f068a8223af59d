"""What a file says beside the circuit: charts of voltages, and what is known before mains. None of it enters a solution,
moves a band or a stop limit, or is part of the digest."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

ChartKind = Literal["dc volts", "ac volts"]
PluggedIn = Literal["yes", "no", "unknown"]
Speed = Literal["slow", "quick", ""]


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One figure of a chart. what: as written. red, black: canonical joints. volts [V], signed, as its meter showed it.
    tolerance: fraction either way. channel: that of the joint, None for a shared one."""

    what: str
    red: str
    black: str
    kind: ChartKind
    volts: float
    tolerance: float
    channel: str | None
    line: int


@dataclass(frozen=True, slots=True)
class Chart:
    """Published or drawn voltages.

    source: who says so. mains_volts [V rms]: what it was taken at; tap: what that primary was marked for [V].
    meter: as written; ohms_per_volt [ohm/V] or input_ohms [ohm] of it, one of them None; meter_said: False where the
    file is silent. range_volts: the range it was read on, None where not said.
    out, lifted, pots: how it stood (``Situation``); everything else in, each pot at its valve's idle.
    """

    title: str
    source: str
    drawing: str
    mains_volts: float
    tap: float
    meter: str
    ohms_per_volt: float | None
    input_ohms: float | None
    meter_said: bool
    range_volts: float | None
    tolerance: float
    state: str
    out: frozenset[str]
    lifted: frozenset[str]
    pots: Mapping[str, float]
    points: tuple[ChartPoint, ...]
    line: int

    @property
    def name(self) -> str:
        """Title, and who says so."""
        return f"{self.title} ({self.source})" if self.source else self.title

    @property
    def share(self) -> float:
        """Its mains over what its primary was marked for."""
        return self.mains_volts / self.tap


@dataclass(frozen=True, slots=True)
class FuseFound:
    """A fuse as it was found. part: of the file. amps [A]; speed "" where not said; text: as written."""

    part: str
    amps: float
    speed: Speed
    text: str
    line: int


@dataclass(frozen=True, slots=True)
class Intake:
    """What is known before mains.

    plugged_in: since its owner has it. selector: volts that it stands on, (low, high), None where not said.
    fuses: as found. original: parts that must stay, by canonical name. country: a key of the limits, "" where not said.
    polarised: whether its plug goes in one way only, None where not known.
    """

    plugged_in: PluggedIn = "unknown"
    story: str = ""
    missing: tuple[str, ...] = ()
    fuses: tuple[FuseFound, ...] = ()
    selector: tuple[float, float] | None = None
    original: tuple[str, ...] = ()
    country: str = ""
    plug: str = ""
    polarised: bool | None = None
    cord_metres: float | None = None
    lines: Mapping[str, int] = field(default_factory=dict)
