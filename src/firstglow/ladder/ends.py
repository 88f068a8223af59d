"""Which end of each control makes the output grids most negative, as the structure says.

The safety walk asks the physics again.
"""

from firstglow.amplifier.role_types import Roles


def negative_ends(roles: Roles) -> dict[str, float]:
    """Pot -> 0 or 1, whichever end is more negative; 0.5 for a balance control (one grid up, the other down).

    Only controls that move an output grid are in it.
    """
    return {p.pot: p.negative_end for p in roles.pots if p.negative_end is not None}
