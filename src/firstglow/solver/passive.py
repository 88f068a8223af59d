"""What is left of an amplifier when no valve and no rectifier conducts: resistances, capacitors, windings.

Shared by the power-off ohms (cold.py), the discharge (discharge.py) and the signal (smallsignal.py), so that links,
switches, pots, plugs and faults mean the same thing in all three.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstglow.amplifier.defaults import SELENIUM_AMPS, SILICON_AMPS
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault, Situation
from firstglow.devices.semiconductor import selenium_law, silicon_law
from firstglow.solver.misfits import ends_of
from firstglow.solver.parameters import CONTACT_OHMS, INSULATION_SIEMENS, OPEN_OHMS
from firstglow.solver.wiring import Wiring

Array = NDArray[np.float64]
Values = Mapping[str, ArrayLike]
Role = Literal["part", "leak", "insulation", "tool"]

CHASSIS = "chassis"
# A joint that touches nothing else is held by this, and by the meter.
INSULATION_OHMS = 1.0 / INSULATION_SIEMENS
# Tungsten cold against hot: 0.15, "about 1/6 to 1/8" (heater and winding facts, makers' practice).
COLD_HEATER = 0.15
# A pilot lamp runs hotter than a heater: about a tenth (common practice).
COLD_LAMP = 0.1
# Leads of an output transformer's valve side; the other windings are the loudspeaker's.
PRIMARY_LEADS = frozenset({"plate a", "plate b", "centre", "screen a", "screen b"})
# A loudspeaker's dc ohms against its rated impedance (common practice: 0.7 to 0.85).
LOUDSPEAKER_DC = 0.8


# Numbers that many branches share; nobody writes into them.
_NOTHING, _ONE, _INSULATED = np.zeros(1), np.ones(1), np.full(1, INSULATION_OHMS)


@dataclass(frozen=True, slots=True)
class Branch:
    """A resistance between two joints.

    ohms: (sample,) or (1,). parameter: what it follows, or "". slope: d ohms / d parameter, (sample,) or (1,).
    """

    part: str
    a: str
    b: str
    ohms: Array
    role: Role = "part"
    parameter: str = ""
    slope: Array = field(default_factory=lambda: _NOTHING)


@dataclass(frozen=True, slots=True)
class Store:
    """A capacitor: ``farads`` (sample,) or (1,) between joints ``a`` (its +) and ``b``."""

    part: str
    a: str
    b: str
    farads: Array


@dataclass(frozen=True, slots=True)
class Junction:
    """A rectifier that may conduct from ``anode`` to ``cathode`` through ``ohms`` (sample,) or (1,)."""

    part: str
    anode: str
    cathode: str
    ohms: Array


@dataclass(frozen=True, slots=True)
class Coil:
    """One winding between two joints (``start`` carries the dot), or a choke (``core`` its own name, ``turns`` 1).

    branch: the dc resistance in it, also listed among the branches. henries: of a choke, else None. kind: of the part.
    """

    core: str
    name: str
    start: str
    end: str
    turns: Array
    branch: Branch
    kind: str
    henries: Array | None = None


@dataclass(frozen=True, slots=True)
class Passives:
    """The passive network of one situation. ``joints``: every joint met, the chassis not among them."""

    joints: tuple[str, ...]
    branches: tuple[Branch, ...]
    stores: tuple[Store, ...]
    junctions: tuple[Junction, ...]
    coils: tuple[Coil, ...]
    wiring: Wiring


def value(values: Values, part: Part, attribute: str) -> Array:
    """A parameter's samples, or the part's own nominal: (sample,) or (1,)."""
    found = values.get(f"{part.name} {attribute}")
    if isinstance(found, np.ndarray) and found.ndim and found.dtype == float:
        return found
    return np.atleast_1d(np.asarray(part.value(attribute) if found is None else found, dtype=float))


def junction_amps(part: Part) -> float:
    """Rated mean current that a diode's law is taken for [A]; one that has none said counts as a usual one of its kind."""
    if "amps" in part.values:
        return part.value("amps")
    return SELENIUM_AMPS if part.type == "selenium" else SILICON_AMPS


def junction_leak(part: Part) -> float:
    """Ohms of a rectifier in reverse: gigohms of silicon, some hundred kilohms of a selenium stack.

    A plausibility choice for selenium (devices/semiconductor.py), and the same both ways at an ohms range's volts.
    """
    if part.type == "selenium":
        law = selenium_law(junction_amps(part), part.value("plates"), part.value("age"))
    else:
        law = silicon_law(junction_amps(part))
    return float(law.count * law.leak_ohms)


def passives(
    amplifier: Amplifier,
    situation: Situation,
    values: Values | None = None,
    faults: Sequence[Fault] = (),
    powered: bool = False,
) -> Passives:
    """Everything that is not a valve's electron stream, as it stands on the bench.

    values: parameter name -> (sample,) in SI; what is missing is nominal. They may be the circuit's own vector, faults
        of a batch included ("T1 ht a short siemens", "V3 in"); a fault that is in ``values`` must not be in ``faults``
        too, except those that move leads ("plates exchanged", "screens exchanged", "reversed").
    powered: heaters are hot, gas tubes glow, bench supplies are on, a loudspeaker shows its rated impedance; else
        cold, dark, disconnected, its dc ohms.
    """
    wiring = Wiring(amplifier, situation, faults)
    build = _Builder(wiring, values or {}, powered)
    for part in amplifier.parts.values():
        if wiring.fitted(part):
            build.part(part)
    build.bench()
    build.faults()
    joints: dict[str, None] = dict.fromkeys(amplifier.joints)
    for branch in build.branches:
        joints |= dict.fromkeys((branch.a, branch.b))
    joints.pop(CHASSIS, None)
    for joint in joints:
        build.branches.append(Branch("", joint, CHASSIS, _INSULATED, "insulation"))
    return Passives(
        tuple(joints),
        tuple(build.branches),
        tuple(build.stores),
        tuple(build.junctions),
        tuple(build.coils),
        wiring,
    )


class _Builder:
    """Collects the branches of one part after another; a method a kind of part."""

    def __init__(self, wiring: Wiring, values: Values, powered: bool) -> None:
        self.wiring, self.values, self.powered = wiring, values, powered
        # leads that touch are rare: asked for part by part only where some do
        self.touched = any(np.asarray(v).any() for name, v in values.items() if name.endswith(" siemens"))
        self.branches: list[Branch] = []
        self.stores: list[Store] = []
        self.junctions: list[Junction] = []
        self.coils: list[Coil] = []

    def part(self, part: Part) -> None:
        match part.kind:
            case "resistor" | "fuse" | "wire":
                self.resistance(part)
            case "switch":
                if part.name not in self.wiring.situation.switches_open:
                    self.resistance(part)
            case "capacitor":
                self.capacitor(part)
            case "pot":
                self.pot(part)
            case "choke":
                self.choke(part)
            case "diode":
                self.junction(part)
            case "heater" | "lamp":
                self.filament(part)
            case "valve" | "rectifier":
                self.heater_leak(part)
            case "transformer" | "output transformer":
                self.windings(part)
            case "load":
                self.load(part)
            case "gas tube" | "supply":
                self.source(part)
        if self.touched:
            self.touching(part)

    def add(
        self, part: Part, a: str, b: str, ohms: Array, parameter: str = "", slope: ArrayLike = _ONE, role: Role = "part"
    ) -> Branch:
        """A branch between two joints, a part's ohms multiplied by its drift and held above a soldered joint's."""
        drifts = role == "part" and not parameter.endswith(" wiper_ohms")
        factor = self.wiring.misfits.factors.get(part.name, 1.0) if drifts else 1.0
        rate = _ONE if factor == 1.0 and slope is _ONE else np.atleast_1d(np.asarray(slope, dtype=float)) * factor
        drifted = ohms if factor == 1.0 else ohms * factor
        branch = Branch(part.name, a, b, np.maximum(drifted, CONTACT_OHMS), role, parameter, rate)
        self.branches.append(branch)
        return branch

    def resistance(self, part: Part) -> Branch | None:
        if self.wiring.misfits.open(part.name):
            return None
        a, b = self.wiring.joint(part, "1"), self.wiring.joint(part, "2")
        return self.add(part, a, b, value(self.values, part, "ohms"), f"{part.name} ohms")

    def choke(self, part: Part) -> None:
        branch = self.resistance(part)
        if branch is not None:
            henries = value(self.values, part, "henries")
            self.coils.append(Coil(part.name, part.name, branch.a, branch.b, np.ones(1), branch, part.kind, henries))

    def capacitor(self, part: Part) -> None:
        if self.wiring.misfits.open(part.name):
            return
        a, b = self.wiring.joint(part, "+"), self.wiring.joint(part, "-")
        farads = value(self.values, part, "farads") * self.wiring.misfits.dried.get(part.name, 1.0)
        self.stores.append(Store(part.name, a, b, farads))
        self.add(part, a, b, value(self.values, part, "leak_ohms"), f"{part.name} leak_ohms", role="leak")

    def pot(self, part: Part) -> None:
        """Two lengths of track that meet under the wiper, and the wiper's own contact."""
        situation, targets = self.wiring.situation, self.wiring.amplifier.idle
        # a pot that sets an idle current stands where it was turned to, sample by sample
        turned = any(valve in targets and targets[valve].pot == part.name for valve in situation.idle)
        stated = None if turned else situation.pots.get(part.name)
        position = value(self.values, part, "position") if stated is None else np.full(1, float(stated))
        track = value(self.values, part, "ohms")
        under = f"{part.name} track"
        if not self.wiring.misfits.open(part.name):
            for end, length in (("end 1", position), ("end 2", 1.0 - position)):
                self.add(part, self.wiring.joint(part, end), under, track * length, f"{part.name} ohms", length)
        if part.name not in self.wiring.misfits.lost_wipers:
            contact = value(self.values, part, "wiper_ohms")
            self.add(part, under, self.wiring.joint(part, "wiper"), contact, f"{part.name} wiper_ohms")

    def junction(self, part: Part) -> None:
        if self.wiring.misfits.open(part.name):
            return
        anode, cathode = self.wiring.joint(part, "anode"), self.wiring.joint(part, "cathode")
        if part.name in self.wiring.misfits.turned:
            anode, cathode = cathode, anode
        self.junctions.append(Junction(part.name, anode, cathode, value(self.values, part, "series_ohms")))
        leak = self.values.get(f"{part.name} leak_ohms", junction_leak(part))
        self.add(part, anode, cathode, np.atleast_1d(np.asarray(leak, dtype=float)) / self.inside(part), role="leak")

    def filament(self, part: Part) -> None:
        """Tungsten, cold or hot; a centre-tapped heater is two halves."""
        if self.wiring.misfits.open(part.name):
            return
        cold = 1.0 if self.powered else COLD_HEATER if part.kind == "heater" else COLD_LAMP
        amps = value(self.values, part, "amps")
        ohms = cold * value(self.values, part, "volts") / amps / self.inside(part)
        ends = ("1", "ct", "2") if "ct" in part.leads else ("1", "2")
        pieces = len(ends) - 1
        for a, b in itertools.pairwise(self.wiring.joint(part, end) for end in ends):
            self.add(part, a, b, ohms / pieces, f"{part.name} amps", -ohms / amps / pieces)

    def heater_leak(self, part: Part) -> None:
        heater = self.wiring.amplifier.parts.get(f"{part.envelope} heater")
        if heater is not None and "hk_leak_ohms" in part.values:
            a, b = self.wiring.joint(heater, "1"), self.wiring.joint(part, "cathode")
            leak = value(self.values, part, "hk_leak_ohms") / self.inside(part)
            self.add(part, a, b, leak, f"{part.name} hk_leak_ohms", role="leak")

    def inside(self, part: Part) -> Array:
        """1 while a part is there, next to nothing where a batch has pulled or broken it (the circuit's "V3 in",
        "V3 heater fitted", "D1 anode fitted")."""
        there = _ONE
        for name in (f"{part.envelope} in", f"{part.name} fitted", f"{part.name} anode fitted"):
            found = self.values.get(name)
            if found is not None:
                there = there * np.atleast_1d(np.asarray(found, dtype=float))
        factor: Array = np.maximum(there, 1.0 / OPEN_OHMS)
        return factor

    def touching(self, part: Part) -> None:
        """Leads that a batch joins (the circuit's "V2 grid to cathode siemens", "V3 heater short siemens")."""
        place = self.wiring.joint
        pairs = itertools.permutations(part.leads, 2)
        rows = {f"{part.name} {one} to {two} siemens": (place(part, one), place(part, two)) for one, two in pairs}
        one, two = ends_of(part)
        if one in part.leads and two in part.leads:
            rows[f"{part.name} short siemens"] = place(part, one), place(part, two)
        heater = self.wiring.amplifier.parts.get(f"{part.envelope} heater")
        if heater is not None and "cathode" in part.leads:
            rows[f"{part.name} heater to cathode siemens"] = place(heater, "1"), place(part, "cathode")
        for name, (a, b) in rows.items():
            siemens = self.values.get(name)
            if siemens is not None and np.any(siemens):
                self.add(
                    part,
                    a,
                    b,
                    1.0 / np.maximum(np.atleast_1d(siemens) * self.inside(part), 1.0 / OPEN_OHMS),
                    role="leak",
                )

    def windings(self, part: Part) -> None:
        for winding in part.windings:
            if self.wiring.misfits.open(part.name, winding.name):
                continue
            names = [f"{part.name} {winding.name} {what}" for what in ("ohms", "turns")]
            ohms, turns = (
                np.atleast_1d(np.asarray(self.values.get(name, quantity.value), dtype=float))
                for name, quantity in zip(names, (winding.ohms, winding.turns), strict=True)
            )
            a, b = self.wiring.joint(part, winding.start), self.wiring.joint(part, winding.end)
            branch = self.add(part, a, b, ohms, names[0])
            short = self.values.get(f"{part.name} {winding.name} short siemens")
            if short is not None:
                self.add(part, a, b, 1.0 / np.maximum(np.atleast_1d(short), 1.0 / OPEN_OHMS))
            if part.name in self.wiring.misfits.turned and not PRIMARY_LEADS & {winding.start, winding.end}:
                turns = -turns
            self.coils.append(Coil(part.name, winding.name, a, b, turns, branch, part.kind))

    def load(self, part: Part) -> None:
        hangs = self.wiring.situation.load
        if hangs != "none":
            scale = LOUDSPEAKER_DC if hangs == "loudspeaker" and not self.powered else 1.0
            a, b = self.wiring.joint(part, "hot"), self.wiring.joint(part, "common")
            self.add(part, a, b, scale * value(self.values, part, "ohms"), f"{part.name} ohms", scale)

    def source(self, part: Part) -> None:
        """A glowing gas tube or a bench supply as its own small resistance; nothing when the power is off."""
        if self.powered and not self.wiring.misfits.open(part.name):
            ends = ("anode", "cathode") if part.kind == "gas tube" else ("+", "-")
            a, b = (self.wiring.joint(part, end) for end in ends)
            self.add(part, a, b, value(self.values, part, "ohms"), f"{part.name} ohms")

    def bench(self) -> None:
        """The shorting plug in each input (``stimulus_volts`` 0), load resistors, the loop's test resistor.

        Unplugged, nothing is in the input: a plug there would hide the volume control and the first grid leak.
        """
        situation = self.wiring.situation
        if situation.stimulus_volts == 0.0 and situation.mains_volts > 0.0:
            for part in self.wiring.amplifier.of_kind("input"):
                a, b = self.wiring.joint(part, "hot"), self.wiring.joint(part, "ground")
                self.add(part, a, b, np.full(1, CONTACT_OHMS))
        for joint, ohms in situation.loads.items():
            self.branches.append(Branch("bench load", joint, CHASSIS, np.full(1, max(ohms, CONTACT_OHMS))))
        for part_name, inside, outside in self.wiring.inserted:
            series = np.full(1, max(situation.test_ohms or 0.0, CONTACT_OHMS))
            self.branches.append(Branch(f"{part_name} test", inside, outside, series))

    def faults(self) -> None:
        for bridge in self.wiring.misfits.bridges:
            part = self.wiring.amplifier.parts[bridge.part]
            if self.wiring.fitted(part):
                other = self.wiring.amplifier.parts[bridge.other]
                a, b = self.wiring.joint(part, bridge.a), self.wiring.joint(other, bridge.b)
                ohms = np.full(1, max(bridge.ohms, CONTACT_OHMS))
                self.branches.append(Branch(part.name, a, b, ohms))
