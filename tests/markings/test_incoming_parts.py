"""Leakage tests of incoming parts: JAN-C-62 and IEC 60384-4 rows of standards.toml, the rest by Ohm's law by hand."""

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


def test_what_the_meter_shows_and_what_a_short_draws() -> None:
    for kind, age in [("film", "new"), ("paper", "old"), ("mica", "old"), ("electrolytic", "old")]:
        test = leak_test(kind, age, 50e-9, 400, grid_leak_ohms=470e3)
        assert test.good_amps <= test.reject_amps
        assert test.good_volts == pytest.approx(test.good_amps * test.meter_ohms)
        assert 400 / test.series_ohms <= 5e-3  # facts: short-circuit limit 5 mA
        assert test.series_watts == pytest.approx(400**2 / test.series_ohms)
        assert any("High voltage kills" in s for s in test.steps)


def test_the_place_tightens() -> None:
    # common practice: 0.1 V across the grid leak is replaced; 470 k: 0.213 uA, 2.13 V on a 10 Mohm meter
    test = leak_test("paper", "old", 50e-9, 250, grid_leak_ohms=470e3)
    assert test.reject_amps == pytest.approx(0.1 / 470e3) and test.reject_volts == pytest.approx(2.1277, rel=1e-3)
    # facts, fault modes: 20 times the feed resistor: 300 V, 1 Mohm: 15 uA
    assert leak_test("film", "old", 1e-7, 300, feed_ohms=1e6).reject_amps == pytest.approx(15e-6)


def test_pairs() -> None:
    assert set(pairs([100.2, 98, 99.9, 150, 98.1])) == {(1, 4), (2, 0)}
    assert pairs([]) == pairs([1.0]) == ()


def test_unknown_is_refused() -> None:
    with pytest.raises(MarkingError, match="try film new"):
        leak_test("film", "ancient", 1e-7, 400)
    with pytest.raises(MarkingError, match="try film new"):
        leak_test("film", "new", float("nan"), 400)
