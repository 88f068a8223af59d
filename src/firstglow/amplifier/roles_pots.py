"""What each pot moves: every pot is turned end to end in the resistor network, and the output grids are watched.

The network is resistors, chokes and wires with each rail's reservoir held at a relative voltage (a negative one at -1,
HT minus at -1, a positive one at +5); no valve conducts. Only which grids move, which way, and which most, is used.
"""

from collections.abc import Mapping

from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Part
from firstglow.amplifier.role_types import OutputValve, PotKind, PotRole
from firstglow.amplifier.roles_output import bias_root

_SORTS = ("resistance", "wire", "choke")
MOVES = 0.005  # of the negative rail: less is meter drift, not a control
OTHERS = 0.4  # a pot that moves other grids less than this part of its own moves them by its load on the rail only


def pot_roles(look: Look, outputs: tuple[OutputValve, ...]) -> tuple[PotRole, ...]:
    """One role a pot, in the amplifier's order."""
    watched = {v.valve: bias_root(look, v.valve) for v in outputs}
    joints = {valve: network.drive for valve, network in watched.items()}
    out = []
    for pot in look.amplifier.of_kind("pot"):
        moved = _moved(look, pot, joints) if joints else {}
        out.append(_role(look, pot, moved, outputs))
    return tuple(out)


def _role(look: Look, pot: Part, moved: Mapping[str, float], outputs: tuple[OutputValve, ...]) -> PotRole:
    most = max((abs(d) for d in moved.values()), default=0.0)
    valves = tuple(sorted((v for v, d in moved.items() if abs(d) > OTHERS * most), key=lambda v: -abs(moved[v])))
    if most > MOVES:
        up = [v for v in valves if moved[v] > 0]
        kind: PotKind = "bias"
        if len(valves) > 1:
            kind = "bias balance" if 0 < len(up) < len(valves) else "bias common"
        return PotRole(pot.name, kind, valves, 0.5 if kind == "bias balance" else 0.0 if up else 1.0)
    if _is_hum(look, pot):
        return PotRole(pot.name, "hum", (), None)
    in_cathode = tuple(v.valve for v in outputs if pot.name in v.cathode_path)
    return PotRole(pot.name, "cathode balance" if len(in_cathode) > 1 else "signal", in_cathode, None)


def _is_hum(look: Look, pot: Part) -> bool:
    """Both ends of its track on heaters or on ends of a mains winding."""
    return all(
        any(
            b.sort == "heater" or (b.sort == "winding" and look.part(b.part).kind == "transformer")
            for b in look.net.at[end]
        )
        for end in (pot.leads["end 1"], pot.leads["end 2"])
    )


def _moved(look: Look, pot: Part, joints: Mapping[str, str]) -> dict[str, float]:
    """How far each watched joint goes when the pot is turned from end 1 to end 2."""
    first, last = (_volts(look, pot, position) for position in (0.0, 1.0))
    return {valve: last.get(j, 0.0) - first.get(j, 0.0) for valve, j in joints.items()}


def _volts(look: Look, pot: Part, position: float) -> dict[str, float]:
    """Joint volts of the resistor network around a pot, relative to a negative rail of 1."""
    import numpy as np

    held = {"chassis": 0.0}
    held |= {joint: -1.0 if sign < 0 else 5.0 for joint, sign in look.sources.items()}
    held |= dict.fromkeys(look.minus, -1.0)
    island = set(
        look.walk([j for j in pot.leads.values() if j not in held], _SORTS, held)
    )  # what is behind a held joint does not move
    ways = []
    for b in look.net.branches:
        if b.sort in _SORTS and {b.a, b.b} <= island and not {b.a, b.b} <= set(held):
            ohms = b.ohms
            if b.part == pot.name:
                share = position if "end 1" in {b.lead_a, b.lead_b} else 1.0 - position
                ohms = pot.value("ohms") * share + pot.value("wiper_ohms")
            ways.append((b.a, b.b, 1.0 / max(ohms, 1e-3)))
    free = sorted({j for a, b, _ in ways for j in (a, b)} - set(held))
    row = {j: n for n, j in enumerate(free)}
    matrix = np.eye(len(free)) * 1e-12
    right = np.zeros(len(free))
    for one, other, siemens in ways:
        for here, there in ((one, other), (other, one)):
            if here in row:
                matrix[row[here], row[here]] += siemens
                if there in row:
                    matrix[row[here], row[there]] -= siemens
                else:
                    right[row[here]] += siemens * held[there]
    solved = np.linalg.solve(matrix, right)
    return held | {j: float(solved[n]) for j, n in row.items()}
