"""The negative bias network of a fixed-bias amplifier as a thing to design: which resistors and capacitors may change, and
the same amplifier with the resistors that a fail-safe needs drawn in (open until fitted).

Nothing is computed here; the network is read off the structure (``amplifier.roles``).
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from firstglow.amplifier.graph import Branch, Net, net_of, reach
from firstglow.amplifier.model import Amplifier, AmplifierError, Joint, Part, Problem, Quantity
from firstglow.amplifier.options import SituationError
from firstglow.amplifier.role_types import PotRole
from firstglow.amplifier.roles import roles
from firstglow.amplifier.supplies import Supply
from firstglow.solver.parameters import CONTACT_OHMS, OPEN_OHMS

CHASSIS = "chassis"
SILICON = {"amps": 1.0, "volts": 1000.0, "series_ohms": 0.04, "plates": 0.0, "age": 0.0}
"""A common silicon diode (common practice: 1 A, 1000 V)."""
_DC = {"resistance", "wire", "choke"}


class NoBiasError(Exception):
    """There is nothing to design, in bench words: an answer about this amplifier, no mistake of its file."""


@dataclass(frozen=True, slots=True)
class BiasPot:
    """One pot that sets grids. negative: its joint at the negative end, weak: at the other, wiper: at the slider.
    negative_end: its position there (0.0 or 1.0). valves: output valves it moves. foot: the resistor between weak end and
    chassis. guard: the resistor from wiper to negative end, as drawn or made for this design (None: a rheostat's wiper is on
    an end of its own track). drawn_guard: it is in the drawing."""

    name: str
    negative: str
    weak: str
    wiper: str
    negative_end: float
    valves: tuple[str, ...]
    foot: str
    guard: str | None
    drawn_guard: bool


@dataclass(frozen=True, slots=True)
class Balance:
    """A pot that moves two grids against each other, fed by its wiper. valves: whose grids. guards: resistors from the bias
    rail to either end, drawn in open."""

    name: str
    valves: tuple[str, ...]
    guards: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Network:
    """One bias supply and what it feeds.

    amplifier: with guards (open) and missing feet (a bare wire) added. added: parts that the file does not have.
    series: resistors all pots are fed through, the largest first; empty where there is none. filter: capacitor at the pots'
    rail, None where there is only the reservoir. branches: the whole dc network from the reservoir to chassis.
    """

    amplifier: Amplifier
    supply: Supply
    pots: tuple[BiasPot, ...]
    series: tuple[str, ...]
    filter: str | None
    rail: str
    branches: tuple[Branch, ...]
    added: Mapping[str, Part]
    balances: tuple[Balance, ...]

    @property
    def valves(self) -> tuple[str, ...]:
        """Output valves that a pot sets, each once."""
        return tuple(dict.fromkeys(v for p in self.pots for v in p.valves))


def with_rectifier(amplifier: Amplifier, drawn: Amplifier, kind: str) -> Amplifier:
    """The amplifier with every diode of its bias supply "silicon", "selenium new" or "selenium aged". Selenium is the drawing's
    own: SituationError where it has none."""
    of = [s for s in roles(amplifier).supplies if s.use == "bias"]
    parts = dict(amplifier.parts)
    for name in [d for s in of for d in s.rectifiers]:
        part = parts[name]
        if part.kind != "diode":
            raise SituationError(
                "--rectifier",
                f"{name} is a valve: it heats, and its socket is wired for it",
                "diodes",
                "the change drawn in a layer",
            )
        if kind == "silicon":
            exact = {k: Quantity(v) for k, v in SILICON.items()}
            parts[name] = replace(part, type="silicon", values={**part.values, **exact})
            continue
        old = drawn.parts.get(name)
        if old is None or old.type != "selenium":
            raise SituationError(
                "--rectifier", f"{name} is drawn as no selenium", "selenium where the drawing has it",
                f'drawing it: {name.rpartition(" ")[2]} = ["selenium 60m 160V 4 plates", ...]',
            )  # fmt: skip
        age = Quantity(1.0 if kind == "selenium aged" else 0.0)
        parts[name] = replace(part, type="selenium", values={**old.values, "age": age})
    return replace(amplifier, parts=parts, digest="")


def goes_with(amplifier: Amplifier, tried: str | None) -> str:
    """For which rectifier a network is that is designed for this file's, or for ``tried`` in its place. Those that are drawn for the
    one are not for the other."""
    diodes = [amplifier.parts[d] for s in roles(amplifier).supplies if s.use == "bias" for d in s.rectifiers]
    old = [p.name for p in diodes if p.kind == "diode" and p.type == "selenium"]
    own = "the rectifier that the file has"
    if tried == "silicon" and old:
        return (
            f"FOR SILICON ALONE in place of {', '.join(old)}, no resistor in series: silicon and this network go in together, or "
            "neither does. With the selenium left in: firstglow bias FILE without --rectifier. With silicon WITH the resistor that "
            "firstglow parts orders: draw both in a changed layer, and ask again"
        )
    if tried is not None and tried.startswith("selenium"):
        return f"for {tried} alone; for {own}: firstglow bias FILE without --rectifier"
    if old:
        return (
            f"FOR THE SELENIUM of {', '.join(old)}, as the file has it. Silicon alone gives more volts and takes another network: "
            "firstglow bias FILE --rectifier silicon. Silicon WITH the resistor in series that firstglow parts orders comes near this "
            "one; for its own draw both in a changed layer, and ask again"
        )
    return f"for {own} ({', '.join(p.name for p in diodes)})"


def network(amplifier: Amplifier) -> Network:
    """The bias network. NoBiasError where there is none to design, AmplifierError where the file does not say what for."""
    of = roles(amplifier)
    fixed = [o for o in of.outputs if o.bias_supply is not None]
    names = list(dict.fromkeys(o.bias_supply for o in fixed))
    if not fixed:
        kinds = sorted({o.bias for o in of.outputs} - {"none"})
        how = f"it has {' and '.join(kinds)} bias" if kinds else "no output valve has a bias supply"
        idles = "; how it idles against its class: firstglow parts" if kinds else ""
        raise NoBiasError(f"no negative supply holds the output grids: {how}; there is nothing to design here{idles}")
    if len(names) > 1:
        raise NoBiasError(
            f"{len(names)} bias supplies ({', '.join(map(str, names))}): one is designed at a time; draw a copy of the "
            "file with one of them"
        )
    supply = next(s for s in of.supplies if s.name == names[0])
    setting = [p for p in of.pots if p.kind in ("bias", "bias common") and p.negative_end is not None]
    if not setting:
        raise NoBiasError(
            "no preset moves an output grid: measured bias against the safe bias is all there is; draw a preset for each "
            "output valve first"
        )
    _said(amplifier, setting)
    net = net_of(amplifier)
    pots: list[BiasPot] = []
    added: dict[str, Part] = {}
    joints: dict[str, Joint] = {}
    turned: dict[str, Part] = {}
    for role in setting:
        pot, negative_end = amplifier.parts[role.pot], float(role.negative_end or 0.0)
        ends = (pot.leads["end 1"], pot.leads["end 2"])
        negative, weak = ends if negative_end == 0.0 else ends[::-1]
        # a rheostat's chassis end is either
        foot = _foot(net, weak, supply.joint) or (None if weak == CHASSIS else _foot(net, negative, supply.joint))
        if foot is None and CHASSIS not in ends:
            raise NoBiasError(
                f"{pot.name}: neither end of its track comes to chassis through a resistor: not a kind of network known here"
            )
        if foot is None:
            negative, weak = (e for e in sorted(ends, key=CHASSIS.__eq__))
            foot = _free(amplifier, added, pot.channel)
            weak, joint = f"{pot.name} foot", weak
            lead = next(k for k in ("end 1", "end 2") if pot.leads[k] == CHASSIS)
            turned[pot.name] = replace(pot, leads={**pot.leads, lead: weak})
            joints[weak] = Joint(weak, (f"{pot.name} {lead}", f"{foot} 1"), channel=pot.channel)
            added[foot] = _resistor(foot, weak, joint, CONTACT_OHMS, pot.channel)
        wiper, guard, drawn = pot.leads["wiper"], None, False
        if wiper not in ends:
            guard = next((b.part for b in net.at[wiper] if b.far(wiper) == negative and b.part != pot.name
                          and b.sort == "resistance"), None)  # fmt: skip
            drawn = guard is not None
            if guard is None:
                guard = _free(amplifier, added, pot.channel)
                added[guard] = _resistor(guard, negative, wiper, OPEN_OHMS, pot.channel)
        pots.append(BiasPot(pot.name, negative, weak, wiper, negative_end, role.valves, foot, guard, drawn))
    rail = supply.nodes[-1] if supply.nodes else supply.joint
    balances = tuple(_balance(amplifier, added, p.pot, p.valves, rail) for p in of.pots if p.kind == "bias balance")
    larger = replace(
        amplifier, parts={**amplifier.parts, **turned, **added}, joints=_soldered(amplifier, added, joints), digest=""
    )
    wide = net_of(larger)
    series = _series(wide, supply.joint, [p.negative for p in pots])
    return Network(
        larger, supply, tuple(pots), series, _filter(wide, supply, rail), rail,
        tuple(_fed(wide, supply.joint, {o.grid_leak for o in fixed})), added, balances,
    )  # fmt: skip


def _said(amplifier: Amplifier, setting: Sequence[PotRole]) -> None:
    """AmplifierError for a preset of the output grids whose valve has no idle to aim at, or that no line names."""
    for p in setting:
        v = amplifier.parts[p.valves[0]]
        without = next((amplifier.parts[x] for x in p.valves if x not in amplifier.idle), None)
        if without is not None:
            raise _not_said(amplifier, without, "no idle current to aim at", 'idle = "30m" in its line')
        if not any(amplifier.idle[x].pot for x in p.valves):
            by = f'set_by = "{p.pot.rpartition(" ")[2]}" beside idle'
            raise _not_said(amplifier, v, f"{p.pot} moves this grid, and no line says so", by)


def _not_said(amplifier: Amplifier, part: Part, found: str, remedy: str) -> AmplifierError:
    said = Problem(
        amplifier.file, part.origin.line or 1, part.name, found, "what a preset is turned for, said in the file", remedy
    )
    return AmplifierError((said,))


def _balance(amplifier: Amplifier, added: dict[str, Part], name: str, valves: tuple[str, ...], rail: str) -> Balance:
    """A balance pot with its guards put into ``added``."""
    pot = amplifier.parts[name]
    guards = []
    for end in ("end 1", "end 2"):
        guards.append(_free(amplifier, added, pot.channel))
        added[guards[-1]] = _resistor(guards[-1], rail, pot.leads[end], OPEN_OHMS, pot.channel)
    return Balance(name, valves, tuple(guards))


def _resistor(name: str, one: str, two: str, ohms: float, channel: str | None) -> Part:
    values = {"ohms": Quantity(ohms, 0.05, "uniform"), "watts": Quantity(0.5)}
    return Part(name, "resistor", None, {"1": one, "2": two}, values, channel=channel)


def _free(amplifier: Amplifier, added: Collection[str], channel: str | None) -> str:
    """The next number after all drawn ones, the same in each channel."""
    used = [n[1:] for n in (p.split(" ")[-1] for p in amplifier.parts) if n.startswith("R")]
    number = 1 + max((int(n) for n in used if n.isdigit()), default=0)
    while (name := f"{channel} R{number}" if channel else f"R{number}") in added:
        number += 1
    return name


def _soldered(amplifier: Amplifier, added: Mapping[str, Part], new: Mapping[str, Joint]) -> dict[str, Joint]:
    """The joints with the added parts' leads on them."""
    joints = {**amplifier.joints, **new}
    for part in added.values():
        for lead, at in part.leads.items():
            terminal = f"{part.name} {lead}"
            if terminal not in joints[at].terminals:
                joints[at] = replace(joints[at], terminals=(*joints[at].terminals, terminal))
    return joints


def _foot(net: Net, end: str, source: str) -> str | None:
    """The largest resistor between one end of a track and chassis, no pot in the way; None where that end is on chassis."""
    parts = net.amplifier.parts
    ways = reach(net, [end], lambda b, _: b.sort in _DC and parts[b.part].kind != "pot", {CHASSIS, source})
    found = [b for b in ways.get(CHASSIS, ()) if b.sort == "resistance"]
    return (
        max(found, key=lambda b: b.ohms).part
        if found and source not in {j for b in found for j in (b.a, b.b)}
        else None
    )


def _fed(net: Net, source: str, leaks: Collection[str | None]) -> Iterable[Branch]:
    """Every resistance, wire and choke between the reservoir and chassis; grid leaks carry nothing and are left out."""
    seen, ahead, out = {source}, [source], {}
    while ahead:
        joint = ahead.pop()
        for b in net.at[joint]:
            if b.sort not in _DC or b.part in leaks:
                continue
            out[b.part, b.lead_a] = b
            far = b.far(joint)
            if far != CHASSIS and far not in seen:
                seen.add(far)
                ahead.append(far)
    return out.values()


def _series(net: Net, source: str, ends: Iterable[str]) -> tuple[str, ...]:
    """Resistors without which no pot's negative end hangs on the reservoir, the largest first."""
    wanted = set(ends)

    def fed(without: str) -> bool:
        ways = reach(net, [source], lambda b, _: b.sort in _DC and b.part != without, {CHASSIS})
        return bool(wanted & set(ways))

    found = [b for b in net.branches if b.sort == "resistance" and net.amplifier.parts[b.part].kind == "resistor"]
    near = [b for b in found if not fed(b.part)]
    return tuple(b.part for b in sorted(near, key=lambda b: -b.ohms))


def _filter(net: Net, supply: Supply, rail: str) -> str | None:
    """The largest capacitor at the pots' rail that is not the reservoir."""
    parts = net.amplifier.parts
    at = [b.part for b in net.at[rail] if b.sort == "capacitor" and b.part not in supply.reservoirs]
    return max(at, key=lambda p: parts[p].value("farads"), default=None)
