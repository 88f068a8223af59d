"""What a climb makes of a reading: where a danger stops it, what is asked again, what a changed part takes back."""

import time

import numpy as np
import pytest
from player import begun, climbed, healthy, ladder, once, showing, up_to

from firstglow.amplifier import Fault
from firstglow.ladder.states import StateError
from firstglow.readings.meters import ReadingsError
from firstglow.readings.observe import Cast
from firstglow.readings.spreads import settings
from firstglow.readings.trial import show

B = "b-hazel-four"


def shown_by(fault: str) -> dict[str, str]:
    """What the meters show on the middle amplifier with one fault in it, from the solver."""
    on = ladder(B)
    part, mode, *value = fault.replace("=", ":").split(":")
    one = Fault(part, mode, float(value[0]) if value else None)
    sheet = on.sheet
    values = sheet.observer.nominal
    setting = {v: s[:1] * 0.0 for v, s in settings(sheet.setting, 2, 1).items()}
    cast = Cast(values, setting, ((one,),))
    with np.errstate(all="ignore"):
        seen = sheet.observer.see(sheet.wanted, cast, ohms_for=lambda r: True)
    shown = show(on.expected, sheet, seen, cast, 1)
    out = {}
    for name, figure in shown.items():
        reading = on.expected.by_id[name]
        if reading.on is not None and reading.unit != "1" and np.isfinite(figure[0]):
            out[name] = reading.on.shown(float(figure[0])).replace("Ω", "").replace(" ", "")
    return out


@pytest.mark.parametrize(
    ("fault", "rungs"),
    [
        # the house's ladder reference, section 8: the first row that must stop, as rungs (common practice)
        ("C5:leaks=500000", {"1", "4", "5"}),
        ("C1a:shorted", {"1"}),
        ("R13:open", {"1"}),
        ("R10:open", {"1"}),
    ],
)
def test_a_dangerous_fault_is_stopped_at_its_rung(fault: str, rungs: set[str]) -> None:
    climb, clock = begun(B)
    found = climbed(climb, clock, showing(shown_by(fault)))
    assert found is not None
    assert found.verdict is not None
    assert found.verdict.id.split("/")[0] in rungs, found
    assert found.verdict.check_first
    assert climb.step.kind in ("make safe", "reading")


def test_a_stop_leads_to_make_safe_and_back_to_the_same_reading() -> None:
    climb, clock = begun(B)
    found = climbed(climb, clock, showing({"5/V2 grid/shared": "12"}))
    assert found.verdict.verdict == "switch off now"
    assert found.verdict.id == "5/V2 grid/shared"
    assert climb.state == "switched off"
    with pytest.raises(StateError):
        climb.read("0.0")
    with pytest.raises(StateError):
        climb.sign("Anna Berg")
    while climb.step.kind != "reading":
        once(climb, clock, healthy)
    # rung 5's readings of that set-up stand; the one that stopped it is asked again
    assert climb.step.reading == "5/V2 grid/shared"


def test_nothing_is_passed_with_a_needed_reading_unread_or_off() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "1/C1a charge/shared")
    with pytest.raises(StateError, match="needed"):
        climb.skip()
    up_to(climb, clock, "1/HT2 to HT1/shared")
    climb.read("330")
    assert climb.state == "look first"
    assert climb.step.reading == "1/HT2 to HT1/shared"
    with pytest.raises(StateError):
        climb.skip()
    climb.read("270")
    assert climb.state == "reading"
    up_to(climb, clock, "1/R7 own ends/shared")  # no gate needs this one
    climb.read("1M2")
    assert climb.state == "look first"
    with pytest.raises(StateError, match="did not read right"):
        climb.skip()


def test_a_changed_part_takes_back_what_it_moves_and_the_rungs_it_stands_on() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "4/HT1 after 1 min/shared")
    with pytest.raises(StateError, match="make safe first"):
        climb.change(["R1"])
    climb.switch_off()
    while climb.step.kind == "make safe":
        once(climb, clock, healthy)
    with pytest.raises(ReadingsError, match="try R1"):
        climb.change(["R1x"])
    gone = climb.change(["R1"])
    assert "1/HT2 to HT1/shared" in gone
    assert "1/V2 cathode/shared" not in gone
    assert "1" not in climb.here.passed
    assert "0" in climb.here.passed
    assert "1" not in climb.here.signed  # its hold point is signed again
    while climb.step.kind != "reading":
        once(climb, clock, healthy)
    assert climb.step.reading == next(r.id for r in ladder(B).expected.readings() if r.id in gone)
    assert climbed(climb, clock) is None


def test_back_asks_the_last_reading_again() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "1/HT2 to HT1/shared")
    assert climb.back() == "1/HT2 to minus/shared"
    assert climb.step.reading == "1/HT2 to minus/shared"
    assert "1/HT2 to minus/shared" not in climb.here.taken


def test_back_over_another_set_up_goes_through_make_safe() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "4/HT3/shared")
    climb.back()
    assert climb.state == "switched off"
    while climb.step.kind != "reading":
        once(climb, clock, healthy)
    assert climb.step.reading == "4/HT2/shared"


def test_a_verdict_is_there_within_a_tenth_of_a_second() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, "6/HT1/shared")
    climb.read("331")
    worst = 0.0
    for text in ("250", "331", "12", "299", "288"):
        start = time.perf_counter()
        climb.read(text)
        worst = max(worst, time.perf_counter() - start)
        if climb.step.kind != "reading":
            break
    assert worst < 0.1
