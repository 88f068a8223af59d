"""Rails: electrolytics drawn the wrong way round against the sign of the supply they stand on."""

from collections.abc import Iterator

from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Problem
from firstglow.amplifier.remedies import capacitor_line, problem
from firstglow.amplifier.roles_output import cathode_path


def rail_problems(look: Look) -> list[Problem]:
    """Every electrolytic whose plus lead is on the lower side. An error: it would heat, vent and short."""
    return list(_reversed(look))


def _levels(look: Look) -> dict[str, float]:
    """Joints whose dc sign is plain from the structure -> a number that only has an order: positive rails far up,
    cathodes just above chassis, HT minus just below, negative rails far down."""
    level = {"chassis": 0.0}
    for p in look.amplifier.of_kind("valve"):
        path = cathode_path(look, p.name)
        joint = p.leads["cathode"]
        end = joint
        for b in path:
            end = b.far(end)
        if path and end == "chassis" and joint != "chassis":
            level[joint] = 1.0
    level |= dict.fromkeys(look.positive, 100.0)
    level |= dict.fromkeys(look.negative, -100.0)
    level |= dict.fromkeys(look.minus, -2.0)
    for s in look.supplies:
        if s.middle is not None and s.form == "full-wave doubler":
            level[s.middle] = 50.0 * s.sign
        if s.use == "heater":
            low = level.get(s.ret, -1.0)
            level.setdefault(s.ret, low)
            level.setdefault(s.joint, low + s.sign * 2.0)
    return level


def _reversed(look: Look) -> Iterator[Problem]:
    level = _levels(look)
    for part in look.amplifier.of_kind("capacitor"):
        plus, minus = part.leads["+"], part.leads["-"]
        if part.type != "electrolytic" or plus not in level or minus not in level:
            continue
        if level[plus] < level[minus]:
            yield problem(
                look.amplifier,
                part,
                part.name,
                f"electrolytic the wrong way round: its plus lead is on {plus}, which is negative to {minus}",
                f"the plus lead on {minus}",
                capacitor_line(look.amplifier, part, minus, plus),
            )
