"""Checks of a drawing whose mistakes need a part by hand: heaters, windings, joints, layers, a grid on HT, a rail on chassis."""

from dataclasses import replace
from pathlib import Path

import pytest

from builders import Builder, single_ended_builder
from firstglow.amplifier import load
from firstglow.amplifier.checks import check_structure
from structure.test_checks import good, pasted, problems
from winding_builders import winding

EXAMPLES = Path(__file__).parents[2] / "examples"
SINGLE = (EXAMPLES / "b-hazel-four.toml").read_text(encoding="utf-8")  # single-ended, cathode bias
TWIN = (EXAMPLES / "a-linden-twin.toml").read_text(encoding="utf-8")  # two channels, fixed bias
ULTRA = (EXAMPLES / "c-sorrel-twenty.toml").read_text(encoding="utf-8")  # push-pull, silicon bridge, lifted heaters
# name: (file, old, new, part that is told of, words of the finding, what the remedy is pasted over if it is a joint)


def told(b: Builder) -> list[tuple[str, str, str]]:
    return [(p.part, p.found, p.remedy) for p in check_structure(b.build())]


def moved(b: Builder, part: str, **leads: str) -> None:
    """Put leads of a part on other joints; ``one``, ``two``, ``ct`` stand for lead names."""
    names = {"one": "1", "two": "2"}
    b.parts[part] = replace(
        b.parts[part], leads={**b.parts[part].leads, **{names.get(k, k): v for k, v in leads.items()}}
    )


def test_a_double_triode_end_to_end_on_six_volts() -> None:
    """Each half of a 12.6 V heater gets half its rating. By hand: 2 x (3.3 V - 2 x 3 A x 0.06 ohm) = 5.88 V marked."""
    b = single_ended_builder()
    moved(b, "V1 heater", one="T1 heat 1", two="T1 heat 2", ct="V1 heater ct")
    ((part, found, remedy),) = told(b)
    assert part == "V1a"
    assert "its heater of 12.6 V (6.3 V parallel) gets about 5.88 V" in found
    assert remedy == 'heater_connection = "parallel"'


def test_a_double_triode_in_parallel_on_twelve_volts() -> None:
    b = single_ended_builder()
    t1 = b.parts.pop("T1")
    joints = {k: v for k, v in t1.leads.items() if k in {"ht ct", "heat ct"}}
    b.transformer(
        "T1", (*t1.windings, winding("twelve", "twelve 1", "twelve 2", 13.0, 0.1)), joints | {"twelve 2": "chassis"}
    )
    moved(b, "V1 heater", one="T1 twelve 1", two="T1 twelve 1", ct="chassis")
    ((part, _, remedy),) = told(b)
    assert (part, remedy) == ("V1a", 'heater_connection = "series"')
    moved(b, "V1 heater", one="T1 twelve 1", two="chassis", ct="V1 heater ct")
    assert told(b) == []


def test_two_equal_heaters_in_series_on_twelve_volts_are_good_and_unequal_ones_are_not() -> None:
    """0.45 A and 0.45 A share 12.6 V evenly; 0.45 A and 0.76 A do not (Ohm's law: 12.6 V splits 7.9 to 4.7)."""
    for kinds, expected in ((("6V6GT", "6V6GT"), 0), (("6V6GT", "EL84"), 2)):
        b = single_ended_builder()
        t1 = b.parts.pop("T1")
        joints = {k: v for k, v in t1.leads.items() if k in {"ht ct", "heat ct"}}
        b.transformer(
            "T1", (*t1.windings, winding("twelve", "twelve 1", "twelve 2", 12.9, 0.1)), joints | {"twelve 2": "chassis"}
        )
        for n, (kind, ends) in enumerate(zip(kinds, (("T1 twelve 1", "half"), ("half", "chassis")), strict=True)):
            b.heater(f"V{n + 7}", kind, *ends)
        assert len(told(b)) == expected


def test_heater_on_no_winding_is_told_with_one_that_fits() -> None:
    b = single_ended_builder()
    moved(b, "V2 heater", one="lamp 1", two="lamp 2")
    b.resistor("R77", "lamp 1", "chassis", 1e3)
    b.resistor("R78", "lamp 2", "chassis", 1e3)
    assert told(b) == [("V2", "its heater of 6.3 V is on no winding", 'heater = "T1 heat"')]


def test_a_heater_line_without_a_reference() -> None:
    b = single_ended_builder()
    b.parts["T1"] = replace(b.parts["T1"], leads={**b.parts["T1"].leads, "heat ct": "T1 heat ct"})
    ((_, found, remedy),) = told(b)
    assert found.startswith("no dc path from T1 heat 1, ")
    assert remedy == 'W99 = ["wire", "T1 heat ct", "chassis"]'


def test_a_spare_winding_is_no_mistake() -> None:
    b = single_ended_builder()
    t1 = b.parts.pop("T1")
    joints = {k: v for k, v in t1.leads.items() if k in {"ht ct", "heat ct"}}
    b.transformer("T1", (*t1.windings, winding("rect", "rect 1", "rect 2", 5.2, 0.1)), joints)
    assert told(b) == []


def test_floating_joints_are_let_be_as_marked() -> None:
    b = single_ended_builder()
    b.resistor("R88", "HT3", "test point", 1e6)
    assert [p for p, _, _ in told(b)] == ["R88"]
    b.floating.add("test point")
    assert told(b) == []


def test_joint_mistakes_are_of_the_drawing_only() -> None:
    """With layers over it a loose joint is a state of the bench (a lifted lead), not a mistake."""
    b = single_ended_builder()
    b.resistor("R88", "HT3", "loose", 1e6)
    drawn = b.build()
    assert check_structure(drawn)
    assert check_structure(replace(drawn, layers=("drawn", "changed"))) == ()


def test_both_leads_on_one_joint() -> None:
    b = single_ended_builder()
    b.resistor("R88", "HT3", "HT3", 1e6)
    assert [(p, f) for p, f, _ in told(b)] == [("R88", "both leads on one joint, HT3")]


@pytest.mark.parametrize("broken", ["primary 2", "primary 1"])
def test_a_primary_that_is_not_across_the_mains(broken: str) -> None:
    b = single_ended_builder()
    joint = b.parts["T1"].leads[broken]
    part = "neutral lead" if broken == "primary 2" else "S1"
    moved(b, part, two="elsewhere")
    b.resistor("RX", "elsewhere", "neutral" if part == "S1" else "line", 1e5)
    found = told(b)
    side = "neutral" if broken == "primary 2" else "line"
    remedy = next(r for p, f, r in found if (p, f) == ("T1", f"its primary is not on {side}"))
    # neutral by a wire; nobody is to paste an unfused wire from line
    assert remedy.startswith('W99 = ["wire", "neutral", "T1 primary 2"]' if side == "neutral" else "line through fuse")
    assert joint.startswith("T1 primary")


def test_parallel_primaries_and_equal_windings_are_no_short() -> None:
    b = single_ended_builder()
    t1 = b.parts.pop("T1")
    second = winding("primary b", "primary 3", "primary 4", 230.0, 23.0, role="primary")
    six = winding("six", "six 1", "six 2", 6.7, 0.05)
    joints = {k: v for k, v in t1.leads.items() if k in {"ht ct", "heat ct"}}
    joints |= {"primary 3": "T1 primary 1", "primary 4": "T1 primary 2", "six 1": "T1 heat 1", "six 2": "T1 heat 2"}
    b.transformer("T1", (*t1.windings, second, six), joints)
    assert told(b) == []
    joints |= {"six 1": "T1 heat 2", "six 2": "T1 heat 1"}  # the wrong way round: 13 V through two small resistances
    del b.parts["T1"]
    b.transformer("T1", (*t1.windings, second, six), joints)
    assert any("shorted together" in found for _, found, _ in told(b))


def test_the_mains_are_never_guessed_at() -> None:
    """A loose joint named like a mains joint is not sent there."""
    b = single_ended_builder()
    b.resistor("R88", "HT3", "lien", 1e6)
    ((_, found, remedy),) = told(b)
    assert "line" not in found + remedy


@pytest.mark.parametrize(
    ("marked", "heater", "wrong"),
    [("5V 2A", "EL84", True), ("5V 10A", "EL84", True), ("6.3V 2A", "EL84", False), ("6.3V 20A", "EL84", False)],
)
def test_a_lightly_loaded_winding_is_judged_by_what_it_is_marked_for(marked: str, heater: str, wrong: bool) -> None:
    """A small transformer's 5 V winding may stand at 5.8 V with nothing on it: still no winding for 6.3 V."""
    text = (
        'format = 1\namplifier = { name = "x", mains = "230V 50Hz" }\n[parts]\n'
        f'T1 = ["mains transformer", {{ primary = "230V", heat = "{marked}", "heat 2" = "chassis", ht = "200V 20m",'
        ' "ht 2" = "chassis" }]\nD1 = ["1N4007", "T1 ht 1", "HT"]\nC1 = ["10u 450V", "HT", "chassis"]\n'
        f'V1 = ["{heater}", {{ plate = "10k HT", screen = "HT", grid = "1M chassis", cathode = "300R chassis",'
        ' heater = "T1 heat" }]\n'
    )
    if wrong:
        assert any(p.part == "V1" and "its heater of 6.3 V gets about 5" in p.found for p in problems(text))
    else:
        load(text)


LAYERED = """
[[layer]]
kind = "{kind}"
who = "E. Marsh"
when = "2026-02-03"
why = "as it stood"
"""


def test_what_was_found_is_never_a_mistake_but_a_drawing_is() -> None:
    """A resistor found missing is the job, not an error of the file."""
    found = SINGLE + LAYERED.format(kind="found") + 'remove = ["R6", "R10"]\n'
    assert "R6" not in load(found, name="x.toml", as_="found").parts
    assert not good(SINGLE.replace('R6 = ["220k 1W 5%", "HT3", "V1 plate"]\n', ""))


def test_a_change_that_heats_a_valve_wrongly_is_told() -> None:
    text = (
        TWIN
        + LAYERED.format(kind="changed")
        + 'rejoin = { "V9 heater 1" = "T1 heat 1", "V9 heater 2" = "T1 heat 2" }\n'
    )
    assert any("its heater of 5 V gets about 6" in p.found for p in problems(text))


def test_a_layer_that_joins_the_mains_is_refused() -> None:
    text = SINGLE + LAYERED.format(kind="found") + 'add = { W9 = ["wire", "neutral", "chassis"] }\n'
    assert any("the mains are joined to the chassis" in p.found for p in problems(text))


# -- a grid on HT, a supply shorted as drawn -----------------------------------------------------------------------
@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('R11 = ["1k 0.5W 5%", "drive", "V2 grid"]', 'R11 = ["1k 0.5W 5%", "HT1", "V2 grid"]'),
        ('R11 = ["1k 0.5W 5%", "drive", "V2 grid"]', 'W1 = ["wire", "HT2", "V2 grid"]'),
        ('R4 = ["4k7 0.5W 5%", "volume", "V1 grid"]', 'W1 = ["wire", "HT3", "V1 grid"]'),
    ],
)
def test_a_grid_on_ht_is_a_mistake(old: str, new: str) -> None:
    """Grid above cathode by the whole HT: nothing but its emission limits the valve (common practice)."""
    bad = SINGLE.replace(old, new)
    assert bad != SINGLE
    told_of = [p for p in problems(bad) if "its grid is on HT" in p.found]
    assert told_of
    assert "HT" not in told_of[0].remedy


def test_a_grid_on_the_plate_before_it_and_a_cathode_followers_divider_are_good() -> None:
    """Direct coupling through a plate load, and a grid held at half of HT by a divider: both stand high on purpose."""
    assert "V1 plate" in TWIN  # V2a's grid stands on V1's plate
    load(TWIN)
    follower = SINGLE + (
        'V9 = ["EF86", { heater = "T1 heat", plate = "HT2", screen = "HT2" }]\n'
        'R91 = ["470k", "HT2", "V9 grid"]\nR92 = ["470k", "V9 grid", "chassis"]\nR93 = ["47k 2W", "V9 cathode", "chassis"]\n'
    )
    load(follower)


@pytest.mark.parametrize(
    ("text", "joint"), [(SINGLE, "HT1"), (SINGLE, "HT2"), (ULTRA, "HT1"), (TWIN, "bias raw"), (TWIN, "HT1")]
)
def test_a_rail_wired_to_chassis_is_told_before_any_power(text: str, joint: str) -> None:
    table = "\n[channel]" if "\n[channel]" in text else "\nJ1 = ["
    bad = text.replace(table, f'\nW88 = ["wire", "{joint}", "chassis"]{table}', 1)
    (problem,) = problems(bad)
    assert problem.part == "W88"
    assert good(pasted(bad, problem, None))
