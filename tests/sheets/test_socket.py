"""The socket drawing against the standard's pin circle (IEC 60067 outlines: from memory)."""

import re
from math import atan2, degrees

import pytest

from firstglow.sheets.socket import BASES, RADIUS, SIZE, base_of, pin_places, socket_svg


@pytest.mark.parametrize(("base", "pins"), [("noval", 9), ("B7G", 7), ("octal", 8), ("UX4", 4)])
def test_pins_count_clockwise_seen_from_below(base: str, pins: int) -> None:
    places = pin_places(base)
    assert list(places) == list(range(1, pins + 1))
    # angle clockwise from straight down on the page: x runs right and y runs down
    turned = [(degrees(atan2(SIZE / 2 - x, y - SIZE / 2)) + 360) % 360 for x, y in places.values()]
    assert turned == sorted(turned)
    assert all(abs(((x - SIZE / 2) ** 2 + (y - SIZE / 2) ** 2) ** 0.5 - RADIUS) < 1e-9 for x, y in places.values())


def test_the_gap_of_a_noval_is_as_wide_as_two_steps() -> None:
    # nine pins on a circle of ten places, 36 degrees apart: the gap between 9 and 1 is 72 degrees
    places = pin_places("noval")
    (x1, y1), (x9, y9) = places[1], places[9]
    assert x1 == pytest.approx(SIZE - x9)
    assert y1 == pytest.approx(y9)
    wide = degrees(2 * atan2(SIZE / 2 - x1, y1 - SIZE / 2))
    assert wide == pytest.approx(72.0)


@pytest.mark.parametrize("base", BASES)
def test_exactly_the_asked_pin_is_ringed(base: str) -> None:
    for pin in pin_places(base):
        svg = socket_svg(base, pin)
        ring = re.search(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="2.5" class="ring"/>', svg)
        assert ring
        x, y = pin_places(base)[pin]
        assert (float(ring[1]), float(ring[2])) == (pytest.approx(x, abs=0.006), pytest.approx(y, abs=0.006))
        assert svg.count('class="ring"') == 1
        assert svg.count('class="pin"') == BASES[base][0] - 1


def test_base_texts_of_the_facts_find_their_family() -> None:
    assert base_of("octal (7S)") == "octal"
    assert base_of("noval (9LP; pin 9 internal shield in 6CG7, unused in 6FQ7)") == "noval"
    assert base_of("B7G (7BZ)") == "B7G"
    assert base_of("UX4 (medium 4-pin)") == "UX4"
    assert base_of("loctal") is None
