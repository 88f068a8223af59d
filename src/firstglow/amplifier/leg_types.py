"""What a rectifier leg is, as data: see ``legs`` for how it is found."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WindingStep:
    """A winding in a leg. ``sign`` +1: its dot end drives the leg's current (walked from end to start); -1: against.

    +0.5 or -0.5: half of it counts (a capacitor on one end of a winding that feeds a bridge: the other end swings
    equally the other way). A bench supply with ac is a winding with an empty name, its dot at ``+``.
    """

    part: str
    winding: str
    sign: float


@dataclass(frozen=True, slots=True)
class Plate:
    """One rectifying path of a stage: diode or rectifier valve ``part``, its ``lead`` ("anode", "plate 1"), and the
    series resistors that this path alone passes (parallel plates each with their own)."""

    part: str
    lead: str
    series: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Leg:
    """One charging loop, in the direction its rectifiers conduct.

    start, end: joints with a steady voltage; current enters at ``start`` and leaves at ``end``. Ahead of a choke input
        ``end`` (or ``start``) is the joint between rectifier and choke.
    windings: in series; the leg's emf is the sum of sign times winding volts (dot end minus other end).
    stages: rectifying stages in series, each one or more plates in parallel, in the order passed.
    series_dc: fuses, switches, links, resistors passed between the outermost rectifier and the joint it charges;
    series_ac: all others, on the winding's side.
    coupling: capacitors that bring the winding's volts to a joint that has no dc path to it (cascade doubler, bias
        through a capacitor from one HT leg); the leg then starts or ends on that joint.
    choke: the choke of a choke input, and ``beyond`` the joint on its far side; None for a capacitor input.
        choke_first: it is on the side of ``start`` (a choke in HT minus).
    held: whether a capacitor holds ``end`` (or ``beyond``) and ``start`` still.
    backwards: those of the series parts that its current passes from their second lead to their first.
    """

    start: str
    end: str
    windings: tuple[WindingStep, ...]
    stages: tuple[tuple[Plate, ...], ...]
    series_ac: tuple[str, ...] = ()
    series_dc: tuple[str, ...] = ()
    coupling: tuple[str, ...] = ()
    choke: str | None = None
    beyond: str | None = None
    choke_first: bool = False
    held: bool = True
    backwards: frozenset[str] = frozenset()

    @property
    def outer(self) -> tuple[str, str]:
        """Start and end as the reservoir sees them: beyond the choke of a choke input."""
        beyond = self.beyond
        if beyond is None:
            return self.start, self.end
        return (beyond, self.end) if self.choke_first else (self.start, beyond)

    @property
    def rectifiers(self) -> tuple[str, ...]:
        """Names of the rectifying parts, in the order passed, each once."""
        return tuple(dict.fromkeys(plate.part for stage in self.stages for plate in stage))
