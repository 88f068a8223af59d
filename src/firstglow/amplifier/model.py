"""What stands on the bench: the resolved amplifier, as frozen data.

Every number is plain SI. Nothing here reads files, checks rules or computes physics.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from firstglow.amplifier.aside import Chart, Intake

Shape = Literal["uniform", "normal", "exact"]


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a value came from.

    layer: "default", "drawn", "found", "measured", "changed" or "fault".
    line: 1-based line of the amplifier file; 0 for a default or a fault.
    """

    layer: str = "drawn"
    line: int = 0


@dataclass(frozen=True, slots=True)
class Quantity:
    """One resolved attribute.

    value: in SI units [ohm, F, H, V, A, W, s, 1].
    spread: as a fraction of ``value``: half width of the tolerance where ``shape`` is "uniform",
        one standard deviation where it is "normal", 0 where it is "exact".
    """

    value: float
    spread: float = 0.0
    shape: Shape = "exact"
    origin: Origin = field(default_factory=Origin)

    @property
    def sigma(self) -> float:
        """Standard deviation as a fraction of the value (a rectangle's is half width / sqrt 3, JCGM 100 4.3.7)."""
        return self.spread / 3**0.5 if self.shape == "uniform" else self.spread


@dataclass(frozen=True, slots=True)
class Winding:
    """One winding (or one side of a tapped winding) of a transformer.

    name: "primary", "ht a", "ht b", "rect", "heat a", "heat b", "bias", "plate a", "secondary 8" ...
    start, end: LEAD names of the transformer; start carries the phase dot.
    turns: open-circuit volts rms at the nominal primary volts (mains transformer), or relative turns (output
        transformer, 1 for the smallest secondary tap section).
    ohms: dc resistance, cold.
    amps: rating [A rms for ac loads, A dc for rectified windings], or None.
    role: "primary" or "secondary".
    """

    name: str
    start: str
    end: str
    turns: Quantity
    ohms: Quantity
    amps: Quantity | None = None
    role: Literal["primary", "secondary"] = "secondary"


@dataclass(frozen=True, slots=True)
class Part:
    """One part; its leads are named and each stands on a joint.

    name: canonical, as CONTRACTS name it: "C1", "left R8", "V5", "V2a" (a section of envelope V2).
    kind: a key of ``firstglow.amplifier.attributes.KINDS``.
    type: what exactly: "6V6GT", "silicon", "selenium", "electrolytic", "carbon composition" ... or None.
    leads: lead name -> canonical joint name.
    values: attribute name (unit as in the attribute table) -> quantity. Every attribute of the kind that the
        solver uses is present: what the file does not say is the table's default.
    words: attributes that are text or yes/no: {"link": "feedback", "test": True, "role": "standby"}.
    windings: for transformers, else empty.
    envelope: for valve sections, rectifier valves and heaters: the name of the glass they share ("V2"); else None.
    twin: canonical name of the same part in the other channel, or None.
    measured_from: attribute -> what it was, tolerance and all, before a measured layer put its own value there.
    """

    name: str
    kind: str
    type: str | None
    leads: Mapping[str, str]
    values: Mapping[str, Quantity]
    words: Mapping[str, str | bool] = field(default_factory=dict)
    windings: tuple[Winding, ...] = ()
    envelope: str | None = None
    channel: str | None = None
    twin: str | None = None
    aliases: tuple[str, ...] = ()
    origin: Origin = field(default_factory=Origin)
    measured_from: Mapping[str, Quantity] = field(default_factory=dict)

    def value(self, name: str) -> float:
        """The nominal SI value of an attribute; KeyError if the kind has none of that name."""
        return self.values[name].value


@dataclass(frozen=True, slots=True)
class Joint:
    """A set of terminals soldered together. ``terminals`` are "part lead" strings ("C3 +", "V3a plate")."""

    name: str
    terminals: tuple[str, ...]
    aliases: tuple[str, ...] = ()
    channel: str | None = None
    floating: bool = False
    line: int = 0


@dataclass(frozen=True, slots=True)
class Link:
    """A named lead that can be lifted. Its free end is tied to joint ``tie`` while lifted (None: left hanging).

    feedback: it lifts its channel's outer feedback loop, as the structure says (``drawn_loops``), whatever its name.
    """

    name: str
    part: str
    lead: str
    tie: str | None
    channel: str | None = None
    feedback: bool = False


@dataclass(frozen=True, slots=True)
class IdleTarget:
    """What an output valve (section name) is to idle at: ``amps`` cathode current [A]; ``setting``: how well a
    person sets it, half width as a fraction; ``pot``: the part that sets it, or None."""

    valve: str
    amps: Quantity
    setting: float = 0.03
    pot: str | None = None


@dataclass(frozen=True, slots=True)
class DefaultUsed:
    """One thing the file did not say, and what stands in for it (FILE.md 6)."""

    part: str
    what: str
    value: str
    spread: str


@dataclass(frozen=True, slots=True)
class Amplifier:
    """The whole amplifier as resolved from its file with a chosen set of layers.

    mains_volts [V rms] and mains_hz: what the primary in use is marked for.
    mains_spread: half width as a fraction of the socket's volts around their nominal (default 0.10: EN 50160).
    parts, joints, links: by canonical name. aliases: any other spelling -> canonical part or joint name.
    spreads: valve spread by type or "*": {"perveance": 1 sigma, "mu": 1 sigma, "contact": volts}.
    digest: hex SHA-256 of the resolved content (not comments, not order).
    lines: key path as written in the file -> 1-based line.
    fragment: a stage on a bench supply: it needs no mains transformer.
    not_used: "part attribute" of what is said and kept but not used by any solution yet.
    charts, intake: what the file says beside the circuit (``aside``); no answer depends on them, nor does the digest.

    Parts and joints stand in one canonical order (shared first, then each channel, names in natural order), so the
    order of the file's lines changes nothing.
    """

    name: str
    drawing: str
    mains_volts: float
    mains_hz: float
    channels: tuple[str, ...]
    parts: Mapping[str, Part]
    joints: Mapping[str, Joint]
    links: Mapping[str, Link]
    idle: Mapping[str, IdleTarget]
    aliases: Mapping[str, str]
    mains_spread: float = 0.10
    spreads: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    defaults: tuple[DefaultUsed, ...] = ()
    digest: str = ""
    file: str = ""
    layers: tuple[str, ...] = ("drawn",)
    lines: Mapping[str, int] = field(default_factory=dict)
    fragment: bool = False
    not_used: tuple[str, ...] = ()
    charts: tuple[Chart, ...] = ()
    intake: Intake | None = None
    _made: dict[Any, Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    def joint_of(self, part: str, lead: str) -> str:
        """Canonical joint a lead stands on."""
        return self.parts[part].leads[lead]

    def of_kind(self, *kinds: str) -> tuple[Part, ...]:
        """All parts of the given kinds, in canonical order."""
        found: tuple[Part, ...] = self.once(kinds, lambda a: tuple(p for p in a.parts.values() if p.kind in kinds))
        return found

    def once(self, what: Any, make: Callable[["Amplifier"], Any]) -> Any:
        """What follows from the drawing alone, made when it is first asked for and kept: nobody changes it."""
        if what not in self._made:
            self._made[what] = make(self)
        return self._made[what]


class AmplifierError(Exception):
    """The file cannot be used. ``problems`` holds every mistake found, in file order; never empty."""

    def __init__(self, problems: "tuple[Problem, ...]") -> None:
        super().__init__("\n".join(p.text for p in problems))
        self.problems = problems


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake, in CONTRACTS.md's form ``FILE:LINE: part: found; allowed; try``."""

    file: str
    line: int
    part: str
    found: str
    allowed: str
    remedy: str

    @property
    def text(self) -> str:
        """The line that goes to stderr."""
        return f"{self.file}:{self.line}: {self.part}: {self.found}; {self.allowed}; try {self.remedy}"
