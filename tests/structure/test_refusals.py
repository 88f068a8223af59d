"""Sets refused outright, in both directions: every way the mains may reach a valve, and every good mains side.

What must be refused: any valve pin, rectifier or the chassis conductively joined to line or neutral, or no mains
transformer (project rule; live-chassis sets belong with someone licensed, common practice).
"""

import pytest

from builders import Builder, push_pull_fixed, single_ended_builder, single_ended_cathode
from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.checks import check_structure
from firstglow.amplifier.refusals import refusals
from firstglow.amplifier.roles import roles
from winding_builders import primary, tapped, winding


def joined(how: str) -> Builder:
    """A good single-ended set with one thing wrong."""
    b = single_ended_builder()
    match how:
        case "neutral wired to chassis":
            b.wire("WX", "neutral", "chassis")
        case "line to chassis through 1 Mohm":
            b.resistor("RX", "line", "chassis", 1e6)
        case "fused line to chassis through a lamp":
            b.add("LX", "lamp", {"1": "fused line", "2": "chassis"}, volts=230.0, amps=0.02)
        case "primary end on chassis":
            b.wire("WX", "T1 primary 2", "chassis")
        case "neutral to chassis through a pot":
            b.pot("PX", "neutral", "wiper", "nowhere", 1e4)
            b.resistor("RX", "wiper", "chassis", 1e3)
        case "neutral to chassis through a choke":
            b.choke("LX", "neutral", "chassis")
        case "neutral to chassis through a switch":
            b.switch("SX", "neutral", "chassis", "standby")
        case "neutral to chassis through two diodes":
            b.diode("DX", "neutral", "between")
            b.diode("DY", "chassis", "between")
        case "grid on the primary":
            b.resistor("RX", "T1 primary 2", "V1a plate", 1e6)
        case "chassis through a valve":
            b.triode("V9", "12AX7", "line", "V9 grid", "V9 cathode")
            b.resistor("RX", "V9 cathode", "V2 screen", 1e5)
            b.resistor("RY", "V9 grid", "chassis", 1e5)
        case "heaters on a tap of the primary":
            b.wire("WX", "T1 heat 1", "T1 primary 2")
        case "heater through a dropping capacitor":
            b.capacitor("CX", "line", "T1 heat 1", 4e-6, 400.0, "paper")
        case "secondary tied to the line through a fuse":
            b.fuse("FX", "fused line", "T1 ht 1")
        case "input jack on line":
            b.add("J9", "input", {"hot": "line", "ground": "J9 ground"})
            b.resistor("RX", "J9 ground", "chassis", 10.0)
        case "loudspeaker winding on neutral":
            b.wire("WX", "neutral", "T2 4")
        case _:
            raise AssertionError(how)
    return b


JOINED = {
    "neutral wired to chassis": "neutral (WX) - chassis",
    "line to chassis through 1 Mohm": "line (RX) - chassis",
    "fused line to chassis through a lamp": "line (F1) - fused line (LX) - chassis",
    "primary end on chassis": "neutral (neutral lead) - T1 primary 2 (WX) - chassis",
    "neutral to chassis through a pot": "neutral (PX) - wiper (RX) - chassis",
    "neutral to chassis through a choke": "neutral (LX) - chassis",
    "neutral to chassis through a switch": "neutral (SX) - chassis",
    "neutral to chassis through two diodes": "neutral (DX) - between (DY) - chassis",
    "grid on the primary": "neutral (neutral lead) - T1 primary 2 (RX) - V1a plate",
    "chassis through a valve": "line (V9) - V9 cathode (V9) - V9 grid (RY) - chassis",
    "heaters on a tap of the primary": "neutral (neutral lead) - T1 primary 2 (WX) - T1 heat 1",
    "heater through a dropping capacitor": "line (CX) - T1 heat 1",
    "secondary tied to the line through a fuse": "line (F1) - fused line (FX) - T1 ht 1",
    "input jack on line": "a terminal outside without a transformer between: line",
    "loudspeaker winding on neutral": "neutral (WX) - T2 4 (T2) - chassis",
}


@pytest.mark.parametrize("how", JOINED)
def test_every_conductive_part_joins_and_the_path_is_named(how: str) -> None:
    amplifier = joined(how).build()
    found = refusals(amplifier)
    assert any(JOINED[how] in p.found for p in found), [p.text for p in found]
    assert check_structure(amplifier) == found  # told, and nothing else with it
    assert all("licensed" in p.remedy and p.line >= 1 for p in found)


def transformerless() -> Builder:
    """Series heaters and a half-wave rectifier on the line, chassis on neutral through nothing: the worst of them."""
    b = Builder("Series string", 120.0, 60.0)
    b.add("inlet", "inlet", {"line": "line", "neutral": "neutral", "earth": "earth"})
    b.switch("S1", "line", "on", "mains")
    b.rectifier("V2", "6X4", "on", None, "HT1")
    b.capacitor("C1", "HT1", "neutral", 40e-6, 150.0)
    b.resistor("R1", "on", "string", 150.0)
    b.heater("V2", "6X4", "string", "string 2")
    b.heater("V1", "EL84", "string 2", "neutral")
    b.pentode("V1", "EL84", "T1 plate a", "V1 grid", "V1 cathode", "HT1")
    b.resistor("R2", "V1 grid", "neutral", 470e3)
    b.resistor("R3", "V1 cathode", "neutral", 150.0)
    return b


def test_a_transformerless_set_is_refused_for_everything_it_does() -> None:
    b = transformerless()
    b.output_transformer(
        "T1", (winding("plate a", "plate a", "centre", 20.0, 200.0, role="primary"),), {"centre": "HT1"}
    )
    found = refusals(b.build())
    words = " / ".join(p.found for p in found)
    assert "to a rectifier" in words
    assert "to a valve pin" in words
    assert "no mains transformer" in words


def test_ht_straight_from_the_mains_beside_a_heater_transformer() -> None:
    b = single_ended_builder()
    t1 = b.parts.pop("T1")
    heat = tuple(w for w in t1.windings if w.name.startswith(("primary", "heat")))
    b.transformer("T1", heat, {"heat ct": "chassis", "primary 1": "T1 primary 1"})
    del b.parts["V3"]
    b.diode("D1", "fused line", "HT1")
    (problem, *_) = [p for p in refusals(b.build()) if "rectifier" in p.found]
    assert problem.part == "D1 anode"
    assert "line (F1) - fused line" in problem.found


@pytest.mark.parametrize("fed", ["rectifier", "heaters"])
def test_an_autotransformer_is_refused(fed: str) -> None:
    """Its tap is conductively the mains, whatever the volts."""
    b = single_ended_builder()
    t1 = b.parts.pop("T1")
    auto = winding("primary b", "primary 2", "primary 3", 100.0, 5.0, role="primary")
    b.transformer("T1", (*t1.windings, auto), {"ht ct": "chassis", "heat ct": "chassis"})
    if fed == "rectifier":
        b.diode("D9", "T1 primary 3", "HT1")
    else:
        b.wire("W9", "T1 primary 3", "T1 heat 1")
    assert refusals(b.build())


def test_no_mains_transformer_but_a_choke_is_refused() -> None:
    b = Builder("No transformer")
    b.resistor("R1", "a", "chassis", 1e3)
    b.resistor("R2", "a", "chassis", 1e3)
    (problem,) = refusals(b.build())
    assert problem.found == "no mains transformer"


def test_an_isolating_autotransformer_pair_needs_a_secondary() -> None:
    """A transformer with primaries only isolates nothing."""
    b = Builder("Primaries only")
    b.mains_side()
    b.transformer("T1", (primary(230.0, 10.0),))
    assert [p.found for p in refusals(b.build())] == ["no mains transformer"]


# -- good mains sides ----------------------------------------------------------------------------------------------
def good(how: str) -> Builder:
    b = single_ended_builder()
    match how:
        case "as it is":
            pass
        case "class X across the mains":
            b.capacitor("CX", "fused line", "neutral", 0.1e-6, 275.0, "X2")
        case "class Y to chassis, both sides":
            b.capacitor("CX", "line", "chassis", 4.7e-9, 250.0, "Y2")
            b.capacitor("CY", "neutral", "chassis", 4.7e-9, 250.0, "Y")
        case "class Y between the windings":
            b.capacitor("CX", "T1 primary 1", "T1 heat 1", 2.2e-9, 250.0, "Y1")
        case "an old paper capacitor to chassis":
            b.capacitor("CX", "line", "chassis", 10e-9, 600.0, "paper")
        case "a neon on the mains":
            b.add("LX", "lamp", {"1": "fused line", "2": "neutral"}, volts=230.0, amps=0.002)
        case "a discharge resistor across the primary":
            b.resistor("RX", "T1 primary 1", "T1 primary 2", 470e3)
        case "two mains transformers":
            b.transformer(
                "T9",
                (primary(230.0, 50.0), *tapped("heat", 3.3, 0.1, 2.0)),
                {"primary 1": "T1 primary 1", "primary 2": "neutral", "heat ct": "chassis"},
            )
        case "a step-down autotransformer ahead of the primary":
            b.transformer(
                "T9",
                (
                    winding("primary a", "primary 1", "primary tap", 115.0, 3.0, role="primary"),
                    winding("primary b", "primary tap", "primary 2", 115.0, 3.0, role="primary"),
                    winding("spare", "spare 1", "spare 2", 10.0, 0.1),
                ),
                {"primary 1": "T1 primary 1", "primary 2": "neutral"},
            )
        case "no earth bond":
            del b.parts["earth bond"]
            b.resistor("RX", "earth", "chassis", 10.0)
        case _:
            raise AssertionError(how)
    return b


GOOD = (
    "as it is",
    "class X across the mains",
    "class Y to chassis, both sides",
    "class Y between the windings",
    "an old paper capacitor to chassis",
    "a neon on the mains",
    "a discharge resistor across the primary",
    "two mains transformers",
    "a step-down autotransformer ahead of the primary",
    "no earth bond",
)


@pytest.mark.parametrize("how", GOOD)
def test_a_good_mains_side_is_not_refused(how: str) -> None:
    amplifier = good(how).build()
    assert refusals(amplifier) == ()
    assert [p.text for p in check_structure(amplifier)] == []


def test_interference_capacitors_are_listed_with_their_class() -> None:
    found = roles(good("class Y to chassis, both sides").build()).interference
    assert [(c.part, c.across, c.safety) for c in found] == [("CX", "to chassis", True), ("CY", "to chassis", True)]
    (old,) = roles(good("an old paper capacitor to chassis").build()).interference
    assert (old.across, old.safety) == ("to chassis", False)
    (across,) = roles(good("class X across the mains").build()).interference
    assert (across.across, across.safety) == ("line to neutral", True)


def test_a_fragment_on_a_bench_supply_is_not_refused() -> None:
    b = Builder("One stage")
    b.add("B1", "supply", {"+": "HT", "-": "chassis"}, volts=250.0)
    b.resistor("R1", "HT", "V1a plate", 100e3)
    b.triode("V1a", "12AX7", "V1a plate", "V1a grid", "V1a cathode", "V1")
    b.resistor("R2", "V1a grid", "chassis", 1e6)
    b.resistor("R3", "V1a cathode", "chassis", 1.5e3)
    assert refusals(b.build()) == ()
    assert check_structure(b.build()) == ()


def test_the_two_complete_amplifiers_are_good() -> None:
    for amplifier in (push_pull_fixed(), single_ended_cathode()):
        assert check_structure(amplifier) == ()


SERIES_SET = """format = 1
amplifier = { name = "Series string", mains = "120V 60Hz" }
[parts]
S1 = ["mains switch", "line", "on"]
R1 = ["560R 20W", "on", "string"]
R2 = ["10R", "string 2", "neutral"]
V1 = ["EL84", { plate = "1k HT", screen = "HT", grid = "470k chassis", heater = ["string", "string 2"] }]
R3 = ["150R", "V1 cathode", "chassis"]
D1 = ["silicon 1A 1000V", "on", "HT"]
C1 = ["50u 200V", "HT", "chassis"]
W1 = ["wire", "neutral", "chassis"]
"""


def test_a_series_heater_file_is_refused_by_the_reader_with_its_lines() -> None:
    with pytest.raises(AmplifierError) as caught:
        load(SERIES_SET, name="series.toml")
    texts = [p.text for p in caught.value.problems]
    assert any(t.startswith("series.toml:") and "neutral (R2) - string 2" in t for t in texts), texts
    assert any("no mains transformer" in t for t in texts)
    assert any("neutral (W1) - chassis" in t for t in texts)
