"""Questions that the rungs ask of an amplifier's structure: no physics, no words."""

from collections.abc import Iterable, Mapping
from functools import cached_property

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.role_types import Loop, OutputValve, Roles
from firstglow.amplifier.roles_ends import may_stand
from firstglow.amplifier.supplies import Supply
from firstglow.ladder.places import mains_joints


class Structure:
    """One amplifier and its roles."""

    def __init__(self, amplifier: Amplifier, roles: Roles) -> None:
        self.amplifier = amplifier
        self.roles = roles

    def part(self, name: str) -> Part:
        """A part by its canonical name."""
        return self.amplifier.parts[name]

    # ------------------------------------------------------------------------------------------ glass
    @cached_property
    def envelopes(self) -> frozenset[str]:
        """Every glass that can be pulled."""
        parts = self.amplifier.of_kind("valve", "rectifier")
        return frozenset(p.envelope for p in parts if p.envelope is not None)

    def envelope(self, valve: str) -> str:
        """The glass a section stands in."""
        return self.part(valve).envelope or valve

    def _rectifiers(self, use: str) -> frozenset[str]:
        parts = (self.part(r) for s in self.supplies(use) for r in s.rectifiers)
        return frozenset(p.envelope for p in parts if p.kind == "rectifier" and p.envelope is not None)

    @cached_property
    def ht_rectifiers(self) -> frozenset[str]:
        """Envelopes of the valve rectifiers that make HT."""
        return self._rectifiers("ht")

    @cached_property
    def bias_rectifiers(self) -> frozenset[str]:
        """Envelopes of valve rectifiers that make bias and nothing else: in from the first powered rung."""
        return (self._rectifiers("bias") | self._rectifiers("negative")) - self.ht_rectifiers

    @cached_property
    def output_envelopes(self) -> frozenset[str]:
        """Envelopes of all output valves (a triode-pentode's driver goes in with its pentode)."""
        return frozenset(self.envelope(v.valve) for v in self.roles.outputs)

    @cached_property
    def small_envelopes(self) -> frozenset[str]:
        """Every other glass that is no rectifier."""
        return self.envelopes - self.output_envelopes - self.ht_rectifiers - self.bias_rectifiers

    # ------------------------------------------------------------------------------------------ supplies
    def supplies(self, use: str) -> tuple[Supply, ...]:
        """Supplies for "ht", "bias", "negative" or "heater"."""
        return tuple(s for s in self.roles.supplies if s.use == use)

    @cached_property
    def ht_lifts(self) -> frozenset[str]:
        """What keeps HT off where no valve can be pulled to do it: the dc lead of each diode-fed HT supply."""
        return frozenset(lead for s in self.supplies("ht") if s.kind != "valve" for lead in s.dc_lead)

    @cached_property
    def negatives(self) -> tuple[Supply, ...]:
        """Bias supplies, then negative rails that bias no grid: both are there while HT is off."""
        return self.supplies("bias") + self.supplies("negative")

    def shares_ht_winding(self, supply: Supply) -> bool:
        """Is this bias taken from an HT winding (a tap, or through a capacitor from one leg)?"""
        ht = {(w.part, w.winding) for s in self.supplies("ht") for leg in s.legs for w in leg.windings}
        return any((w.part, w.winding) in ht for leg in supply.legs for w in leg.windings)

    def capacitor_fed(self, supply: Supply) -> bool:
        """Does a capacitor bring the winding's volts to this bias?"""
        return any(leg.coupling for leg in supply.legs)

    def capacitors_on(self, node: str, minus: str) -> tuple[str, ...]:
        """Capacitors from a node to its return or to chassis, whose rating is known."""
        return tuple(
            p.name
            for p in self.amplifier.of_kind("capacitor")
            if node in p.leads.values() and {minus, "chassis"} & set(p.leads.values()) and "volts" in p.values
        )

    # ------------------------------------------------------------------------------------------ output stage
    def has_bias(self, v: OutputValve) -> bool:
        """Is a negative voltage of its own on this grid before any cathode current flows?"""
        return v.bias in ("fixed", "mixed")

    def self_biased(self, v: OutputValve) -> bool:
        """Does its own cathode current make its bias, in whole or in part, in the resistor it is read across?"""
        return v.bias in ("cathode", "mixed") and v.cathode_resistor is not None

    def target(self, v: OutputValve) -> float | None:
        """Idle target [A], None where none is stated."""
        found = self.amplifier.idle.get(v.valve)
        return found.amps.value if found else None

    def target_beside(self, v: OutputValve) -> tuple[float, str] | None:
        """(idle target [A], whose) of another output valve of its type on the same bias: one pot holds both, and the file
        states the idle of the one it is set by."""
        mine = self.amplifier.parts[v.valve].type
        for o in self.roles.outputs:
            target = self.target(o)
            if o is not v and o.bias_joint == v.bias_joint and self.amplifier.parts[o.valve].type == mine and target:
                return target, o.valve
        return None

    def cathode_part(self, v: OutputValve) -> str | None:
        """The resistor its current is read across."""
        return v.sense or v.cathode_resistor

    def shared_cathode(self, v: OutputValve) -> bool:
        """Do other output valves stand on the same resistor?"""
        return bool(v.shares_cathode)

    def repeats_cathode(self, v: OutputValve) -> bool:
        """Is this valve's resistor already read for an earlier valve?"""
        mine = self.cathode_part(v)
        first = next(o for o in self.roles.outputs if self.cathode_part(o) == mine)
        return mine is not None and first is not v

    @cached_property
    def output_groups(self) -> tuple[tuple[str, tuple[OutputValve, ...]], ...]:
        """Output valves channel by channel; all that feed one back-bias resistor together."""
        return groups(self.roles.outputs, self.amplifier.channels)

    # ------------------------------------------------------------------------------------------ loops, loads
    @cached_property
    def liftable(self) -> tuple[Loop, ...]:
        """Feedback loops that the file says can be lifted."""
        return tuple(loop for loop in self.roles.loops if loop.link)

    def load_of_channel(self, channel: str | None) -> str:
        """The loudspeaker terminals of a channel."""
        loads = self.amplifier.of_kind("load")
        return next((p.name for p in loads if p.channel == channel), loads[0].name)

    def loads_of(self, valves: Iterable[OutputValve]) -> tuple[str, ...]:
        """Loudspeaker terminals that these valves drive."""
        names = dict.fromkeys(self.load_of_channel(v.channel) for v in valves)
        return tuple(names) if self.amplifier.of_kind("load") else ()

    @cached_property
    def inside(self) -> tuple[str, ...]:
        """Every joint that may be bare inside the chassis once the mains side is covered."""
        covered = mains_joints(self.amplifier) | {"earth"}
        return tuple(j for j in self.amplifier.joints if j not in covered)

    @cached_property
    def rated(self) -> Mapping[str, float]:
        """Capacitors with known working volts -> what they may stand: dc and crest, of class X or Y V ac."""
        return {p.name: may_stand(p) for p in self.amplifier.of_kind("capacitor") if "volts" in p.values}


def groups(outputs: Iterable[OutputValve], channels: Iterable[str]) -> tuple[tuple[str, tuple[OutputValve, ...]], ...]:
    """Output valves channel by channel, in the file's order; one group where there are no channels, or where valves of
    several channels make their bias in one resistor (half of them would have half the bias)."""
    valves = tuple(outputs)
    named = [(c, tuple(v for v in valves if v.channel == c)) for c in channels]
    found = tuple((c, vs) for c, vs in named if vs)
    if len(found) < 2 or any(v.bias == "back" for v in valves):
        return (("", valves),)
    return found
