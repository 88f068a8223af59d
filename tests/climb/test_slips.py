"""Slips and traps: what a wrong figure is before any part is blamed, and when nothing is wrong at all.

The figures come from the solver with the amplifier standing otherwise, or from what a person would type, never from
the code that recognises them.
"""

from dataclasses import replace

import numpy as np
import pytest
from player import begun, climbed, healthy, ladder, once, showing, up_to

from firstglow.amplifier.situation import Situation
from firstglow.ladder.climb import Answered, Climb
from firstglow.ladder.slipped import file_judged
from firstglow.readings.meters import ReadingsError, built_in
from firstglow.readings.slips import recognised
from firstglow.readings.taken import parse_taken

B, A = "b-hazel-four", "a-linden-twin"


def told(reading: str, text: str, name: str = B) -> tuple[Climb, Answered]:
    climb, clock = begun(name)
    up_to(climb, clock, reading)
    return climb, climb.read(text)


@pytest.mark.parametrize(
    ("reading", "typed", "kind", "words"),
    [
        ("4/HT1 after 1 min/shared", "-360", "sign", "sign"),
        ("2a/T1 heat 1 to chassis/shared", "992", "unit", "mV"),
        ("6/V2 screen drop/shared", "421", "unit", "mV"),
        ("1/HT1 to minus/shared", "208.8", "unit", "kΩ"),
        ("1/R4 own ends/shared", "4.7M", "unit", "Ω"),
        ("2b/HT1 leg 1/shared", "26.2", "decimal", "one place too far left"),
        ("4/HT1 after 1 min/shared", "OL", "range", "a range too low"),
        ("6/LS hum/shared", "0", "range", "a range too high"),
        ("5/V1 cathode/shared", "118", "probe", "V1"),
        ("4/V2 grid/shared", "360", "probe", "is the probe there"),
        ("6/HT1/shared", "287.8", "", ""),  # the next node's figure fits here too: nobody can tell
        ("6/V2 screen/shared", "9.8", "probe", "V2 pin 3 (cathode)"),
        ("5/HT3/shared", "358", "setting", ""),
    ],
)
def test_a_slip_is_named_before_a_part_is_blamed(reading: str, typed: str, kind: str, words: str) -> None:
    _, found = told(reading, typed)
    assert found.verdict is not None
    if not kind:
        assert found.verdict.verdict == "go on"
        return
    assert found.verdict.verdict in ("look first", "switch off now")
    assert kind in [s.kind for s in found.slips], found
    assert any(words in s.text for s in found.slips if s.kind == kind), found


def shown(reading: str, at: Situation, name: str = B) -> str:
    """What the meter shows with the amplifier standing like that: the solver's own answer."""
    expected = ladder(name).expected.by_id[reading]
    physics = ladder(name).frame.physics
    value = float(np.ravel(physics.standing(at).row(expected.planned.probe))[0])
    return f"{value:.2f}"


POINTS = ("6/HT1/shared", "6/HT3/shared", "6/V2 plate/shared")


@pytest.mark.parametrize("reading", POINTS)
def test_trap_output_valves_still_out(reading: str) -> None:
    at = ladder(B).expected.by_id[reading].planned.situation
    _, found = told(reading, shown(reading, at.but(out=at.out | {"V2"})))
    assert found.verdict.verdict == "look first"
    assert found.slips[0].innocent
    assert "output valves still out (V2)" in found.slips[0].text


@pytest.mark.parametrize("reading", POINTS)
def test_trap_limiter_lamp_still_in(reading: str) -> None:
    at = ladder(B).expected.by_id[reading].planned.situation
    lamp = ladder(B).frame.running_lamp
    _, found = told(reading, shown(reading, at.but(lamp_watts=lamp)))
    assert found.verdict.verdict == "look first"
    assert found.slips[0].innocent
    assert f"{lamp:.0f} W limiter lamp still in" in found.slips[0].text


@pytest.mark.parametrize("reading", ["6/HT1/shared", "6/HT2/shared", "6/V2 heater pin to pin/shared"])
def test_trap_mains_eight_per_cent_high(reading: str) -> None:
    at = ladder(B).expected.by_id[reading].planned.situation
    typed = shown(reading, at.but(mains_volts=1.08 * at.mains_volts))
    climb, found = told(reading, typed)
    assert found.verdict.verdict == "look first"
    mains = next(s for s in found.slips if s.kind == "mains")
    assert mains is found.slips[0]
    assert mains.innocent
    assert any(f"mains {volts}" in mains.text for volts in range(244, 253))
    climb.mains(1.08 * at.mains_volts)
    assert climb.read(typed).verdict.verdict == "go on"


def test_mains_that_are_high_all_the_way_up_are_said_once_and_nothing_is_wrong() -> None:
    """The whole of example (b) 5 % up, the mains read once: every reading with a curve over mains follows it."""
    from firstglow.readings.expected import MAINS_STEPS

    share = 1.05
    climb, clock = begun(B)
    climb.mains(230 * share)

    def high(reading):
        text = healthy(reading)
        if not reading.mains_curve or reading.note_only or not reading.mains_curve[2]:
            return text
        ratio = np.interp(share, MAINS_STEPS, reading.mains_curve) / reading.mains_curve[MAINS_STEPS.index(1.0)]
        value = reading.expected * ratio
        stops = [s.limit for s in (reading.stop_above,) if s is not None]
        # a limit is a limit at any mains: heaters at 6.9 V stop, whatever the reason
        return text if any(value >= limit for limit in stops) or not np.isfinite(value) else f"{value:.6f}"

    assert climbed(climb, clock, high) is None


def test_trap_a_20_kilohm_per_volt_meter() -> None:
    """-50 V behind 225 kohm on a 50 V range of 1 megohm: 50 / 1.225 (Ohm's law), where 10 megohm leaves 50 / 1.02."""
    reading = "3/V3 grid at most negative/left"
    expected = ladder(A).expected.by_id[reading]
    meter = next(r for r in built_in()["20k"].of_kind("dc volts") if r.full == 50.0)
    unloaded = expected.expected * (1.0 + expected.source_ohms / 10e6)
    typed = f"{unloaded / (1.0 + expected.source_ohms / meter.input_ohms):.1f}"
    climb, found = told(reading, typed, A)
    assert found.verdict.verdict == "look first"
    assert found.slips[0].kind == "meter"
    assert found.slips[0].innocent
    assert "20 kΩ/V" in found.slips[0].text
    climb.use_meter("20k")
    assert climb.read(typed).verdict.verdict == "go on"


def test_a_real_fault_is_not_talked_away() -> None:
    """A leaking coupling capacitor lifts the grid: no slip makes it innocent, and it stays stopped."""
    climb, clock = begun(B)
    found = climbed(climb, clock, showing({"5/V2 grid/shared": "12"}))
    assert found.verdict.verdict == "switch off now"
    assert climb.state == "switched off"
    while climb.step.kind != "reading":
        once(climb, clock, healthy)
    assert climb.step.reading == "5/V2 grid/shared"
    assert climb.read("12").verdict.verdict == "switch off now"


def test_inside_its_band_nothing_is_ever_called_a_slip() -> None:
    climb, clock = begun(B)
    while climb.step.kind != "done" and len(climb.here.taken) < 60:
        found = once(climb, clock, healthy)
        assert found is None or not found.slips


def test_mains_that_no_dial_of_this_rung_shows_are_refused() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "4/HT1 after 10 min/shared")
    for volts in (23.0, 69.0, 300.0):
        with pytest.raises(ReadingsError, match="this rung stands at 230 V"):
            climb.mains(volts)
    assert "-5.0 %" in climb.mains(218.5)


@pytest.mark.parametrize(
    ("reading", "typed", "words"),
    [
        # the solver's own: `standing --lamp 40`, `--out V2`, and the plate on the pin beside the cathode's
        ("6/HT1/shared", "206", "40 W limiter lamp still in the line"),
        ("6/HT1/shared", "355", "output valves still out (V2)"),
        ("6/V2 cathode lamp out/shared", "276", "is the probe there?"),
        ("4/HT1 after 1 min/shared", "-360", "sign"),
    ],
)
def test_a_readings_file_knows_the_slips_that_a_climb_knows(reading: str, typed: str, words: str) -> None:
    (found,) = file_judged(ladder(B), parse_taken(f'[readings]\n"{reading}" = "{typed}"\n')).verdicts
    _, climbed_to = told(reading, typed)
    assert any(words in s.text for s in found.slips), found
    assert found.slips == climbed_to.slips
    assert found.innocent == (found.verdict == "look first")
    # and beside a mistake in the file as well
    with pytest.raises(ReadingsError) as caught:
        file_judged(ladder(B), parse_taken(f'[readings]\n"{reading}" = "{typed}"\n"6/humm" = "1"\n', "r"))
    line = next(t for t in str(caught.value).splitlines() if f": {reading}: " in t)
    assert ("try this slip first: " in line and words in line) == found.innocent


def test_mains_as_they_should_be_explain_nothing() -> None:
    """A reading in the middle of the sheet's band that does not fit those before it was "what this reads with about 230 V (+0 %)"."""
    on = ladder("b-hazel-four").expected
    for name in ("8/V2 cathode/shared", "5/V1 plate/shared", "5/HT1/shared"):
        sheet = on.by_id[name]
        middle = float(sheet.expected)
        learned = replace(sheet, low=1.004 * middle, expected=1.02 * middle, high=1.04 * middle)
        assert "mains" not in {slip.kind for slip in recognised(on, learned, middle)}
