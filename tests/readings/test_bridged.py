"""A part bridged by others: open, it still reads inside its band in place (Ohm's law in the tests, on paper)."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder
from firstglow.readings.taken import Taken, TakenFile
from firstglow.readings.verdict import judge

HAZEL = Path(__file__).parents[2] / "examples/b-hazel-four.toml"
R14 = "1/R14 own ends/shared"


@pytest.fixture(scope="module")
def ladder() -> Ladder:
    return built(load(HAZEL), mode="fast")


def test_an_open_feedback_resistor_reads_inside_its_band_and_is_not_called_good(ladder: Ladder) -> None:
    """3k3 with a path p of others across it reads r = 3k3 p / (3k3 + p); open it reads p = r / (1 - r / 3k3)."""
    reading = ladder.expected.by_id[R14]
    assert isinstance(reading.expected, float) and reading.low is not None and reading.high is not None
    path = reading.expected / (1.0 - reading.expected / 3300.0)
    assert reading.low < path < reading.high
    assert "R14" in reading.bridged and "Lift one lead" in reading.bridged
    row = next(r for rung in ladder.document["rungs"] for r in rung["readings"] if r["id"] == R14)
    assert row["remark"] == reading.bridged
    for shown in (reading.expected, path):
        assert judge(ladder.expected, reading, Taken(R14, f"{shown:.1f}"), TakenFile(())).verdict == "note only"
    low = Taken(R14, f"{reading.low * 0.8:.1f}")
    assert judge(ladder.expected, reading, low, TakenFile(())).verdict == "look first"


def test_a_part_that_stands_alone_is_proved(ladder: Ladder) -> None:
    """Only what reads the same open is marked: with equal ohms across it a part reads half, open twice that."""
    marked = [r.id for r in ladder.expected.readings() if r.bridged]
    assert marked and len(marked) < 0.1 * sum(r.kind == "ohms" for r in ladder.expected.readings())
    for r in ladder.expected.readings():
        part = ladder.frame.amplifier.parts.get(r.id.split("/")[1].split(" ")[0])
        alone = part is not None and part.kind == "resistor" and "own ends" in r.id and isinstance(r.expected, float)
        if alone and r.expected > 0.7 * part.value("ohms"):  # then what lies across has more than twice its ohms
            assert not r.bridged, r.id
