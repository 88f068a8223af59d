"""The parts audit against figures from outside it: closed forms, sums by hand, a waveform integrated by scipy, makers' rows."""

from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from at_hand import audited_cold, standing_cold
from firstglow.amplifier import load
from firstglow.audit.ageing import ages
from firstglow.audit.looks import say
from firstglow.audit.parts import KINDS, Audit, audit
from firstglow.audit.stress import Stress
from firstglow.audit.stress_passive import body_volts, derate
from firstglow.audit.stress_restart import restart
from firstglow.audit.stress_valves import supply_ohms, switched_amps

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
A, B = ((EXAMPLES / f"{n}.toml").read_text() for n in ("a-linden-twin", "b-hazel-four"))
HALF_WAVE = """
format = 1
fragment = true
amplifier = { name = "Half wave", drawing = "a bench sketch" }

[parts]
B1 = ["supply 50V 10R 50Hz", "ac", "chassis"]
D1 = ["silicon 1A 400V", "ac", "raw"]
C1 = ["100u 100V", "raw", "chassis"]
R1 = ["LOAD", "raw", "chassis"]
"""


def audited(text: str) -> Audit:
    """Without the hot restart, two thirds of its time: what it finds has a check of its own below."""
    return audited_cold(load(text), whole=False)


def value(found: Audit, part: str, stress: str) -> float:
    return next(s.value for s in found.of(part).stresses if s.stress == stress and not s.fault)


def test_inverse_volts_of_an_unloaded_half_wave_are_two_crests() -> None:
    """2 sqrt 2 E less the diode's own drop (any text on rectifiers); 10 Mohm takes 14 uA, so 0.3 to 0.5 V of a junction."""
    found = audited(HALF_WAVE.replace("LOAD", "10M 1W"))
    crest = 2.0 * sqrt(2.0) * 50.0
    assert crest - 0.6 < value(found, "D1", "peak inverse volts") < crest


def test_inverse_volts_of_a_full_wave_valve_are_two_crests_of_one_half() -> None:
    """Centre tap, nothing drawing but 22 Mohm: 2 sqrt 2 times the half winding's open volts, less what the rectifier drops at
    18 uA and the primary at its magnetising current (1 %)."""
    text = B.replace('R3 = ["220k 2W 10%"', 'R3 = ["22M 2W 10%"')
    assert text != B
    found = audited(text)
    half = next(w.turns.value for w in found.stood.amplifier.parts["T1"].windings if w.name == "ht b")
    crests = 2.0 * sqrt(2.0) * half
    assert 0.99 * crests < value(found, "V3", "peak inverse volts") < crests


def test_ripple_current_against_a_waveform_by_scipy() -> None:
    """50 V rms behind 10 ohm and a diode into 100 uF and 1 kohm, integrated by LSODA to its steady state. The diode is a
    junction of 0.8 V at these currents (silicon at 0.1 to 1 A: 0.75 to 0.9 V), the cells are 7.5 degrees wide: 2 %."""
    found = audited(HALF_WAVE.replace("LOAD", "1k 10W"))

    def pulse(t: float, volts: float) -> float:
        return max(50.0 * sqrt(2.0) * np.sin(2.0 * pi * 50.0 * t) - 0.8 - volts, 0.0) / 10.0

    def rate(t: float, y: np.ndarray) -> list[float]:
        return [(pulse(t, float(y[0])) - float(y[0]) / 1e3) / 100e-6]

    end = 1.0
    t = np.linspace(end - 0.02, end, 4001)
    run = solve_ivp(rate, (0.0, end), [55.0], method="LSODA", max_step=1e-4, rtol=1e-7, atol=1e-7, t_eval=t)
    amps = np.array([pulse(a, v) - v / 1e3 for a, v in zip(run.t, run.y[0], strict=True)])
    ours = value(found, "C1", "ripple amps, rms")
    assert ours == pytest.approx(float(np.sqrt(np.mean(amps**2))), rel=0.02)
    assert value(found, "D1", "amps, mean") == pytest.approx(float(run.y[0].mean()) / 1e3, rel=0.01)


def test_watts_and_volts_of_a_divider_by_hand() -> None:
    """300 V on 10 k and 20 k: 10 mA, 1 W and 2 W, 100 V and 200 V."""
    text = HALF_WAVE.split("[parts]")[0] + (
        '[parts]\nB1 = ["supply 300V 0R001", "HT", "chassis"]\nR1 = ["10k 2W", "HT", "mid"]\nR2 = ["20k 5W", "mid", "chassis"]\n'
    )
    found = audited(text)
    assert value(found, "R1", "watts") == pytest.approx(1.0, rel=1e-5)
    assert value(found, "R2", "watts") == pytest.approx(2.0, rel=1e-5)
    assert value(found, "R1", "volts") == pytest.approx(100.0, rel=1e-5)
    assert value(found, "R2", "volts") == pytest.approx(200.0, rel=1e-5)


@pytest.mark.parametrize(
    ("kind", "degc", "share"),
    [
        ("metal film", 70, 1.0), ("metal film", 100, 0.6471), ("metal film", 125, 0.3529), ("metal film", 155, 0.0),
        ("wirewound", 70, 0.8615), ("wirewound", 125, 0.6923), ("metal oxide", 125, 0.6667),
    ],
)  # fmt: skip
def test_derating(kind: str, degc: float, share: float) -> None:
    """facts: res.derating (IEC 60115-1 style; Yageo CFR sheet on a page, wirewound and oxide from memory)."""
    assert derate(kind, degc) == pytest.approx(share, abs=5e-5)


def test_working_volts_of_bodies() -> None:
    """facts: res.voltage_limit, a leaded carbon film data sheet: 0.25 W 250 V, 0.5 W 350 V, 1 W and 2 W 500 V."""
    assert [body_volts(w) for w in (0.25, 0.5, 1.0, 2.0)] == [250.0, 350.0, 500.0, 500.0]


def test_supply_ohms_between_the_makers_rows() -> None:
    """GZ34: 75 ohm a plate at 300 V rms, 125 ohm at 400, 200 ohm at 550 (Philips, from memory); straight between."""
    assert [supply_ohms("GZ34", v) for v in (300.0, 325.0, 400.0, 550.0)] == [75.0, 87.5, 125.0, 200.0]


def test_supply_ohms_outside_the_makers_rows_keep_the_amps_into_an_empty_reservoir() -> None:
    """A 5V4G's one row is 100 ohm at 375 V rms (RCA, from memory): 5.3 A at the crest. 290 V through 77.3 ohm is as much, and so is
    750 V through 200."""
    assert supply_ohms("5V4G", 375.0) == 100.0
    for volts in (290.0, 750.0):
        ohms = supply_ohms("5V4G", volts)
        assert ohms is not None and sqrt(2.0) * volts / ohms == pytest.approx(sqrt(2.0) * 375.0 / 100.0, rel=1e-9)
    assert switched_amps("5V4G") == pytest.approx(5.303, abs=1e-3)


def test_supply_ohms_of_a_winding_by_hand() -> None:
    """Example (a): 70 ohm of half winding and 15 ohm of primary times (290/230) squared: 93.85 ohm."""
    found = audited(A)
    assert value(found, "V9", "supply ohms a plate") == pytest.approx(70.0 + 15.0 * (290.0 / 230.0) ** 2, rel=1e-9)


def test_heat_of_an_output_valve_by_hand() -> None:
    """Plate watts and its cathode resistor's are the sums of what the amplifier stands at (example b): volts across 240 ohm
    give the cathode's amps, less the screen's the plate's."""
    found = audited(B)
    k = next(n for n, w in enumerate(found.stood.ways) if w.text == "small valves out" and w.level == "now")
    dc = {j: float(found.stood.dc(j)[k]) for j in ("V2 cathode", "V2 plate", "V2 screen", "HT2")}
    cathode, screen = dc["V2 cathode"] / 240.0, (dc["HT2"] - dc["V2 screen"]) / 100.0
    assert value(found, "V2", "cathode amps") == pytest.approx(cathode, rel=1e-3)
    assert value(found, "V2", "plate watts") == pytest.approx(
        (cathode - screen) * (dc["V2 plate"] - dc["V2 cathode"]), rel=2e-3
    )


def test_a_choke_input_unloaded_rises_to_the_crest() -> None:
    """A choke input below its critical current comes up to the winding's crest: 0.9 E loaded, 1.41 E unloaded (textbook). With
    22 Mohm pulses of half width a bring 0.35 a^4 crest / (2 pi 50 L) = 18 uA: a 0.14, so cos a = 0.99 of it.
    The averaged cycle has cells of 7.5 degrees, which is as wide as such a pulse's half (8 degrees): it stands up to 2 % low."""
    text = B.replace('cathode = "HT1", heater', 'cathode = "rectified", heater').replace(
        'R3 = ["220k 2W 10%", "HT1", "chassis"]',
        'L1 = ["choke 10H 100m 150R", "rectified", "HT1"]\nR3 = ["22M 2W 10%", "HT1", "chassis"]',
    )
    found = standing_cold(load(text))  # of one part: what all the others meet is not asked
    rows = KINDS["capacitor"](found, found.amplifier.parts["C1a"])
    worst = next(s for s in rows if s.stress == "working volts" and not s.fault)
    assert "but rectifiers out, choke input unloaded" in worst.situation
    half = next(w.turns.value for w in found.amplifier.parts["T1"].windings if w.name == "ht b")
    assert 0.965 < worst.value / (sqrt(2.0) * 1.1 * half) < 1.0
    running = float(found.dc("HT1")[0])
    assert running < 0.97 * 0.9 * half * 1.05


def test_a_hot_restart_is_followed_closely_enough() -> None:
    """Steps ten times finer (the equations themselves stand against scipy's integrators in tests/solver) move its highest cathode
    current by under 2 %: example (b), 40 mA as it runs; two seconds off leave its cathode hot and its own bias gone."""
    found = audit(load(EXAMPLES / "b-hazel-four.toml"), whole=False)
    again = found.stood.restart
    assert again is not None
    running = value(found, "V2", "cathode amps")
    assert 1.2 * running < again.amps["V2"].value < 2.0 * running
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("firstglow.audit.stress_restart.TOLERANCE", 1e-3)
        finer = restart(found.stood)
    assert finer is not None and again.amps["V2"].value == pytest.approx(finer.amps["V2"].value, rel=0.02)
    assert value(found, "V2", "cathode amps, switching on hot") == again.amps["V2"].value
    assert value(found, "C6", "surge volts") == pytest.approx(again.highest["C6"].value)


CASCADE = """
format = 1
fragment = true
amplifier = { name = "Cascade", drawing = "a bench sketch" }

[parts]
B1 = ["supply 100V 10R 50Hz", "ac", "chassis"]
C7 = ["100u 400V", "ac", "pump"]
D1 = ["silicon 1A 1000V", "pump", "HT1"]
D2 = ["silicon 1A 1000V", "chassis", "pump"]
C1 = ["100u 400V", "HT1", "chassis"]
R1 = ["1M 1W", "HT1", "chassis"]
"""


def test_inverse_volts_of_a_cascade_doubler_are_two_crests() -> None:
    """The pump joint swings from nothing to 2 sqrt 2 E, the reservoir stands there (any text on rectifiers)."""
    found = audited(CASCADE)
    crests = 2.0 * sqrt(2.0) * 100.0
    for name in ("D1", "D2"):
        assert value(found, name, "peak inverse volts") == pytest.approx(crests, rel=0.01)


def test_a_heater_above_its_cathode_is_held_to_its_own_limit() -> None:
    """EF86: 100 V with the cathode positive, 50 V with the heater positive (its sheet). 56k of 276k of some 288 V is 58 V."""
    text = B.replace('1.7A ct 0R12" }', '1.7A ct 0R12", "heat ct" = "lift" }')
    lift = 'R20 = ["220k 1W 5%", "HT2", "lift"]\nR21 = ["56k 0.5W 5%", "lift", "chassis"]\nC20 = ["22u 100V", "lift", "chassis"]\n'
    text = text.replace("R3 = [", lift + "R3 = [", 1)
    found = audited(text)
    assert value(found, "V1", "heater above its cathode, volts") > 50.0
    assert found.of("V1").verdict == "unfit"
    assert value(found, "V1", "heater to cathode volts") < 100.0


def test_a_fuse_that_says_no_amps_is_not_fit() -> None:
    found = audited(B.replace("fuse 500m slow", "fuse"))
    assert found.of("F1").verdict == "rating unknown"


def test_mains_read_low_today_buy_no_weaker_part() -> None:
    """243 V on a 240 V set read today: 264 V may stand tomorrow, and a capacitor is bought for that (it was 255 V: 600 V parts
    where 264 V asks for more)."""
    amplifier = load(EXAMPLES / "b-hazel-four.toml")
    marked, read = (audited_cold(amplifier, volts, whole=False) for volts in (None, 1.01 * amplifier.mains_volts))
    for name in ("C1a", "C2"):
        volts = [next(s.value for s in x.of(name).stresses if s.stress == "surge volts") for x in (marked, read)]
        assert volts[1] == pytest.approx(volts[0], rel=1e-6)


def test_a_part_put_in_anew_is_old_no_more(tmp_path: Path) -> None:
    """Its note is of the one that was there: it was ordered again for ever."""
    line = 'C2 = ["22u 450V", "HT3", "chassis"]'
    assert B.count(line) == 1
    old = B.replace(line, line[:-1] + ', { note = "old" }]')
    new = old + '\n[[layer]]\nkind = "changed"\nwho = "me"\nset = { C2 = { farads = "22u" } }\n'
    for source, kept in ((old, "AGEING"), (new, "")):
        file = tmp_path / "set.toml"
        file.write_text(source, encoding="utf-8")
        assert bool(ages(load(file).parts["C2"])) == bool(kept)


def test_what_stands_in_the_line_for_instance_is_of_the_very_part() -> None:
    """A selenium of unknown marks stays one (its example made silicon of it), and a capacitor that no maker's volts bear has none
    (it was 700 V, where electrolytics end at 600)."""
    amplifier = load(
        B + '\nD9 = ["selenium 4 plates", "bias raw", "T1 heat 1"]\nC9 = ["10u electrolytic", "chassis", "bias raw"]\n'
        'R99 = ["10k", "bias raw", "chassis"]\n'
    )
    inverse = Stress("peak inverse volts", 20.0, "V", None, "running")
    assert say(amplifier.parts["D9"], inverse) == '"selenium 60m 160V 4 plates"'
    for volts, told in ((300.0, True), (580.0, False)):
        working = Stress("working volts", volts, "V", None, "running", tight=0.1)
        assert bool(say(amplifier.parts["C9"], working)) == told


def test_the_usual_class_x_and_y_fit_mains_of_230_v_and_their_dc_counts() -> None:
    """250 V~ marks take 230 V +10 % (EN 50160), 150 V~ not; 275 V~ does not take HT of some 300 V dc."""
    lines = (
        'C95 = ["10n 275V X2", "HT1", "chassis"]',
        'C96 = ["10n 150V X2", "line", "neutral"]',
        'C97 = ["4n7 250V Y2", "line", "chassis"]',
        'C98 = ["0.1u 275V X2", "line", "neutral"]',
    )
    found = audited("\n".join([B, *lines, ""]))
    assert [found.of(f"C{n}").verdict for n in (95, 96, 97, 98)] == ["unfit", "unfit", "fit", "fit"]
    assert value(found, "C97", "ac volts") == pytest.approx(253.0, rel=0.002)
