"""Rows read on a low dial before it goes up: their stops are those of full mains in proportion to the dial."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from topologies import PLAIN, build

from at_hand import built
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Fault
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.gear import Gear
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.plan import plan
from firstglow.readings.asked import Block, Cast
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.observe import Observer

EXAMPLES = Path(__file__).parents[2] / "examples"
BRIDGE, FIXED = "c-sorrel-twenty", "a-linden-twin"


@cache
def amplifier(name: str) -> Amplifier:
    return load(EXAMPLES / f"{name}.toml")


@cache
def ladder(name: str) -> Ladder:
    return built(amplifier(name), meter="digital", mode="fast")


def rows(name: str, start: str) -> list[ExpectedReading]:
    return [r for r in ladder(name).expected.readings() if r.id.startswith(start)]


def nodes() -> list[ExpectedReading]:
    return rows(BRIDGE, "4a/HT")


def test_ht_at_a_tenth_of_the_dial_stops_at_a_tenth_of_the_rating() -> None:
    """550 V parts at 12 of 120 V: 55 V, less what the meter takes through 22 kohm (0.2 %)."""
    assert len(nodes()) == 3
    for r in nodes():
        share = r.planned.situation.mains_volts / amplifier(BRIDGE).mains_volts
        assert r.stop_above is not None and r.high is not None
        assert r.stop_above.limit == pytest.approx(550.0 * share, rel=5e-3)
        assert r.high < r.stop_above.limit
        assert not r.stop_above.cut


def test_full_dial_keeps_the_full_rating() -> None:
    found = [r for r in rows(BRIDGE, "4/HT") if r.stop_above is not None and "fall" not in r.id]
    assert found
    assert all(r.stop_above is not None and r.stop_above.limit > 540.0 for r in found)


def test_a_lamp_bench_at_full_mains_keeps_the_full_rating() -> None:
    a = amplifier(BRIDGE)
    rungs = plan(a, Gear(a.mains_volts, variable_transformer=False), SolverPhysics(a))
    limits = [s.limit for rung in rungs for r in rung.readings for s in r.stops if s.rule == "capacitor volts"]
    assert limits
    assert set(limits) == {None}


@pytest.mark.parametrize("mode", ["shorted", "reversed"])
def test_one_diode_of_the_bridge_is_a_switch_off_at_the_first_turn(mode: str) -> None:
    """Shorted it leaves one half wave without its reservoir, about half the volts; reversed it shorts the winding."""
    observer = Observer(amplifier(BRIDGE))
    for r in nodes():
        block = Block("x", r.planned.situation, (r.planned,))
        sick = observer.see([block], Cast(observer.nominal, each=((Fault("D1", mode),),)))
        shown = float(sick.values[r.id][0])
        assert r.stop_below is not None and r.low is not None
        assert shown < r.stop_below.limit - 1.0
        assert r.stop_below.limit < r.low


def test_the_bias_at_the_first_dial_too() -> None:
    (early,) = rows(FIXED, "2a/bias raw reservoir/")
    (later,) = rows(FIXED, "3/bias raw reservoir/")
    share = early.planned.situation.mains_volts / amplifier(FIXED).mains_volts
    assert early.stop_below is not None and later.stop_below is not None
    assert early.stop_below.limit == pytest.approx(share * later.stop_below.limit, rel=0.01)


@pytest.mark.parametrize("rectifier", ["silicon", "bridge", "doubler"])
def test_no_kind_has_more_at_a_low_dial_than_in_proportion(rectifier: str) -> None:
    a = build(replace(PLAIN, rectifier=rectifier), "By kind")
    rungs = plan(a, Gear(a.mains_volts), SolverPhysics(a))
    early = [r for rung in rungs if rung.id in ("2a", "4a") for r in rung.readings]
    rules = [(r, s) for r in early for s in r.stops if s.rule == "capacitor volts"]
    assert any(r.id.startswith("4a/") for r, _ in rules)
    for r, rule in rules:
        assert rule.limit is not None and rule.limit < 1.0, r.id
