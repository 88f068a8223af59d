"""A valve socket seen from below (where the probe goes), as a small black-and-white drawing with one pin ringed.

Seen from below, pins count clockwise from the gap or the key (IEC 60067 / JEDEC outline practice, from memory).
"""

from html import escape
from math import cos, radians, sin

# base -> (number of pins, positions on the circle, degrees of the first pin clockwise from straight down)
# noval and B7G leave one position empty (the gap); octal has a key between 8 and 1; UX4 has its thick pins 1 and 4.
BASES = {
    "noval": (9, 10, 36.0),
    "B7G": (7, 8, 45.0),
    "octal": (8, 8, 22.5),
    "UX4": (4, 4, 45.0),
}
SIZE = 20.0  # mm, both ways
RADIUS = 6.6  # mm, circle of the pins


def base_of(name: str) -> str | None:
    """The base family a catalogue's base text names ("octal (7S)" -> "octal"), or None."""
    for base in BASES:
        if name.lower().startswith(base.lower()):
            return base
    return None


def pin_places(base: str) -> dict[int, tuple[float, float]]:
    """Centre of every pin, mm from the drawing's top left corner, socket seen from below; y runs down."""
    pins, positions, first = BASES[base]
    step = 360.0 / positions
    places = {}
    for number in range(1, pins + 1):
        angle = radians(first + (number - 1) * step)  # clockwise from straight down, as the page shows it
        places[number] = (SIZE / 2 - RADIUS * sin(angle), SIZE / 2 + RADIUS * cos(angle))
    return places


def socket_svg(base: str, ringed: int, label: str = "", black: int | None = None) -> str:
    """An SVG of the socket from below, pin ``ringed`` (red) filled and ringed, ``black`` in an open square, numbers beside.

    Raises KeyError for a base it has no drawing of.
    """
    told = f"{label or base} seen from below, pin {ringed} ringed" + (f", black on pin {black}" if black else "")
    box = f'viewBox="0 0 {SIZE:g} {SIZE:g}" width="{SIZE:g}mm" height="{SIZE:g}mm"'
    parts = [
        f'<svg class="socket" {box} role="img" data-base="{base}" data-pin="{ringed}" aria-label="{escape(told)}">',
        f'<circle cx="{SIZE / 2:g}" cy="{SIZE / 2:g}" r="9.4" class="rim"/>',
    ]
    if base == "octal":  # the key
        parts.append(f'<circle cx="{SIZE / 2:g}" cy="{SIZE / 2:g}" r="2" class="rim"/>')
        parts.append(f'<path d="M{SIZE / 2 - 0.8:g} {SIZE / 2 + 1.8:g} v1.6 h1.6 v-1.6" class="key"/>')
    for number, (x, y) in pin_places(base).items():
        if number == ringed:
            parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="2.5" class="ring"/>')
            parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.5" class="hit" data-number="{number}"/>')
            # its number stands inside the circle of pins, where no other pin is
            nx, ny = SIZE / 2 + (x - SIZE / 2) * 0.3, SIZE / 2 + (y - SIZE / 2) * 0.3
            if base != "octal":
                parts.append(f'<text x="{nx:.2f}" y="{ny + 1.2:.2f}" class="number">{number}</text>')
        else:
            parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.9" class="pin" data-number="{number}"/>')
            if number == black:
                parts.append(f'<rect x="{x - 1.9:.2f}" y="{y - 1.9:.2f}" width="3.8" height="3.8" class="square"/>')
    return "".join([*parts, "</svg>"])
