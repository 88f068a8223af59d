"""What the third newcomer stumbled on (docs/evidence/readers/first-power-up-third-newcomer.md), on an amplifier of the kind
he had: each point by its number there."""

import json
from pathlib import Path

from at_hand import built, firstglow
from firstglow.amplifier import load
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import verdict

ROWAN = Path(__file__).parent.parent / "data" / "rowan-nine.toml"


def test_12_a_verdict_says_for_which_mains_its_bands_are(tmp_path: Path) -> None:
    readings = tmp_path / "r.toml"
    readings.write_text('mains = 225\n[readings]\n"2b/V1 heater pin to pin/shared" = "6.3"\n')
    told = firstglow("verdict", ROWAN, "--readings", readings).stdout
    assert "Judged at your 225 V of mains" in told
    assert "240 V" in " ".join(told.split())
    made = json.loads(firstglow("verdict", ROWAN, "--readings", readings, "--json").stdout)
    assert made["mains"] == 225.0
    sheet = built(load(ROWAN), mains_now=225.0).expected.by_id["2b/V1 heater pin to pin/shared"]
    assert sheet.low is not None
    assert sheet.text(sheet.low) in told
    readings.write_text('mains = 240\n[readings]\n"2b/V1 heater pin to pin/shared" = "6.6"\n')
    assert "Judged at" not in firstglow("verdict", ROWAN, "--readings", readings).stdout


def test_13_hum_is_expected_as_ordinary_wiring_gives_it_and_nothing_is_learned_about_it() -> None:
    """A third of what an ordinary old amplifier has at most: 0.1 of 0.3 mV at the grid, times the closed loop's gain."""
    ladder = built(load(ROWAN), samples=500).expected
    hum = ladder.by_id["6/LS hum/shared"]
    gain = ladder.by_id["7/LS gain/shared"]
    assert isinstance(hum.expected, float)
    assert isinstance(gain.expected, float)
    times = gain.expected / gain.planned.situation.stimulus_volts
    assert hum.expected > 0.9 * 0.1e-3 * times
    assert hum.high is not None
    assert hum.high > 0.3e-3 * times
    taken = parse_taken('[readings]\n"6/HT1/shared" = "300"\n"6/LS hum/shared" = "%.4f"\n' % (0.9 * hum.high))
    judged = {v.id: v.verdict for v in verdict(ladder, taken).verdicts}
    assert judged["6/LS hum/shared"] == "go on"


def test_14_halves_that_differ_are_said_once() -> None:
    made = built(load(ROWAN), mode="fast").document
    remarks = [r["remark"] for rung in made["rungs"] for r in rung["readings"] if "plate to centre" in r["id"]]
    assert [("differ by a quarter" in text) for text in remarks if "lamp" not in text].count(True) == 1
