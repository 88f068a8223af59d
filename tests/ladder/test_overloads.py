"""A value typed wrong, a rating too small: named before any power, by part, figures and remedy.

Ohm's law and the valve makers' heater amps (data sheets) say what must be found; ratings are those of the file.
"""

from pathlib import Path

import pytest
from test_plan import EXAMPLES

from drawn import HEAD, stage
from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.gear import Gear
from firstglow.ladder.overloads import Overload, as_it_stands, overloads
from firstglow.ladder.plan import frame_of, plan_frame

A, B, C = EXAMPLES


def planted(path: Path, old: str, new: str) -> dict[str, Overload]:
    text = path.read_text(encoding="utf-8")
    assert old in text
    return {o.part: o for o in overloads(load(text.replace(old, new)))}


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.name[0])
def test_the_examples_ask_too_much_of_nothing(path: Path) -> None:
    assert overloads(load(path)) == ()


@pytest.mark.parametrize(
    ("path", "old", "new", "winding", "valve", "bleeder"),
    [
        (A, "220k 2W 5%", "1R 2W 5%", "T1 ht a and ht b", "V9", "R1 (1 Ω)"),
        (B, "220k 2W 10%", "1R 2W 10%", "T1 ht a and ht b", "V3", "R3 (1 Ω)"),
        (C, "150k 3W 5%", "1R5 3W 5%", "T1 ht", "D1", "R1 (1.5 Ω)"),
    ],
)
def test_one_ohm_typed_for_a_bleeder(path: Path, old: str, new: str, winding: str, valve: str, bleeder: str) -> None:
    found = planted(path, old, new)
    assert bleeder in found[winding].text
    assert bleeder in found[valve].text
    assert found[winding].value > 3 * found[winding].limit  # next to a short: only the winding itself limits it


def test_a_resistor_past_its_watts_by_ohms_law() -> None:
    text = A.read_text(encoding="utf-8").replace("1k5 3W 5%", "1k5 0.15W 5%")
    amplifier = load(text)
    physics = SolverPhysics(amplifier)
    standing = physics.standing(as_it_stands(amplifier))
    drop = float((standing.dc("HT2") - standing.dc("HT3"))[0])
    (found,) = overloads(amplifier, physics)
    assert found.part == "R2"
    assert found.value == pytest.approx(drop**2 / 1500.0, rel=1e-3)
    assert found.limit == 0.15
    assert "1500 Ω" in found.text


def test_a_heater_winding_past_its_amps() -> None:
    """Two EL34 of 1.5 A and a 12AX7 of 0.3 A at 6.3 V (makers' data sheets): 3.3 A on a winding for 2 A."""
    (found,) = planted(C, "4A ct", "2A ct").values()
    assert found.part == "T1 heat a and heat b"
    assert found.value == pytest.approx(3.3, rel=0.02)


def test_a_cathode_resistor_ten_times_too_small_overloads_its_valve() -> None:
    """EL84: 12 W at its plate, 65 mA cathode (Philips data handbook)."""
    text = B.read_text(encoding="utf-8").replace("240R 2W", "24R 2W")
    every = overloads(load(text))
    mine = {o.what: o for o in every if o.part == "V2"}
    assert mine["its plate takes"].limit == 12.0
    assert mine["its cathode gives"].limit == pytest.approx(0.065)
    ranks = [o.value / o.limit for o in every]
    assert ranks == sorted(ranks, reverse=True)


def test_a_capacitor_and_a_choke() -> None:
    capacitor = planted(C, "100u 63V", "100u 16V")
    assert capacitor["C8"].value == pytest.approx(26.7, rel=0.02)  # the file's head: cathodes near 27 V
    choke = planted(C, "choke 5H 200m", "choke 5H 80m")
    assert choke["L1"].limit == 0.08


@pytest.mark.parametrize(
    ("path", "old", "new", "last", "part"),
    [
        (B, "220k 2W 10%", "1R 2W 10%", "3", "R3"),
        (C, "150k 3W 5%", "1R5 3W 5%", "3", "R1"),
        (A, "24m", "24m", "10", ""),
    ],
)
def test_no_rung_is_printed_that_would_pass_twice_a_rating(
    path: Path, old: str, new: str, last: str, part: str
) -> None:
    amplifier = load(path.read_text(encoding="utf-8").replace(old, new))
    physics = SolverPhysics(amplifier)
    frame = frame_of(amplifier, Gear(amplifier.mains_volts), physics, overloads(amplifier, physics))
    rungs = plan_frame(frame)
    assert rungs[-1].id == last
    assert part in rungs[-1].hold.text
    assert rungs[-1].hold.signed is (last == "10")
    assert sum("OVERLOAD" in line for line in frame.findings) >= (last != "10")


def test_a_follower_onto_a_negative_rail_stands_on_its_heater_while_it_is_cold() -> None:
    """Its cathode is held up by its own current alone: cold it stands at the rail, 100k away with nothing flowing, and the heater at
    chassis; the 12AU7's 200 V (data sheet) are passed there, and by 30 V warm they are not."""
    bias = """D8 = ["silicon 1A 1000V", "NEG", "T1 neg 1"]
C18 = ["47u 450V", "chassis", "NEG"]
V9a = ["12AU7", { plate = "HT1", grid = "1M chassis", cathode = "150k 2W NEG", heater = "T1 heat" }]
"""
    ht = """T1 = ["mains transformer", WINDINGS, HEATS]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
C1 = ["47u 450V", "HT1", "chassis"]
""".replace("HEATS", '{ heat = "6.3V 3A", "heat 2" = "chassis" }')
    windings = '{ primary = "230V", ht = "200V 90m", "ht 2" = "chassis", neg = "250V 50m", "neg 2" = "chassis" }'
    ht = ht.replace("WINDINGS", windings)
    amplifier = load(HEAD + ht + bias + stage())
    (found,) = [o for o in overloads(amplifier) if o.part.startswith("V9")]
    drawing_nothing = Situation(230.0, out=frozenset({"V2", "V9"}))
    rail = float(SolverPhysics(amplifier).standing(drawing_nothing).dc("NEG")[0])
    assert found.value == pytest.approx(-rail, rel=0.001)
    assert found.limit == 200.0
    assert "heater to cathode, at every cold start" in found.text
