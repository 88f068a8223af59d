"""One powered rung made from its table in texts.toml: title, what to do before, cautions, what to watch for."""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from firstglow.amplifier.situation import Situation
from firstglow.ladder.kinds import kind_lines
from firstglow.ladder.rows import load_lines
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame


def powered(
    frame: "Frame",
    rung: str,
    key: str,
    at: Situation,
    readings: Iterable[PlannedReading],
    hold: Hold,
    wait: float,
    *,
    title: str = "title",
    before: str = "before",
    also: tuple[str, ...] = (),
    moment: str = "",
    warned: bool = True,
    watched: bool = True,
    fill: Mapping[str, object] | None = None,
) -> PlannedRung:
    """A rung under power.

    key: its table, ``rung.<key>``. title, before: keys within it. also: lines of its own after those. moment: the kinds'
    table of lines, where it is not ``key``. warned, watched: whether its cautions and its watch list are said.
    """
    words, filled = frame.words, dict(fill or {})
    return PlannedRung(
        id=rung,
        title=words.text(f"rung.{key}.{title}", **filled),
        situation=at,
        stands="",
        before=words.lines(f"rung.{key}.{before}", **filled)
        + also
        + load_lines(frame, at)
        + kind_lines(frame, moment or key),
        readings=tuple(readings),
        hold=hold,
        cautions=words.lines(f"rung.{key}.cautions") if warned else (),
        watch_for=words.lines(f"rung.{key}.watch") if watched else (),
        wait_seconds=wait,
        wait_why=words.text(f"rung.{key}.wait_why"),
        dial_ceiling=frame.dial_of(at),
    )
