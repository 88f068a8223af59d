"""A valve's curves with its published points on them, as a plain SVG: black on white, no axis left unsaid."""

from collections.abc import Callable, Sequence
from html import escape
from math import ceil, log10

import numpy as np

from firstglow.devices.fit_report import DropCurve, FittedRow, PlateCurves

Scale = Callable[[float], float]
Box = tuple[float, float, float, float]
WIDTH, HEIGHT = 800, 560
LEFT, RIGHT, TOP, BOTTOM = 70, 76, 66, 60
LINE = 15.0
"""Height of a line of figures [user units]; labels that would overlap are left out."""
STYLE = (
    '<style>text{font:14px "DejaVu Sans",sans-serif}path{fill:none;stroke:#000;stroke-width:1.4}'
    ".grid{stroke:#bbb;stroke-width:.7}.point{fill:#fff;stroke:#000;stroke-width:1.6}.title{font-size:18px}"
    ".off{stroke-width:1}.edge{stroke-dasharray:5 4;stroke-width:1}.small{font-size:11px}"
    ".halo{stroke:#fff;stroke-width:3;paint-order:stroke}</style>"
)
CLIP = (
    f'<clipPath id="area"><rect x="{LEFT}" y="{TOP}" width="{WIDTH - LEFT - RIGHT}" '
    f'height="{HEIGHT - TOP - BOTTOM}"/></clipPath>'
)
LEGEND = "circle: published, fitted to · cross: published, not used · beside it its grid volts · short line: to the law there"


def step_of(span: float) -> float:
    """A round step that gives four to eight divisions."""
    raw = span / 6.0
    size = 10.0 ** ceil(log10(raw) - 1)
    return next(float(m * size) for m in (1, 2, 2.5, 5, 10) if m * size >= raw * 0.999)


def picture(panels: Sequence[Sequence[str]]) -> str:
    """Drawings one below the other in one SVG."""
    tall = HEIGHT * len(panels)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {tall}" width="{WIDTH}" height="{tall}">',
        STYLE,
        f'<rect width="{WIDTH}" height="{tall}" fill="#fff"/>',
        CLIP,
    ]
    for k, panel in enumerate(panels):
        parts += [f'<g transform="translate(0 {k * HEIGHT})">', *panel, "</g>"]
    return "\n".join([*parts, "</svg>"]) + "\n"


def curves_svg(*sections: PlateCurves) -> str:
    """Plate curves, a drawing for each section. Open circles: published points the fit saw; crosses: those it did not see."""
    return picture([plate_panel(curves) for curves in sections])


def plate_panel(curves: PlateCurves) -> list[str]:
    """One section's curves and points."""
    most_volts = float(curves.plate[-1])
    most_amps = top_amps(curves)
    x, y = scales(most_volts, most_amps)
    screen = f", screen {curves.screen:g} V" if curves.screen else ""
    parts = head(curves.title + screen, LEGEND)
    parts += axes(x, y, most_volts, most_amps)
    taken: list[Box] = []
    for grid, amps in zip(curves.grid, curves.plate_amps, strict=True):
        parts.append(curve(x, y, curves.plate, amps))
        inside = [k for k, i in enumerate(amps) if i <= most_amps]
        k = inside[-1] if inside else 0
        over = k < len(amps) - 1  # leaves by the top: its figure stands above the frame
        at = (x(float(curves.plate[k])) - 14, TOP - 4.0) if over else (x(most_volts) + 4, y(float(amps[k])) + 5)
        parts += label(f"{float(grid):g} V", at, taken)
    for p in curves.points:
        parts += point(p, x, y, taken)
    return parts


def top_amps(curves: PlateCurves) -> float:
    """Top of the scale: the upper curves whole, but not so tall that the points lie on the floor: a triode's curves rise for
    ever, so twice the highest point; a pentode's flatten, so four times."""
    upper = 1.05 * max(float(np.max(curves.plate_amps[: max(1, len(curves.grid) // 3), -1])), 1e-4)
    highest = max((p.published for p in curves.points), default=0.0)
    return max(min(upper, (4.0 if curves.screen else 2.0) * highest), 1.1 * highest) if highest else upper


def point(p: FittedRow, x: Scale, y: Scale, taken: list[Box]) -> list[str]:
    """A published point, its grid volts beside it, and a line to what the law gives at its own volts."""
    cx, cy = x(p.plate), y(p.published)
    told = escape(
        f"{p.published * 1e3:.3g} mA at plate {p.plate:.0f} V, grid {p.grid:.2f} V; the law {p.fitted * 1e3:.3g} mA: {p.source}"
    )
    parts = [f'<path class="off" clip-path="url(#area)" d="M{cx:.1f},{cy:.1f} V{y(p.fitted):.1f}"/>']
    if p.used:
        parts.append(f'<circle class="point" cx="{cx:.1f}" cy="{cy:.1f}" r="4.5"><title>{told}</title></circle>')
    else:
        cross = f"M{cx - 4:.1f},{cy - 4:.1f} l8,8 m0,-8 l-8,8"
        parts.append(f'<path d="{cross}"><title>{told}</title></path>')
    return parts + label(f"{p.grid:.3g}", (cx + 7, cy - 3), taken, small=True)


def drop_svg(curves: DropCurve) -> str:
    """A rectifier plate's current against its drop; broken lines: the law's own uncertainty, twice 1 sigma either way."""
    most_volts, most_amps = float(curves.volts[-1]), float(np.max(curves.amps)) * 1.05
    x, y = scales(most_volts, most_amps)
    parts = head(
        f"{curves.title}, one plate",
        "circle: printed drop · broken lines: the law's own uncertainty (twice its 1 sigma)",
    )
    parts += axes(x, y, most_volts, most_amps)
    parts.append(curve(x, y, curves.volts, curves.amps))
    parts += [curve(x, y, curves.volts, edge, "edge") for edge in (curves.low, curves.high)]
    for d in curves.drops:
        told = escape(f"{d.amps * 1e3:.3g} mA at {d.published:g} V; the law {d.fitted:.3g} V: {d.source}")
        parts.append(
            f'<circle class="point" cx="{x(d.published):.1f}" cy="{y(d.amps):.1f}" r="4.5"><title>{told}</title></circle>'
        )
    return picture([parts])


def head(title: str, legend: str) -> list[str]:
    """Title and what the signs mean."""
    return [
        f'<text class="title" x="{LEFT}" y="24">{escape(title)}</text>',
        f'<text class="small" x="{LEFT}" y="43">{escape(legend)}</text>',
    ]


def scales(most_volts: float, most_amps: float) -> tuple[Scale, Scale]:
    """Volts to x and amps to y."""

    def x(volts: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * volts / most_volts

    def y(amps: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * amps / most_amps

    return x, y


def curve(x: Scale, y: Scale, volts: Sequence[float] | np.ndarray, amps: np.ndarray, kind: str = "") -> str:
    """One line inside the frame."""
    line = " ".join(f"{x(float(v)):.1f},{y(float(i)):.1f}" for v, i in zip(volts, amps, strict=True))
    named = f'class="{kind}" ' if kind else ""
    return f'<path {named}clip-path="url(#area)" d="M{line}"/>'


def label(text: str, at: tuple[float, float], taken: list[Box], small: bool = False) -> list[str]:
    """A figure at a place, unless it would stand on another one."""
    left, base = at
    wide, high = (7.0, 11.0) if small else (9.0, LINE)
    box = (left, base - high, left + wide * len(text), base)
    if any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken):
        return []
    taken.append(box)
    kind = ' class="small halo"' if small else ""
    return [f'<text{kind} x="{left:.1f}" y="{base:.1f}">{text}</text>']


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
        f'<text x="{(LEFT + WIDTH - RIGHT) / 2:.0f}" y="{HEIGHT - 18}" text-anchor="middle">plate volts to cathode</text>'
    )
    parts.append(
        f'<text x="20" y="{(top + bottom) / 2:.0f}" transform="rotate(-90 20 {(top + bottom) / 2:.0f})">mA</text>'
    )
    return parts
