"""A reading's screen stands on a terminal of 24 lines whole: what is pushed off its top is where the probes go."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.sheets.climb_screen import ROOM, Around, reading_screen

EXAMPLES = Path(__file__).parents[2] / "examples"
TRIED = (
    "? LOOK FIRST: the power is on, so Esc (make safe) before a hand goes near",
    *["  why, and what to check first"] * 5,
)


@pytest.fixture(scope="module")
def rungs() -> list[dict]:
    return built(load(EXAMPLES / "b-hazel-four.toml"), mode="fast").document["rungs"]


@pytest.mark.parametrize("tried", [(), TRIED], ids=["asked", "off"])
def test_every_reading_fits_its_places_on_it(rungs: list[dict], tried: tuple[str, ...]) -> None:
    drawn = 0
    for rung in rungs:
        for n, reading in enumerate(rung["readings"], 1):
            live = () if reading["contact"] == "none" else rung["live"]
            wait = "0 min 16 s yet: cathodes warm" if live and not tried else ""
            around = Around(
                "Hazel Four", rung["title"], n, len(rung["readings"]), live, wait,
                "" if tried else "✓ go on: the one before", tried, 12, "" if tried else "left read 2.002V",
            )  # fmt: skip
            screen = reading_screen(reading, around)
            assert len(screen) <= ROOM, "\n".join(screen)
            text = "\n".join(screen)
            assert "STOP IF" in text
            assert "EXPECT" in text
            assert "\nRED" in text or "\nAT" in text or "\nLOOK" in text
            drawn += "from below" in text
    assert drawn if not tried else True


def test_the_figure_stays_large_where_there_is_room(rungs: list[dict]) -> None:
    reading = next(r for rung in rungs for r in rung["readings"] if r["id"] == "4/HT2/shared")
    around = Around("Hazel Four", "Rung 4", 1, 14)
    large, small = (reading_screen(reading, around, room=room) for room in (23, 12))
    assert sum("█" in line for line in large) == 5
    assert not any("█" in line for line in small)
    assert "band" in "\n".join(small)
