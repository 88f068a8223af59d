"""The arithmetic of ``firstglow mains`` against figures from outside it: rows of IEC 60127-2, transformer arithmetic, Ohm's law by
hand, what has been said of heater volts and life."""

from math import inf, log10, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from firstglow.amplifier import load
from firstglow.audit.fuse_judged import Blown
from firstglow.audit.fuse_times import RATINGS, Fuse, breaking_made, to_order
from firstglow.audit.heater_life import LAMP_POWER, life
from firstglow.audit.inrush import Inrush
from firstglow.audit.mains_heaters import heater_resistors
from firstglow.audit.mains_now import Today, today
from firstglow.audit.mains_ways import Way, e24, ways, winding
from firstglow.devices.lamp import glow

EXAMPLES = Path(__file__).parents[2] / "examples"
B = EXAMPLES / "b-hazel-four.toml"


@pytest.fixture(scope="module")
def high() -> Today:
    """Example (b) on 245 V."""
    return today(load(B), 245.0)


@pytest.fixture(scope="module")
def found(high: Today) -> tuple[Way, ...]:
    return ways(high)


# -- fuses -----------------------------------------------------------------------------------------------------------
# mark, class -> breaking capacity to fit. IEC 60127-2 sheet 5 (T, H) begins at 1 A (facts: fuse.iec60127_sheet5_T_high, pages), below
# it only T L of sheet 3; sheet 1 (F, H) at 50 mA (facts: fuse.iec60127_sheet1_2_F, from memory).
@pytest.mark.parametrize(("amps", "speed", "breaking"), [
    (0.63, "T", "L"), (0.8, "T", "L"), (1.0, "T", "H"), (6.3, "T", "H"), (0.63, "F", "H"), (0.04, "F", "L"),
])  # fmt: skip
def test_h_where_it_is_made_else_l(amps: float, speed: str, breaking: str) -> None:
    assert breaking_made(amps, speed) == breaking  # type: ignore[arg-type]
    told = to_order(amps, speed)  # type: ignore[arg-type]
    assert f" {breaking} 250 V" in told and ("made from" in told) == (breaking == "L")


# speed, breaking, mark, times the mark: (least, most) seconds
ROWS = [
    # sheet 3: a maker's data sheet of 5x20 T L fuses (facts: fuse.iec60127_sheet3_T_low, seen on a page)
    ("T", "L", 0.1, {2.75: (0.2, 10.0), 4.0: (0.04, 3.0), 10.0: (0.01, 0.3)}, 120.0),
    ("T", "L", 1.0, {2.75: (0.6, 10.0), 4.0: (0.15, 3.0), 10.0: (0.02, 0.3)}, 120.0),
    # sheet 5: two makers' sheets of 5x20 T H fuses (facts: fuse.iec60127_sheet5_T_high, seen on pages)
    ("T", "H", 2.0, {2.75: (0.75, 80.0), 4.0: (0.095, 5.0), 10.0: (0.01, 0.15)}, 1800.0),
    ("T", "H", 5.0, {2.75: (0.75, 80.0), 4.0: (0.15, 5.0), 10.0: (0.02, 0.15)}, 1800.0),
    # sheet 2: a table of both standards on a page (blog.csdn.net, weixin_39958911/111836789)
    ("F", "L", 0.05, {2.75: (0.01, 0.5), 4.0: (0.003, 0.1), 10.0: (0.0, 0.02)}, 1800.0),
    ("F", "L", 1.0, {2.75: (0.05, 2.0), 4.0: (0.01, 0.3), 10.0: (0.0, 0.02)}, 1800.0),
    # sheet 1, from memory (facts: fuse.iec60127_sheet1_2_F)
    ("F", "H", 2.0, {2.75: (0.01, 2.0), 4.0: (0.003, 0.3), 10.0: (0.0, 0.02)}, 1800.0),
]


@pytest.mark.parametrize(("speed", "breaking", "mark", "times", "at_2_1"), ROWS)
def test_time_limits_of_the_standard(
    speed: str, breaking: str, mark: float, times: dict[float, tuple[float, float]], at_2_1: float
) -> None:
    fuse = Fuse(mark, speed, breaking)  # type: ignore[arg-type]
    for m, (least, most) in times.items():
        assert fuse.blows_within(m * mark) == most
        assert fuse.holds(m * mark) == pytest.approx(max(least, 1e-3), rel=1e-6)
    assert fuse.blows_within(2.1 * mark) == at_2_1
    # its mark for good, an hour up to 1.5 times; nothing is promised between 1.5 and 2.1
    assert fuse.holds(mark) == inf and fuse.holds(1.5 * mark) == 3600.0 and fuse.blows_within(2.05 * mark) is None
    assert fuse.holds(1.501 * mark) == pytest.approx(3600.0, rel=0.02)


def test_what_a_fuse_can_break() -> None:
    """L: 35 A or ten times the mark, the greater; H: 1500 A (facts: breaking_examples 2 A 35 A, 6.3 A 63 A)."""
    assert [Fuse(a, "T").breaks for a in (2.0, 6.3)] == [35.0, 63.0]
    assert Fuse(2.0, "T", "H").breaks == 1500.0


def test_longer_current_shorter_time_and_equal_i2t_beyond_ten_times() -> None:
    fuse = Fuse(1.0, "T")
    times = [fuse.holds(a) for a in np.geomspace(1.51, 40.0, 60)]
    assert all(a > b for a, b in zip(times, times[1:], strict=False))
    assert 20.0**2 * fuse.holds(20.0) == pytest.approx(30.0**2 * fuse.holds(30.0)) == pytest.approx(fuse.melts)


def test_marks_are_the_tenth_root_series() -> None:
    """R10 of ISO 3, two or three figures (facts: fuse.ratings): neighbours a tenth of a decade apart."""
    steps = [log10(b / a) for a, b in zip(RATINGS, RATINGS[1:], strict=False)]
    assert all(0.09 < s < 0.11 for s in steps) and len(RATINGS) == 24


def test_part_of_a_start_against_quadrature() -> None:
    """Amps that fall from 3 to 1 times the mark: dt over the time held, by scipy's quadrature; a half sine of the core's peak
    has half its square (facts: fuse.i2t, half_sine)."""
    fuse = Fuse(1.0, "T")
    t = np.linspace(0.0, 2.0, 4001)
    amps = 1.0 + 2.0 * np.exp(-t / 0.2)
    core_i2t = 3 * quad(lambda x: (8.0 * np.sin(2 * np.pi * 50 * x)) ** 2, 0.0, 0.01)[0]
    start = Inrush(t, amps, 1.0, 0.0, 0.0, (5.0, 8.0), core_i2t, 20.0)
    wanted = quad(lambda x: 1.0 / fuse.holds(1.0 + 2.0 * np.exp(-x / 0.2)), 0.0, 2.0, limit=200)[0]
    assert core_i2t == pytest.approx(3 * 0.5 * 64.0 * 0.01)
    assert start.used(fuse) == pytest.approx(wanted + core_i2t / (100.0 * 0.02), rel=1e-3)


def test_words_of_a_fault() -> None:
    fuse = Fuse(1.0, "T")
    said = [Blown("x", a, a, fuse.holds(a), fuse.blows_within(a)).text for a in (1.2, 1.8, 2.5, 12.0)]
    assert "does NOT blow" in said[0] and "may hold" in said[1] and "2 min" in said[2] and "300 ms" in said[3]


# -- heaters and life ------------------------------------------------------------------------------------------------
def test_what_has_been_said_of_heater_volts() -> None:
    """10 % over about halves a cathode's life (common practice); RCA of pure tungsten filaments: 5 % less doubles the life, 15 %
    less makes it almost tenfold (an advertisement quoted on a page); lamps: the 12th to 16th power (Fink and Beaty, as quoted on
    a page on lamp rerating)."""
    assert life(1.10).cathode == pytest.approx(0.5)
    assert 1.98 < 0.95**-LAMP_POWER < 2.02
    assert 8.0 < 0.85**-LAMP_POWER < 10.0
    assert 12.0 <= LAMP_POWER <= 16.0
    # 5 % good, 10 % the limit (facts: mains.history.heater_tolerance_pct)
    states = [life(x).state for x in (1.0, 1.05, 1.06, 1.10, 1.11, 0.95, 0.93, 0.89)]
    assert states == ["right", "a little high", "high", "high", "past the limit", "a little low", "low", "too low"]
    assert life(0.93).cathode is None  # nothing is gained


def test_heater_volts_are_solved_and_not_scaled(high: Today) -> None:
    """245/230 would make 6.75 V of 6.334: near, but heaters' and HT's own loads move. Facts (mains.history) scale; the figure must
    lie within 1 % of that and not on it."""
    scaled = high.at_mark.heaters["V1"][0] * 245.0 / 230.0
    solved = high.at_now.heaters["V1"][0]
    assert solved == pytest.approx(scaled, rel=0.01)
    assert abs(solved - scaled) > 1e-4


def test_ohms_in_a_heater_line_by_hand(high: Today) -> None:
    """Ohm's law around the line: what the winding's own volts lose in its copper and the two new resistors."""
    (d,) = heater_resistors(high)
    t1 = high.amplifier.parts["T1"]
    wound = [w for w in t1.windings if w.name.startswith("heat")]
    emf = sum(w.turns.value for w in wound) / high.mark * (high.at_now.primary_volts - high.at_now.mains_amps * 28.0)
    amps = 1.56 * (d.after) ** 0.6  # 0.2 + 0.76 + 0.6 A at 6.3 V (makers' sheets: EF86, EL84, EZ80)
    left = emf - amps * (sum(w.ohms.value for w in wound) + d.count * d.each)
    assert d.count == 2
    assert left == pytest.approx(6.3 * d.after, rel=0.006)  # the line's current lags: 0.6 %
    assert d.heat == pytest.approx(d.each * d.amps**2) and d.rated is not None and d.rated >= 2 * d.heat
    assert d.at.ht["HT1"] == pytest.approx(high.at_now.ht["HT1"], rel=0.005)  # it cures heaters alone


# -- ways ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("line", "primary", "volts", "out"), [(124.0, 120.0, 6.3, 117.49), (240.0, 230.0, 12.0, 227.478)]
)
def test_bucking_by_ratio(line: float, primary: float, volts: float, out: float) -> None:
    """V - Vs V / Vp (facts: mains.bucking). A winding's open volts stand above its mark by what its copper drops at its rated
    amps; loaded with them, the marked ratio is what is left."""
    ratio, ohms, rated = winding(volts, 20.0, primary)
    assert (ratio * primary - ohms * rated) == pytest.approx(volts)
    # turned against the mains its current flows backwards: at no load less, at rated load more than the mark
    assert line * (1.0 - ratio) < out == pytest.approx(line - line * volts / primary, abs=0.01)


def test_a_bucking_winding_by_hand(high: Today, found: tuple[Way, ...]) -> None:
    """What is left of the mains: (1 - n) V, less its copper's drop by the amplifier's own current."""
    for w in [w for w in found if w.kind == "bucking winding"]:
        left = high.now * (1.0 - w.buy["open_ratio"])
        assert left - w.buy["ohms"] * w.at.mains_amps <= w.at.primary_volts <= left
        assert w.buy["volt_amps"] >= 1.25 * w.buy["winding_volts"] * w.buy["carries_amps"]
        assert w.buy["carries_amps"] == pytest.approx(max(high.full.mains_amps, high.at_now.mains_amps))


def test_a_resistor_in_the_primary_by_hand(high: Today, found: tuple[Way, ...]) -> None:
    """Ohm's law with a lag: the part of the current that does work drops in line with the mains, the core's a quarter turn
    behind; the pulses' harmonics drop volts that no sine meter sees. Watts: R I2, and twice that for its rating."""
    lag = high.amplifier.parts["T1"].value("magnetising_amps")
    for w in [w for w in found if w.kind == "resistor in the primary"]:
        r = w.buy["ohms"]
        work = w.at.mains_watts / high.now
        assert w.at.primary_volts == pytest.approx(abs(high.now - r * (work - 1j * lag)), rel=0.002)
        assert w.buy["heat_watts"] == pytest.approx(r * max(w.at.mains_amps, w.full.mains_amps) ** 2)
        assert w.buy["rated_watts"] >= 2 * w.buy["heat_watts"]
        # less at a switch-on than straight from the mains, but most of it is still there: it is no cure for that
        before = next(h.volts for h in high.held if h.joint == "HT1")
        assert 0.9 * before < w.switch_on["HT1"] < before
        assert "switch-on" in w.not_cured[0]


def test_a_resistor_takes_more_from_ht_than_from_heaters(high: Today, found: tuple[Way, ...]) -> None:
    """HT is made of pulses, and a pulse's amps drop more across a resistor than a sine's of the same mean (textbook: the
    rectifier's effective resistance): with heaters as on the mark, HT stands below it; the other choice is the other way."""
    heaters, ht = [w for w in found if w.kind == "resistor in the primary"]
    assert heaters.at.heater_ratio == pytest.approx(high.at_mark.heater_ratio, rel=0.003)
    assert heaters.at.ht["HT1"] < 0.99 * high.at_mark.ht["HT1"]
    assert ht.at.ht["HT1"] == pytest.approx(high.at_mark.ht["HT1"], rel=0.005)
    assert ht.at.heater_ratio > high.at_mark.heater_ratio


def test_series_tried_is_e24() -> None:
    """IEC 60063, E24 between 91 and 160."""
    assert e24(90.0, 155.0) == [91.0, 100.0, 110.0, 120.0, 130.0, 150.0, 160.0]


def test_words_of_the_lamp_are_the_ladders() -> None:
    """One table for both (``devices.lamp.GLOW``)."""
    assert [glow(x) for x in (0.01, 0.1, 0.5, 0.9)] == ["dark", "dim", "half", "full"]


def test_no_first_half_cycle_passes_more_than_copper_lets_it(found: tuple[Way, ...]) -> None:
    """A saturated core gives no back emf: crest over copper (Ohm's law). 28 ohm of primary and 130 ohm."""
    w = next(w for w in found if w.kind == "resistor in the primary" and w.buy["ohms"] == 130.0)
    assert w.inrush == pytest.approx(sqrt(2.0) * 253.0 / (28.0 + 130.0), rel=1e-6)
