"""Every rectified supply, recognised from structure: which windings, rectifiers, reservoir, and the nodes behind it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from firstglow.amplifier.graph import Branch, Net, holds, is_mains_secondary, least_ohms, net_of, quiet_joints, reach
from firstglow.amplifier.leg_types import Leg, Plate
from firstglow.amplifier.legs import find_legs
from firstglow.amplifier.model import Amplifier, Part, Problem
from firstglow.amplifier.remedies import free_name, wire_line
from firstglow.amplifier.supply_nodes import supply_nodes

Use = Literal["ht", "bias", "heater", "negative"]
Form = Literal["full wave", "half wave", "bridge", "full-wave doubler", "cascade doubler", "multiplier"]


@dataclass(frozen=True, slots=True)
class Supply:
    """One rectified supply.

    name: its hot joint. transformer: the one that feeds it (the first, where several do; a bench supply's name in a
        fragment). windings: winding names that carry its charging current, each once.
    rectifiers: parts, in file order. kind: by what rectifies ("valve" where any valve is in the legs).
    joint: hot joint of the reservoir; ret: its return joint ("chassis", or the HT minus of a back bias).
    sign: +1 where ``joint`` is positive to ``ret``.
    use: "negative": a negative rail that biases no grid.
    reservoir: capacitor from ``joint`` to ``ret`` (of a full-wave doubler the one at ``joint``), None where nothing
        holds it. reservoirs: all capacitors the rectifiers charge: both of a doubler.
    middle: of a doubler the joint between the two (full-wave) or the pumped joint (cascade); else None.
    input: "choke" where a choke stands between rectifiers and reservoir; "none" without a reservoir.
    rectified: joint where the rectifiers deliver (``joint`` itself for a capacitor input without series parts).
    legs: each charging loop. series: fuses, switches, links, resistors that charging current passes.
    dc_lead: what to lift so that nothing is charged: the name of a link between rectifiers and reservoir if there is
        one, else one terminal of a fuse there, else the terminals of all rectifiers on that side ("D1 cathode"; of a
        doubler both stages'), with those of resistors and capacitors across them; names that Situation.lifted takes.
    nodes: joints held by capacitors from the reservoir outward, ``joint`` first (empty without a reservoir).
    channel: the channel all of its rectifiers belong to, or None.
    """

    name: str
    transformer: str
    windings: tuple[str, ...]
    rectifiers: tuple[str, ...]
    kind: Literal["valve", "silicon", "selenium"]
    form: Form
    reservoir: str | None
    joint: str
    ret: str
    sign: Literal[1, -1]
    use: Use
    input: Literal["capacitor", "choke", "none"]
    first_choke: str | None
    rectified: str
    legs: tuple[Leg, ...]
    reservoirs: tuple[str, ...] = ()
    middle: str | None = None
    series: tuple[str, ...] = ()
    dc_lead: tuple[str, ...] = ()
    nodes: tuple[str, ...] = ()
    channel: str | None = None

    @property
    def split(self) -> bool:
        """Is it a bridge whose middle is the winding's tap? Each of its two capacitors is then charged in both half cycles, by the
        halves in turn, and both at once; a doubler's are charged by turns."""
        return self.form == "full-wave doubler" and len(self.legs) == 4

    @property
    def giving(self) -> tuple[str, ...]:
        """The rectifiers of each leg's last stage, each once: between them they pass all that it gives, once, however many follow
        each other."""
        return tuple(dict.fromkeys(plate.part for leg in self.legs for plate in leg.stages[-1]))


def supplies(amplifier: Amplifier) -> tuple[Supply, ...]:
    """Every rectified supply: HT first, then negative ones, then dc heaters; within a use in the file's order."""
    found: tuple[Supply, ...] = amplifier.once("supplies", _supplies)
    return found


def _supplies(amplifier: Amplifier) -> tuple[Supply, ...]:
    net = net_of(amplifier)
    legs, _ = find_legs(net)
    found = [_supply(net, group) for group in _groups(net, legs)]
    order: tuple[Use, ...] = ("ht", "bias", "negative", "heater")
    names = list(amplifier.parts)
    return tuple(sorted(found, key=lambda s: (order.index(s.use), names.index(s.rectifiers[0]))))


def unrecognised(amplifier: Amplifier) -> tuple[Problem, ...]:
    """One problem for each rectifier on a winding that is part of no supply."""
    net = net_of(amplifier)
    _, left = find_legs(net)
    problems = []
    for b in dict.fromkeys(left):
        part = amplifier.parts[b.part]
        lead = b.lead_a
        problems.append(
            Problem(
                amplifier.file,
                part.origin.line or 1,
                b.part,
                f"rectifier from {lead} on {b.a} to {b.b} is in no charging path that comes back to its winding",
                "winding, rectifier, reservoir capacitor, and back to the winding's other end or its centre tap",
                _come_back(net, b),
            )
        )
    return tuple(problems)


def _come_back(net: Net, b: Branch) -> str:
    """A remedy to paste: the winding's other end or centre tap to chassis, else a reservoir capacitor."""
    parts = net.amplifier.parts
    near = reach(
        net, [b.a, b.b], lambda x, _: x.sort == "wire" or (x.sort == "resistance" and x.ohms < 10e3), {"chassis"}
    )
    wound = [x for joint in near if joint != "chassis" for x in net.at[joint] if is_mains_secondary(net, x)]
    for w in [x for x in wound if x.sort == "winding"]:
        prefix = w.lead_a.rsplit(" ", 1)[0]
        leads = [lead for lead in parts[w.part].leads if lead.startswith(f"{prefix} ")]
        free = [lead for lead in leads if len(net.amplifier.joints[parts[w.part].leads[lead]].terminals) == 1]
        centre = next((lead for lead in free if lead.endswith(" ct")), free[0] if free else None)
        if centre is not None:
            return wire_line(net.amplifier, f"{w.part} {centre}", "chassis")
    plus, minus = (b.b, "chassis") if b.b != "chassis" else ("chassis", b.a)
    far = plus if minus == "chassis" else minus
    if any(is_mains_secondary(net, x) for x in net.at[far]) or _spare_reservoir(net):
        return "the way from winding to rectifier to reservoir and back, lead by lead, against the drawing"
    return f'{free_name(net.amplifier, "C")} = ["32u 500V", "{plus}", "{minus}"]'


def _spare_reservoir(net: Net) -> bool:
    """Whether a reservoir is drawn already, so that the fault is in what joins it: any capacitor of an HT supply's size."""
    return any(
        holds(net, b) and net.amplifier.parts[b.part].value("farads") >= 4e-6
        for b in net.branches
        if b.sort == "capacitor"
    )


# -- which legs make one supply ------------------------------------------------------------------------------------
def _groups(net: Net, legs: Iterable[Leg]) -> list[tuple[Leg, ...]]:
    """Legs that charge the same thing, then the two stages of a doubler together."""
    by_ends: dict[tuple[str, str], tuple[Leg, ...]] = {}
    for leg in legs:
        by_ends[leg.start, leg.end] = (*by_ends.get((leg.start, leg.end), ()), leg)
    groups = list(by_ends.values())
    joined = True
    while joined:
        joined = False
        for lower in groups:
            upper = next((g for g in groups if g is not lower and _stacked(net, lower, g)), None)
            if upper is not None:
                groups = [g for g in groups if g is not lower and g is not upper] + [(*lower, *upper)]
                joined = True
                break
    return groups


def _stacked(net: Net, lower: tuple[Leg, ...], upper: tuple[Leg, ...]) -> bool:
    """Whether ``upper`` starts where ``lower`` ends: a doubler, unless that middle is where the whole is referenced
    (then they are a positive and a negative supply)."""
    middle = upper[0].start
    if lower[-1].end != middle or not any(leg.held for leg in (*lower, *upper)):
        return False
    ends = (lower[0].start, upper[-1].end)
    return min(_to_chassis(net, e) for e in ends) < _to_chassis(net, middle)


def _to_chassis(net: Net, joint: str) -> float:
    """Least dc ohms from a joint to chassis not through windings, rectifiers or valves; infinite without a way."""

    def ohms(b: Branch, _: str) -> float | None:
        return b.ohms if b.sort in {"wire", "resistance", "choke", "heater", "lamp"} else None

    found = least_ohms(net, joint, ohms).get("chassis")
    return float("inf") if found is None else found[0]


# -- one supply ------------------------------------------------------------------------------------------------------
def _supply(net: Net, legs: tuple[Leg, ...]) -> Supply:
    parts = net.amplifier.parts
    low, high = legs[0].outer[0], legs[-1].outer[1]
    positive = _to_chassis(net, low) <= _to_chassis(net, high)
    joint, ret = (high, low) if positive else (low, high)
    sign: Literal[1, -1] = 1 if positive else -1
    form, middle = _form(legs)
    pumped = joint
    if any(leg.coupling for leg in legs) and joint not in quiet_joints(net):
        joint, filters = _filtered(net, joint)
    else:
        filters = ()
    names = [p for p in parts if any(p in leg.rectifiers for leg in legs)]
    windings = {(w.part, w.winding): None for leg in legs for w in leg.windings}
    choke = next((leg.choke for leg in legs if leg.choke), None)
    reservoirs = _reservoirs(net, legs, joint, ret, middle)
    use = _use(net, joint, ret, sign)
    ends = {leg.end if positive else leg.start for leg in legs if (leg.end if positive else leg.start) != middle}
    rectified = _rectified(net, legs, positive, ends) if joint == pumped else pumped
    channels = {parts[p].channel for p in names}
    return Supply(
        joint,
        next(iter(windings))[0],
        tuple(dict.fromkeys(w for _, w in windings)),
        tuple(names),
        _kind([parts[n] for n in names]),
        form,
        reservoirs[0] if reservoirs else None,
        joint,
        ret,
        sign,
        use,
        "choke" if choke else ("capacitor" if reservoirs else "none"),
        choke,
        rectified,
        legs,
        reservoirs,
        middle,
        tuple(dict.fromkeys([*(p for leg in legs for p in (*leg.series_ac, *leg.series_dc)), *filters])),
        _dc_lead(net, legs, positive),
        supply_nodes(net, joint, ret, quiet_joints(net)) if reservoirs else (),
        channels.pop() if len(channels) == 1 else None,
    )


def _filtered(net: Net, joint: str) -> tuple[str, tuple[str, ...]]:
    """From a joint that a capacitor pumps: the nearest joint that a capacitor holds, and the resistors on the way."""
    quiet = quiet_joints(net)
    found = least_ohms(
        net, joint, lambda b, _: b.ohms + 1e-3 if b.sort in {"wire", "resistance", "choke"} else None, {"chassis"}
    )
    near = [(c, j) for j, (c, _) in found.items() if j in quiet and j != "chassis"]
    if not near:
        return joint, ()
    _, held = min(near)
    return held, tuple(dict.fromkeys(b.part for b in found[held][1]))


def _form(legs: tuple[Leg, ...]) -> tuple[Form, str | None]:
    """How the legs stand to each other, and the middle joint of a doubler."""
    ends = {(leg.start, leg.end) for leg in legs}
    if len(ends) > 1:
        middle = next(b.start for a in legs for b in legs if a.end == b.start)
        if len(ends) > 2:
            return "multiplier", middle
        return ("cascade doubler" if any(leg.coupling for leg in legs) else "full-wave doubler"), middle
    if len(legs) == 1:
        return "half wave", None
    spans = {frozenset((w.part, w.winding) for w in leg.windings) for leg in legs}
    signs = {tuple(sorted((w.part, w.winding, w.sign) for w in leg.windings)) for leg in legs}
    if len(spans) == 1:
        return ("bridge" if len(signs) > 1 else "half wave"), None
    return "full wave", None


def _kind(rectifiers: list[Part]) -> Literal["valve", "silicon", "selenium"]:
    if any(p.kind == "rectifier" for p in rectifiers):
        return "valve"
    return "selenium" if any(p.type == "selenium" for p in rectifiers) else "silicon"


def _reservoirs(net: Net, legs: tuple[Leg, ...], joint: str, ret: str, middle: str | None) -> tuple[str, ...]:
    """Capacitors that the legs charge, the one at ``joint`` first."""
    first = _capacitor(net, joint, [j for j in (ret, middle, "chassis") if j is not None])
    found = [first]
    if middle is not None:
        pumps = [c for leg in legs for c in leg.coupling]
        found += pumps or [_capacitor(net, middle, [ret, joint, "chassis"])]
    return tuple(dict.fromkeys(c for c in found if c is not None))


def _capacitor(net: Net, joint: str, others: list[str]) -> str | None:
    """The large capacitor at a joint whose far end comes first in ``others`` (else anywhere), then the largest."""
    parts = net.amplifier.parts
    at = [b for b in net.at[joint] if b.sort == "capacitor" and holds(net, b)]

    def rank(b: Branch) -> tuple[int, float]:
        far = b.far(joint)
        return (others.index(far) if far in others else len(others), -parts[b.part].value("farads"))

    return min(at, key=rank).part if at else None


def _rectified(net: Net, legs: tuple[Leg, ...], positive: bool, ends: set[str]) -> str:
    """The joint of the last rectifier's output on the hot side."""
    parts = net.amplifier.parts
    if len(ends) == 1 and not any(leg.series_dc for leg in legs):
        return next(iter(ends))
    leg = legs[-1] if positive else legs[0]
    plate = leg.stages[-1][0] if positive else leg.stages[0][0]
    return parts[plate.part].leads["cathode" if positive else plate.lead]


def _dc_lead(net: Net, legs: tuple[Leg, ...], positive: bool) -> tuple[str, ...]:
    """What opens every leg on its dc side: one link, else one fuse, that all pass; else the rectifiers' terminals."""
    amplifier = net.amplifier
    common = [p for p in legs[0].series_dc if all(p in leg.series_dc for leg in legs)]
    links = [link.name for link in amplifier.links.values() if link.part in common]
    if links:
        return (links[0],)
    fuses = [amplifier.parts[p] for p in common if amplifier.parts[p].kind == "fuse"]
    if fuses:  # the end toward the rectifiers: what then hangs free is on the dead side
        ends = {legs[0].outer[1] if positive else legs[0].outer[0]}
        lead = next((lead for lead, joint in fuses[0].leads.items() if joint not in ends), "1")
        return (f"{fuses[0].name} {lead}",)
    out: list[str] = []
    for leg in legs:
        out += _hot_terminals(net, leg, positive)
    return tuple(dict.fromkeys(out))


def _hot_terminals(net: Net, leg: Leg, positive: bool) -> list[str]:
    """Terminals of a leg's outermost rectifiers on the dc side: the hot one if it has a rectifier there."""
    parts = net.amplifier.parts

    def terminals(plate: Plate, hot: str, end: str) -> list[str]:
        """The terminal, and those of resistors and capacitors across it, if it is on the dc side."""
        at = parts[plate.part].leads
        joint, far = at[hot], at["cathode" if hot == plate.lead else plate.lead]
        if joint not in {end} | {j for p in leg.series_dc for j in parts[p].leads.values()}:
            return []
        across = [
            f"{b.part} {b.lead_a if b.a == joint else b.lead_b}"
            for b in net.at[joint]
            if b.sort in {"resistance", "capacitor"} and b.far(joint) == far
        ]
        return [f"{plate.part} {hot}", *across]

    last = [t for p in leg.stages[-1] for t in terminals(p, "cathode", leg.end)]
    first = [t for p in leg.stages[0] for t in terminals(p, p.lead, leg.start)]
    return (last or first) if positive else (first or last)


def _use(net: Net, joint: str, ret: str, sign: int) -> Use:
    """What hangs on it: heaters, grids, or everything else."""
    dc = {"wire", "resistance", "choke", "lamp"}
    stop = {"chassis", ret}
    found = reach(net, [joint], lambda b, _: b.sort in dc, stop)
    mine = [j for j in found if j not in stop]
    warm = reach(
        net,
        [joint],
        lambda b, _: b.sort in {"wire", "choke", "heater"} or (b.sort == "resistance" and b.ohms < 100),
        stop,
    )
    if any(j in stop and any(b.sort == "heater" for b in path) for j, path in warm.items()):
        return "heater"
    if sign > 0:
        return "ht"
    grids = any(b.sort == "grid" and b.lead_a == "grid" and b.a == j for j in mine for b in net.at[j])
    return "bias" if grids else "negative"
