"""Meters: ranges, what they show, rounding, loading, and what a person types."""

from math import inf

import pytest

from firstglow.readings.meters import ReadingsError, built_in, digital, loaded, meter_from_table, meter_named
from firstglow.readings.typed import accuracy, typed_number, typed_word


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [  # what a 6000-count meter shows: four figures, the point moved by the range (common practice)
        ("dc volts", 0.3124, "312.4 mV"), ("dc volts", -38.214, "-38.21 V"), ("dc volts", 431.26, "431.3 V"),
        ("dc volts", 702.4, "702 V"), ("ac volts", 6.3, "6.30 V"), ("ohms", 12.34, "12.3 Ω"),
        ("ohms", 220e3, "220.0 kΩ"), ("ohms", 1.5e6, "1.500 MΩ"), ("ac amps", 0.2341, "234.1 mA"),
        ("dc volts", -0.00002, "0.0 mV"),
    ],
)  # fmt: skip
def test_shown(kind: str, value: float, text: str) -> None:
    assert digital().range_for(kind, value).shown(value) == text


def test_past_the_top_is_ol() -> None:
    top = digital().range_for("ohms", 1e9)
    assert top.full == 60e6
    assert top.shown(1e9) == "OL"


def test_rounding_goes_outward_and_keeps_figures_already_on_the_step() -> None:
    r = digital().range_for("dc volts", 431.2)
    assert r.rounded(431.21, -1) == 431.2
    assert r.rounded(431.21, 1) == 431.3
    assert r.rounded(431.2, 1) == r.rounded(431.2, -1) == 431.2
    assert r.rounded(-38.21, 1) == -38.2


def test_range_not_below_what_the_plan_asks_for() -> None:
    assert digital().range_for("dc volts", 0.0, at_least=500.0).full == 600.0


def test_a_20k_meter_loads_by_its_range() -> None:
    """20 kohm/V on 250 V is 5 Mohm; behind 1 Mohm it shows 5/6 (Ohm's law); 1 kohm/V is 250 kohm: one fifth."""
    meters = built_in()
    r20, r1 = (meters[m].range_for("dc volts", 200.0) for m in ("20k", "1k"))
    assert (r20.input_ohms, r1.input_ohms) == (5e6, 250e3)
    assert loaded(120.0, 1e6, r20.input_ohms) == pytest.approx(100.0)
    assert loaded(120.0, 1e6, r1.input_ohms) == pytest.approx(24.0)


def test_meter_limits_are_percent_plus_counts() -> None:
    """±(0.5 % + 2) at 400.0 V is 2.0 V + 0.2 V, and half a step of reading."""
    assert digital().range_for("dc volts", 400.0).limits(400.0) == pytest.approx(2.0 + 0.2 + 0.05)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("38.2", "V", 38.2), ("-38,2", "V", -38.2), ("−38.2 V", "V", -38.2), ("312mV", "V", 0.312),
        ("1k2", "ohm", 1200.0), ("OL", "ohm", inf), ("2M2", "ohm", 2.2e6), ("4R7", "ohm", 4.7),
        ("1.2 MΩ", "ohm", 1.2e6), ("12 kohm", "ohm", 12e3), ("1,234.5", "V", 1234.5), ("1.234,5", "V", 1234.5),
        (".5", "V", 0.5), ("35 mA", "A", 0.035), ("+12", "V", 12.0),
        ("12", "1", 12.0), ("220K", "ohm", 220e3),
    ],
)  # fmt: skip
def test_typed(text: str, unit: str, value: float) -> None:
    assert typed_number(text, unit) == pytest.approx(value)


WRONG = ("abc", "V"), ("", "V"), ("12 ohm", "V"), ("38 V 2", "V"), ("1k2V", "ohm"), ("nan", "V"), ("5 furlongs", "V")


@pytest.mark.parametrize(("text", "unit"), WRONG)
def test_typed_wrong(text: str, unit: str) -> None:
    with pytest.raises(ReadingsError, match="try"):
        typed_number(text, unit)


def test_words() -> None:
    assert typed_word(" Dim ", "lamp") == "dim"
    assert typed_word("y", "look") == "yes"
    with pytest.raises(ReadingsError, match="dark, dim, half, full"):
        typed_word("yes", "lamp")


def test_bench_meter() -> None:
    made = meter_from_table("blue", {"counts": 2000, "ohms": "1M", "dc": "0.8% + 1", "leads": "600V"}, "bench.toml:3")
    r = made.range_for("dc volts", 150.0)
    assert (r.full, r.step, r.of_reading, r.counts, r.input_ohms) == (200.0, 0.1, 0.008, 1.0, 1e6)
    assert made.highest_volts == 600.0
    assert accuracy("±0.5 % + 2 counts", "x") == (0.005, 2.0)
    with pytest.raises(ReadingsError, match=r'bench.toml:3.*unknown key "colour"'):
        meter_from_table("blue", {"colour": "blue"}, "bench.toml:3")
    with pytest.raises(ReadingsError, match="try digital"):
        meter_named("digitl")


def test_a_moving_coil_meter_of_the_bench_has_its_own_ranges_and_accuracy() -> None:
    """30 V at 20 kohm/V are 600 kohm; 3 % of full scale of the 30 V range are 0.9 V anywhere on it, and half of half a division
    of 50 more (0.15 V of needle)."""
    table = {
        "kind": "moving coil", "ohms_per_volt": "20k", "ac_ohms_per_volt": "5k", "dc": "3%",
        "ranges": {"dc_volts": ["300V", "3V", "30V", "1000V"]},
    }  # fmt: skip
    made = meter_from_table("old", table, "bench.toml")
    assert [r.full for r in made.of_kind("dc volts")] == [3.0, 30.0, 300.0, 1000.0]
    r = made.range_for("dc volts", 20.0)
    assert (r.full, r.input_ohms) == (30.0, 600e3)
    assert r.limits(20.0) == pytest.approx(0.9 + 0.15)
    usual = built_in()["20k"]
    assert [r.full for r in made.of_kind("ac volts")] == [r.full for r in usual.of_kind("ac volts")]
    assert made.range_for("ac volts", 8.0).input_ohms == 50e3
