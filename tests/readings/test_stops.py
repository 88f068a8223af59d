"""Stop limits: signs, ratings, rounding toward safe, Vsafe against other ways to the same figure."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import brentq
from test_expect import FULL, dividers, reading

from firstglow.devices.catalogue import Limits as Ratings
from firstglow.devices.catalogue import valve_type
from firstglow.devices.pentode import pentode_currents
from firstglow.readings.asked import Block
from firstglow.readings.hotter import crossing
from firstglow.readings.limit import Limit
from firstglow.readings.meters import digital
from firstglow.readings.observe import Observer
from firstglow.readings.probe import PlannedReading, StopRule
from firstglow.readings.safe_bias import Spread, grid_volts, strongest
from firstglow.readings.stop_points import StopPoints
from firstglow.readings.stops import Limits
from firstglow.readings.tightest import tightest


def limits(r: PlannedReading, expected: float) -> Limits:
    amplifier = dividers()
    see = Observer(amplifier)
    block = Block("x", FULL, (r,))
    on = digital().range_for("dc volts", expected)
    return Limits(see, {r.id: expected}, {r.id: block}, {r.id: 0.0}, {r.id: on}, lambda: StopPoints({}, {}, {}))


def of(rule: StopRule, expected: float) -> list[tuple[str, float]]:
    r = reading("a", "high", (rule,))
    return [(x.side, x.value) for x in limits(r, expected).of(r)]


@pytest.mark.parametrize(
    ("rule", "expected", "found"),
    [
        (StopRule("fixed", "", "above", 10.0), 0.0, [("above", 10.0)]),
        (StopRule("zero", "", "above", 0.1), 0.0, [("above", 0.1), ("below", -0.1)]),
        # "size over": of a negative reading that is below its negative
        (StopRule("ratio", "", "above", 1.5), -40.0, [("below", -60.0)]),
        (StopRule("ratio", "", "below", 0.5), -40.0, [("above", -20.0)]),
        (StopRule("ratio", "", "below", 0.5), 40.0, [("below", 20.0)]),
        (StopRule("heater", "", "above", 6.9), 6.3, [("above", 6.9)]),
    ],
)  # fmt: skip
def test_rules(rule: StopRule, expected: float, found: list[tuple[str, float]]) -> None:
    assert of(rule, expected) == [(s, pytest.approx(v)) for s, v in found]


def test_the_wrong_sign_allows_the_meter_its_counts() -> None:
    """A reading of nothing is no sign: 2 counts and half a step of the 60 V range, 25 mV."""
    ((side, value),) = of(StopRule("sign", "", "above", -1.0), -38.0)
    assert (side, value) == ("above", pytest.approx(0.025))


def test_an_unknown_rule_never_passes_unnoticed() -> None:
    with pytest.raises(KeyError, match="wishful"):
        of(StopRule("wishful"), 1.0)


def test_tightest_rounds_toward_safe_and_says_what_it_cuts() -> None:
    on = digital().range_for("dc volts", 431.0)  # 0.1 V steps
    found = tightest([Limit("above", 450.07, "C1"), Limit("above", 460.0, "C2")], 410.0, 452.0, on, lambda: "mains")
    below, above = found
    assert below is None
    assert (above.limit, above.why, above.cut, above.separate) == (450.0, "C1", True, "mains")
    below, _ = tightest([Limit("below", -31.004, "x")], -41.0, -35.0, on, str)
    assert (below.limit, below.cut) == (-31.0, True)


def test_a_fraction_of_the_expected_gives_way_to_the_band() -> None:
    on = digital().range_for("dc volts", 40.0)
    limit = Limit("above", 42.0, "15 %", physical=False)
    _, above = tightest([limit], 34.0, 46.0, on, str)
    assert (above.limit, above.cut) == (46.0, False)


def test_crossing() -> None:
    watts = np.array([2.0, 6.0, 14.0, 30.0])
    shown = np.array([0.1, 0.2, 0.3, 0.4])
    assert crossing(shown, watts, 10.0) == pytest.approx(0.25)
    assert crossing(shown, watts, 40.0) is None


SPREADS = [
    Spread("perveance", 0.08),
    Spread("perveance", 0.05),
    Spread("mu", 0.03),
    Spread("contact", 0.07),
    Spread("ht", 0.01),
]


def test_nominal_bias_by_another_root_finder() -> None:
    """scipy's brentq on the same law."""
    law = valve_type("6V6GT").sections[0].law
    other = brentq(lambda g: sum(pentode_currents(law, 440.0, 440.0, g, 1.0, 1.0, 0.0)[:2]) - 0.025, -200.0, -1.0)
    assert strongest(law, 0.025, 440.0, 440.0, []) == pytest.approx(other, abs=1e-9)


def test_the_strongest_by_plain_sampling() -> None:
    """Three standard deviations is one valve in 741 (normal distribution): the design point against the 0.00135
    quantile of 400,000 drawn valves."""
    law = valve_type("6V6GT").sections[0].law
    rng = np.random.default_rng(3)
    z = rng.normal(size=(5, 400_000))
    factors = {"perveance": 1 + 0.08 * z[0] + 0.05 * z[1], "mu": 1 + 0.03 * z[2], "contact": 0.07 * z[3]}
    ht = 440.0 * (1 + 0.01 * z[4])
    drawn = np.quantile(grid_volts(law, 0.025, ht, ht, factors), 0.00135)
    assert strongest(law, 0.025, 440.0, 440.0, SPREADS) == pytest.approx(drawn, rel=0.005)


def test_more_ht_or_more_idle_moves_it_the_right_way() -> None:
    law = valve_type("EL34").sections[0].law
    here = strongest(law, 0.035, 440.0, 440.0, SPREADS)
    assert strongest(law, 0.035, 480.0, 480.0, SPREADS) < here < strongest(law, 0.050, 440.0, 440.0, SPREADS)


def test_a_capacitor_read_from_either_end() -> None:
    """Signed: plus on red is a limit above, minus on red one below."""
    r = reading("a", "high", (StopRule("capacitor volts", "C1"),))
    made = limits(r, 70.0)
    from builders import Builder

    b = Builder("x")
    b.capacitor("C1", "high", "chassis", 1e-6, 100.0)
    capacitor = b.parts["C1"]
    parts = {**made.observer.amplifier.parts, "C1": capacitor}
    made.observer.amplifier = replace(made.observer.amplifier, parts=parts)
    assert [(x.side, x.value) for x in made.of(r)] == [("above", 100.0)]
    turned = replace(capacitor, leads={"+": "chassis", "-": "high"})
    made.observer.amplifier = replace(made.observer.amplifier, parts={**parts, "C1": turned})
    assert [(x.side, x.value) for x in made.of(r)] == [("below", -100.0)]
    # its other end stands on HT (250 V): 100 V across it is 150 V at the probe
    up = replace(capacitor, leads={"+": "HT", "-": "high"})
    made.observer.amplifier = replace(made.observer.amplifier, parts={**parts, "C1": up})
    assert [(x.side, x.value) for x in made.of(r)] == [("below", pytest.approx(150.0, abs=0.01))]


def test_a_limit_that_is_no_rating_stands_clear_of_the_band() -> None:
    """A normal reading is within 2 sigma in 95.4 % and within 3 in 99.7 % (tables of the normal distribution): a stop
    on the edge of a 2 sigma band would switch off one healthy amplifier in 44."""
    on = digital().range_for("dc volts", 40.0)  # 10 mV steps
    low, high, middle = 34.0, 46.0, 40.0
    soft = [Limit("above", 42.0, "5 %", physical=False), Limit("below", 39.0, "5 %", physical=False)]
    below, above = tightest(soft, low, high, on, str, middle)
    assert below is not None and above is not None
    assert (below.limit, above.limit) == (pytest.approx(31.0), pytest.approx(49.0))
    assert not below.cut and not above.cut
    _, rating = tightest([Limit("above", 42.0, "a rating")], low, high, on, str, middle)
    assert rating is not None and rating.limit == pytest.approx(42.0) and rating.cut


@pytest.mark.parametrize(
    ("expected", "found"),
    [(1.7, [("above", 90.0)]), (85.0, [("above", 90.0)]), (-1.0, [("below", -50.0)])],
)
def test_heater_to_cathode_gives_the_side_that_can_happen(
    expected: float, found: list[tuple[str, float]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """90 V, 50 with the heater positive, heater on chassis: a cathode a volt or two up can only climb, one below chassis only
    sink (arithmetic)."""
    kind = SimpleNamespace(limits=Ratings(heater_cathode_volts=90.0, heater_positive_volts=50.0))
    monkeypatch.setattr("firstglow.readings.stops.section_of", lambda _: kind)
    monkeypatch.setattr(Limits, "standing", lambda *_: SimpleNamespace(dc=lambda _: np.array([0.0])))
    assert of(StopRule("heater to cathode", "R5", "above"), expected) == found
