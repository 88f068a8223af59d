"""Supplies that the random amplifiers do not have, one by one; the expected legs are worked out by hand."""

from dataclasses import replace

import pytest

from builders import Builder, push_pull_builder, single_ended_builder
from firstglow.amplifier.checks import check_structure
from firstglow.amplifier.graph import ac_joints
from firstglow.amplifier.model import Winding
from firstglow.amplifier.roles import Supply, roles
from firstglow.amplifier.supplies import supplies, unrecognised
from winding_builders import primary, tapped, winding


def bare(*windings: Winding, joints: dict[str, str] | None = None) -> Builder:
    """A mains side and a transformer, nothing else."""
    b = Builder("Supply alone")
    b.mains_side()
    b.transformer("T1", (primary(230.0, 10.0), *windings), joints)
    return b


def one(b: Builder) -> Supply:
    (supply,) = supplies(b.build())
    assert unrecognised(b.build()) == ()
    return supply


def emf(supply: Supply) -> list[list[tuple[str, float]]]:
    return [[(w.winding, w.sign) for w in leg.windings] for leg in supply.legs]


def test_positive_and_negative_rail_from_one_bridge_with_a_grounded_tap() -> None:
    b = bare(*tapped("ht", 50.0, 1.0), joints={"ht ct": "chassis"})
    for n, (a, c) in enumerate((("T1 ht 1", "plus"), ("T1 ht 2", "plus"), ("minus", "T1 ht 1"), ("minus", "T1 ht 2"))):
        b.diode(f"D{n + 1}", a, c)
    b.capacitor("C1", "plus", "chassis", 100e-6)
    b.capacitor("C2", "chassis", "minus", 100e-6)
    up, down = supplies(b.build())
    assert (up.form, up.joint, up.sign, up.rectifiers) == ("full wave", "plus", 1, ("D1", "D2"))
    assert (down.form, down.joint, down.sign, down.rectifiers) == ("full wave", "minus", -1, ("D3", "D4"))
    assert (up.use, down.use) == ("ht", "negative")
    assert emf(up) == [[("ht a", 1.0)], [("ht b", -1.0)]]
    assert emf(down) == [[("ht a", -1.0)], [("ht b", 1.0)]]


def test_dc_heaters_on_a_winding_with_a_grounded_tap() -> None:
    """The tap carries no charging current: the loop is the whole winding and two diodes, minus to plus."""
    b = bare(*tapped("dc", 3.2, 0.05), joints={"dc ct": "chassis"})
    for n, (a, c) in enumerate((("T1 dc 1", "h+"), ("T1 dc 2", "h+"), ("h-", "T1 dc 1"), ("h-", "T1 dc 2"))):
        b.diode(f"D{n + 1}", a, c)
    b.capacitor("C1", "h+", "h-", 10e-3, 16.0)
    b.heater("V1", "12AX7", "h+", "h+", "h-")
    supply = one(b)
    assert (supply.form, supply.use, supply.reservoir) == ("bridge", "heater", "C1")
    assert {supply.joint, supply.ret} == {"h+", "h-"}
    assert [len(leg.stages) for leg in supply.legs] == [2, 2]
    assert sorted(emf(supply)[0]) == sorted((w, -s) for w, s in emf(supply)[1])


def test_dc_heaters_without_a_capacitor() -> None:
    b = bare(winding("dc", "dc 1", "dc 2", 7.0, 0.05))
    for n, (a, c) in enumerate((("T1 dc 1", "h+"), ("T1 dc 2", "h+"), ("chassis", "T1 dc 1"), ("chassis", "T1 dc 2"))):
        b.diode(f"D{n + 1}", a, c)
    b.heater("V1", "12AX7", "h+", "h+", "chassis")
    supply = one(b)
    assert (supply.form, supply.use, supply.reservoir, supply.input) == ("bridge", "heater", None, "none")
    assert (supply.joint, supply.ret) == ("h+", "chassis")


def test_choke_in_the_minus_lead() -> None:
    b = bare(*tapped("ht", 300.0, 60.0))
    b.diode("D1", "T1 ht 1", "HT1")
    b.diode("D2", "T1 ht 2", "HT1")
    b.choke("L1", "T1 ht ct", "chassis", 8.0, 100.0)
    b.capacitor("C1", "HT1", "chassis", 47e-6)
    supply = one(b)
    assert (supply.input, supply.first_choke, supply.joint, supply.ret) == ("choke", "L1", "HT1", "chassis")
    assert {(leg.start, leg.end, leg.choke_first) for leg in supply.legs} == {("T1 ht ct", "HT1", True)}


def test_ht_from_the_tap_of_a_filament_winding_adds_no_filament_volts() -> None:
    b = bare(*tapped("ht", 300.0, 60.0), *tapped("rect", 2.5, 0.02), joints={"ht ct": "chassis", "rect ct": "HT1"})
    b.rectifier("V1", "5U4G", "T1 ht 1", "T1 ht 2", "T1 rect 2")
    b.heater("V1", "5U4G", "T1 rect 1", "T1 rect 2")
    b.capacitor("C1", "HT1", "chassis", 47e-6)
    supply = one(b)
    assert emf(supply) == [[("ht a", 1.0)], [("ht b", -1.0)]]
    assert (supply.joint, supply.reservoir, supply.windings) == ("HT1", "C1", ("ht a", "ht b"))


def test_a_valve_half_wave_with_one_plate() -> None:
    b = bare(winding("ht", "ht 1", "ht 2", 250.0, 60.0), joints={"ht 1": "chassis"})
    b.rectifier("V1", "6X4", "T1 ht 2", None, "HT1")
    b.capacitor("C1", "HT1", "chassis", 16e-6)
    supply = one(b)
    assert (supply.form, supply.kind, emf(supply)) == ("half wave", "valve", [[("ht", -1.0)]])


def test_a_series_resistor_after_the_diode_and_a_resistor_across_the_winding() -> None:
    b = bare(winding("bias", "bias 1", "bias 2", 50.0, 30.0), joints={"bias 2": "chassis"})
    b.resistor("R9", "T1 bias 1", "chassis", 10e3)
    b.diode("D1", "after", "T1 bias 1", "selenium")
    b.resistor("R1", "raw", "after", 1e3)
    b.capacitor("C1", "chassis", "raw", 47e-6)
    supply = one(b)
    assert (supply.joint, supply.kind, supply.sign, supply.series) == ("raw", "selenium", -1, ("R1",))
    assert supply.rectified == "after"
    assert emf(supply) == [[("bias", -1.0)]]


def test_snubbers_and_equalising_resistors_are_no_way_round() -> None:
    b = bare(*tapped("ht", 300.0, 60.0), joints={"ht ct": "chassis"})
    for n in (1, 2):
        b.diode(f"D{n}", f"T1 ht {n}", "HT1")
        b.capacitor(f"C{n}", f"T1 ht {n}", "HT1", 10e-9, 1000.0, "film")
        b.resistor(f"R{n}", f"T1 ht {n}", "HT1", 1e6)
    b.capacitor("C3", "T1 ht 1", "T1 ht 2", 10e-9, 1600.0, "film")
    b.resistor("R3", "T1 ht 1", "T1 ht 2", 100e3)
    b.capacitor("C4", "HT1", "chassis", 47e-6)
    assert emf(one(b)) == [[("ht a", 1.0)], [("ht b", -1.0)]]


def test_a_separate_screen_supply_is_a_rail_of_its_own() -> None:
    b = push_pull_builder()
    t1 = b.parts.pop("T1")
    windings = (*t1.windings, winding("g2", "g2 1", "g2 2", 220.0, 40.0))
    b.transformer("T1", windings, {**t1.leads, "g2 2": "chassis"})
    b.diode("D9", "T1 g2 1", "screens")
    b.capacitor("C20", "screens", "chassis", 22e-6)
    for n in (16, 17):
        r = b.parts[f"R{n}"]
        b.parts[f"R{n}"] = replace(r, leads={"1": "screens", "2": r.leads["2"]})
    found = roles(b.build())
    assert found.rails == ("HT1", "screens")
    assert {v.screen_joint for v in found.outputs} == {"screens"}
    assert check_structure(b.build()) == ()


def test_two_transformers_make_two_supplies() -> None:
    b = bare(*tapped("ht", 300.0, 60.0), joints={"ht ct": "chassis"})
    b.transformer(
        "T2",
        (primary(230.0, 60.0), winding("bias", "bias 1", "bias 2", 50.0, 30.0)),
        {"primary 1": "T1 primary 1", "primary 2": "T1 primary 2", "bias 1": "chassis"},
    )
    b.diode("D1", "T1 ht 1", "HT1")
    b.diode("D2", "T1 ht 2", "HT1")
    b.diode("D3", "raw", "T2 bias 2")
    b.capacitor("C1", "HT1", "chassis", 47e-6)
    b.capacitor("C2", "chassis", "raw", 47e-6)
    assert [(s.transformer, s.sign) for s in supplies(b.build())] == [("T1", 1), ("T2", -1)]


def test_an_ac_bench_supply_feeds_a_rectifier() -> None:
    b = Builder("Fragment")
    b.add("B1", "supply", {"+": "in", "-": "chassis"}, volts=24.0, hertz=50.0)
    b.diode("D1", "in", "out")
    b.capacitor("C1", "out", "chassis", 1000e-6, 63.0)
    b.resistor("R1", "out", "chassis", 1e3)
    supply = one(b)
    assert (supply.transformer, supply.form, emf(supply)) == ("B1", "half wave", [[("", 1.0)]])


def test_standby_in_the_centre_tap() -> None:
    b = bare(*tapped("ht", 300.0, 60.0))
    b.switch("S2", "T1 ht ct", "chassis", "standby")
    b.diode("D1", "T1 ht 1", "HT1")
    b.diode("D2", "T1 ht 2", "HT1")
    b.capacitor("C1", "HT1", "chassis", 47e-6)
    assert all(leg.series_ac == ("S2",) for leg in one(b).legs)
    (standby,) = roles(b.build()).standby
    assert (standby.switch, standby.nodes) == ("S2", ("HT1",))
    assert standby.live == ("T1 ht ct",)


def test_standby_behind_the_reservoir_leaves_it_live() -> None:
    b = single_ended_builder()
    r1 = b.parts["R1"]
    b.parts["R1"] = replace(r1, leads={"1": "switched", "2": "HT2"})
    b.switch("S2", "HT1", "switched", "standby")
    (standby,) = roles(b.build()).standby
    assert (standby.live, standby.dead, standby.nodes) == (("HT1",), ("switched",), ("HT2", "HT3"))


# -- diodes that rectify no winding, and rectifiers that come back to none ------------------------------------------
def test_protection_and_clamp_diodes_are_no_supplies() -> None:
    b = push_pull_builder()
    before = supplies(b.build())
    b.diode("D7", "chassis", "HT1")  # across the reservoir
    b.diode("D8", "V2 cathode", "chassis")
    b.diode("D9", "bias", "V2 drive")
    assert supplies(b.build()) == before
    assert unrecognised(b.build()) == ()


def test_backup_diodes_ahead_of_a_valve_are_part_of_its_legs() -> None:
    b = push_pull_builder()
    for n in (1, 2):
        b.diode(f"D{n + 6}", f"T1 ht {n}", f"plate {n}")
    b.parts["V4"] = replace(b.parts["V4"], leads={"plate 1": "plate 1", "plate 2": "plate 2", "cathode": "HT1"})
    ht = supplies(b.build())[0]
    assert (ht.kind, ht.form, set(ht.rectifiers)) == ("valve", "full wave", {"V4", "D7", "D8"})
    assert [leg.rectifiers for leg in ht.legs] == [("D7", "V4"), ("D8", "V4")]


def test_a_rectifier_plate_on_no_winding_is_told() -> None:
    b = push_pull_builder()
    v4 = b.parts["V4"]
    b.parts["V4"] = replace(v4, leads={**v4.leads, "plate 2": "HT4"})
    assert [(p.part, "plate 2 on HT4" in p.found) for p in unrecognised(b.build())] == [("V4", True)]
    assert any(p.part == "V4" for p in check_structure(b.build()))


def test_a_centre_tap_that_goes_nowhere_is_told_with_the_wire_that_is_missing() -> None:
    b = push_pull_builder()
    t1 = b.parts["T1"]
    b.parts["T1"] = replace(t1, leads={**t1.leads, "ht ct": "T1 ht ct"})
    found = unrecognised(b.build())
    assert {p.part for p in found} == {"V4"}
    assert {p.remedy for p in found} == {'W99 = ["wire", "T1 ht ct", "chassis"]'}


def test_a_cascade_of_three_is_one_supply_or_is_told() -> None:
    """A tripler: nothing rectifying may be dropped without a word."""
    b = bare(winding("ht", "ht 1", "ht 2", 100.0, 20.0), joints={"ht 2": "chassis"})
    b.capacitor("C1", "pump", "T1 ht 1", 47e-6)
    b.diode("D1", "chassis", "pump")
    b.diode("D2", "pump", "double")
    b.capacitor("C2", "double", "chassis", 47e-6)
    b.diode("D3", "double", "top")
    b.capacitor("C3", "top", "pump", 47e-6)
    amplifier = b.build()
    in_legs = {p for s in supplies(amplifier) for p in s.rectifiers}
    in_problems = {p.part for p in unrecognised(amplifier)}
    assert in_legs | in_problems == {"D1", "D2", "D3"}


@pytest.mark.parametrize("farads", [0.047e-6, 1e-6, 4.7e-6])
def test_bias_through_a_capacitor_of_any_size(farads: float) -> None:
    """The pumped joint swings with its leg: chassis to pump, with the leg's volts reversed."""
    b = bare(*tapped("ht", 300.0, 60.0), joints={"ht ct": "chassis"})
    b.diode("D1", "T1 ht 1", "HT1")
    b.diode("D2", "T1 ht 2", "HT1")
    b.capacitor("C1", "HT1", "chassis", 47e-6)
    b.capacitor("C2", "pump", "T1 ht 2", farads, 1000.0, "film")
    b.diode("D3", "pump", "chassis")
    b.resistor("R1", "pump", "raw", 22e3)
    b.capacitor("C3", "chassis", "raw", 22e-6, 100.0)
    ht, bias = supplies(b.build())
    (leg,) = bias.legs
    assert (bias.joint, bias.rectified, bias.sign, bias.reservoir) == ("raw", "pump", -1, "C3")
    assert (leg.start, leg.end, leg.coupling, emf(bias)) == ("pump", "chassis", ("C2",), [[("ht b", -1.0)]])
    assert unrecognised(b.build()) == ()
    assert ht.form == "full wave"


def test_joints_that_carry_ac() -> None:
    found = ac_joints(push_pull_builder().build())
    assert {"T1 ht 1", "T1 ht 2", "T1 heat 1", "T1 heat 2", "T1 rect 2", "T1 bias 1"} <= found
    assert not found & {"chassis", "HT1", "HT2", "bias raw", "V2 grid", "line", "T1 primary 1", "T2 plate a"}
