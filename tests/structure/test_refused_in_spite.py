"""A set on the mains is refused in spite of other mistakes, and first; a misspelt primary is asked about, not refused."""

import pytest

from firstglow.amplifier import Amplifier, AmplifierError, load
from firstglow.amplifier.findings import findings
from firstglow.amplifier.model import Problem

HEAD = 'format = 1\namplifier = { name = "One", drawing = "own", mains = "230V 50Hz" }\n[parts]\n'
# three types without a law, their heaters in a string across the mains
STRING = (
    HEAD
    + """J0 = ["inlet", "line", "neutral", "earth"]
S1 = ["mains switch", "line", "sl"]
R0 = ["700R 50W", "sl", "h1"]
V1 = ["UCH21", { heater = ["h1", "h2"] }]
V3 = ["UY1N", { plate = "sl", cathode = "HT", heater = ["h2", "h3"] }]
V2 = ["UL84", { plate = "T2 plate a", cathode = "200R neutral", grid = "470k neutral", heater = ["h3", "neutral"] }]
T2 = ["output transformer 5k single-ended 6W", { taps = "8R", centre = "HT" }]
C1 = ["50u 350V", "HT", "neutral"]
"""
)
# one section not named, silicon straight from the line
SILICON = (
    HEAD
    + """J0 = ["inlet", "line", "neutral", "earth"]
V1 = ["12AX7", { heater = ["line", "h2"], plate = "220k HT", grid = "1M neutral", cathode = "2k2 neutral" }]
V2 = ["6V6GT", { plate = "T2 plate a", screen = "HT", cathode = "200R neutral", grid = "470k neutral", heater = ["h2", "neutral"] }]
D1 = ["1N4007", "line", "HT"]
T2 = ["output transformer 5k single-ended 6W", { taps = "8R", centre = "HT" }]
C1 = ["50u 350V", "HT", "neutral"]
"""
)
ONE = (
    HEAD
    + """T1 = ["mains transformer", { primary = "230V", ht = "200-0-200V 60m", heat = "6.3V 2A ct" }]
V2 = ["EZ80", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "HT" }]
C1 = ["32u 450V", "HT", "chassis"]
R1 = ["470k 1W", "HT", "chassis"]
V1 = ["EF86", { plate = "220k HT", screen = ["1M HT", "0.1u 400V chassis"], cathode = "2k2 chassis", grid = ["in", "1M chassis"] }]
"""
)


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(AmplifierError) as caught:
        load(text)
    return caught.value.problems


@pytest.mark.parametrize(("text", "own"), [(STRING, "no valve type"), (SILICON, "no section of the 12AX7")])
def test_a_set_on_the_mains_is_told_so_before_any_other_mistake(text: str, own: str) -> None:
    """Only "try EL84" and "try V1a" were told: each leads on with a live chassis."""
    found = problems(text)
    assert found[0].found == "no mains transformer"
    assert "licensed" in found[0].remedy
    assert any(own in p.found for p in found)


def test_what_reaches_the_mains_is_named_as_far_as_it_was_read() -> None:
    found = problems(SILICON)
    assert any("joined to a rectifier" in p.found and p.part == "D1 anode" for p in found)


@pytest.mark.parametrize("first", ["mains transfromer", "mains trafo", "nonsense"])
def test_a_transformer_that_could_not_be_read_is_no_missing_one(first: str) -> None:
    found = problems(ONE.replace("mains transformer", first))
    assert not any(p.found == "no mains transformer" for p in found), [p.text for p in found]


def test_a_winding_named_nearly_like_the_primary_is_asked_about() -> None:
    """ "primry": told first was "no mains transformer ... someone licensed for live-chassis sets"."""
    (found,) = problems(ONE.replace("primary =", "primry ="))
    assert "did you mean primary" in found.found
    assert found.line == 4
    (found,) = problems(ONE.replace("{ primary =", '{ primry = "230V", primary ='))
    assert "did you mean primary" in found.found


def spare(volts: str) -> Amplifier:
    return load(ONE.replace("{ primary =", f'{{ spare = "{volts} 0.1A", primary ='))


def test_a_winding_on_nothing_at_the_mains_own_volts_gets_a_word() -> None:
    (text,) = [t for t in findings(spare("230V")) if "mains' own volts" in t]
    assert text.startswith("T1 (line 4): its winding spare ")
    assert not [t for t in findings(spare("60V")) if "mains' own volts" in t]
