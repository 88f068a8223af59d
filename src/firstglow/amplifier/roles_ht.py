"""Rails and what stands in them: nodes in order, standby switches, gas tubes, back bias, rectifiers."""

from typing import Literal

from firstglow.amplifier.graph import Branch, holds, is_mains_secondary, least_ohms
from firstglow.amplifier.look import Look
from firstglow.amplifier.role_types import BackBias, GasTube, HeaterWinding, HtNode, Rectifier, Standby


def ht_nodes(look: Look) -> tuple[HtNode, ...]:
    """Nodes of every positive rail from its reservoir outward; gas-tube held joints among them."""
    out: list[HtNode] = []
    glow = {p.leads["anode"]: p.name for p in look.amplifier.of_kind("gas tube")}
    for name, start, ret in _starts(look):
        own = next((s.nodes for s in look.supplies if s.name == name), ())
        own = own or tuple(j for j, s in look.positive.items() if s == name)
        goals = {start, *own, *glow}
        stop = {ret, *(set(look.electrodes) - goals)}
        found = look.ohmic(start, stop, ("wire", "resistance", "choke", "lamp"))
        near = sorted((found[j][0], j) for j in goals if j in found and (j in own or j in glow or j == start))
        listed = {n.joint for n in out}
        for order, (cost, joint) in enumerate((c, j) for c, j in near if j not in listed):
            path = found[joint][1]
            before, through, here = None, [], joint
            for b in reversed(path):
                through.append(b.part)
                here = b.far(here)
                if here in goals:
                    before = here
                    break
            between = cost - (found[before][0] if before else 0.0)
            out.append(
                HtNode(
                    joint,
                    name,
                    order,
                    before,
                    tuple(reversed(through)),
                    round(between, 2),
                    _capacitors(look, joint),
                    glow.get(joint),
                )
            )
    return tuple(out)


def _starts(look: Look) -> list[tuple[str, str, str]]:
    """(supply name, first joint, return joint) of every positive rail."""
    found = [(s.name, s.joint, s.ret) for s in look.supplies if s.use == "ht"]
    known = {name for name, _, _ in found}
    bench = [
        (name, joint) for joint, name in look.positive.items() if name not in known and look.sources.get(joint) == 1
    ]
    return found + [(name, joint, "chassis") for name, joint in bench]


def rails(look: Look) -> tuple[str, ...]:
    """First joint of every positive rail."""
    return tuple(joint for _, joint, _ in _starts(look))


def _capacitors(look: Look, joint: str) -> tuple[str, ...]:
    return tuple(b.part for b in look.net.at[joint] if b.sort == "capacitor" and holds(look.net, b))


def standby_switches(look: Look, nodes: tuple[HtNode, ...]) -> tuple[Standby, ...]:
    """What each standby switch parts, found by walking every rail with it open."""
    out = []
    for switch in look.amplifier.of_kind("switch"):
        if switch.words.get("role") != "standby":
            continue
        in_leg = [s for s in look.supplies if any(switch.name in (*g.series_ac, *g.series_dc) for g in s.legs)]
        fed = set()
        for name, start, _ in _starts(look):
            if all(s.name != name for s in in_leg):
                fed |= set(_open(look, switch.name, start))
        ends = tuple(dict.fromkeys(switch.leads.values()))
        live = tuple(j for j in ends if j in fed) or _winding_side(look, ends)
        dead = tuple(j for j in ends if j not in live)
        behind = tuple(n.joint for n in nodes if n.joint not in fed)
        out.append(Standby(switch.name, live, dead, behind))
    return tuple(out)


def _open(look: Look, switch: str, start: str) -> list[str]:
    """Joints fed from ``start`` with a switch open."""
    sorts = {"wire", "resistance", "choke", "lamp", "winding"}

    def ohms(b: Branch, joint: str) -> float | None:
        if b.part == switch or b.sort not in sorts or joint == "chassis":
            return None
        if joint != start and look.electrodes.get(joint) and joint not in look.positive:
            return None
        return b.ohms + 1e-3

    return list(least_ohms(look.net, start, ohms, {"chassis"}))


def _winding_side(look: Look, ends: tuple[str, ...]) -> tuple[str, ...]:
    """Of a switch ahead of the reservoir: the ends on a winding or a rectifier, still fed."""
    return tuple(j for j in ends if any(b.sort == "diode" or is_mains_secondary(look.net, b) for b in look.net.at[j]))


def gas_tubes(look: Look) -> tuple[GasTube, ...]:
    """Every gas stabiliser with the resistor that feeds it and the sections it holds."""
    out = []
    for tube in look.amplifier.of_kind("gas tube"):
        anode = tube.leads["anode"]
        goals = set(look.positive) - {anode}
        found = look.ohmic(anode, goals | (set(look.electrodes) - {anode}))
        fed = sorted((c, j) for j, (c, _) in found.items() if j in goals)
        feed = tuple(b.part for b in found[fed[0][1]][1] if b.sort != "wire") if fed else ()
        held = [j for j, (c, _) in found.items() if c < 20e3]
        holds_ = tuple(dict.fromkeys(s for j in held for s in look.at(j, "screen", "plate")))
        out.append(GasTube(tube.name, anode, tube.leads["cathode"], feed, holds_))
    return tuple(out)


def back_bias(look: Look) -> tuple[BackBias, ...]:
    """Resistors between each HT return joint and chassis; also those passed in the legs themselves, unbypassed."""
    out = []
    for joint, supply in look.minus.items():
        found = look.ohmic(joint, set(look.electrodes) - {joint}).get("chassis")
        if found is None:
            continue
        parts = tuple(dict.fromkeys(b.part for b in found[1] if b.sort == "resistance"))
        across = [b.part for b in look.net.at[joint] if b.far(joint) == "chassis" and holds(look.net, b)]
        out.append(BackBias(parts, joint, supply, across[0] if across else None))
    return tuple(out)


def rectifiers(look: Look, lines: tuple[HeaterWinding, ...]) -> tuple[Rectifier, ...]:
    """Every rectifying part of a supply, and how its heater stands."""
    out = []
    for part in look.amplifier.of_kind("rectifier", "diode"):
        fed = tuple(s.name for s in look.supplies if part.name in s.rectifiers)
        if part.kind == "diode":
            if fed:
                kind: Literal["silicon", "selenium"] = "selenium" if part.type == "selenium" else "silicon"
                out.append(Rectifier(part.name, None, kind, fed))
            continue
        line = next((w for w in lines if part.envelope in w.envelopes), None)
        own = line is not None and set(line.envelopes) == set(line.rectifiers)
        heater = {j for p in look.amplifier.of_kind("heater") if p.envelope == part.envelope for j in p.leads.values()}
        out.append(
            Rectifier(
                part.name,
                part.envelope,
                "valve",
                fed,
                line.name if line else None,
                own,
                part.leads["cathode"] in heater,
            )
        )
    return tuple(out)
