"""Volts over seconds as a plain SVG, the moments marked: a cold start. Time is laid out by its root, since most happens at
the beginning."""

from collections.abc import Mapping, Sequence
from html import escape
from math import sqrt

import numpy as np

from firstglow.sheets.curves import (
    BOTTOM,
    HEIGHT,
    LEFT,
    LINE,
    RIGHT,
    TOP,
    WIDTH,
    Box,
    curve,
    head,
    label,
    picture,
    step_of,
)

TICKS = (0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0)


NEAR_LINES, NEAR_MARKS = 11.0, 26.0
"""Two ends of lines, or two moments, as near as this would stand on each other's names: they share one."""

DASHES = ("", "10 4", "2 3", "10 3 2 3", "18 5", "10 3 2 3 2 3")
"""How one line is told from the next where they run together, without a colour; more lines begin again."""
SOON = 0.1
"""Moments before this are told in thousandths [s]."""


def together(places: Sequence[tuple[str, float]], near: float) -> list[tuple[list[str], float]]:
    """(names, where the first stands): names whose places follow each other by less than ``near``, in the order of places."""
    out: list[tuple[list[str], float, float]] = []
    for name, at in sorted(places, key=lambda place: place[1]):
        if out and at - out[-1][2] < near:
            out[-1] = ([*out[-1][0], name], out[-1][1], at)
        else:
            out.append(([name], at, at))
    return [(names, first) for names, first, _ in out]


def _dashed(path: str, number: int) -> str:
    """The line so many in its own dashes."""
    dashes = DASHES[number % len(DASHES)]
    return path.replace("<path ", f'<path stroke-dasharray="{dashes}" ', 1) if dashes else path


def seconds_svg(
    title: str, seconds: np.ndarray, lines: Mapping[str, np.ndarray], marks: Sequence[tuple[float, str]],
    worst: tuple[str, np.ndarray] | None = None,
) -> str:  # fmt: skip
    """lines: volts (moment,) by joint. marks: (seconds, what happens), numbered on the picture and listed below it. worst: a
    thin line that stands for what may come instead, and what it says below."""
    end = float(seconds[-1])
    top = max([1.0, *(float(v.max()) for v in (*lines.values(), *([worst[1]] if worst else ())))]) * 1.08
    floor = min([0.0, *(float(v.min()) for v in lines.values())]) * 1.15

    def x(t: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * sqrt(max(t, 0.0) / end)

    def y(volts: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (volts - floor) / (top - floor)

    parts = head(title, "volts to chassis over seconds; upright dashed lines: the moments listed below")
    for t in [0.0, *(t for t in TICKS if t <= end)]:
        parts.append(f'<path class="grid" d="M{x(t):.1f},{HEIGHT - BOTTOM} V{TOP}"/>')
        parts.append(f'<text x="{x(t):.1f}" y="{HEIGHT - BOTTOM + 20}" text-anchor="middle">{t:g}</text>')
    step = step_of(top - floor)
    for k in range(int(np.ceil(floor / step)), int(top / step) + 1):
        parts.append(f'<path class="grid" d="M{LEFT},{y(k * step):.1f} H{WIDTH - RIGHT}"/>')
        parts.append(f'<text x="{LEFT - 8}" y="{y(k * step) + 5:.1f}" text-anchor="end">{k * step:g}</text>')
    middle = (LEFT + WIDTH - RIGHT) / 2
    parts.append(f'<text x="{middle:.0f}" y="{HEIGHT - 18}" text-anchor="middle">seconds after switching on</text>')
    parts.append(f'<text x="20" y="{HEIGHT / 2:.0f}" transform="rotate(-90 20 {HEIGHT / 2:.0f})">volts</text>')
    taken: list[Box] = []
    parts += [_dashed(curve(x, y, seconds, volts), n) for n, volts in enumerate(lines.values())]
    if worst:
        parts.append(curve(x, y, seconds, worst[1], "edge"))
    for names, at in together([(name, y(float(volts[-1]))) for name, volts in lines.items()], NEAR_LINES):
        parts += label(escape(", ".join(names)), (WIDTH - RIGHT + 4, at + 5), taken, small=True)
    parts += [f'<path class="edge" d="M{x(t):.1f},{HEIGHT - BOTTOM} V{TOP}"/>' for t, _ in marks]
    for numbers, at in together([(str(n), x(t)) for n, (t, _) in enumerate(marks, start=1)], NEAR_MARKS):
        said = numbers[0] if len(numbers) == 1 else f"{numbers[0]} to {numbers[-1]}"
        parts += label(said, (at - 4, TOP - 3.0), taken, small=True)
    below = [f'<text class="title" x="{LEFT}" y="24">The moments</text>']
    for number, (t, what) in enumerate(marks, start=1):
        y_of = f'y="{36 + LINE * number:.0f}"'
        said = f"{t:.3f}" if t < SOON else f"{t:.2f}"
        below.append(f'<text x="{LEFT + 18}" {y_of} text-anchor="end">{number}</text>')
        below.append(f'<text x="{LEFT + 90}" {y_of} text-anchor="end">{said} s</text>')
        below.append(f'<text x="{LEFT + 108}" {y_of}>{escape(what)}</text>')
    row = len(marks) + 1.5
    if worst:
        below.append(f'<text x="{LEFT}" y="{36 + LINE * row:.0f}">thin dashed curve: {escape(worst[0])}</text>')
        row += 1.5
    for n, name in enumerate(lines):  # two to a line
        at, left = 36 + LINE * (row + n // 2), LEFT + 360 * (n % 2)
        below.append(_dashed(f'<path d="M{left},{at - 5:.0f} h70"/>', n))
        below.append(f'<text x="{left + 80}" y="{at:.0f}">{escape(name)}</text>')
    return picture([parts, below])
