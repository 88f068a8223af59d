"""The safety walk: a ladder's JSON is climbed on paper, and every step that could hurt is a violation.

It knows nothing of how the plan was made. Everything that can be worked out again (volts in each situation, ratings,
which loops exist, which grids are output grids) is worked out here from the amplifier and the printed situations.
"""

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import roles
from firstglow.ladder.questions import Physics
from firstglow.ladder.walk_order import bias_first, company, holds, lamp_first, loop_last
from firstglow.ladder.walk_step import Document, Rule, Violation, Walk
from firstglow.ladder.walk_touch import capacitors, dial, hands, probes, ratings, words

__all__ = ["Violation", "Walk", "walk"]

RULES: tuple[Rule, ...] = (
    hands,
    probes,
    ratings,
    capacitors,
    dial,
    holds,
    bias_first,
    loop_last,
    company,
    words,
    lamp_first,
)


def walk(
    document: Document, amplifier: Amplifier, physics: Physics, most_volts: float = 1000.0
) -> tuple[Violation, ...]:
    """Every violation of a ladder document, in the order of the rules; none for a ladder that may be printed.

    most_volts: the lower rating of meter and leads [V].
    """
    on = Walk(document, amplifier, roles(amplifier), physics, most_volts)
    return tuple(v for rule in RULES for v in rule(on))
