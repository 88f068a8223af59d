"""Feedback loops around the output stage: from a secondary, from an output plate, or a winding in the cathodes."""

from collections.abc import Iterable

from firstglow.amplifier.graph import Branch, reach
from firstglow.amplifier.grids import grid_network
from firstglow.amplifier.look import Look
from firstglow.amplifier.role_types import Loop, OutputValve
from firstglow.amplifier.roles_output import cathode_path

_SORTS = frozenset({"resistance", "capacitor", "wire"})


def loops(look: Look, outputs: tuple[OutputValve, ...]) -> tuple[Loop, ...]:
    """Every loop, those from loudspeaker windings first."""
    found: list[Loop] = []
    transformers = dict.fromkeys(v.transformer for v in outputs)
    for name in transformers:
        found += _from_secondary(look, name, outputs)
    for v in outputs:
        found += _from_plate(look, v, outputs)
    found += _cathode_windings(look, outputs)
    return tuple(found)


def _targets(look: Look) -> dict[str, tuple[str, ...]]:
    """Joints where feedback may arrive -> sections there: electrodes, and joints inside small cathodes' paths."""
    found: dict[str, tuple[str, ...]] = {}
    for p in look.amplifier.of_kind("valve"):
        joints = [p.leads[e] for e in ("grid", "cathode", "plate")]
        if p.name not in look.plates:
            here = p.leads["cathode"]
            for b in cathode_path(look, p.name):
                here = b.far(here)
                joints.append(here)
        joints.append(grid_network(look, p.name).drive)
        for joint in joints:
            if joint != "chassis" and joint not in look.positive and joint not in look.negative:
                found[joint] = tuple(dict.fromkeys((*found.get(joint, ()), p.name)))
    return found


def _from_secondary(look: Look, transformer: str, outputs: tuple[OutputValve, ...]) -> list[Loop]:
    part = look.part(transformer)
    starts = {part.leads[lead] for w in part.windings if w.role != "primary" for lead in (w.start, w.end)} - {"chassis"}
    targets = {j: s for j, s in _targets(look).items() if j not in starts}
    found = []
    channel = next((v.channel for v in outputs if v.transformer == transformer), None)
    for target, parts, source in _ways(look, starts, targets):
        found.append(_loop(look, "loudspeaker", source, target, parts, targets[target], channel, transformer))
    return found


def _from_plate(look: Look, v: OutputValve, outputs: tuple[OutputValve, ...]) -> list[Loop]:
    starts = {v.plate}
    output_names = {o.valve for o in outputs}
    own = {v.grid, grid_network(look, v.valve).drive}
    targets = {j: s for j, s in _targets(look).items() if j not in starts and (j in own or not set(s) <= output_names)}
    barrier = {j for o in outputs for j in (o.plate, o.screen, o.cathode) if j is not None} - starts
    found = []
    for target, parts, source in _ways(look, starts, targets, barrier):
        found.append(_loop(look, "plate", source, target, parts, targets[target], v.channel, v.transformer, v.valve))
    return found


def _ways(
    look: Look, starts: set[str], targets: Iterable[str], barrier: Iterable[str] = ()
) -> list[tuple[str, tuple[str, ...], str]]:
    """(target, every part between, joint it starts from) for each target reached from ``starts``."""
    goals = set(targets)
    held = {*barrier, *look.positive, *look.negative, "chassis", *(look.quiet - goals)} - starts
    sorts = _SORTS

    def may(b: Branch, joint: str) -> bool:
        return b.sort in sorts and joint not in held and b.far(joint) not in held

    ahead = reach(look.net, sorted(starts), may, goals)
    out = []
    for target in sorted(goals & set(ahead)):
        region = set(ahead) - goals

        def back(b: Branch, joint: str, region: set[str] = region) -> bool:
            return b.sort in sorts and b.far(joint) in region

        behind = reach(look.net, [target], back, starts)
        inside = (set(behind) & region) | {target}
        parts = [
            b.part
            for b in look.net.branches
            if b.sort in sorts and b.a in inside and b.b in inside and not {b.a, b.b} <= starts and b.a != b.b
        ]
        first = ahead[target][0]
        source = first.a if first.a in starts else first.b
        if parts:
            out.append((target, tuple(dict.fromkeys(parts)), source))
    return out


def _loop(
    look: Look,
    kind: str,
    source: str,
    target: str,
    parts: tuple[str, ...],
    sections: tuple[str, ...],
    channel: str | None,
    transformer: str,
    inner: str | None = None,
) -> Loop:
    link = next((k.name for k in look.amplifier.links.values() if k.feedback and k.part in parts), None)
    resistors = [p for p in parts if look.part(p).kind == "resistor"]
    resistor = max(resistors, key=lambda p: look.part(p).value("ohms")) if resistors else None
    return Loop(
        link or parts[0],
        "loudspeaker" if kind == "loudspeaker" else "plate",
        source,
        target,
        parts,
        resistor,
        sections,
        link,
        channel,
        transformer,
        inner,
    )


def _cathode_windings(look: Look, outputs: tuple[OutputValve, ...]) -> list[Loop]:
    """Output valves whose cathode current passes a winding of their output transformer."""
    found = []
    for v in outputs:
        path = cathode_path(look, v.valve)
        mine = [b for b in path if b.sort == "winding" and look.part(b.part).kind == "output transformer"]
        if mine:
            b = mine[0]
            found.append(
                Loop(
                    f"{v.valve} {b.winding}", "cathode winding", b.a, v.cathode, (b.part,), None, (v.valve,), None,
                    v.channel, v.transformer, v.valve,
                )
            )  # fmt: skip
    return found
