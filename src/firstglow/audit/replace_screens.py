"""Screens that stand too high: a lower rail that holds its volts, as parts that can be bought, and when they may be left alone."""

import re
from collections.abc import Sequence

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.audit.in_series import across
from firstglow.audit.moves import running
from firstglow.audit.proposal import shown
from firstglow.audit.stress import Stress
from firstglow.audit.ways import Stood
from firstglow.markings.series import next_down, preferred
from firstglow.quantities import show
from firstglow.readings.rated import section_of

SHARE = 0.9
"""Part of the screen's rating that the new rail may stand at (common practice)."""
STRINGS = (1, 2, 3, 4)
LARGEST_ZENER = 200.0
"""Zeners in series, and the largest that shops keep [V] (common practice)."""
ZENER_AMPS = 1e-3
"""What feeds them on the mains as they are: they hold a gate, which takes nothing [A] (a choice of ours)."""
LEAST_VOLTS = 10.0
"""Less between the old rail and the new one leaves nothing to feed them from [V]."""
FOLLOWER_TIMES = 1.5
FOLLOWER_VOLTS = (600.0, 800.0, 1000.0, 1200.0)
"""A transistor that meets all of HT at a switch-on has half as much again [V] (common practice); what is made."""


def lower_rail(stood: Stood, part: Part, s: Stress) -> str:
    """A follower that takes the place of a joint's own volts, in words: worked out by hand (Ohm's law), not solved in place."""
    k, rating = running(stood), s.rating or 0.0
    mine = next((o for o in stood.roles.outputs if o.valve == part.name), None)
    joint = mine.screen_joint if mine is not None else None
    same = [o.valve for o in stood.roles.outputs if joint is not None and o.screen_joint == joint] or [part.name]
    amps = sum(max(float(stood.row(v)["screen_amps"][k]), 0.0) for v in same)
    told = f"screens from a lower rail, {s.value - SHARE * rating:.0f} V less"
    takes = f"the {len(same)} on it take {show(amps, 'A')} at idle and several times that at full power"
    if mine is None or joint is None or joint == mine.plate:
        return f"{told}: {takes}, so a rail that holds its volts, no bare resistor, or a type rated for it"
    each, count = _zeners(SHARE * rating)
    rail, now = each * count, float(stood.dc(joint)[k])
    most = float(np.max(stood.dc(joint)[stood.where()]))
    if now - rail < LEAST_VOLTS:
        return f"{told}: {takes}, so a rail that holds its volts, no bare resistor, or a type rated for it"
    ohms = preferred((now - rail) / ZENER_AMPS, "E12")
    feed = across(most - rail, ohms, 0.25)
    hot = each * (most - rail) / ohms
    limit = section_of(part).limits.screen_watts
    full = f", {show(len(same) * limit / rail, 'A', 2)} if all are at their {limit:g} W" if limit else ""
    loss = (len(same) * limit / rail if limit else 5.0 * amps) * (
        float(np.max(stood.dc(joint)[stood.where(runs=True)])) - rail
    )
    volts = next((v for v in FOLLOWER_VOLTS if v >= FOLLOWER_TIMES * most), None)
    if volts is None:  # no such transistor for so much
        return f"{told}: {takes}, so a rail that holds its volts, from a winding of its own, or a type rated for it"
    fed = f"{show(feed.ohms, 'ohm')} {feed.watts:g} W"
    fed = fed if feed.count == 1 else f"{feed.count} of {fed} in series"
    return (
        f"screens from a rail of {rail:.0f} V in place of {joint}, by a follower: a power MOSFET (N channel, {volts:g} V or more, "
        f"insulated from the chassis it cools on, up to {loss:.1f} W) with its drain on {joint}, its source the new rail, "
        f"a 15 V zener from gate to source, its gate through 1 kΩ on {count} zeners of {each:g} V in series to chassis "
        f"({1.3 if hot < 0.65 else 5} W, they take {hot:.1g} W at most), fed from {joint} through {fed}, 0.47 µF "
        f"{'630' if rail < 450 else '1000'} V film across them (common practice; by hand, not solved here): {takes}{full}, which no bare "
        "resistor holds"
    ).replace("; ", ", ")  # one step of several


def _zeners(volts: float) -> tuple[float, int]:
    """Volts of each and how many, E24, together as high as may be and not above."""
    made = [(next_down(volts / n, "E24"), n) for n in STRINGS if volts / n <= LARGEST_ZENER]
    return max(made, key=lambda m: m[0] * m[1]) if made else (next_down(volts / STRINGS[-1], "E24"), STRINGS[-1])


def left_alone(stood: Stood, pressing: Sequence[Stress]) -> str:
    """When volts past a limit may be left: running on the mark they are within it, and what brings them past it. "" where not."""
    over = [s for s in pressing if s.verdict == "unfit" and s.stress in ("plate volts", "screen volts")]
    runs = [s for s in over if s.everyday is not None and s.rating is not None and s.everyday <= s.rating]
    if not over or len(runs) != len(over):
        return ""
    volts = " and ".join(f"{shown(s.everyday or 0.0, 'V')} ({s.stress}, {shown(s.rating or 0.0, 'V')})" for s in over)
    # whichever channel is asked, it is the other one's
    ways = ", ".join(dict.fromkeys(re.sub(r"^\w+ channel's", "the other channel's", s.situation) for s in over))
    return (
        f"leave it: running on {stood.mains['now']:g} V {volts}, within the limit. It is past it only so: {ways}. Then the mains stay "
        "on their mark, and no valve is out for long while HT is on"
    )
