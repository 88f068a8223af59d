"""What only the whole structure shows: every mistake in how the parts are joined, each with a remedy to paste."""

from firstglow.amplifier.checks_heaters import heater_problems
from firstglow.amplifier.checks_joints import LOOSE, joint_problems
from firstglow.amplifier.checks_mains import mains_problems
from firstglow.amplifier.checks_rails import rail_problems
from firstglow.amplifier.checks_shorts import short_problems
from firstglow.amplifier.checks_turned import turned_rectifiers
from firstglow.amplifier.checks_valves import valve_problems
from firstglow.amplifier.checks_windings import winding_problems
from firstglow.amplifier.drawn_loops import positive_loops
from firstglow.amplifier.half_rails import half_rail_problems
from firstglow.amplifier.look import look_at
from firstglow.amplifier.model import Amplifier, Problem
from firstglow.amplifier.refusals import refusals
from firstglow.amplifier.remedy_rules import never
from firstglow.amplifier.supplies import unrecognised

__all__ = ["check_structure", "refusals"]


def check_structure(amplifier: Amplifier) -> tuple[Problem, ...]:
    """Every structural mistake, in file order; empty for a good amplifier.

    What is missing or the wrong way round is a mistake of the drawing only: a layer may say what was found, however
    bad. Shorted windings and heaters on the wrong volts are also told of what was last changed. A set that is refused
    outright (see ``refusals``), in any layer, is told that and nothing else.
    """
    refused = refusals(amplifier)
    if refused:
        return refused
    drawn = amplifier.layers == ("drawn",)
    found = turned_rectifiers(amplifier, _found) if drawn else _found(amplifier)
    look = look_at(amplifier)
    first = {p.part: p for p in reversed(found)}  # a part with one mistake often shows another: tell the first
    kept = [never(look, p) for p in found if first[p.part] is p or (_loose(p) and _loose(first[p.part]))]
    return tuple(sorted(dict.fromkeys(kept), key=lambda p: p.line))


def _found(amplifier: Amplifier) -> list[Problem]:
    """Every mistake of the structure, the causes first."""
    look = look_at(amplifier)
    drawn = amplifier.layers == ("drawn",)
    found: list[Problem] = half_rail_problems(look)
    if drawn:
        found += joint_problems(look)
    if drawn or amplifier.layers[-1] == "changed":
        # a shorted winding gives every heater on it the wrong volts
        found += winding_problems(look) or heater_problems(look)
        found += [*mains_problems(look), *short_problems(look)]
    if drawn:
        found += [*unrecognised(amplifier), *valve_problems(look), *rail_problems(look)]
    if (drawn or amplifier.layers[-1] == "changed") and not found:
        found += positive_loops(look)
    return found


def _loose(p: Problem) -> bool:
    """Each lead that stands alone is told by its own name."""
    return p.found.startswith(LOOSE)
