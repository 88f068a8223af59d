"""A valve that draws nothing stands at its supply less what the meter itself draws through the feed (Ohm's law, by hand).

A stop that no dead valve can reach on this meter stops nothing: it must lie below that, or the row be read otherwise.
"""

from functools import cache
from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder

EXAMPLE = Path(__file__).parents[2] / "examples" / "b-hazel-four.toml"
# by hand from the drawing: V1 hangs on HT3, its screen by R7, its plate by R6
FEEDS = {"5/V1 screen/shared": 1e6, "5/V1 plate/shared": 220e3}
# ohms per volt, or ohms whatever the range (10 M: an ordinary digital meter)
CLASS = {"1k": 1e3, "20k": 20e3, "digital": None}


@cache
def ladder(meter: str) -> Ladder:
    return built(load(EXAMPLE), meter=meter, mode="fast")


@pytest.mark.parametrize("row", FEEDS)
@pytest.mark.parametrize("meter", CLASS)
def test_a_dead_valve_reaches_its_stop_on_every_meter(meter: str, row: str) -> None:
    reading = ladder(meter).expected.by_id[row]
    assert reading.on is not None and reading.stop_above is not None
    per_volt = CLASS[meter]
    ohms = 10e6 if per_volt is None else per_volt * reading.on.full
    node = ladder("digital").expected.by_id["5/HT3/shared"].expected
    assert isinstance(node, float)
    # V1 out, HT3 stands no lower than with it in
    dead = node * ohms / (ohms + FEEDS[row])
    assert reading.stop_above.limit < dead


def test_where_dead_and_healthy_read_alike_a_digital_meter_is_asked_for() -> None:
    """1 kohm/V on 250 V is 250 k behind 1 M: a dead valve shows a fifth of HT3, 66 V; healthy ones show up to 70 V."""
    reading = ladder("1k").expected.by_id["5/V1 screen/shared"]
    assert "digital" in reading.hidden
    assert reading.high is not None and reading.high > 328 * 0.25 / 1.25
    assert not ladder("digital").expected.by_id["5/V1 screen/shared"].hidden
