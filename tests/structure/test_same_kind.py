"""A remedy names a thing of the same kind, and one that works when it is pasted."""

import re
from pathlib import Path

import pytest

from at_hand import firstglow
from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.mains_mark import mains_refused
from firstglow.amplifier.mistakes import nearest_part
from firstglow.devices.catalogue import DeviceError, valve_type
from structure.test_refused_in_spite import ONE

B = Path(__file__).parents[2] / "examples" / "b-hazel-four.toml"
NO_HEAT = ONE.replace(', heat = "6.3V 2A ct"', "")


def first(text: str) -> str:
    with pytest.raises(AmplifierError) as caught:
        load(text)
    return caught.value.problems[0].remedy


def with_winding(text: str, remedy: str) -> str:
    winding = re.fullmatch(r'a winding for it on T1: (heat\d* = ".*")', remedy)
    assert winding is not None, remedy
    return text.replace("{ primary =", f"{{ {winding[1]}, primary =")


def test_no_winding_for_a_heater_is_one_to_add_and_cures_it() -> None:
    """EZ80 0.6 A and EF86 0.2 A, half as much again: 1.2 A. "heater = T1 heat", then "T1 ht", was told: the HT winding."""
    remedy = first(NO_HEAT)
    assert remedy == 'a winding for it on T1: heat = "6.3V 1.2A ct"'
    load(with_winding(NO_HEAT, remedy))


def test_a_heater_is_never_sent_to_a_winding_of_other_volts() -> None:
    named = NO_HEAT.replace('["EF86", {', '["EF86", { heater = "T1 heat",')
    assert first(named) == 'a winding for it on T1: heat = "6.3V 1.2A ct"'
    other = ONE.replace("6.3V 2A ct", "12.6V 2A ct")
    remedy = first(other)
    assert remedy == 'a winding for it on T1: heat2 = "6.3V 1.2A ct"'


@pytest.mark.parametrize(
    ("word", "near"), [("C99", "C5"), ("R99", "R9"), ("c7", "C5"), ("left R99", "R9"), ("V9", "V1"), ("T7", "T1")]
)
def test_no_resistor_for_a_capacitor(word: str, near: str) -> None:
    assert (nearest_part(word, ["T1", "R9", "C5", "V1"]) or "")[0] == near[0]


def test_the_commands_and_layers_say_so_too() -> None:
    assert re.search(r"try C\d", firstglow("changed", B, "C99", code=None).stderr)
    text = B.read_text(encoding="utf-8") + '\n[[layer]]\nkind = "changed"\nset = { R99 = "1k" }\n'
    assert re.fullmatch(r'"R\d+"', first(text))


def test_two_figures_exchanged_come_before_any_other_likeness() -> None:
    with pytest.raises(DeviceError, match="try EL84"):
        valve_type("EL48")


def test_no_tap_is_asked_for_that_the_transformer_has_not() -> None:
    told = mains_refused(load(B), 500.0)
    assert told is not None
    assert "tap" not in told.remedy
    two = load(ONE.replace('primary = "230V"', 'primary = "0-115-230V"'))
    told = mains_refused(two, 117.0)
    assert told is not None
    assert told.remedy.startswith("the tap marked for 115 V")
