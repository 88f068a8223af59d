"""What readers and amplifiers of another kind have found: rows of capacitors, heaters on filtered dc, leaks of paper, doublers."""

from pathlib import Path

import pytest

from at_hand import built, firstglow
from drawn import HEAD, stage
from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.readings.observe import Observer
from firstglow.readings.vsafe import safe_bias
from firstglow.solver.circuit import compile_circuit

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
B = (EXAMPLES / "b-hazel-four.toml").read_text(encoding="utf-8")
VALVE = """T1 = ["mains transformer", { primary = "230V", ht = "250-0-250V 90m 90+110R", rect = "5V 2A" }, HEATS]
V9 = ["GZ34", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "HT0", heater = "T1 rect" }]
S2 = ["standby switch", "HT0", "HT1"]
""".replace("HEATS", '{ heat = "6.3V 2A", "heat 2" = "chassis" }')


def test_capacitors_in_series_hold_the_ac_of_what_they_alone_hold() -> None:
    """Behind a valve rectifier and a switch: two of 94 uF are one of 47 (closed form), and no joint floats to a million volts rms."""
    one = VALVE + stage() + 'C1 = ["47u 500V", "HT1", "chassis"]\n'
    two = one.replace(
        '["47u 500V", "HT1", "chassis"]', '["94u 350V", "HT1", "mid"]\nC2 = ["94u 350V", "mid", "chassis"]'
    )
    two += 'RA = ["220k 2W", "HT1", "mid"]\nRB = ["220k 2W", "mid", "chassis"]\n'
    found = []
    for text in (one, two):
        circuit = compile_circuit(load(HEAD + text))
        standing = circuit.solve(circuit.vector(Situation(230.0)))
        ac = [abs(float(standing.x[k, 0])) for u, k in circuit.index.items() if u in ("ac HT0", "ac HT1")]
        assert max(ac, default=0.0) < 1.0
        found.append(float(standing.dc("HT1")[0]))
    assert found[1] == pytest.approx(found[0], rel=0.01)  # 0.4 mA more in the resistors that share


def test_a_leaking_paper_capacitor_is_stopped_above_and_a_good_one_never() -> None:
    """HT over the paper's leak into the grid leak stands as drawn; none at all is a better capacitor (Ohm's law)."""
    ladder = built(load(B.replace('C5 = ["0.1u 630V film"', 'C5 = ["0.1u 630V paper"')))
    row = ladder.expected.by_id["4/V2 grid/shared"]
    assert isinstance(row.expected, float) and row.expected > 0.0
    assert row.stop_above is not None and row.stop_above.limit > row.expected
    assert row.stop_below is None or row.stop_below.limit < 0.0


FILTERED = """T1 = ["mains transformer", { primary = "230V", ht = "200V 90m", "ht 2" = "chassis", low = "9V 2A" }]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
C1 = ["47u 450V", "HT1", "chassis"]
D5 = ["silicon 3A 100V", "T1 low 1", "dc raw"]
D6 = ["silicon 3A 100V", "T1 low 2", "dc raw"]
D7 = ["silicon 3A 100V", "chassis", "T1 low 1"]
D8 = ["silicon 3A 100V", "chassis", "T1 low 2"]
C10 = ["4700u 25V", "dc raw", "chassis"]
R20 = ["4R7 5W", "dc raw", "dc heat"]
C11 = ["4700u 25V", "dc heat", "chassis"]
"""


def test_a_heater_behind_a_filter_resistor_is_read_on_dc() -> None:
    """No winding's ac stands behind resistor and capacitor: on an ac range a healthy one reads nothing, and was told to."""
    ladder = built(load(HEAD + FILTERED + stage('["dc heat", "chassis"]').replace('"["', '["').replace('"]"', '"]')))
    rows = [r for r in ladder.expected.readings() if "V2 heater pin to pin" in r.id]
    assert rows and all(r.kind == "dc volts" and r.expected > 0.5 for r in rows)


def test_a_doubler_s_bleeder_across_both_drains_it(tmp_path: Path) -> None:
    """From its joint to chassis: both capacitors empty through it, though neither has a resistor of its own."""
    text = """T1 = ["mains transformer", { primary = "230V", ht = "110V 200m", heat = "6.3V 2A", "heat 2" = "chassis" }]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
D2 = ["silicon 1A 1000V", "chassis", "T1 ht 1"]
C1 = ["100u 350V", "HT1", "T1 ht 2"]
C2 = ["100u 350V", "T1 ht 2", "chassis"]
"""
    file = tmp_path / "doubler.toml"
    file.write_text(HEAD + text + stage(), encoding="utf-8")
    assert "NO BLEEDER" not in firstglow("check", file).stdout
    file.write_text(
        HEAD + text + stage().replace('R9 = ["220k 2W", "HT1", "chassis"]\n', ""),
        encoding="utf-8",
    )
    assert "NO BLEEDER" in firstglow("check", file).stdout


def test_a_backward_diode_in_a_row_is_no_traceback(tmp_path: Path) -> None:
    """Nothing is charged then: an answer, or a refusal in one line."""
    row = """D1 = ["silicon 1A 1000V", "T1 ht 1", "da"]
D2 = ["silicon 1A 1000V", "HT1", "da"]
R20 = ["470k 1W", "T1 ht 1", "da"]
R21 = ["470k 1W", "da", "HT1"]
C1 = ["47u 450V", "HT1", "chassis"]
"""
    text = FILTERED.splitlines(keepends=True)[0].replace(', low = "9V 2A"', ', heat = "6.3V 2A", "heat 2" = "chassis"')
    file = tmp_path / "row.toml"
    file.write_text(HEAD + text + row + stage(), encoding="utf-8")
    said = firstglow("parts", file, code=None)
    assert said.returncode in (0, 2, 3) and "Traceback" not in said.stderr


def test_each_capacitor_of_a_row_is_read_at_its_own_ends() -> None:
    """Half the rail each where both are shared alike (Kirchhoff), stopped at its own volts; a row behind the choke too."""
    row = 'C1 = ["94u 350V", "HT1", "mid"]\nC2 = ["94u 350V", "mid", "chassis"]\n'
    row += 'RA = ["220k 2W 5%", "HT1", "mid"]\nRB = ["220k 2W 5%", "mid", "chassis"]\n'
    found = built(load(HEAD + VALVE + stage() + row)).expected.by_id
    rail = found["4/HT1 after 1 min/shared"].expected if "4/HT1 after 1 min/shared" in found else None
    upper, lower = (found[f"4/{name} own ends/shared"] for name in ("C1", "C2"))
    assert isinstance(upper.expected, float) and isinstance(lower.expected, float)
    assert upper.expected == pytest.approx(lower.expected, rel=0.02)
    assert rail is None or upper.expected + lower.expected == pytest.approx(rail, rel=0.1)  # the meter loads each half
    for one in (upper, lower):
        assert one.stop_above is not None and one.stop_above.limit <= 350.0


PAIR = """T1 = ["mains transformer", { primary = "230V", ht = "250V 90m", "ht 2" = "chassis", bias = "40V", "bias 2" = "chassis" }, HEATS]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
C1 = ["47u 450V", "HT1", "chassis"]
R9 = ["220k 2W", "HT1", "chassis"]
D2 = ["silicon 1A 1000V", "braw", "T1 bias 1"]
C2 = ["100u 100V", "chassis", "braw"]
P1 = ["preset 10k", "braw", "wiper", "foot"]
R1 = ["10k", "foot", "chassis"]
R2 = ["220k", "g3", "wiper"]
R3 = ["220k", "g4", "wiper"]
V1a = ["12AU7", { grid = "in", plate = "47k HT1", cathode = "1k chassis", heater = "T1 heat" }]
J1 = ["input", "in", "chassis"]
R6 = ["1M", "in", "chassis"]
C5 = ["0.1u 630V film", "V1a plate", "g3"]
C6 = ["0.1u 630V film", "V1a plate", "g4"]
V3 = ["6V6GT", { grid = "g3", plate = "T2 plate a", screen = "HT1", cathode = "10R chassis", heater = "T1 heat", IDLE }]
V4 = ["6V6GT", { grid = "g4", plate = "T2 plate b", screen = "HT1", cathode = "10R chassis", heater = "T1 heat" }]
T2 = ["output transformer 8k 15W", { taps = "8R", centre = "HT1", common = "chassis" }]
LS = ["load 8R", "T2 8", "chassis"]
""".replace("HEATS", '{ heat = "6.3V 2A", "heat 2" = "chassis" }').replace("IDLE", 'idle = "25m", set_by = "P1"')


def test_a_valve_without_an_idle_of_its_own_is_held_like_the_one_on_its_bias() -> None:
    """One preset for a pair, the idle said of one: what holds the strongest of one type holds the other (no Vsafe was asked of it)."""
    observer = Observer(load(HEAD + PAIR))
    mine, other = (safe_bias(observer, valve, 230.0) for valve in ("V3", "V4"))
    assert mine is not None and mine < -10.0 and other == pytest.approx(mine, rel=0.02)
