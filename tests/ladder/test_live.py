"""What a rung says is live: each joint at the highest that it comes to in a mains cycle and on the way to warm."""

from math import sqrt
from typing import Any

import pytest
from test_found_by_others import PAIR

from at_hand import built
from drawn import HEAD, stage
from firstglow.amplifier import load
from firstglow.sheets.live import live_text

HEATS = '{ heat = "6.3V 3A", "heat 2" = "chassis" }'
BRIDGE = f"""T1 = ["mains transformer", {{ primary = "230V", ht = "200V 150m" }}, {HEATS}]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
D2 = ["silicon 1A 1000V", "T1 ht 2", "HT1"]
D3 = ["silicon 1A 1000V", "chassis", "T1 ht 1"]
D4 = ["silicon 1A 1000V", "chassis", "T1 ht 2"]
C1 = ["47u 450V", "HT1", "chassis"]
"""
DOUBLER = f"""T1 = ["mains transformer", {{ primary = "230V", ht = "110V 200m" }}, {HEATS}]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
D2 = ["silicon 1A 1000V", "chassis", "T1 ht 1"]
C1 = ["100u 350V", "HT1", "T1 ht 2"]
C2 = ["100u 350V", "T1 ht 2", "chassis"]
"""
PUMP = """C20 = ["22n 1000V film", "T1 ht 1", "pump"]
D3 = ["1N4007", "pump", "chassis"]
D4 = ["1N4007", "braw", "pump"]
C21 = ["47u 160V", "chassis", "braw"]
R20 = ["100k 1W", "braw", "chassis"]
"""
TAPPED = f"""T1 = ["mains transformer", {{ primary = "230V", ht = "250-0-250V 150m", "ht ct" = "chassis" }}, {HEATS}]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
D2 = ["silicon 1A 1000V", "T1 ht 2", "HT1"]
C1 = ["47u 450V", "HT1", "chassis"]
"""


def live(text: str) -> dict[str, dict[str, dict[str, Any]]]:
    """Of each rung, its live joints."""
    document = built(load(HEAD + text), mode="fast").document
    return {r["id"]: {j["joint"]: j for j in r["live"]} for r in document["rungs"]}


def test_an_end_of_a_bridge_is_live_at_the_whole_winding_s_crest() -> None:
    """Held at chassis by the lower diode in one half cycle, a whole winding away in the other, which is where the
    unloaded reservoir stands too but for two diodes' drops; with the upper two open as with them in. 137 V ac of a 273 V one
    was told."""
    found = live(BRIDGE + stage())
    for rung in ("2b", "4", "5"):
        end = found[rung]["T1 ht 1"]
        assert end["kind"] == "crest"
        assert end["volts"] > sqrt(2.0) * 200.0
        assert end["volts"] == pytest.approx(found["4"]["HT1"]["volts"], rel=0.02)


def test_the_driven_end_of_a_doubler_is_live_at_all_of_its_rail() -> None:
    """One diode takes it to chassis, the other to HT, in every cycle; its mean, half of that, was told."""
    found = live(DOUBLER + stage())["4"]
    assert found["T1 ht 1"]["kind"] == "crest"
    assert found["T1 ht 1"]["volts"] == pytest.approx(found["HT1"]["volts"], rel=0.02)
    assert found["T1 ht 2"]["kind"] == "dc"


def test_the_joint_of_a_bias_pump_is_live_with_its_neighbour() -> None:
    """Between its diodes it goes from chassis to the raw bias and back: half of that as a mean kept it off the list."""
    found = live(TAPPED + PUMP + stage())
    for rung in ("2b", "4", "5"):
        raw = found[rung]["braw"]["volts"]
        assert raw > 60.0
        assert found[rung]["pump"] == {"joint": "pump", "volts": pytest.approx(raw, rel=0.01), "kind": "crest"}


def test_what_stands_on_small_valves_until_the_output_valves_draw_is_live() -> None:
    """A follower's cathode falls with HT once the output valves draw: the rung names its highest, as it names HT's."""
    follower = """V2b = ["12AU7", { plate = "HT3", grid = "half", cathode = "33k chassis", heater = "T1 heat" }]
R31 = ["220k 1W", "HT3", "half"]
R32 = ["62k 1W", "half", "chassis"]
"""
    node = 'R90 = ["6k8 5W", "HT1", "HT3"]\nC9 = ["22u 450V", "HT3", "chassis"]\n'
    document = built(load(HEAD + PAIR + node + follower), mode="fast").document
    rungs = {r["id"]: {j["joint"]: j["volts"] for j in r["live"]} for r in document["rungs"]}
    for rung in ("6", "9", "10"):
        assert rungs[rung]["V2b cathode"] == pytest.approx(rungs["5"]["V2b cathode"], rel=0.01)


def test_lifted_diode_ends_are_live_at_their_anodes_crest() -> None:
    """A loose cathode gets every half cycle of its anode: of 200 V ac (unloaded by some per cent more) 283 V and up, the
    same crest as the winding's end in a bridge. Rung 4 has them back on their joint."""
    found = live(BRIDGE + stage())
    for rung in ("2b", "3"):
        for diode, end in (("D1", "T1 ht 1"), ("D2", "T1 ht 2")):
            told = found[rung][f"{diode} cathode (lifted)"]
            assert told == {**found[rung][end], "joint": f"{diode} cathode (lifted)"}
            assert told["volts"] > sqrt(2.0) * 200.0
    assert not any("lifted" in joint for joint in found["4"])


def test_a_lifted_cathode_of_a_grounded_centre_tap_has_the_crest_not_the_rms() -> None:
    """The winding's half is 250 V ac about chassis; its diode passes the upper crest alone, 354 V and up."""
    end = live(TAPPED + stage())["2b"]["D1 cathode (lifted)"]
    assert end["kind"] == "crest"
    assert 354.0 < end["volts"] < 1.15 * 354.0


def test_the_free_end_of_a_lifted_resistor_stands_at_its_other_end() -> None:
    """Rectifiers deliver to one end with nothing to hold it, so the lead lifted at the other has the same volts; lifted at the
    rectifiers it follows the dead reservoir, and is not listed."""
    fed = BRIDGE.replace('1", "HT1"', '1", "raw"').replace('2", "HT1"', '2", "raw"')
    for lead, lives in (("2", True), ("1", False)):
        link = f'R90 = ["10R 5W", "raw", "HT1", {{ link = {{ name = "HT link", lead = "{lead}" }} }}]\n'
        rung = live(fed + link + stage())["2b"]
        assert rung["raw"]["volts"] > sqrt(2.0) * 200.0
        assert (f"R90 {lead} (lifted)" in rung) is lives
        if lives:
            assert rung["R90 2 (lifted)"] == {**rung["raw"], "joint": "R90 2 (lifted)"}


def test_live_in_words_says_which_volts_are_a_crest() -> None:
    joints = [{"joint": "T1 ht 1", "volts": 370.2, "kind": "crest"}, {"joint": "HT1", "volts": 370.5, "kind": "dc"}]
    assert live_text(joints) == "LIVE about 370 V: HT1; about 370 V at the crest: T1 ht 1"
