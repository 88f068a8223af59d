"""Plate curves of a valve with its published points on them, as a plain SVG: black on white, no axis left unsaid."""

from collections.abc import Callable
from html import escape
from math import ceil, log10

import numpy as np

from firstglow.devices.fit_report import PlateCurves

Scale = Callable[[float], float]
WIDTH, HEIGHT = 760, 520
LEFT, RIGHT, TOP, BOTTOM = 70, 60, 46, 60
STYLE = (
    '<style>text{font:14px "DejaVu Sans",sans-serif}path{fill:none;stroke:#000;stroke-width:1.4}'
    ".grid{stroke:#bbb;stroke-width:.7}.point{fill:#fff;stroke:#000;stroke-width:1.6}.title{font-size:18px}</style>"
)
CLIP = (
    f'<clipPath id="area"><rect x="{LEFT}" y="{TOP}" width="{WIDTH - LEFT - RIGHT}" '
    f'height="{HEIGHT - TOP - BOTTOM}"/></clipPath>'
)


def step_of(span: float) -> float:
    """A round step that gives four to eight divisions."""
    raw = span / 6.0
    size = 10.0 ** ceil(log10(raw) - 1)
    return next(float(m * size) for m in (1, 2, 2.5, 5, 10) if m * size >= raw * 0.999)


def curves_svg(curves: PlateCurves) -> str:
    """The drawing. Open circles: published points the fit saw; crosses: those it did not see."""
    most_volts = float(curves.plate[-1])
    most_amps = 1.05 * max(float(np.max(curves.plate_amps[: max(1, len(curves.grid) // 3), -1])), 1e-4)
    most_amps = max([most_amps, *(1.1 * p.published for p in curves.points)])

    def x(volts: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * volts / most_volts

    def y(amps: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * amps / most_amps

    screen = f", screen {curves.screen:g} V" if curves.screen else ""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}">',
        STYLE,
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
        CLIP,
        f'<text class="title" x="{LEFT}" y="28">{escape(curves.title + screen)}</text>',
    ]
    parts += axes(x, y, most_volts, most_amps)
    for grid, amps in zip(curves.grid, curves.plate_amps, strict=True):
        line = " ".join(f"{x(float(v)):.1f},{y(float(i)):.1f}" for v, i in zip(curves.plate, amps, strict=True))
        parts.append(f'<path clip-path="url(#area)" d="M{line}"/>')
        inside = [k for k, i in enumerate(amps) if i <= most_amps]
        k = inside[-1] if inside else 0
        parts.append(
            f'<text x="{x(float(curves.plate[k])) + 4:.1f}" y="{y(float(amps[k])) + 5:.1f}">{float(grid):g} V</text>'
        )
    for p in curves.points:
        cx, cy = x(p.plate), y(p.published)
        told = escape(f"{p.published * 1e3:.3g} mA at plate {p.plate:.0f} V, grid {p.grid:.2f} V: {p.source}")
        if p.used:
            parts.append(f'<circle class="point" cx="{cx:.1f}" cy="{cy:.1f}" r="4.5"><title>{told}</title></circle>')
        else:
            cross = f"M{cx - 4:.1f},{cy - 4:.1f} l8,8 m0,-8 l-8,8"
            parts.append(f'<path d="{cross}"><title>{told}</title></path>')
    return "\n".join([*parts, "</svg>"]) + "\n"


def axes(x: Scale, y: Scale, most_volts: float, most_amps: float) -> list[str]:
    """Grid lines, figures and what they are."""
    parts = []
    bottom, top = HEIGHT - BOTTOM, TOP
    step = step_of(most_volts)
    for k in range(int(most_volts / step + 1e-9) + 1):
        at = x(k * step)
        parts.append(f'<path class="grid" d="M{at:.1f},{bottom} V{top}"/>')
        parts.append(f'<text x="{at:.1f}" y="{bottom + 20}" text-anchor="middle">{k * step:g}</text>')
    step = step_of(1e3 * most_amps)
    for k in range(int(1e3 * most_amps / step + 1e-9) + 1):
        at = y(k * step / 1e3)
        parts.append(f'<path class="grid" d="M{LEFT},{at:.1f} H{WIDTH - RIGHT}"/>')
        parts.append(f'<text x="{LEFT - 8}" y="{at + 5:.1f}" text-anchor="end">{k * step:g}</text>')
    parts.append(
        f'<text x="{(LEFT + WIDTH - RIGHT) / 2:.0f}" y="{HEIGHT - 18}" text-anchor="middle">plate volts</text>'
    )
    parts.append(
        f'<text x="20" y="{(top + bottom) / 2:.0f}" transform="rotate(-90 20 {(top + bottom) / 2:.0f})">mA</text>'
    )
    return parts
