"""Which end of each control makes the output grids most negative: asked of the physics, never of a drawing's habit."""

from typing import TYPE_CHECKING

from firstglow.amplifier.situation import Situation

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

ENDS = (0.0, 1.0)
MOVES = 0.05  # V: less than this and the control is none of the bias's


def negative_ends(frame: "Frame") -> dict[str, float]:
    """Pot -> 0 or 1, whichever end is more negative; 0.5 for a balance control (one grid up, the other down).

    Only controls that move an output grid with HT off are in it; with back bias none is, and the drawn place stays.
    """
    grids = [frame.part(v.valve).leads["grid"] for v in frame.roles.outputs if frame.has_bias(v)]
    found: dict[str, float] = {}
    for part in frame.amplifier.of_kind("pot"):
        at = [frame.physics.joints(frame.alone(pots={part.name: place})) for place in ENDS]
        moves = [at[1][g][0] - at[0][g][0] for g in grids]
        if not moves or max(abs(m) for m in moves) < MOVES:
            continue
        if min(moves) < -MOVES and max(moves) > MOVES:
            found[part.name] = 0.5
        else:
            found[part.name] = 0.0 if sum(moves) > 0 else 1.0
    return found


def first_situations(frame: "Frame") -> list[Situation]:
    """What is asked before anything can be planned: every control at both its ends."""
    return [frame.alone(pots={part.name: place}) for part in frame.amplifier.of_kind("pot") for place in ENDS]
