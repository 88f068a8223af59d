"""Ripple further out than the screens: what an electrolytic that was never soldered, or dried out, lets through."""

from math import hypot, pi
from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import Fault, load
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.virtual import Virtual
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.typed import typed_number

EXAMPLES = Path(__file__).parents[2] / "examples"
A, B, C = "a-linden-twin", "b-hazel-four", "c-sorrel-twenty"


def ladder(name: str) -> Ladder:
    return built(load(EXAMPLES / f"{name}.toml"), mode="fast")


def row(on: str, node: str) -> ExpectedReading:
    return ladder(on).expected.by_id[f"9/{node} ripple/shared"]


def shown(on: str, node: str, *faults: Fault) -> float:
    text = Virtual(ladder(on), faults).shows(row(on, node).id, 3600.0)
    return typed_number(text, "V", "here")


def test_every_node_that_a_capacitor_holds_has_its_ripple() -> None:
    for on, nodes in (
        (A, ("HT1", "HT2", "HT3", "HT4", "bias")),
        (B, ("HT1", "HT2", "HT3")),
        (C, ("HT1", "HT2", "HT3")),
    ):
        assert [r.id.split("/")[1] for r in ladder(on).expected.readings() if "ripple" in r.id and r.rung == "9"] == [
            f"{node} ripple" for node in nodes
        ]


def test_those_further_out_hold_nobody_up() -> None:
    for on, node in ((A, "HT3"), (A, "HT4"), (A, "bias"), (B, "HT3"), (C, "HT3")):
        assert not row(on, node).planned.needs
        assert row(on, node).stop_above is None
    assert row(B, "HT2").planned.needs


def test_a_section_lets_through_its_reactance_over_the_resistor_before_it() -> None:
    """Twice the mains through R2 into C2 (divider of a resistor and a capacitor, |Zc| / |R + Zc|), the valves' ohms behind it so much
    more than the capacitor's that they take nothing."""
    part = ladder(B).frame.amplifier.parts
    ohms, farads = part["R2"].value("ohms"), part["C2"].value("farads")
    reactance = 1.0 / (2 * pi * 100.0 * farads)
    share = reactance / hypot(ohms, reactance)
    assert row(B, "HT3").expected == pytest.approx(share * row(B, "HT2").expected, rel=0.1)


@pytest.mark.parametrize(
    ("on", "part", "node"), [(A, "C3a", "HT3"), (A, "C3b", "HT4"), (A, "C5", "bias"), (B, "C2", "HT3")]
)
def test_one_that_is_open_is_seen(on: str, part: str, node: str) -> None:
    """Nothing else on the ladder sees it: no dc moves."""
    reading = row(on, node)
    assert reading.high is not None
    assert shown(on, node, Fault(part, "open")) > 2.0 * reading.high
    assert reading.low <= shown(on, node) <= reading.high
