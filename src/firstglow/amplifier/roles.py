"""What each thing in the amplifier is for, read from its structure alone."""

from firstglow.amplifier.look import look_at
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.role_types import (
    BackBias,
    GasTube,
    HeaterWinding,
    HtNode,
    Input,
    Interference,
    LoadRole,
    Loop,
    OutputValve,
    PotRole,
    Rectifier,
    Roles,
    SmallValve,
    Standby,
)
from firstglow.amplifier.roles_ends import inputs, interference, load_roles
from firstglow.amplifier.roles_heaters import heater_lines
from firstglow.amplifier.roles_ht import back_bias, gas_tubes, ht_nodes, rails, rectifiers, standby_switches
from firstglow.amplifier.roles_loops import loops
from firstglow.amplifier.roles_output import output_valves, with_pots
from firstglow.amplifier.roles_pots import pot_roles
from firstglow.amplifier.roles_small import chains, small_valves
from firstglow.amplifier.supplies import Supply

__all__ = [
    "BackBias",
    "GasTube",
    "HeaterWinding",
    "HtNode",
    "Input",
    "Interference",
    "LoadRole",
    "Loop",
    "OutputValve",
    "PotRole",
    "Rectifier",
    "Roles",
    "SmallValve",
    "Standby",
    "Supply",
    "roles",
]


def roles(amplifier: Amplifier) -> Roles:
    """Read every role. Works on any amplifier, sound or not; what is missing is None or empty."""
    found: Roles = amplifier.once("roles", _roles)
    return found


def _roles(amplifier: Amplifier) -> Roles:
    look = look_at(amplifier)
    bare = output_valves(look)
    pots = pot_roles(look, bare)
    outputs = with_pots(bare, pots)
    nodes = ht_nodes(look)
    lines = heater_lines(look)
    return Roles(
        supplies=look.supplies,
        outputs=outputs,
        smalls=small_valves(look, outputs),
        rectifiers=rectifiers(look, lines),
        ht_nodes=nodes,
        rails=rails(look),
        loops=loops(look, outputs),
        heater_windings=lines,
        pots=pots,
        chains=chains(look),
        standby=standby_switches(look, nodes),
        mains_switches=tuple(p.name for p in amplifier.of_kind("switch") if p.words.get("role") == "mains"),
        back_bias=back_bias(look),
        gas_tubes=gas_tubes(look),
        loads=load_roles(look),
        inputs=inputs(look),
        interference=interference(look),
    )
