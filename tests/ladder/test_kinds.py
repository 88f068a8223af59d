"""Kinds of LADDER 6: each is recognised where it is, nowhere else, changes what it must, and walks clean."""

from dataclasses import replace
from typing import Any

import pytest
from oddities import ODDITIES, oddity, triode_pentodes
from on_paper import ladder_on_paper
from paper import PaperPhysics
from topologies import PLAIN, build, topology

from firstglow.ladder.gear import Gear
from firstglow.ladder.kinds import kinds
from firstglow.ladder.plan import frame_of, plan_frame
from firstglow.ladder.walk import walk
from firstglow.ladder.words import texts
from firstglow.readings.probe import PlannedRung


def odd(kind: str) -> tuple[Any, dict[str, PlannedRung]]:
    amplifier = oddity(kind)
    frame = frame_of(amplifier, Gear(amplifier.mains_volts), PaperPhysics(amplifier))
    return frame, {r.id: r for r in plan_frame(frame)}


def every_line(rungs: dict[str, PlannedRung]) -> str:
    return " ".join(line for rung in rungs.values() for line in rung.before)


@pytest.mark.parametrize("kind", ODDITIES)
def test_an_oddity_is_recognised_said_and_walks_clean(kind: str) -> None:
    frame, rungs = odd(kind)
    assert kind in kinds(frame)
    for moment, lines in texts()["kind"][kind].items():
        if moment in ("cold", "early", "bias", "ht", "small", "output", "idle", "soak"):
            assert all(frame.words.say(line) in every_line(rungs) for line in lines), moment
    _, document = ladder_on_paper(frame.amplifier)
    assert walk(document, frame.amplifier, frame.physics) == ()


@pytest.mark.parametrize("block", range(4))
def test_topologies_are_the_kinds_they_were_built_as(block: int) -> None:
    for seed in range(25 * block, 25 * block + 25):
        choice, amplifier = topology(seed)
        frame = frame_of(amplifier, Gear(amplifier.mains_volts), PaperPhysics(amplifier))
        found = set(kinds(frame))
        asked = {
            "joined_rectifier": choice.rectifier == "joined",
            "direct_rectifier": choice.rectifier == "direct",
            "separate_rectifier": choice.rectifier == "separate",
            "silicon_ht": choice.rectifier in ("silicon", "bridge", "doubler"),
            "bridge": choice.rectifier == "bridge",
            "doubler": choice.rectifier == "doubler",
            "choke_input": choice.choke_input,
            "single_ended": choice.output == "single-ended",
            "ultralinear": choice.connection == "ultralinear" and choice.output == "push-pull",
            "triode_strapped": choice.connection == "strapped",
            "cathode_bias": choice.bias.startswith("cathode"),
            "mixed_bias": choice.bias == "mixed",
            "back_bias": choice.bias == "back",
            "no_pots": choice.bias == "fixed no pot",
            "no_loop": choice.loop == "none",
            "fixed_loop": choice.loop == "fixed",
            "lifted_heaters": choice.heaters == "lifted",
            "hum_pot": choice.heaters == "hum pot",
            "standby": choice.standby,
            "two_channels": choice.channels == 2 and choice.bias != "back",
        }
        for kind, there in asked.items():
            assert (kind in found) == there, (seed, kind, choice)


def test_followers_are_read_cold_warming_warm_and_pulled() -> None:
    _, rungs = odd("coupled_driver")
    found = [r.id.split("/")[1] for r in rungs["5"].readings if r.id.startswith("5/V3 grid")]
    assert sorted(found) == [
        "V3 grid at most negative",
        "V3 grid driver cold",
        "V3 grid driver pulled",
        "V3 grid driver warming",
    ]
    pulled = next(r for r in rungs["5"].readings if "driver pulled" in r.id)
    assert "V7" in pulled.situation.out
    assert {s.rule for s in pulled.stops} == {"bias safe"}
    assert pulled.id in rungs["5"].hold.needs


def test_balance_stands_in_the_middle() -> None:
    frame, rungs = odd("balance_pot")
    assert frame.negative_ends["P7"] == 0.5
    assert frame.negative_ends["P8"] in (0.0, 1.0)
    assert all(r.situation.pots["P7"] == 0.5 for r in rungs["5"].readings if "at most negative" in r.id)


def test_grounded_cathodes_are_read_by_the_half_primary() -> None:
    _, rungs = odd("grounded_cathode")
    names = [r.id.split("/")[1] for r in rungs["6"].readings]
    assert "V3 half primary drop" in names
    assert not any("cathode lamp" in n for n in names)
    assert [r.probe.quantity for r in rungs["1"].readings if r.id == "1/V3 cathode/shared"] == ["bond ohms"]


def test_every_positive_rail_is_opened() -> None:
    _, rungs = odd("several_rails")
    assert rungs["2a"].situation.lifted == {"D5 cathode"}
    assert not rungs["4"].situation.lifted
    assert {"3/screens off/shared", "3/HT raw off/shared"} <= {r.id for r in rungs["3"].readings}


def test_selenium_ht_is_opened_and_taken_slowly() -> None:
    _, rungs = odd("selenium_ht")
    assert rungs["2a"].situation.lifted == {"D1 cathode", "D2 cathode"}
    assert "4a" in rungs


def test_filaments_are_read_loaded_pin_to_pin() -> None:
    _, rungs = odd("direct_output")
    filament = next(r for r in rungs["6"].readings if r.id == "6/V3 heater pin to pin/shared")
    assert {s.rule for s in filament.stops} == {"heater"}
    assert filament.contact == "clip"


def test_dc_heaters_are_read_as_dc() -> None:
    _, rungs = odd("dc_heaters")
    kinds_read = {r.id.split("/")[1]: r.probe.kind for r in rungs["2b"].readings if "pin to pin" in r.id}
    assert kinds_read["V1 heater pin to pin"] == "dc volts"
    assert kinds_read["V3 heater pin to pin"] == "ac volts"


def test_sections_in_an_output_valves_glass_wait_for_it() -> None:
    amplifier = build(replace(PLAIN, output="single-ended", bias="cathode"), "Odd: triode-pentode", triode_pentodes)
    frame, document = ladder_on_paper(amplifier)
    assert walk(document, amplifier, frame.physics) == ()
    by_rung = {r["id"]: [x["id"].split("/")[1] for x in r["readings"]] for r in document["rungs"]}
    assert not [n for n in by_rung["5"] if n.startswith("V3t")]
    assert {"V3t plate", "V3t cathode"} <= set(by_rung["6"])
    assert any("shares its glass" in line for r in document["rungs"] for line in r["before"])


def test_a_capacitor_fed_bias_is_read_for_ac_too() -> None:
    _, rungs = odd("bias_capacitor")
    assert [r.probe.quantity for r in rungs["3"].readings if r.probe.kind == "ac volts"] == ["ripple volts"]
