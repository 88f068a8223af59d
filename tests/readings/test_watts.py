"""Stops on watts by the rating system: a design-centre figure is for the average valve, a design-maximum one for every valve
(IEC 60134, sections 5 and 6, from memory: the definitions of the two systems)."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.readings.meters import digital
from firstglow.readings.tightest import tightest
from firstglow.readings.watts import at_watts

B = Path(__file__).parent.parent.parent / "examples" / "b-hazel-four.toml"
SHOWN = np.linspace(8.0, 16.0, 17)
ON = digital().range_for("dc volts", 20.0)


def valve(kind: str):  # type: ignore[no-untyped-def]
    return replace(load(B).parts["V2"], type=kind, words={})


def test_a_design_centre_limit_gives_way_to_healthy_ones_as_far_as_the_hottest_takes_a_sixth_more() -> None:
    """EL84, 12 W design-centre; watts as the reading, the hottest 10 % more behind the same reading: it takes 12 W at
    10.91 V and 14 W at 12.73 V. Both makers' pairs of figures for one valve say 7/6: 6V6GT 12 and 14 W, 6550 35 and 42 W."""
    found = at_watts(valve("EL84"), "plate", SHOWN, SHOWN, 1.1)
    assert [(f.value, f.physical) for f in found] == [(pytest.approx(12 / 1.1), False), (pytest.approx(14 / 1.1), True)]
    stop = tightest(found, 8.2, 11.6, ON, str, 9.9, 9.9)[1]
    assert stop is not None
    assert (stop.limit, stop.cut) == (pytest.approx(11.6 + 0.5 * (11.6 - 9.9), abs=0.011), False)
    assert "average EL84" in stop.why  # no longer the reading at which it takes 12 W, and not said to be
    near = tightest(found, 8.2, 10.2, ON, str, 9.2, 9.2)[1]
    assert near is not None
    assert (near.limit, "then takes 12 W" in near.why) == (pytest.approx(12 / 1.1, abs=0.011), True)
    far = tightest(found, 8.2, 13.1, ON, str, 10.9, 10.9)[1]
    assert far is not None
    assert (far.limit, far.cut) == (pytest.approx(14 / 1.1, abs=0.011), True)


def test_a_design_maximum_limit_stands_where_the_hottest_takes_it() -> None:
    found = at_watts(valve("6L6GC"), "plate", SHOWN * 3, SHOWN * 3, 1.1)
    assert [(f.value, f.physical) for f in found] == [(pytest.approx(30 / 1.1), True)]


def test_no_stop_on_watts_stands_inside_the_band_of_a_single_ended_stage_at_five_sixths_of_its_rating() -> None:
    expected = built(load(B), mode="sampled").expected
    cathodes = [r for r in expected.readings() if "V2 cathode" in r.id and r.id[0] in "6789" and "lamp in" not in r.id]
    assert len(cathodes) >= 4
    assert not [r.id for r in cathodes if r.band_cut]
