"""A change invalidates proof: what falls, what stands, and why."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.changed import Changed, changed, moved, parts_named, parts_said
from firstglow.ladder.ladder import Ladder
from firstglow.readings.meters import ReadingsError

TEXT = (Path(__file__).parents[2] / "examples" / "b-hazel-four.toml").read_text(encoding="utf-8")


@cache
def ladder(text: str = TEXT) -> Ladder:
    return built(load(text), mode="fast")


def at_the_loop(on: Ladder) -> Ladder:
    """What a bad part shows is worked out for the loop's own rung alone: nothing else is looked at."""
    parts = [replace(b, readings=tuple(r for r in b.readings if r.id.startswith("8/"))) for b in on.sheet.wanted]
    return replace(on, sheet=replace(on.sheet, wanted=[b for b in parts if b.readings]))


@cache
def fell_for(*parts: str) -> Changed:
    """What falls on example (b) where these are changed."""
    return changed(ladder(), parts)


def test_a_new_coupling_capacitor_brings_back_its_grid_before_the_output_valve() -> None:
    """Leakage into a grid is read with the output valve out before it goes in again (common practice; LADDER.md 3)."""
    fell = fell_for("C5")
    assert {"4/V2 grid/shared", "5/V2 grid/shared", "6/V2 cathode lamp out/shared", "7/LS gain/shared"} <= set(
        fell.repeat
    )
    assert {"0", "2a", "2b"} <= set(fell.stands)
    assert not any(name.startswith("2") for name in fell.repeat)


def test_a_new_output_valve_leaves_everything_read_without_it() -> None:
    fell = fell_for("V2")
    assert {"0", "1", "2a", "2b", "4"} <= set(fell.stands)
    assert "6/V2 cathode lamp out/shared" in fell.repeat
    assert "5/V2 in the hand/shared" in fell.repeat
    for name in fell.repeat:
        at = ladder().expected.by_id[name].planned.situation
        assert "V2" not in at.out or ladder().expected.by_id[name].kind in ("look", "lamp")


def test_a_new_transformer_leaves_next_to_nothing() -> None:
    fell = fell_for("T1")
    assert {"0", "1", "2a", "2b", "4", "5", "6", "9"} <= {name.split("/")[0] for name in fell.repeat}


def test_a_changed_drawing_repeats_what_it_expects_otherwise_and_nothing_else() -> None:
    """Planted: the output valve's cathode resistor of 240 becomes 270 ohms. By Ohm's law its cold row reads 12 % more, and
    every reading that its valve moves falls; mains, heaters and the unloaded HT stand."""
    other = TEXT.replace("240R", "270R")
    assert other != TEXT
    now = ladder(other)
    fell = set(moved(ladder().expected, now.expected, now.expected.by_id))
    assert {"1/V2 cathode/shared", "6/V2 cathode lamp out/shared", "9/V2 cathode after 10 min/shared"} <= fell
    assert not {name for name in fell if name.split("/")[0] in ("0", "2a", "2b", "3")}
    both = changed(now, ["R12"], ladder().expected)
    assert fell <= set(both.repeat)


def test_a_rung_either_stands_or_is_repeated() -> None:
    for parts in (["C5"], ["R6"], ["V1"], ["T2"]):
        fell = fell_for(*parts)
        rungs = set(fell.by_rung())
        assert not rungs & set(fell.stands)
        assert rungs | set(fell.stands) == {r.id for r in ladder().expected.rungs}


def test_what_the_loop_hangs_on_brings_back_the_whole_rung_of_the_loop() -> None:
    """Whether a loop sings hangs on the gain and on every corner within it (Nyquist 1932), and above hearing only the idle
    shows it: its resistor, its foot, the stages and the output transformer within it, read off the drawing by hand."""
    rung = {r.id for r in ladder().expected.readings() if r.id.startswith("8/")}
    assert "8/V2 cathode/shared" in rung
    on = at_the_loop(ladder())
    for name in ("R14", "R9", "R8", "R6", "R7", "R11", "C2", "C3", "C4", "C5", "C6", "V1", "V2", "T2", "LS"):
        assert rung <= set(changed(on, [name]).repeat), name
    for name in ("inlet", "earth bond"):  # the mains' own
        assert not rung & set(changed(on, [name]).repeat), name


def test_an_output_valve_s_bypass_is_one_of_the_loop_s_corners() -> None:
    """Example (c): C8 (and its twin C10) bypass the output valves' cathodes. Gain barely moves by them, but a loop's stability
    hangs on every corner within it (Nyquist 1932); the heater divider is none of them, by the drawing."""
    on = at_the_loop(
        ladder((Path(__file__).parents[2] / "examples" / "c-sorrel-twenty.toml").read_text(encoding="utf-8"))
    )
    signal = {"8/LS hum/shared", "8/LS gain/shared"}
    assert signal <= set(changed(on, ["C8"]).repeat)
    assert not signal & set(changed(on, ["R3"]).repeat)


def test_two_readings_of_one_spot_in_one_state_fall_together() -> None:
    """The output valve, what stands at its electrodes, and the supplies: the output cathode lamp out (6), loop closed (8) and
    at idle (9) is one dc spot (a loop without dc moves none of them): where one counts no longer for what the part does to
    it, none of the later stand."""
    for name in ("C1a", "C5", "R12", "R11", "T1", "T2", "V2"):
        fell = set(fell_for(name).repeat)
        if "6/V2 cathode lamp out/shared" in fell:
            later = {r.id for r in ladder().expected.readings() if r.id.startswith(("8/V2 cathode", "9/V2 cathode"))}
            assert later <= fell, name


def test_an_unknown_part_is_told_with_the_nearest() -> None:
    with pytest.raises(ReadingsError, match="try C5"):
        parts_named(ladder().frame.amplifier, "C55")


def test_names_with_spaces_are_named_as_they_are_typed() -> None:
    """In a climb a name is not quoted: the longest run of words that is a part; what is none is left for the refusal."""
    two, one = load(Path(__file__).parents[2] / "examples" / "a-linden-twin.toml"), load(TEXT)
    assert parts_said(two, "left R11, C5 right r12") == ["left R11", "C5", "right r12"]
    assert parts_said(one, "R99 earth bond") == ["R99", "earth bond"]
    assert parts_said(one, " , ") == []
