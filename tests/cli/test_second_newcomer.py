"""What a second newcomer found misleading (docs/evidence/readers/first-power-up-second-newcomer.md), each by its number."""

from pathlib import Path

import pytest

from at_hand import built, firstglow
from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.overloads import at_the_limit, past_ratings

ROOT = Path(__file__).parents[2]
B = ROOT / "examples" / "b-hazel-four.toml"
BACK = ROOT / "tests" / "data" / "back-bias.toml"
C = ROOT / "examples" / "c-sorrel-twenty.toml"


def test_no_rating_of_a_valve_that_lies_on_the_bench() -> None:
    """Number 9. The plate joint of the socket stands past the EL84's 300 V there, and the EL84 is not in it."""
    amplifier = load(B)
    situation = Situation(290.0, out=frozenset({"V1", "V2"}))
    over = past_ratings(amplifier, SolverPhysics(amplifier).standing(situation))
    assert {o.part for o in over} & {"V1", "V2"}
    told = firstglow("standing", str(B), "--out", "V1,V2", "--mains-now", "290").stdout
    assert "its plate stands" not in told
    assert "its screen stands" not in told


def test_a_valve_at_its_limit_as_drawn_is_a_finding() -> None:
    """Number 10. A limit of 300 V (EL84, maker's design-centre maximum of the plate) and a plate at 300 to 315 V."""
    from firstglow.readings.rated import section_of

    amplifier = load(B)
    most = section_of(amplifier.parts["V2"]).limits.plate_volts
    assert most == 300.0
    assert at_the_limit(amplifier, SolverPhysics(amplifier)) == ()
    text = B.read_text(encoding="utf-8")
    for volts in range(262, 320, 4):
        changed = load(text.replace('ht = "250-0-250V', f'ht = "{volts}-0-{volts}V'))
        physics = SolverPhysics(changed)
        stands = float(physics.standing(Situation(230.0)).part("V2")["plate_volts"][0])
        told = any("V2: its plate stands" in line for line in at_the_limit(changed, physics))
        assert told == (most < stands <= 1.05 * most), (volts, stands)
        if told:
            assert f"{stands:.4g} V as drawn, rated 300 V" in " ".join(at_the_limit(changed, physics))
            return
    pytest.fail("no winding brought the plate to its limit")


def test_no_rung_is_named_that_this_ladder_has_not() -> None:
    """Number 16. Without a loop there is no rung 8 to stop at."""
    text = B.read_text(encoding="utf-8")
    looped = text.replace('C1 = ["50+50u 450V"', 'C1 = ["50+50u 350V"')
    line = next(x for x in looped.splitlines() if 'link = "feedback"' in x)
    for source, last in ((looped, "8"), (looped.replace(line, ""), "7")):
        rungs = built(load(source), mode="fast").document
        ids = {r["id"] for r in rungs["rungs"]}
        told = [f for f in rungs["findings"] if "the ladder ends at rung" in f]
        assert told
        assert all(f"the ladder ends at rung {last}:" in f for f in told), told
        assert last == rungs["rungs"][-1]["id"]
        assert last in ids


def test_back_bias_speaks_of_no_cathode_resistor() -> None:
    """Review L6: V2's cathode goes to chassis by a wire."""
    amplifier = load(BACK)
    rung = next(r for r in built(amplifier, mode="fast").document["rungs"] if r["id"] == "3")
    said = " ".join([*rung["before"], rung["hold"]["text"]]).lower()
    assert "cathode" not in said
    assert "resistor in the ht return" in said
    own = next(r for r in built(load(B), mode="fast").document["rungs"] if r["id"] == "3")
    assert "cathode resistor" in " ".join(own["before"])


def test_a_choke_rings_at_switch_on_and_the_row_says_so() -> None:
    def checks(file: Path) -> str:
        rows = [
            r
            for g in built(load(file), mode="fast").document["rungs"]
            for r in g["readings"]
            if "cold start" in r["id"]
        ]
        assert rows
        return " ".join(text for r in rows for text in r["check_first"])

    assert "choke and capacitor ring" in checks(C)
    assert "choke" not in checks(B)


def test_meter_help_names_the_meters_that_are_always_there() -> None:
    assert "digital, 20k, 1k" in " ".join(firstglow("ladder", "--help").stdout.split())


def test_every_number_of_a_ladder_says_what_moves_it() -> None:
    """Review L21: the earth bond said nothing; it is the green and yellow wire that is read there."""
    for file, wire in ((ROOT / "examples" / "a-linden-twin.toml", "W0"), (B, "earth bond")):
        rows = [r for g in built(load(file), mode="fast").document["rungs"] for r in g["readings"]]
        silent = [r["id"] for r in rows if isinstance(r["expected"], float) and not r["moved_by"]]
        assert silent == []
        bond = next(r for r in rows if r["id"] == "0/earth bond/shared")
        assert bond["moved_by"] == [{"part": wire, "share": 1.0}]
