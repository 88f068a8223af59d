"""A size that is nothing is nothing at any mains."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.readings.at_mains import to_sheet
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import verdict

EXAMPLE = Path(__file__).parents[2] / "examples" / "c-sorrel-twenty.toml"


@pytest.mark.parametrize("mains", [117, 120, 123.6])
def test_no_hum_at_all_is_no_less_than_nothing(mains: float) -> None:
    """Hum goes with the mains and is never negative: 0.0 mV read 3 % above the sheet's mains was "below 0.0 mV"."""
    ladder = built(load(EXAMPLE), mode="fast").expected
    row = f'[readings]\n"8/LS hum/shared" = {{ value = "0 mV", mains = {mains} }}\n'
    assert verdict(ladder, parse_taken(row)).verdicts[0].verdict == "go on"
    assert to_sheet(ladder.by_id["8/LS hum/shared"], 0.0, mains / 120.0) >= 0.0
