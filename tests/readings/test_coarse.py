"""A range that shows the same for healthy and for what must stop passes nothing; loading counts for both.

Ohm's law and the meter's class (2.5 % of full scale and half a division, common practice) are done again here by hand.
"""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import Verdict, verdict

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
GRID, SCREEN = "3/V3 grid at most negative/left", "5/V1 screen/left"


@pytest.fixture(scope="module", params=["20k", "1k"])
def twin(request: pytest.FixtureRequest) -> Ladder:
    return built(load(EXAMPLES / "a-linden-twin.toml"), meter=str(request.param), mode="fast")


def one(ladder: Ladder, name: str, typed: str, more: str = "") -> Verdict:
    return verdict(ladder.expected, parse_taken(f'[readings]\n"{name}" = {{ value = "{typed}"{more} }}\n')).verdicts[0]


def needle(full: float) -> float:
    """What a needle of class 2.5 with 50 divisions may be wrong by on a range [V]."""
    return 0.025 * full + full / 50 / 2 / 2


def test_a_needle_stands_on_a_range_for_the_volts_without_it(twin: Ladder) -> None:
    # whatever its own load leaves of them: an open part or a loose tip puts all of them across it
    for reading in twin.expected.readings():
        if reading.on is None or reading.on.kind != "dc volts" or reading.planned.probe.quantity != "volts":
            continue
        assert reading.on.full >= min(abs(reading.ground.true), 1000.0), reading.id
    screen = twin.expected.by_id[SCREEN]
    assert isinstance(screen.expected, float) and screen.on is not None
    assert abs(screen.expected) < screen.ground.true < screen.on.full


def test_a_grid_that_the_needle_cannot_tell_from_too_little_bias_never_passes(twin: Ladder) -> None:
    reading = twin.expected.by_id[GRID]
    assert reading.on is not None and isinstance(reading.expected, float)
    left = reading.on.input_ohms / (reading.on.input_ohms + reading.source_ohms)
    healthy, stop = reading.ground.true * left, -40.9 * left  # Vsafe of this example's 6V6GT pairs, on its own sheet
    assert abs(healthy - stop) < 2 * needle(reading.on.full)
    found = one(twin, GRID, f"{reading.expected:g}")
    assert found.verdict == "look first" and "digital meter" in found.why
    assert any("digital meter" in f for f in twin.document["findings"] if f.startswith(reading.planned.what))
    # with that in hand it is judged, on the same ladder, and too little bias is too little
    assert one(twin, GRID, "-39.5", ', meter = "digital"').verdict == "switch off now"
    assert one(twin, GRID, f"{reading.ground.true:.2f}", ', meter = "digital"').verdict == "go on"


def test_what_needles_can_tell_they_still_judge(twin: Ladder) -> None:
    judged = [r for r in twin.expected.readings() if r.on is not None and not r.hidden]
    assert len(judged) > 200
    for name in ("4/HT1 after 10 min/shared", "2b/V1 heater pin to pin/left", "3/bias raw reservoir/shared"):
        reading = twin.expected.by_id[name]
        assert one(twin, name, f"{reading.expected:g}").verdict == "go on", name


def test_an_idle_that_the_needle_reads_within_its_error_of_the_rating_is_not_passed_by_it() -> None:
    # EL84 class cathode bias: 10 V and a limit near 10.8 V on a 50 V scale, which is wrong by up to 1.5 V
    ladder = built(load(EXAMPLES / "b-hazel-four.toml"), meter="20k", mode="fast")
    reading = ladder.expected.by_id["9/V2 cathode after 60 min/shared"]
    assert reading.on is not None and reading.on.full == 50.0
    assert needle(50.0) == pytest.approx(1.5)
    assert one(ladder, reading.id, "10").verdict == "look first"
    assert one(ladder, reading.id, "25").verdict == "switch off now"
    assert one(ladder, reading.id, "10.02", ', meter = "digital"').verdict == "go on"
    # the better meter is held to the limits themselves: 10.8 V with the mains read by this needle, which is the average
    # valve's 12 W (design-centre) and is looked at, and 13.7 V where the hottest takes 14 W; not to what stands off by the
    # needle's own error
    assert reading.stop_above is not None and reading.stop_above.limit == 13.5
    assert one(ladder, reading.id, "11.0", ', meter = "digital"').verdict == "look first"
    assert one(ladder, reading.id, "13.8", ', meter = "digital"').verdict == "switch off now"


def test_a_limit_is_loaded_as_the_reading_is() -> None:
    # 0.1 V of a leaking coupling capacitor behind 471 kohm shows 0.1 x 10 / 10.471 on 10 Mohm
    ladder = built(load(EXAMPLES / "b-hazel-four.toml"), mode="fast")
    reading = ladder.expected.by_id["5/V2 grid/shared"]
    assert reading.stop_above is not None
    assert reading.stop_above.limit == pytest.approx(0.1 * 10e6 / (10e6 + reading.source_ohms), abs=1.1e-4)


def test_a_figure_that_no_range_shows_is_judged_past_its_stop() -> None:
    """The loop's turning way round is a ratio of two readings: it has no range of the meter."""
    ladder = built(load(EXAMPLES / "b-hazel-four.toml"), mode="fast")
    reading = ladder.expected.by_id["7/LS polarity/shared"]
    assert reading.stop_above is not None and reading.on is not None and reading.on.kind == "ratio"
    assert one(ladder, reading.id, f"{1.1 * reading.stop_above.limit:.4g}").verdict == "switch off now"


def test_the_head_of_the_ladder_says_once_what_this_meter_cannot_judge(twin: Ladder) -> None:
    """Of the rows that say "read it with a digital meter" every one is counted, and no other."""
    first = twin.document["findings"][0]
    rows = [r for rung in twin.document["rungs"] for r in rung["readings"] if "digital meter" in r["hidden"]]
    assert len(rows) > 5
    assert first.startswith(f"WITH THIS METER {len(rows)} rows cannot be judged")
    for rung in dict.fromkeys(r["id"].split("/")[0] for r in rows):
        assert f" {rung}," in first.replace(")", ",")
    assert "WITH THIS METER" not in built(load(EXAMPLES / "b-hazel-four.toml"), mode="fast").document["findings"]


def test_a_figure_as_expected_that_this_meter_cannot_judge_is_said_to_be_as_expected(twin: Ladder) -> None:
    """Nothing is wrong with the amplifier for all that it shows: no cause of what is not there is named."""
    rows = [r for r in twin.expected.readings() if "digital meter" in r.hidden and isinstance(r.expected, float)]
    for r in rows:
        found = one(twin, r.id, r.shown or "")
        assert found.verdict == "look first", r.id
        assert "is as expected, but this meter cannot tell" in found.why, r.id
        assert found.check_first == ()
    far = next(r for r in rows if r.on is not None and r.on.unit in ("V", "A") and (r.low or 0.0) > 5.0 * r.on.step)
    assert far.on is not None and far.low is not None
    found = one(twin, far.id, far.on.shown(far.low - 2.0 * far.on.step))
    assert found.verdict != "go on" and "as expected" not in found.why
