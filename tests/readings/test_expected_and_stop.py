"""No healthy amplifier is told to switch off by what it is expected to read, unless a finding says so by name."""

from pathlib import Path

import pytest

from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder, build

ROOT = Path(__file__).parent.parent.parent
FILES = [*sorted((ROOT / "examples").glob("*.toml")), ROOT / "tests" / "data" / "back-bias.toml"]


def past_its_stop(ladder: Ladder) -> list[str]:
    """Readings whose expected value lies past their own stop limit."""
    return [
        reading.planned.what
        for reading in ladder.expected.readings()
        if isinstance(reading.expected, float)
        and (
            (reading.stop_below is not None and reading.expected < reading.stop_below.limit)
            or (reading.stop_above is not None and reading.expected > reading.stop_above.limit)
        )
    ]


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_what_is_expected_is_not_past_the_stop(file: Path) -> None:
    ladder = build(load(file), mode="fast")
    assert past_its_stop(ladder) == []


def test_a_back_biased_grid_stops_at_half_its_bias() -> None:
    # the grid stands at minus current times the resistor in the HT minus (common practice: half of it missing is a stop)
    ladder = build(load(FILES[-1]), mode="fast")
    grids = [r for r in ladder.expected.readings() if r.id.startswith(("4/V2 grid", "6/V2 grid", "9/V2 grid"))]
    assert len(grids) >= 4
    for reading in grids:
        assert isinstance(reading.expected, float)
        assert reading.expected < -0.1
        assert reading.stop_above is not None
        assert reading.expected < reading.stop_above.limit < 0.0
        assert reading.stop_above.limit == pytest.approx(reading.expected / 2, rel=0.02)
