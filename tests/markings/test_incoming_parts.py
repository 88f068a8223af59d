"""Leakage tests of incoming parts: JAN-C-62 and IEC 60384-4 rows of standards.toml, the rest by Ohm's law by hand."""

from itertools import combinations

import numpy as np
import pytest

from firstglow.markings.incoming import leak_test, pairs
from firstglow.markings.series import MarkingError


@pytest.mark.parametrize(("uf", "volts", "ma"), [(20, 450, 1.1), (20, 250, 0.7)])  # JAN-C-62, seen quoted
def test_an_old_electrolytic(uf: float, volts: float, ma: float) -> None:
    assert leak_test("electrolytic", "old", uf * 1e-6, volts).reject_amps == pytest.approx(ma * 1e-3)


def test_a_new_electrolytic() -> None:
    test = leak_test("electrolytic", "new", 47e-6, 450)  # IEC 60384-4, from memory: 211.5 uA general
    assert test.good_amps == pytest.approx(211.5e-6)
    assert test.reject_amps > 436.3e-6  # and a sound high-voltage type, 3 sqrt(CU), is not thrown away


def test_a_small_new_high_voltage_type_within_its_makers_sheet_is_not_thrown_away() -> None:
    """3 x root of uF x V (makers' sheets, from memory): 8.2 uF at 400 V 3 x root of 3280 = 172 uA, more than 0.04 C U's 131 uA. Low
    volts have no such sheet: 8.2 uF at 50 V 0.04 C U = 16.4 uA."""
    assert leak_test("electrolytic", "new", 8.2e-6, 400).reject_amps == pytest.approx(171.8e-6, rel=1e-3)
    assert leak_test("electrolytic", "new", 8.2e-6, 50).reject_amps == pytest.approx(16.4e-6)


def test_what_the_meter_shows_and_what_a_short_draws() -> None:
    for kind, age in [("film", "new"), ("paper", "old"), ("mica", "old"), ("electrolytic", "old")]:
        test = leak_test(kind, age, 50e-9, 400, grid_leak_ohms=470e3)
        assert test.good_amps <= test.reject_amps
        # Ohm's law: a leak in proportion to its volts (400 V over what it may pass) in series with what the meter is across
        assert test.good_volts == pytest.approx(400 * test.meter_ohms / (test.meter_ohms + 400 / test.good_amps))
        assert 400 / test.series_ohms <= 5e-3 or kind == "electrolytic"  # facts: short-circuit limit 5 mA
        assert test.series_watts == pytest.approx(400**2 / test.series_ohms)
        assert any("High voltage kills" in s for s in test.steps)


def test_the_place_tightens() -> None:
    # common practice: 0.1 V across the grid leak is replaced; 470 k: 0.213 uA, 1175 Mohm at 250 V, 2.11 V on a 10 Mohm meter
    test = leak_test("paper", "old", 50e-9, 250, grid_leak_ohms=470e3)
    assert test.reject_amps == pytest.approx(0.1 / 470e3) and test.reject_volts == pytest.approx(
        250 * 10 / 1185, rel=1e-6
    )
    # facts, fault modes: 20 times the feed resistor: 300 V, 1 Mohm: 15 uA
    assert leak_test("film", "old", 1e-7, 300, feed_ohms=1e6).reject_amps == pytest.approx(15e-6)


def test_a_large_old_electrolytic_is_tested_at_most_of_its_volts() -> None:
    """JAN-C-62: 50 uF to 450 V may leak 2.3 mA; the resistor takes no more than a quarter of the volts then."""
    test = leak_test("electrolytic", "old", 50e-6, 360)
    assert test.reject_amps == pytest.approx(2.3e-3)
    assert 0.2 * 360 < test.reject_amps * test.series_ohms <= 0.25 * 360


def test_what_a_reading_says() -> None:
    test = leak_test(
        "film", "new", 1e-7, 300
    )  # 15 Gohm and 1.5 Gohm (IEC 60384-2, from memory): 0.2 V and 1.99 V on 10 Mohm
    assert [test.judge(v) for v in (0.19, -0.19, 0.5, 1.9, 2.1, 300.0)] == [
        "good", "good", "doubtful", "doubtful", "never fit", "never fit",
    ]  # fmt: skip


def test_pairs_are_the_best_of_all_ways() -> None:
    """Every way of pairing tried (itertools): none has a smaller sum of squared ratios. Figures by numpy's generator."""
    rng = np.random.default_rng(4)
    for count, most in ((4, 2), (5, 2), (6, 2), (6, 3), (7, 2)):
        values = [float(v) for v in rng.uniform(90.0, 110.0, count)]

        def misfit(way: tuple[tuple[int, int], ...], v: list[float] = values) -> float:
            return sum(float(np.log(v[a] / v[b])) ** 2 for a, b in way)

        every = [
            way
            for way in combinations(list(combinations(range(count), 2)), most)
            if len({i for pair in way for i in pair}) == 2 * most
        ]
        assert misfit(pairs(values, most)) == pytest.approx(min(map(misfit, every)), rel=1e-9)


def test_pairs() -> None:
    assert set(pairs([100.2, 98, 99.9, 150, 98.1])) == {(1, 4), (2, 0)}
    assert pairs([]) == pairs([1.0]) == ()


def test_unknown_is_refused() -> None:
    with pytest.raises(MarkingError, match="try film new"):
        leak_test("film", "ancient", 1e-7, 400)
    with pytest.raises(MarkingError, match="try film new"):
        leak_test("film", "new", float("nan"), 400)
