"""Two ECC83 stages and an EL84 without a loop: hum of heaters and wiring at the input is louder than what HT leaves."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder
from firstglow.readings.finish import HEATERS, HUM_AT_INPUT, USUAL

FILE = Path(__file__).parent.parent / "data" / "much-gain-no-loop.toml"


@pytest.fixture(scope="module")
def ladder() -> Ladder:
    return built(load(FILE), mode="fast")


def test_the_gain_is_tried_well_above_the_hum(ladder: Ladder) -> None:
    """0.1 mV of usual hum at the first grid (common practice: tens of microvolts to 0.3 mV) times a gain of some 2900 is 0.29 V at
    the load: with 0.3 V of signal a dead stage would read as much as a sound one. Five times that, still under half a watt."""
    gain, hum = (ladder.expected.by_id[f"{name}/shared"] for name in ("7/LS gain", "6/LS hum"))
    assert gain.planned.situation.stimulus_volts == pytest.approx(5.0 * USUAL * HUM_AT_INPUT)
    assert gain.expected > 4.0 * hum.expected
    assert gain.expected**2 / 8.0 < 0.5


def test_what_moves_the_hum_is_no_capacitor_of_the_supply(ladder: Ladder) -> None:
    """HT's ripple leaves some 20 mV at the load: 4.6 mV at the output grid times 11 mA/V times 5 kohm over 25 turns, and 1.7 V
    across the primary over 25 less what the valve's own plate resistance takes."""
    hum = ladder.expected.by_id["6/LS hum/shared"]
    assert hum.moved_by[0][0] == HEATERS
    assert any("its heater's centre tap" in f for f in ladder.document["findings"])
