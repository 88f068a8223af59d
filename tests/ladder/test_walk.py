"""The safety walk on hand-built amplifiers and random topologies, and the walk itself on planted violations.

The rules are the trade's (common practice; touch limits as IEC 62368-1 has them, from memory). The physics here is the
paper's: a resistor network that shares nothing with the solver.
"""

import copy
import random
from collections.abc import Callable, Mapping
from dataclasses import astuple
from functools import cache
from itertools import combinations
from typing import Any

import pytest
from on_paper import ladder_on_paper
from topologies import choose, topology

from builders import push_pull_fixed, single_ended_cathode
from firstglow.amplifier.situation import Situation
from firstglow.ladder.frame import Frame
from firstglow.ladder.walk import Walk, walk

Plant = Callable[[dict[str, Any]], None]
Row = Mapping[str, Any]


@pytest.fixture(autouse=True)
def read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each rule of the walk reads every printed situation anew, a third of these tests' time: each once a walk here."""
    really: Callable[[Walk, Row, Row | None], Situation] = Walk.situation
    kept: dict[tuple[int, int, int], tuple[Situation, Walk, Row, Row | None]] = {}

    def situation(on: Walk, rung: Row, reading: Row | None = None) -> Situation:
        key = id(on), id(rung), id(reading)
        if key not in kept:  # what it is of is held beside it: no other thing gets its number
            kept[key] = really(on, rung, reading), on, rung, reading
        return kept[key][0]

    monkeypatch.setattr(Walk, "situation", situation)


@cache
def on_paper() -> tuple[Frame, dict[str, Any]]:
    """What the violations are planted in."""
    return ladder_on_paper(push_pull_fixed())


def rung(document: dict[str, Any], name: str) -> dict[str, Any]:
    return next(r for r in document["rungs"] if r["id"] == name)


@pytest.mark.parametrize("make", [push_pull_fixed, single_ended_cathode])
def test_hand_built_amplifiers_walk_clean(make: Callable[[], Any]) -> None:
    frame, document = ladder_on_paper(make())
    assert walk(document, frame.amplifier, frame.physics) == ()


def of_every_two(seeds: range) -> list[int]:
    """So few of them that each two features which any of them joins (a doubler and back bias) stand together in one: one by
    one the one that has most that is new."""
    joined = {
        seed: set(combinations(enumerate(astuple(choose(random.Random(seed)))), 2))  # noqa: S311 (as ``topology`` has it)
        for seed in seeds
    }
    left, out = set[object]().union(*joined.values()), []
    while left:
        out.append(max(seeds, key=lambda seed: len(joined[seed] & left)))
        left -= joined[out[-1]]
    return out


OF_EVERY_TWO = of_every_two(range(200))


@pytest.mark.parametrize("block", range(4))
def test_topologies_with_every_two_features_of_two_hundred_walk_clean(block: int) -> None:
    assert 40 < len(OF_EVERY_TWO) < 80
    for seed in OF_EVERY_TWO[block::4]:
        choice, amplifier = topology(seed)
        frame, document = ladder_on_paper(amplifier)
        assert walk(document, amplifier, frame.physics) == (), choice


# ------------------------------------------------------------------------------------------ planted violations
def hands_in_under_power(d: dict[str, Any]) -> None:
    rung(d, "4")["hands_in"] = True


def no_make_safe(d: dict[str, Any]) -> None:
    rung(d, "5")["make_safe"]["needed"] = False


def made_safe_at_sixty_volts(d: dict[str, Any]) -> None:
    rung(d, "6")["make_safe"]["below_volts"] = 60.0


def no_tool(d: dict[str, Any]) -> None:
    rung(d, "6")["make_safe"]["ohms"] = None


def a_hand_on_the_plate(d: dict[str, Any]) -> None:
    reading = next(r for r in rung(d, "6")["readings"] if r["id"].startswith("6/V2 plate"))
    reading["contact"] = "one hand"


def a_hand_beside_the_plate(d: dict[str, Any]) -> None:
    """The cathode itself is near 0 V, but the plate is within a slip on the same socket."""
    reading = next(r for r in rung(d, "9")["readings"] if r["id"].startswith("9/V2 cathode"))
    reading["contact"] = "one hand"


def ohms_under_power(d: dict[str, Any]) -> None:
    reading = next(r for r in rung(d, "1")["readings"] if r["kind"] == "ohms")
    reading["situation"] = {"mains_volts": 230.0, "text": ""}


def past_the_meter(d: dict[str, Any]) -> None:
    next(r for r in rung(d, "4")["readings"] if r["id"].startswith("4/HT1"))["high"] = 1200.0


def dial_past_the_socket(d: dict[str, Any]) -> None:
    rung(d, "9")["situation"]["mains_volts"] = 240.0


def mains_before_its_hold(d: dict[str, Any]) -> None:
    rung(d, "1")["hold"]["signed"] = False


def ht_before_its_hold(d: dict[str, Any]) -> None:
    rung(d, "3")["hold"]["signed"] = False


def ht_on_with_the_transformer_alone(d: dict[str, Any]) -> None:
    situation = rung(d, "2b")["situation"]
    situation["out"] = [v for v in situation["out"] if v != "V4"]


def output_valves_a_rung_early(d: dict[str, Any]) -> None:
    rung(d, "5")["situation"]["out"] = []


def hold_three_without_the_grids(d: dict[str, Any]) -> None:
    hold = rung(d, "5")["hold"]
    hold["needs"] = [n for n in hold["needs"] if "V3 grid" not in n and "V3 coupling" not in n]


def hold_three_with_the_pot_elsewhere(d: dict[str, Any]) -> None:
    for reading in rung(d, "5")["readings"]:
        reading["situation"] = {"pots": {"P1": 1.0, "P2": 0.0}, "text": "P1 at end 2."}


def loop_closed_at_once(d: dict[str, Any]) -> None:
    rung(d, "6")["situation"]["feedback"] = "closed"


def polarity_never_needed(d: dict[str, Any]) -> None:
    rung(d, "7")["hold"]["needs"] = [n for n in rung(d, "7")["hold"]["needs"] if "polarity" not in n]


def small_test_resistor(d: dict[str, Any]) -> None:
    reading = next(r for r in rung(d, "7")["readings"] if "polarity" in r["id"])
    reading["situation"]["test_ohms"] = 1000.0


def no_load(d: dict[str, Any]) -> None:
    rung(d, "6")["situation"]["load"] = "none"


def touching_words(d: dict[str, Any]) -> None:
    rung(d, "4")["cautions"].append("It is now safe to touch the chassis.")


def no_lamp(d: dict[str, Any]) -> None:
    for reading in rung(d, "4")["readings"]:
        reading["situation"].pop("lamp_watts", None)


def a_need_of_later(d: dict[str, Any]) -> None:
    rung(d, "3")["hold"]["needs"].append(rung(d, "9")["readings"][0]["id"])


PLANTS: list[tuple[Plant, str]] = [
    (hands_in_under_power, "hands"), (no_make_safe, "hands"), (made_safe_at_sixty_volts, "hands"), (no_tool, "hands"),
    (a_hand_on_the_plate, "probes"), (a_hand_beside_the_plate, "probes"), (ohms_under_power, "probes"),
    (past_the_meter, "ratings"), (dial_past_the_socket, "dial"), (mains_before_its_hold, "holds"),
    (ht_before_its_hold, "holds"), (ht_on_with_the_transformer_alone, "holds"), (a_need_of_later, "holds"),
    (output_valves_a_rung_early, "bias first"), (hold_three_without_the_grids, "bias first"),
    (hold_three_with_the_pot_elsewhere, "bias first"), (loop_closed_at_once, "loop last"),
    (polarity_never_needed, "loop last"), (small_test_resistor, "loop last"), (no_load, "company"),
    (touching_words, "words"), (no_lamp, "lamp first"),
]  # fmt: skip


@pytest.mark.parametrize(("plant", "rule"), PLANTS, ids=[p.__name__ for p, _ in PLANTS])
def test_a_planted_violation_is_caught(plant: Plant, rule: str) -> None:
    frame, document = on_paper()
    sick = copy.deepcopy(document)
    plant(sick)
    assert rule in {v.rule for v in walk(sick, frame.amplifier, frame.physics)}


def test_a_dial_past_a_capacitor_is_caught() -> None:
    """A 350 V part where the full unloaded HT stands: only a lower dial may be printed."""
    from dataclasses import replace

    amplifier = push_pull_fixed()
    frame, document = ladder_on_paper(amplifier)
    c4 = amplifier.parts["C4"]
    weak = replace(c4, values={**c4.values, "volts": replace(c4.values["volts"], value=350.0)})
    swapped = replace(amplifier, parts={**amplifier.parts, "C4": weak})
    found = walk(document, swapped, frame.physics)
    assert {v.rule for v in found} == {"capacitors"}
    assert any(v.rung == "4" for v in found)


def test_partners_alone_and_half_a_back_bias_are_caught() -> None:
    for seed in range(400):
        choice, amplifier = topology(seed)
        if choice.bias == "back" and choice.output == "push-pull":
            break
    frame, document = ladder_on_paper(amplifier)
    assert walk(document, amplifier, frame.physics) == ()
    six = rung(document, "6")
    one = frame.envelope(frame.roles.outputs[0].valve)
    six["situation"]["out"] = [one]
    assert "company" in {v.rule for v in walk(document, amplifier, frame.physics)}


def test_both_channels_at_once_is_caught() -> None:
    for seed in range(400):
        choice, amplifier = topology(seed)
        if choice.channels == 2 and choice.bias != "back":
            break
    frame, document = ladder_on_paper(amplifier)
    first, second = rung(document, "6a"), rung(document, "6b")
    first["situation"] = second["situation"]
    assert "company" in {v.rule for v in walk(document, amplifier, frame.physics)}
