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


def seconds_svg(
    title: str, seconds: np.ndarray, lines: Mapping[str, np.ndarray], marks: Sequence[tuple[float, str]]
) -> str:
    """lines: volts (moment,) by joint. marks: (seconds, what happens), numbered on the picture and listed below it."""
    end = float(seconds[-1])
    top = max([1.0, *(float(v.max()) for v in lines.values())]) * 1.08
    floor = min([0.0, *(float(v.min()) for v in lines.values())]) * 1.15

    def x(t: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * sqrt(max(t, 0.0) / end)

    def y(volts: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (volts - floor) / (top - floor)

    parts = head(title, "volts to chassis over seconds; dotted upright lines: the moments listed below")
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
    for name, volts in lines.items():
        parts.append(curve(x, y, seconds, volts))
        parts += label(escape(name), (WIDTH - RIGHT + 4, y(float(volts[-1])) + 5), taken, small=True)
    for number, (t, _) in enumerate(marks, start=1):
        parts.append(f'<path class="edge" d="M{x(t):.1f},{HEIGHT - BOTTOM} V{TOP}"/>')
        parts += label(str(number), (x(t) - 4, TOP - 3.0 - 8.0 * (number % 2)), taken, small=True)
    below = [f'<text class="title" x="{LEFT}" y="24">The moments</text>']
    for number, (t, what) in enumerate(marks, start=1):
        below.append(f'<text x="{LEFT}" y="{36 + LINE * number:.0f}">{number}  {t:.2f} s  {escape(what)}</text>')
    return picture([parts, below])
