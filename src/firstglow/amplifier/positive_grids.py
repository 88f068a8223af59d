"""Output valves whose grids a rectifier holds positive: the worst that a bias supply can do, whatever its capacitors say."""

from collections.abc import Iterator
from dataclasses import dataclass

from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Problem
from firstglow.amplifier.remedies import local, problem
from firstglow.amplifier.role_types import OutputValve
from firstglow.amplifier.roles_output import bias_root, output_valves
from firstglow.amplifier.supplies import Supply

_OHMIC = ("wire", "resistance", "choke", "winding")


@dataclass(frozen=True, slots=True)
class PositiveGrid:
    """One output valve, the supply that holds its grid positive, and the joint of that supply that is met first."""

    valve: OutputValve
    supply: Supply
    joint: str


def positive_grids(look: Look) -> tuple[PositiveGrid, ...]:
    """Every output valve with no more than a sense resistor in its cathode whose grid gets its dc, through leaks, pots and
    filter resistors, from a positive supply. A valve that sits on a cathode resistor may have its grid raised."""
    found = ((v, _feeds(look, v)) for v in output_valves(look) if v.bias == "none" and v.cathode_resistor is None)
    return tuple(PositiveGrid(v, *fed) for v, fed in found if fed is not None)


def _feeds(look: Look, v: OutputValve) -> tuple[Supply, str] | None:
    """(positive supply, its joint met first) at a grid, or at that of the follower which drives it."""
    root = bias_root(look, v.valve)
    if root.direct:
        return None  # a plate sets it
    stop = {*(set(look.electrodes) - {root.grid}), *look.positive}
    ways = {j: cost for j, (cost, _) in look.ohmic(root.grid, stop, _OHMIC).items()}
    met = min((j for j in ways if j in look.positive), key=lambda j: ways[j], default=None)
    supply = next((s for s in look.supplies if met is not None and s.name == look.positive[met]), None)
    if supply is None or met is None or (root.grid != v.grid and _feeds_plates(look, supply)):
        return None  # a follower's grid may stand on a divider from HT
    return supply, met


def _feeds_plates(look: Look, supply: Supply) -> bool:
    reached = look.walk([supply.joint, *supply.nodes], _OHMIC, set(look.electrodes))
    return any(look.at(j, "plate", "screen") for j in reached)


def made_positive(look: Look, supply: Supply) -> str:
    """What a positive supply makes so, its output grids named: "bias raw and the output grids (V3 grid, V4 grid) positive"."""
    grids = [f"{g.valve.valve} grid" for g in positive_grids(look) if g.supply == supply]
    if not grids:
        return f"{supply.joint} positive"
    return f"{supply.joint} and the output grid{'s' if len(grids) > 1 else ''} ({', '.join(grids)}) positive"


def positive_grid_problems(look: Look) -> Iterator[Problem]:
    """Each of them at its valve's line: what is told where no rectifier explains it."""
    rail = next((s.nodes[-1] for s in look.supplies if s.use in {"bias", "negative"} and s.nodes), None)
    for found in positive_grids(look):
        v, part = found.valve, look.part(found.valve.valve)
        leak = _leak(look, found)
        at = f"{leak} on {found.joint}" if leak else f"its dc comes from {found.joint}"
        remedy = "the grid on its leak to the negative bias, as the drawing has it"
        if rail is not None and leak:
            remedy = f'"{local(look.amplifier, rail, v.channel)}" for the end of {leak} on {found.joint}'
        yield problem(
            look.amplifier,
            part,
            part.name,
            f"its grid is held positive: {at}, which is a positive supply, and no cathode resistor lifts its cathode above it",
            "a grid below its cathode: a negative supply behind its leak",
            remedy,
        )


def _leak(look: Look, found: PositiveGrid) -> str | None:
    """The resistor that ends on the supply's joint, where it is the grid's own leak."""
    root = bias_root(look, found.valve.valve)
    joints = {root.grid, root.drive}
    return next(
        (b.part for b in look.net.at[found.joint] if b.sort == "resistance" and b.far(found.joint) in joints), None
    )
