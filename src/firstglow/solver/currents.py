"""What every part carries, part by part, from the solved volts alone: the standing rows, and the proof's other book-keeping.

Nothing of the Newton equations is used here: each part's currents are worked out again from its own leads' volts and its
own parameters, and ``proof`` adds them up joint by joint.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from firstglow.amplifier.model import Amplifier, Part
from firstglow.devices.emission import emission_limit, heater_current, heater_siemens
from firstglow.devices.grid import grid_current
from firstglow.devices.pentode import pentode_currents
from firstglow.devices.semiconductor import junction_diode
from firstglow.devices.triode import triode_current
from firstglow.solver.frame import Array, Frame
from firstglow.solver.heaters import EDGE
from firstglow.solver.linear_parts import CENTRE_SIEMENS, heater_ends
from firstglow.solver.nodes import CHASSIS, free_end
from firstglow.solver.odd_parts import diode_law, gas_current
from firstglow.solver.parameters import CONTACT_OHMS
from firstglow.solver.valves import section_of


@dataclass
class Flow:
    """One part. dc, ac: node -> amps that leave the node into the part (ac: complex on the mains side), (sample,).

    watts: heat in the part (sample,). row: the standing row's other fields (sample,).
    """

    dc: dict[str, Array] = field(default_factory=dict)
    ac: dict[str, Array] = field(default_factory=dict)
    watts: Array | float = 0.0
    row: dict[str, Array] = field(default_factory=dict)

    def through(self, a: str, b: str, amps: Array) -> None:
        """Dc amps from node a through the part to node b."""
        self.dc[a] = self.dc.get(a, 0.0) + amps
        self.dc[b] = self.dc.get(b, 0.0) - amps

    def through_ac(self, a: str, b: str, amps: Array) -> None:
        """Ac amps rms from node a through the part to node b."""
        self.ac[a] = self.ac.get(a, 0.0) + amps
        self.ac[b] = self.ac.get(b, 0.0) - amps


class Bench:
    """The solved volts and parameters of a batch, by name."""

    def __init__(self, frame: Frame, x: Array, values: Array) -> None:
        self.frame, self.x, self.values = frame, x, values
        self.amplifier: Amplifier = frame.amplifier

    def dc(self, node: str) -> Array:
        """Dc volts."""
        k = self.frame.index.get(f"dc {node}")
        return np.zeros(self.x.shape[1]) if k is None else np.asarray(self.x[k])

    def ac(self, node: str) -> Array:
        """Winding volts rms; complex on the mains side."""
        k, q = (self.frame.index.get(f"{name} {node}") for name in ("ac", "quadrature"))
        if k is None:
            return np.zeros(self.x.shape[1])
        return np.asarray(self.x[k] if q is None else self.x[k] + 1j * self.x[q])

    def has_ac(self, *nodes: str) -> bool:
        """Whether all of these carry ac or are at 0 V ac."""
        return all(self.frame.carries_ac(n) for n in nodes)

    def p(self, name: str) -> Array:
        """A parameter (sample,)."""
        return np.asarray(self.values[self.frame.rows.row[name]])

    def given(self, name: str, default: float) -> Array:
        """A parameter, or ``default`` where the circuit has none of that name."""
        row = self.frame.rows.row.get(name)
        return np.full(self.x.shape[1], default) if row is None else self.values[row]

    def inside(self, envelope: str | None) -> Array:
        """1 while the envelope is in its socket."""
        return self.given(f"{envelope} in", 1.0)

    def at(self, part: Part, lead: str) -> str:
        """Node of a lead."""
        return self.frame.lead(part, lead)

    # -- two nodes -------------------------------------------------------------------------------------------------
    def resist(self, flow: Flow, a: str, b: str, ohms: Array) -> None:
        """A resistance: its dc, its ac, its heat."""
        r = np.maximum(ohms, CONTACT_OHMS)
        v = self.dc(a) - self.dc(b)
        flow.through(a, b, v / r)
        flow.watts = flow.watts + v * v / r
        if self.has_ac(a, b):
            self.resist_ac(flow, a, b, r)

    def resist_ac(self, flow: Flow, a: str, b: str, ohms: Array) -> None:
        """The ac of a resistance."""
        u = self.ac(a) - self.ac(b)
        flow.through_ac(a, b, u / ohms)
        flow.watts = flow.watts + np.abs(u) ** 2 / ohms

    def touch(self, flow: Flow, a: str, b: str, siemens: Array) -> None:
        """A dc path by its siemens."""
        v = self.dc(a) - self.dc(b)
        flow.through(a, b, v * siemens)
        flow.watts = flow.watts + v * v * siemens

    def heater_ratio(self, envelope: str | None) -> Array:
        """Heater volts over rated; 1 where no heater is drawn."""
        heater = self.amplifier.parts.get(f"{envelope} heater")
        if heater is None:
            return np.ones(self.x.shape[1])
        size = self.heater_volts(heater)
        rated = self.p(f"{heater.name} volts")
        total = np.zeros(self.x.shape[1])
        for v in size:
            total = total + (v / rated) ** 2 / np.sqrt((v / rated) ** 2 + EDGE**2)
        return np.asarray(total)

    def heater_volts(self, heater: Part) -> list[Array]:
        """Signed volts across the pieces of a heater: a winding's, or dc."""
        nodes = [self.at(heater, lead) for lead in heater.leads]
        volts = self.ac if self.has_ac(*nodes) else self.dc
        pairs = (("1", "ct"), ("ct", "2")) if "ct" in heater.leads else (("1", "2"),)
        return [volts(self.at(heater, a)) - volts(self.at(heater, b)) for a, b in pairs]

    def heater_reading(self, heater: Part) -> Array:
        """What a meter reads across a heater: both halves, or one of them where they stand in parallel."""
        halves = np.abs(self.heater_volts(heater))
        parallel = self.at(heater, "1") == self.at(heater, "2")
        return np.asarray(halves.mean(axis=0) if parallel else halves.sum(axis=0))


def part_flow(bench: Bench, part: Part) -> Flow:
    """The currents of one part; rectifiers on windings and transformers have their own functions."""
    flow = Flow()
    match part.kind:
        case "resistor" | "choke" | "fuse" | "switch" | "wire":
            bench.resist(flow, bench.at(part, "1"), bench.at(part, "2"), bench.p(f"{part.name} ohms"))
        case "capacitor":
            _capacitor(bench, part, flow)
        case "pot":
            _pot(bench, part, flow)
        case "heater" | "lamp":
            _filament(bench, part, flow)
        case "valve":
            _valve(bench, part, flow)
        case "load" | "input":
            name = "ohms" if part.kind == "load" else "source ohms"
            other = "common" if part.kind == "load" else "ground"
            r = np.maximum(bench.p(f"{part.name} {name}"), CONTACT_OHMS)
            bench.touch(flow, bench.at(part, "hot"), bench.at(part, other), 1.0 / r)
        case "supply":
            _supply(bench, part, flow)
        case "diode" | "gas tube" if part.name not in bench.frame.charging:
            _one_way(bench, part, flow)
        case "diode" | "rectifier":
            _shorts(bench, part, flow)
    return flow


def _capacitor(bench: Bench, part: Part, flow: Flow) -> None:
    a, b = bench.at(part, "+"), bench.at(part, "-")
    bench.touch(flow, a, b, 1.0 / np.maximum(bench.p(f"{part.name} leak_ohms"), CONTACT_OHMS))
    if bench.has_ac(a, b):
        bench.resist_ac(flow, a, b, np.maximum(bench.p(f"{part.name} leak_ohms"), CONTACT_OHMS))
        w = 2.0 * np.pi * bench.p("mains hertz") * bench.p(f"{part.name} farads")
        # stands for a reactance: in these equations it takes power, in its row it does not
        u = bench.ac(a) - bench.ac(b)
        g = w / (1.0 + w * bench.p(f"{part.name} esr_ohms"))
        flow.through_ac(a, b, u * g)
        flow.row["reactive"] = np.abs(u) ** 2 * g
        flow.watts = flow.watts + flow.row["reactive"]


def _pot(bench: Bench, part: Part, flow: Flow) -> None:
    """Three arms that meet under the wiper, whose volts follow from theirs."""
    track, at, wiper = (bench.p(f"{part.name} {a}") for a in ("ohms", "position", "wiper_ohms"))
    arms = {"end 1": track * at, "end 2": track * (1.0 - at), "wiper": wiper}
    g = {lead: 1.0 / np.maximum(r, CONTACT_OHMS) for lead, r in arms.items()}
    nodes = {lead: bench.at(part, lead) for lead in arms}
    total = sum(g.values())
    for volts, into in ((bench.dc, flow.dc), (bench.ac, flow.ac)):
        if volts == bench.ac and not bench.has_ac(*nodes.values()):
            continue
        middle = sum(g[lead] * volts(node) for lead, node in nodes.items()) / total
        for lead, node in nodes.items():
            u = volts(node) - middle
            into[node] = into.get(node, 0.0) + g[lead] * u
            flow.watts = flow.watts + g[lead] * np.abs(u) ** 2
    _bridge(bench, part, flow, ("end 1", "end 2"), bench.p(f"{part.name} short siemens"))


def _bridge(bench: Bench, part: Part, flow: Flow, leads: tuple[str, str], siemens: Array) -> None:
    """What a fault lays between two leads: its dc, and its ac where both carry any."""
    a, b = (bench.at(part, lead) for lead in leads)
    bench.touch(flow, a, b, siemens)
    if bench.has_ac(a, b):
        u = bench.ac(a) - bench.ac(b)
        flow.through_ac(a, b, u * siemens)
        flow.watts = flow.watts + np.abs(u) ** 2 * siemens


def _filament(bench: Bench, part: Part, flow: Flow) -> None:
    here = bench.inside(part.envelope) if part.envelope else 1.0
    fitted = bench.p(f"{part.name} fitted") * here
    pairs = (("1", "ct"), ("ct", "2")) if "ct" in part.leads else (("1", "2"),)
    nodes = [bench.at(part, lead) for lead in part.leads]
    rated, amps = bench.p(f"{part.name} volts") / len(pairs), bench.p(f"{part.name} amps") * fitted
    alternating = bench.has_ac(*nodes)
    _bridge(bench, part, flow, heater_ends(part), bench.p(f"{part.name} short siemens") * here)
    for (one, two), v in zip(pairs, bench.heater_volts(part), strict=True):
        a, b = bench.at(part, one), bench.at(part, two)
        if np.iscomplexobj(v):
            i = v * heater_siemens(np.abs(v) ** 2, rated, amps)[0]
        else:
            i, _ = heater_current(v, rated, amps)
        (flow.through_ac if alternating else flow.through)(a, b, i)
        flow.watts = flow.watts + np.real(i * np.conj(v))
        if alternating:
            bench.touch(flow, a, b, amps / rated)
    flow.row["heater_volts"] = bench.heater_reading(part)


def _valve(bench: Bench, part: Part, flow: Flow) -> None:
    """Plate, screen and grid current of one section, its leaks and whatever touches inside it."""
    section, n = section_of(bench.frame, part), part.name
    inside = bench.inside(part.envelope)
    law = {a: bench.p(f"{n} {a}") for a in ("perveance", "mu", "contact")}
    for a in law:
        shared = bench.p(bench.frame.law_names[n, a])
        law[a] = law[a] + shared if a == "contact" else law[a] * shared
    k = bench.at(part, "cathode")
    volts = {e: bench.dc(bench.at(part, e)) - bench.dc(k) for e in part.leads}
    perveance = law["perveance"] * inside
    screen = 0.0
    if section.kind == "pentode":
        plate, screen, _ = pentode_currents(
            section.law, volts["plate"], volts["screen"], volts["grid"], perveance, law["mu"], law["contact"],
            np.exp(bench.p(bench.frame.law_names[n, "screen"])),
        )  # fmt: skip
    else:
        plate, _, _ = triode_current(section.law, volts["plate"], volts["grid"], perveance, law["mu"], law["contact"])
    grid = grid_current(volts["grid"], law["contact"])[0] * inside
    wanted = plate + screen + grid
    given, _, _ = emission_limit(
        wanted, bench.heater_ratio(part.envelope), section.rated_amps, bench.p(f"{n} emission")
    )
    share = (given + 1e-30) / (wanted + 1e-30)
    amps = {"plate": plate * share, "screen": screen * share, "grid": grid * share}
    for electrode, i in amps.items():
        if electrode in part.leads:
            flow.through(bench.at(part, electrode), k, i)
            flow.watts = flow.watts + i * volts[electrode]
            flow.row[f"{electrode}_volts"] = volts[electrode]
            flow.row[f"{electrode}_amps"] = np.asarray(i)
    for electrode in ("plate", "screen"):
        if (electrode in part.leads and section.kind == "pentode") or electrode == "plate":
            flow.row[f"{electrode}_watts"] = np.asarray(volts[electrode] * amps[electrode])
    gas = amps["plate"] * bench.p(f"{n} gas")
    flow.through(bench.at(part, "plate"), bench.at(part, "grid"), gas)
    flow.row["grid_amps"] = flow.row["grid_amps"] - gas
    flow.watts = flow.watts + gas * (volts["plate"] - volts["grid"])
    _shorts(bench, part, flow)
    heater = bench.amplifier.parts.get(f"{part.envelope} heater")
    if heater is not None:
        flow.row["heater_volts"] = bench.heater_reading(heater)


def _shorts(bench: Bench, part: Part, flow: Flow) -> None:
    """Heater leakage, and electrodes that touch."""
    inside = bench.inside(part.envelope) if part.envelope else 1.0
    heater = bench.amplifier.parts.get(f"{part.envelope} heater")
    leak = f"{part.name} hk_leak_ohms"
    if heater is not None and leak in bench.frame.rows.row:
        g = inside / np.maximum(bench.p(leak), CONTACT_OHMS)
        bench.touch(flow, bench.at(heater, "1"), bench.at(part, "cathode"), g)
    touching = f"{part.name} heater to cathode siemens"
    if heater is not None and touching in bench.frame.rows.row:
        bench.touch(flow, bench.at(heater, "1"), bench.at(part, "cathode"), bench.p(touching) * inside)
    for one in part.leads:
        for two in part.leads:
            name = f"{part.name} {one} to {two} siemens"
            inner = part.name in bench.frame.charging and two == "cathode"
            if name in bench.frame.rows.row and not inner:
                bench.touch(flow, bench.at(part, one), bench.at(part, two), bench.p(name) * inside)


def _supply(bench: Bench, part: Part, flow: Flow) -> None:
    """A bench supply: what it gives is counted as negative heat, what it loses inside as heat."""
    a, b = bench.at(part, "+"), bench.at(part, "-")
    r = np.maximum(bench.p(f"{part.name} ohms"), CONTACT_OHMS)
    emf = bench.p(f"{part.name} volts")
    alternating = part.value("hertz") > 0
    for volts, into, own in ((bench.dc, flow.through, not alternating), (bench.ac, flow.through_ac, alternating)):
        if volts == bench.ac and not bench.has_ac(a, b):
            continue
        v = volts(a) - volts(b)
        i = (v - emf) / r if own else v / r
        into(a, b, i)
        flow.watts = flow.watts + i * i * r
        if own:
            flow.row["given_watts"] = -i * emf


def _one_way(bench: Bench, part: Part, flow: Flow) -> None:
    a, b = bench.at(part, "anode"), bench.at(part, "cathode")
    sense = bench.p(f"{part.name} sense")
    v = sense * (bench.dc(a) - bench.dc(b))
    if part.kind == "gas tube":
        i, _ = gas_current(v, bench.p(f"{part.name} volts"), bench.p(f"{part.name} ohms"))
    else:
        i, _ = junction_diode(diode_law(part), v)
    i = sense * i * bench.p(f"{part.name} anode fitted")
    flow.through(a, b, i)
    flow.watts = flow.watts + i * (bench.dc(a) - bench.dc(b))
    _shorts(bench, part, flow)


def link_flows(bench: Bench) -> Mapping[str, Flow]:
    """The contacts of liftable leads."""
    out = {}
    for link in bench.amplifier.links.values():
        if link.tie is not None:
            flow = Flow()
            here = free_end(link.name)
            joint = bench.amplifier.joint_of(link.part, link.lead)
            bench.resist(flow, here, joint, bench.p(f"{link.name} link ohms"))
            bench.resist(flow, here, link.tie, bench.p(f"{link.name} tie ohms"))
            out[link.name] = flow
    return out


def centre_flow(bench: Bench) -> Flow:
    """What holds the winding of a bridge in the middle."""
    flow = Flow()
    for joint, start, end in bench.frame.centred():
        off = bench.dc(joint) - (bench.dc(start) + bench.dc(end)) / 2.0
        amps = 2.0 * CENTRE_SIEMENS * off
        flow.through(joint, start, amps / 2.0)
        flow.through(joint, end, amps / 2.0)
        flow.watts = flow.watts + amps * off
    for one, two in bench.frame.balanced():
        common = (bench.ac(one) + bench.ac(two)) / 2.0
        for node in (one, two):
            flow.through_ac(node, CHASSIS, CENTRE_SIEMENS * common)
        flow.watts = flow.watts + 2.0 * CENTRE_SIEMENS * common * common
    return flow


def insulation_flow(bench: Bench) -> Flow:
    """Leakage of every joint to chassis, and the neutral's earth."""
    flow = Flow()
    for node in bench.frame.nodes.dc:
        bench.touch(flow, node, CHASSIS, bench.p(f"{node} leak siemens"))
    for node in (*bench.frame.nodes.ac, *bench.frame.nodes.mains):
        bench.resist_ac(flow, node, CHASSIS, 1.0 / bench.p(f"{node} ac leak siemens"))
    for part in bench.amplifier.of_kind("inlet"):
        bench.resist_ac(flow, bench.at(part, "neutral"), CHASSIS, bench.p("neutral earth ohms"))
    return flow
