"""A charged capacitor behind a needle at rest: the range that is read must show what must not stand there.

A moving coil of class 2.5 is wrong by 2.5 % of full scale (accuracy class: IEC 60051-2, from memory): 12.5 V on 500 V,
and the eye reads half a division, 5 V of it: 1 V, above which no ohms range is turned on (common practice), does not show.
"""

from math import inf
from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.safing import resolved
from firstglow.readings.apart import Apart, Ground
from firstglow.readings.meters import ReadingsError, built_in, meter_from_table
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import Verdict, verdict
from firstglow.sheets.rows import rows

EXAMPLE = Path(__file__).parent.parent.parent / "examples" / "b-hazel-four.toml"
CHARGE, HT_OFF = "1/C1a charge/shared", "3/HT1 off/shared"


@pytest.fixture(scope="module", params=["20k", "1k"])
def ladder(request: pytest.FixtureRequest) -> Ladder:
    return built(load(EXAMPLE), meter=str(request.param), mode="fast")


def one(ladder: Ladder, name: str, typed: str, more: str = "") -> Verdict:
    taken = parse_taken(f'[readings]\n"{name}" = {{ value = "{typed}"{more} }}\n')
    return verdict(ladder.expected, taken).verdicts[0]


def test_a_needle_starts_high_and_is_read_where_one_volt_shows(ladder: Ladder) -> None:
    reading = ladder.expected.by_id[CHARGE]
    assert reading.on is not None and reading.start is not None
    assert reading.start.full == 500.0
    assert 0.025 * reading.on.full + reading.on.step / 2 < 0.5  # half the limit: class and eye together
    printed = {row.ids[0]: row.range for rung in ladder.document["rungs"] for row in rows(rung, {})}
    assert printed[CHARGE] == "start at 500 V dc, step down to 10 V"
    assert printed[HT_OFF] == "start at 1000 V dc, step down to 50 V"


def test_nothing_on_the_coarse_range_never_passes_and_says_how(ladder: Ladder) -> None:
    for typed in ("0 V", "0 V on 500 V", "0 on 50"):
        found = one(ladder, CHARGE, typed)
        assert found.verdict == "look first", typed
        assert "step down" in found.why and "on 10 V" in found.why


def test_nothing_on_the_fine_range_passes_and_what_stands_there_stops(ladder: Ladder) -> None:
    assert one(ladder, CHARGE, "0 V on 10 V").verdict == "go on"
    assert one(ladder, CHARGE, "0 on 10").verdict == "go on"
    assert one(ladder, CHARGE, "1.4 on 10").verdict == "switch off now"
    assert one(ladder, CHARGE, "20 V on 500 V").verdict == "switch off now"
    assert one(ladder, HT_OFF, "0 on 50").verdict == "go on"
    assert one(ladder, HT_OFF, "0").verdict == "look first"
    assert one(ladder, HT_OFF, "12 on 50").verdict == "switch off now"


def test_a_range_that_the_meter_has_not(ladder: Ladder) -> None:
    with pytest.raises(ReadingsError, match=r'range "30".*500 V'):
        one(ladder, CHARGE, "0 on 30")


def test_no_row_that_starts_high_passes_without_its_range(ladder: Ladder) -> None:
    starting = [r for r in ladder.expected.readings() if r.start is not None]
    assert len(starting) >= 4
    for reading in starting:
        # nothing at a cathode that stands on its own resistor is past its stop, whatever the range
        stops = ("switch off now",) if reading.stop_below is not None and reading.stop_below.limit > 0.0 else ()
        assert one(ladder, reading.id, "0").verdict in ("look first", "note only", *stops), reading.id


def test_a_digital_meter_reads_it_on_the_range_of_the_capacitor() -> None:
    ladder = built(load(EXAMPLE), mode="fast")
    reading = ladder.expected.by_id[CHARGE]
    assert reading.start is None and reading.on is not None and reading.on.full == 600.0
    assert one(ladder, CHARGE, "0").verdict == "go on"
    # the same ladder read with another meter
    assert one(ladder, CHARGE, "0", ', meter = "20k"').verdict == "look first"
    assert one(ladder, CHARGE, "0 on 10", ', meter = "20k"').verdict == "go on"


def test_a_coarse_digital_meter_steps_down_too() -> None:
    # 2000 counts on 1000 V: ±(0.5 % + 2) is 2 V at nothing
    from firstglow.amplifier.bench import Bench

    table = {"kind": "digital", "counts": 2000}
    assert meter_from_table("old", table, "bench").range_for("dc volts", 450.0).limits(0.0) > 2.0
    ladder = built(load(EXAMPLE), Bench(meters={"old": table}), mode="fast")
    reading = ladder.expected.by_id[CHARGE]
    assert reading.how == "start at 1000 V, step down to 200 V"


@pytest.mark.parametrize("meter", ["20k", "1k"])
def test_an_ohmmeter_that_ends_short_of_the_insulation_wanted_never_passes_it(meter: str) -> None:
    # a scale to 2 Mohm shows 3 Mohm and 30 Mohm alike; 10 Mohm is wanted of an output transformer (common practice)
    wanted = Ground("ohms", inf, limits=(Apart("below", 10e6),))
    top = built_in()[meter].of_kind("ohms")[-1]
    assert top.full < 10e6
    assert wanted.hides(top) is not None
    assert wanted.hides(built_in()["digital"].of_kind("ohms")[-1]) is None


def test_making_safe_with_a_needle_asks_for_the_range_it_rests_on() -> None:
    # 10 V behind a needle on 500 V is a tenth of a division
    meter = built_in()["20k"]
    for typed in ("0", "0 0", "0 on 500", "0 on 250"):
        with pytest.raises(ReadingsError, match="step down"):
            resolved(typed, meter)
    assert resolved("0.2 0 on 10 V", meter) == "0.2 0"
    assert resolved("0.2 0", built_in()["digital"]) == "0.2 0"
