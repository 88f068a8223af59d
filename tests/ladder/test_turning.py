"""Presets turned under power: the rung that first asks for it names each, says which way, warns, and tells what else moves."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.idle import cathode_amps, solve_idle

EXAMPLES = Path(__file__).parents[2] / "examples"
CAUTION = "Turn a preset only through its own hole with a tool insulated for 1000 V, the other hand away"


@cache
def ladder() -> Ladder:
    return built(load(EXAMPLES / "a-linden-twin.toml"), mode="fast")


def rung(name: str) -> dict:
    return next(r for r in ladder().document["rungs"] if r["id"] == name)


def test_the_caution_stands_where_a_preset_is_first_turned_with_ht_on() -> None:
    """The first idle is set on rung 6a, with about 375 V on: a hand was sent in without a word."""
    first = next(r for r in ladder().document["rungs"] if any("cathode at half idle" in x["id"] for x in r["readings"]))
    assert first["id"] == "6a"
    assert any(text.startswith(CAUTION) for text in first["cautions"])
    for name in ("6a", "6b", "9"):
        assert any(
            "through its own hole with an insulated tool, the other hand away" in t for t in rung(name)["before"]
        )


def test_every_idle_says_which_preset_sets_it() -> None:
    """``set_by`` of the file; each channel has a P1 and a P2."""
    assert (
        "Idle set to V3 24 mA by left P1, V4 24 mA by left P2, V7 24 mA by right P1" in rung("9")["situation"]["text"]
    )
    row = next(r for r in rung("6a")["readings"] if r["id"] == "6a/V3 cathode at half idle/left")
    assert row["situation"] == {**row["situation"], "text": "Idle set to V3 12 mA by left P1, V4 12 mA by left P2."}


def test_the_way_is_away_from_the_most_negative_end() -> None:
    """End 1 of each preset is on the bias rail, as the example says ("end 1 of each is the negative end")."""
    told = next(t for t in rung("6b")["before"] if "until" in t)
    assert "turn right P1 until V7 draws 12 mA; turn right P2 until V8 draws 12 mA. More is toward end 2." in told
    assert "turn left P1 until V3 draws 12 mA" in told  # this rung began with every one at its most negative end


def test_what_turning_one_does_to_ht_and_to_the_other_valves() -> None:
    """Beside the same two states solved here, the other presets held where they stood (left P1 of rung 9, 12 to 24 mA).

    By hand: 12 mA more through a supply of some 300 ohm (74 of winding, 5V4G, primary) is some 4 V; 4 V less on a
    screen whose mu is about 10 count as 0.4 V on the grid, at about 3 mA/V some 1.2 mA less.
    """
    frame = ladder().frame
    at, circuit = frame.at_idle("9"), compile_circuit(frame.amplifier)
    laid = circuit.apply(np.array([[p.nominal] for p in circuit.parameters]), at)
    half = solve_idle(circuit, laid, {v: np.full(1, a / 2 if v == "V3" else a) for v, a in at.idle.items()})
    moved = at.but(pots={**at.pots, **{pot: float(x[0]) for pot, x in half.pots.items() if pot != "left P1"}})
    laid = circuit.apply(np.array([[p.nominal] for p in circuit.parameters]), moved)
    full = solve_idle(circuit, laid, {"V3": np.full(1, at.idle["V3"])})
    volts = float(half.standing.dc("HT1")[0] - full.standing.dc("HT1")[0])
    amps = float(cathode_amps(half.standing, "V4")[0] - cathode_amps(full.standing, "V4")[0])
    assert 2.0 < volts < 6.0
    assert 0.6e-3 < amps < 2.0e-3
    told = next(t for t in rung("9")["before"] if "alone" in t)
    assert told.endswith(
        f"from 12 to 24 mA: HT1 falls {volts:.2g} V; every other output valve {amps * 1e3:.2g} mA less."
    )


@pytest.mark.parametrize("name", ["c-sorrel-twenty"])
def test_nothing_is_said_of_presets_where_there_is_none(name: str) -> None:
    made = built(replace(load(EXAMPLES / f"{name}.toml")), mode="fast")
    said = [t for r in made.document["rungs"] for t in (*r["before"], *r["cautions"])]
    if any(v.pot for v in made.frame.roles.outputs):
        pytest.skip("it has presets")
    assert not [t for t in said if "preset" in t or "own hole" in t]
