"""The procedure as data: the ladder cut into stages, each one set-up of clips, valves and links with its readings.

Between two stages hands go in, or clips are moved: that is when the amplifier is made safe. Printed, dry-run,
rehearsed and climbed from this one list.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from firstglow.amplifier.situation import Situation
from firstglow.ladder.ladder import Ladder, clip_groups, hands
from firstglow.readings.expected import ExpectedReading, ExpectedRung


@dataclass(frozen=True, slots=True)
class Stage:
    """One set-up.

    id: rung and number with a point between, as ``4.2``. powered: the plug is in. black, red: places of the clips, in order.
    readings: ids, in order.
    situation: of its first reading (of its rung, where it has none). first, last: opens, ends its rung.
    """

    id: str
    rung: str
    powered: bool
    black: tuple[str, ...]
    red: tuple[str, ...]
    readings: tuple[str, ...]
    situation: Situation
    first: bool
    last: bool

    @property
    def clips(self) -> int:
        """How many clips are on while it is read."""
        return len(self.black) + len(self.red)


def stages(ladder: Ladder) -> tuple[Stage, ...]:
    """Every stage of a ladder, in the order of the climb; at least one a rung."""
    return tuple(stage for rung in ladder.expected.rungs for stage in _of_rung(rung, ladder.frame.gear.meters))


def _of_rung(rung: ExpectedRung, meters: int) -> Iterator[Stage]:
    cut = list(_cut(rung, meters)) or [[]]
    for number, readings in enumerate(cut):
        situation = readings[0].planned.situation if readings else rung.planned.situation
        powered = situation.mains_volts > 0.0
        clipped = [r for r in readings if r.planned.contact == "clip" and powered]
        touched = [r for r in readings if r.planned.contact in ("clip", "one hand") and powered]
        yield Stage(
            f"{rung.id}.{number + 1}",
            rung.id,
            powered,
            tuple(dict.fromkeys(r.planned.black_at for r in touched)),
            tuple(dict.fromkeys(r.planned.red_at for r in clipped)),
            tuple(r.id for r in readings),
            situation,
            number == 0,
            number == len(cut) - 1,
        )


def _cut(rung: ExpectedRung, meters: int) -> Iterator[list[ExpectedReading]]:
    """The readings of a rung, cut where clips are moved, hands go in, or the plug goes in or out."""
    here: list[ExpectedReading] = []
    clips: int | None = None
    for reading, group in zip(rung.readings, clip_groups(rung.planned, meters), strict=True):
        moved = group is not None and clips is not None and group != clips
        if here and (moved or _apart(here[-1], reading)):
            yield here
            here, clips = [], None
        here.append(reading)
        clips = group if group is not None else clips
    if here:
        yield here


def _apart(one: ExpectedReading, next_: ExpectedReading) -> bool:
    """Does anything inside change between two readings, or is it off after the first?"""
    before, after = one.planned.situation, next_.planned.situation
    return (
        (before.mains_volts > 0.0) != (after.mains_volts > 0.0)
        or one.planned.probe.quantity == "volts after"
        or hands(before) != hands(after)
    )
