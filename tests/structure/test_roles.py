"""Roles in circuits the random amplifiers do not have, each small and drawn by hand."""

import random
import time
from dataclasses import replace

import pytest

from builders import Builder, push_pull_builder, push_pull_fixed, single_ended_builder
from firstglow.amplifier.checks import check_structure
from firstglow.amplifier.drawn_loops import settle_links
from firstglow.amplifier.model import Amplifier, Joint
from firstglow.amplifier.roles import roles
from structure.topologies import topology
from winding_builders import primary, tapped, winding


def moved(b: Builder, part: str, **leads: str) -> None:
    """Put leads on other joints; ``one`` and ``two`` stand for "1" and "2"."""
    names = {"one": "1", "two": "2"}
    b.parts[part] = replace(
        b.parts[part], leads={**b.parts[part].leads, **{names.get(k, k): v for k, v in leads.items()}}
    )


def resized(b: Builder, part: str, ohms: float, test: bool = False) -> None:
    p = b.parts[part]
    words = {**p.words, "test": True} if test else {k: v for k, v in p.words.items() if k != "test"}
    b.parts[part] = replace(p, values={**p.values, "ohms": replace(p.values["ohms"], value=ohms)}, words=words)


# -- sense resistor or cathode bias: up to about 20 ohm, over 50 ohm, between them the grid decides (common practice) --
@pytest.mark.parametrize(
    ("ohms", "sense"), [(1.0, True), (10.0, True), (20.0, True), (33.0, True), (47.0, True), (100.0, False)]
)
def test_cathode_resistor_under_a_grid_on_a_negative_rail(ohms: float, sense: bool) -> None:
    b = push_pull_builder()
    resized(b, "R20", ohms)
    v = roles(b.build()).output("V2")
    assert (v.sense, v.cathode_resistor, v.bias) == (("R20", None, "fixed") if sense else (None, "R20", "mixed"))


@pytest.mark.parametrize(("ohms", "bias"), [(1.0, "none"), (20.0, "none"), (33.0, "cathode"), (150.0, "cathode")])
def test_cathode_resistor_under_a_grid_on_chassis(ohms: float, bias: str) -> None:
    b = single_ended_builder()
    resized(b, "R12", ohms)
    v = roles(b.build()).output("V2")
    assert v.bias == bias
    assert v.sense == ("R12" if bias == "none" else None)
    assert bool(check_structure(b.build())) == (bias == "none")


def test_a_hundred_ohms_marked_test_is_a_sense_resistor_where_the_grid_is_negative() -> None:
    b = push_pull_builder()
    resized(b, "R20", 100.0, test=True)
    assert roles(b.build()).output("V2").sense == "R20"


def test_sense_resistors_above_one_shared_cathode_resistor() -> None:
    b = push_pull_builder()
    for n, valve in ((20, "V2"), (21, "V3")):
        moved(b, f"R{n}", two="cathodes")
        moved(b, f"R{n - 8}", two="chassis")
        moved(b, f"P{n - 19}", wiper="bias")
        assert valve
    b.resistor("R30", "cathodes", "chassis", 120.0)
    b.capacitor("C30", "cathodes", "chassis", 220e-6, 50.0)
    v, w = roles(b.build()).outputs
    assert (v.bias, v.sense, v.cathode_resistor, v.bypass, v.shares_cathode) == (
        "cathode",
        "R20",
        "R30",
        "C30",
        ("V3",),
    )
    assert (w.sense, w.shares_cathode) == ("R21", ("V2",))


def test_a_pot_from_cathode_to_cathode_balances_them() -> None:
    b = push_pull_builder()
    moved(b, "R20", two="left end")
    moved(b, "R21", two="right end")
    b.pot("P9", "left end", "chassis", "right end", 20.0)
    found = roles(b.build())
    assert {p.pot: (p.kind, set(p.valves)) for p in found.pots}["P9"] == ("cathode balance", {"V2", "V3"})
    assert found.output("V2").sense == "R20"


def test_a_rheostat_that_sets_the_bias() -> None:
    """Wiper tied to end 2: the pot is the lower resistor of the divider, most negative with all of it in."""
    b = push_pull_builder()
    del b.parts["P1"]
    b.resistor("R31", "bias", "V2 bias node", 10e3)
    b.pot("P1", "V2 bias node", "bias foot 1", "bias foot 1", 25e3)
    found = roles(b.build())
    (pot,) = [p for p in found.pots if p.pot == "P1"]
    assert (pot.kind, pot.valves, pot.negative_end) == ("bias", ("V2",), 1.0)
    assert found.output("V2").pot == "P1"


def test_a_pot_turned_round_has_its_negative_end_at_the_other_side() -> None:
    b = push_pull_builder()
    leads = b.parts["P1"].leads
    b.parts["P1"] = replace(
        b.parts["P1"], leads={"end 1": leads["end 2"], "wiper": leads["wiper"], "end 2": leads["end 1"]}
    )
    ends = {p.pot: p.negative_end for p in roles(b.build()).pots}
    assert ends == {"P1": 1.0, "P2": 0.0}


# -- direct coupling -------------------------------------------------------------------------------------------------
def test_an_output_grid_on_a_plate_is_driven_directly() -> None:
    b = single_ended_builder()
    del b.parts["C6"], b.parts["R9"]
    moved(b, "R10", one="V1b plate")
    moved(b, "R12", two="chassis")
    resized(b, "R12", 4.7e3)
    found = roles(b.build())
    v = found.output("V2")
    assert (v.driver, v.coupling, v.driven_by, v.bias) == ("V1b", (), ("V1b",), "cathode")
    assert check_structure(b.build()) == ()


def test_stacked_triodes_stand_together() -> None:
    """Two triodes on top of each other: the upper's cathode stands on the lower's plate through a resistor."""
    b = single_ended_builder()
    b.triode("V4a", "6SN7GTB", "V4a plate", "V4a grid", "V4a cathode", "V4")
    b.triode("V4b", "6SN7GTB", "HT3", "V4a plate", "V4b cathode", "V4")
    b.heater("V4", "6SN7GTB", "T1 heat 1", "T1 heat 2")
    b.resistor("R40", "V4b cathode", "V4a plate", 1e3)
    b.resistor("R41", "V4a cathode", "chassis", 1e3)
    b.resistor("R42", "V4a grid", "chassis", 1e6)
    found = roles(b.build())
    assert ("V4a", "V4b") in found.chains
    assert check_structure(b.build()) == ()


def test_cascode() -> None:
    b = single_ended_builder()
    b.triode("V4a", "6SN7GTB", "middle", "V4a grid", "V4a cathode", "V4")
    b.triode("V4b", "6SN7GTB", "V4b plate", "V4b grid", "middle", "V4")
    b.heater("V4", "6SN7GTB", "T1 heat 1", "T1 heat 2")
    for name, a, c, ohms in (
        ("R40", "HT3", "V4b plate", 100e3), ("R41", "V4a cathode", "chassis", 1e3), ("R42", "V4a grid", "chassis", 1e6),
        ("R43", "HT3", "V4b grid", 470e3), ("R44", "V4b grid", "chassis", 220e3),
    ):  # fmt: skip
        b.resistor(name, a, c, ohms)
    found = {s.valve: s for s in roles(b.build()).smalls}
    assert (found["V4a"].duty, found["V4b"].duty) == ("cascode", "cascode")
    assert found["V4a"].direct_coupled_to == ("V4b",)
    assert check_structure(b.build()) == ()


def test_a_long_tailed_pair_on_a_negative_rail() -> None:
    b = push_pull_builder()
    b.triode("V5a", "12AU7", "V5a plate", "V5a grid", "tail", "V5")
    b.triode("V5b", "12AU7", "V5b plate", "V5b grid", "tail", "V5")
    b.heater("V5", "12AU7", "T1 heat 1", "T1 heat 1", "T1 heat 2")
    b.resistor("R50", "tail", "bias", 22e3)
    for n, side in enumerate("ab"):
        b.resistor(f"R5{n + 1}", "HT3", f"V5{side} plate", 47e3)
        b.resistor(f"R5{n + 3}", f"V5{side} grid", "chassis", 1e6)
    found = roles(b.build())
    assert {s.duty for s in found.smalls if s.envelope == "V5"} == {"long-tailed pair"}
    assert ("V5a", "V5b") in found.chains
    assert [s.use for s in found.supplies] == ["ht", "bias"]
    assert check_structure(b.build()) == ()


def test_stages_joined_by_capacitors_share_no_dc() -> None:
    assert roles(single_ended_builder().build()).chains == ()


# -- loops -----------------------------------------------------------------------------------------------------------
def test_a_loop_through_a_wire_that_is_the_link() -> None:
    b = push_pull_builder()
    moved(b, "R22", one="loop lead")
    b.links.clear()
    b.parts["R22"] = replace(b.parts["R22"], words={})
    b.wire("W9", "loudspeaker hot", "loop lead", link="nfb")
    amplifier = settle_links(b.build(), {})  # as the reader does: the name says nothing, the place everything
    assert [(k.lead, k.tie, k.feedback) for k in amplifier.links.values()] == [("1", "chassis", True)]
    (loop,) = roles(amplifier).loops
    assert (loop.link, loop.source, loop.resistor, set(loop.parts)) == ("nfb", "loudspeaker hot", "R22", {"R22", "W9"})


def test_a_presence_control_is_a_branch_to_chassis_not_a_loop_of_its_own() -> None:
    b = push_pull_builder()
    moved(b, "R22", two="foot")
    moved(b, "R9", two="foot")
    b.resistor("R60", "foot", "chassis", 4.7e3)
    b.pot("P9", "foot", "presence", "chassis", 5e3)
    b.capacitor("C60", "presence", "chassis", 0.1e-6, 100.0, "film")
    loops = roles(b.build()).loops
    assert [(x.target, x.parts) for x in loops] == [("foot", ("R22",))]


def test_a_loop_from_a_winding_of_its_own() -> None:
    b = push_pull_builder()
    t2 = b.parts.pop("T2")
    own = winding("feedback", "feedback 1", "feedback 2", 0.5, 0.3)
    b.output_transformer(
        "T2", (*t2.windings, own), {**t2.leads, "feedback 2": "chassis", "feedback 1": "T2 feedback 1"}
    )
    moved(b, "R22", one="T2 feedback 1")
    (loop,) = roles(b.build()).loops
    assert (loop.kind, loop.source, loop.link) == ("loudspeaker", "T2 feedback 1", "feedback")


def test_no_loop_where_nothing_comes_back() -> None:
    assert roles(single_ended_builder().build()).loops == ()


# -- heaters ---------------------------------------------------------------------------------------------------------
def test_heaters_lifted_on_the_output_cathode() -> None:
    b = single_ended_builder()
    t1 = b.parts["T1"]
    b.parts["T1"] = replace(t1, leads={**t1.leads, "heat ct": "V2 cathode"})
    (line,) = roles(b.build()).heater_windings
    assert (line.reference, line.reference_joint) == ("lifted", "V2 cathode")
    assert check_structure(b.build()) == ()


def test_a_filament_with_its_winding_tap_on_the_cathode_resistor() -> None:
    b = Builder("Filament")
    b.mains_side()
    windings = (
        primary(230.0, 10.0),
        *tapped("ht", 300.0, 60.0),
        *tapped("fil", 1.3, 0.02),
        winding("rect", "rect 1", "rect 2", 5.3, 0.1),
    )
    b.transformer("T1", windings, {"ht ct": "chassis", "fil ct": "under", "rect 1": "HT1"})
    b.rectifier("V2", "5U4G", "T1 ht 1", "T1 ht 2", "HT1")
    b.heater("V2", "5U4G", "HT1", "T1 rect 2")
    b.capacitor("C1", "HT1", "chassis", 47e-6, 500.0)
    b.triode("V1", "2A3", "T2 plate a", "V1 grid", "T1 fil 1")
    b.heater("V1", "2A3", "T1 fil 1", "T1 fil 2")
    b.resistor("R1", "V1 grid", "chassis", 100e3)
    b.resistor("R2", "under", "chassis", 750.0)
    b.capacitor("C2", "under", "chassis", 100e-6, 100.0)
    half = winding("plate a", "plate a", "centre", 20.0, 200.0, role="primary")
    b.output_transformer(
        "T2", (half, winding("secondary 8", "8", "common", 1.0, 0.3)), {"centre": "HT1", "common": "chassis"}
    )
    b.load("T2 8", "chassis")
    found = roles(b.build())
    v = found.output("V1")
    assert (v.bias, v.cathode_resistor, v.bypass, v.connection) == ("cathode", "R2", "C2", "triode")
    assert {w.name: w.reference for w in found.heater_windings} == {"T1 fil": "at cathode", "T1 rect": "at HT"}
    assert check_structure(b.build()) == ()


# -- inputs, fragments, gas tubes --------------------------------------------------------------------------------------
def test_two_inputs_mixed_reach_the_same_grid() -> None:
    b = push_pull_builder()
    b.input("second", "input 2")
    b.capacitor("C50", "second", "second 2", 0.1e-6, 100.0, "film")
    b.resistor("R50", "second 2", "V1a grid", 100e3)
    assert [(i.part, i.section) for i in roles(b.build()).inputs] == [("input", "V1a"), ("input 2", "V1a")]


def test_rails_of_a_fragment_on_bench_supplies() -> None:
    b = Builder("Fragment")
    b.add("B1", "supply", {"+": "HT", "-": "chassis"}, volts=300.0)
    b.add("B2", "supply", {"+": "chassis", "-": "C minus"}, volts=20.0)
    b.resistor("R1", "HT", "HT2", 10e3)
    b.capacitor("C1", "HT2", "chassis", 10e-6)
    b.resistor("R2", "HT2", "V1 plate", 100e3)
    b.triode("V1", "12AX7", "V1 plate", "V1 grid", "chassis")
    b.resistor("R3", "V1 grid", "C minus", 1e6)
    found = roles(b.build())
    assert found.rails == ("HT",)
    assert [(n.joint, n.before, n.ohms) for n in found.ht_nodes] == [("HT", None, 0.0), ("HT2", "HT", 10e3)]
    (s,) = found.smalls
    assert (s.plate_load, s.feed, s.grid_leak, s.leak_joint) == (("R2",), "HT2", "R3", "C minus")
    assert check_structure(b.build()) == ()


def test_two_gas_tubes_in_series_hold_two_joints() -> None:
    b = push_pull_builder()
    b.resistor("R60", "HT1", "held 300", 3.3e3)
    b.add("V8", "gas tube", {"anode": "held 300", "cathode": "held 150"}, "0A2")
    b.add("V9", "gas tube", {"anode": "held 150", "cathode": "chassis"}, "0A2")
    for n in (16, 17):
        moved(b, f"R{n}", one="held 300")
    found = roles(b.build())
    upper = found.gas_tubes[0]
    assert (upper.part, upper.feed, set(upper.holds)) == ("V8", ("R60",), {"V2", "V3"})
    assert {n.joint: n.gas_tube for n in found.ht_nodes}["held 300"] == "V8"
    assert {v.screen_joint for v in found.outputs} == {"held 300"}
    assert check_structure(b.build()) == ()


# -- it must read anything, and soon -----------------------------------------------------------------------------------
def spoilt(amplifier: Amplifier, rng: random.Random) -> Amplifier:
    """Parts taken out at random and leads put on other joints: a drawing half done."""
    parts = {n: p for n, p in amplifier.parts.items() if rng.random() > 0.06}
    joints = list(amplifier.joints)
    for name in rng.sample(list(parts), 6):
        p = parts[name]
        lead = rng.choice(list(p.leads))
        parts[name] = replace(p, leads={**p.leads, lead: rng.choice(joints)})
    terminals: dict[str, list[str]] = {}
    for p in parts.values():
        for lead, joint in p.leads.items():
            terminals.setdefault(joint, []).append(f"{p.name} {lead}")
    rest = {j: Joint(j, tuple(t)) for j, t in terminals.items()}
    return replace(
        amplifier, parts=parts, joints=rest, links={n: k for n, k in amplifier.links.items() if k.part in parts}
    )


@pytest.mark.parametrize("seed", range(150))
def test_a_spoilt_drawing_is_read_and_told_without_a_crash(seed: int) -> None:
    _, amplifier = topology(seed)
    bad = spoilt(amplifier, random.Random(seed))  # noqa: S311 (a reproducible choice, no secret)
    found = roles(bad)
    assert {v.valve for v in found.outputs} | {s.valve for s in found.smalls} == {p.name for p in bad.of_kind("valve")}
    for problem in check_structure(bad):
        assert problem.line >= 1
        assert all((problem.part, problem.found, problem.allowed, problem.remedy))


def test_roles_of_the_reference_amplifier_are_read_in_a_tenth_of_a_second() -> None:
    """Every command pays for this once; the machine of the tests is given ten times what it was seen to take."""
    amplifier = push_pull_fixed()
    roles(amplifier)
    start = time.process_time()
    roles(amplifier)
    check_structure(amplifier)
    assert time.process_time() - start < 0.1
