"""The warm primary against its own cold reading. Copper: +0.393 % of its ohms at 20 degC a kelvin (IEC 60028)."""

import pytest
from test_verdict import FULL

from firstglow.amplifier.situation import Situation
from firstglow.readings.expected import ExpectedLadder, ExpectedReading, ExpectedRung
from firstglow.readings.meters import digital
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung, Probe
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import verdict
from firstglow.readings.warm import rise, times


@pytest.mark.parametrize(("cold_at", "warm_at"), [(20.0, 80.0), (20.0, 45.0)])
def test_the_other_form_of_the_law(cold_at: float, warm_at: float) -> None:
    """IEC 60034-1 has it as (235 + warm)/(235 + cold), which rounds 1/0.00393 - 20 = 234.5."""
    ratio = (235.0 + warm_at) / (235.0 + cold_at)
    assert times(warm_at - cold_at) == pytest.approx(ratio, rel=0.002)
    assert rise(15.0, 15.0 * ratio) == pytest.approx(warm_at - cold_at, rel=0.01)


def ladder() -> ExpectedLadder:
    on = digital().range_for("ohms", 40.0)
    rungs = []
    for name, quantity, note in (("0/primary/shared", "ohms", ""), ("10/primary warm/shared", "warm ohms", "by hand")):
        planned = PlannedReading(name, name, Probe("ohms", "line", "neutral", quantity), Situation(0.0), "none")
        number = name.split("/")[0]
        row = ExpectedReading(planned, number, on, 31.6, 25.0, 45.0, note_only=note)
        rungs.append(ExpectedRung(PlannedRung(number, number, FULL, "", (), (planned,), Hold(False, "")), (row,)))
    by_id = {r.id: r for rung in rungs for r in rung.readings}
    return ExpectedLadder("Test", "0", 230.0, digital(), tuple(rungs), by_id=by_id)


@pytest.mark.parametrize(
    ("warm", "answer", "kelvin"),
    [
        ("32.4", "go on", "20 K"),
        ("36.9", "go on", "59 K"),
        ("37.3", "switch off now", "62 K"),
        ("28", "look first", "-"),
    ],
)
def test_judged_where_the_cold_reading_is_known(warm: str, answer: str, kelvin: str) -> None:
    """30.0 ohm cold: 60 K is 37.07 ohm."""
    taken = parse_taken(f'[readings]\n"0/primary/shared" = "30.0"\n"10/primary warm/shared" = "{warm}"\n')
    found = verdict(ladder(), taken).verdicts[-1]
    assert (found.id, found.verdict) == ("10/primary warm/shared", answer)
    assert kelvin in found.why


def test_without_a_cold_reading_it_is_a_note() -> None:
    found = verdict(ladder(), parse_taken('[readings]\n"10/primary warm/shared" = "37.3"\n')).verdicts[-1]
    assert found.verdict == "note only"


@pytest.mark.parametrize(
    ("cold", "warm", "answer"),
    [
        ("1.6", "2.4", "note only"),
        ("2.3", "2.2", "note only"),
        ("1.6", "3.4", "switch off now"),
        ("2.6", "1.6", "look first"),
    ],
)
def test_few_ohms_are_judged_no_finer_than_the_meter_counts(cold: str, warm: str, answer: str) -> None:
    """Two counts of 0.1 ohm each way: 0.2/1.6 + 0.2/2.4 of 2.4/1.6 is 80 K (JCGM 100, 4.3.7: limits); 127 K warmer says nothing
    then, and 286 K does."""
    taken = parse_taken(f'[readings]\n"0/primary/shared" = "{cold}"\n"10/primary warm/shared" = "{warm}"\n')
    assert verdict(ladder(), taken).verdicts[-1].verdict == answer
