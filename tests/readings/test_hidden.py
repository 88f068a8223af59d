"""A moving coil across a grid leak hides a leaking coupling capacitor: the arithmetic is the divider's own."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.amplifier.bench import Bench
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import verdict

EXAMPLE = Path(__file__).parent.parent.parent / "examples" / "b-hazel-four.toml"
GRID = "4/V2 grid/shared"


def test_the_divider_of_a_moving_coil_on_half_a_volt() -> None:
    # 20 kohm/V on 0.5 V is 10 kohm; across 471 kohm a leak that would stand at 0.1 V shows 2 mV, the scale's error is 3 %
    # of 0.5 V or 15 mV (moving-coil class and sensitivity: common practice)
    shown = 0.1 * 10e3 / (10e3 + 471e3)
    assert shown < 0.03 * 0.5
    ladder = built(load(EXAMPLE), meter="20k", mode="fast")
    reading = ladder.expected.by_id[GRID]
    assert reading.on is not None
    assert reading.on.input_ohms == pytest.approx(10e3)
    assert reading.source_ohms == pytest.approx(471e3, rel=0.02)
    assert reading.hidden_from(reading.on)


def test_such_a_meter_never_passes_the_grid_and_the_ladder_says_so() -> None:
    ladder = built(load(EXAMPLE), meter="20k", mode="fast")
    taken = parse_taken(f'[readings]\n"{GRID}" = "0 mV"\n')
    (judged,) = verdict(ladder.expected, taken).verdicts
    assert judged.verdict == "look first"
    assert "digital meter" in judged.why
    assert any("digital meter" in f and f.startswith("V2 grid") for f in ladder.document["findings"])


def test_a_digital_meter_passes_it_and_another_meter_in_the_file_does_not() -> None:
    ladder = built(load(EXAMPLE), mode="fast")
    assert not any("digital meter" in f for f in ladder.document["findings"])
    (good,) = verdict(ladder.expected, parse_taken(f'[readings]\n"{GRID}" = "0 mV"\n')).verdicts
    assert good.verdict == "go on"
    other = parse_taken(f'[readings]\n"{GRID}" = {{ value = "0 mV", meter = "20k" }}\n')
    assert verdict(ladder.expected, other).verdicts[0].verdict == "look first"


def test_a_meter_whose_ranges_end_short_of_ht_is_never_sent_to_it() -> None:
    """A bench that states ranges to 100 V: HT of some 300 V is no row for it, whatever figure is typed."""
    table = {"kind": "moving coil", "ohms_per_volt": "20k", "ranges": {"dc_volts": ["2.5V", "10V", "100V"]}}
    ladder = built(load(EXAMPLE), Bench(meters={"mine": table}), meter="mine", mode="fast")
    high = [r for r in ladder.expected.readings() if r.kind == "dc volts" and abs(r.expected or 0.0) > 100.0]
    assert high
    assert all("its highest range is 100 V" in r.hidden for r in high if not r.note_only)
    row = next(r for r in high if not r.note_only)
    typed = f'[readings]\n"{row.id}" = "{row.expected:.0f} V"\n'
    (judged,) = verdict(ladder.expected, parse_taken(typed, meters={"mine": ladder.expected.meter})).verdicts
    assert judged.verdict == "look first"
