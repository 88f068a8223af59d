"""Capacitors that empty through rectifiers, against scipy's course of the same circuit with a diode's law."""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from variants import variant

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.readings.bleeder import bleeder
from firstglow.solver.discharge import Tool, discharge

PIECE = """
format = 1
fragment = true
[amplifier]
name = "Piece"
drawing = "own"
mains = "230V 50Hz"
channels = ["main"]
[shared]
B1 = ["supply 120V 40R 50Hz", "ac", "chassis"]
C7 = ["100u 250V", "pump", "ac"]
D1 = ["silicon 1A 1000V", "pump", "HT1"]
D2 = ["silicon 1A 1000V", "chassis", "pump"]
C1 = ["50u 450V", "HT1", "chassis"]
C2 = ["47u 450V", "HT2", "chassis"]
R1 = ["270R", "HT1", "HT2"]
R3 = ["220k 2W", "HT1", "chassis"]
R4 = ["100R 1W", "ac", "chassis"]
"""
SLOPE, START = 0.0478, 1.24e-8
"""Of a 1 A silicon diode: 0.65 V at 10 mA, 0.93 V at 1 A (data sheets of the 1N4001, from memory)."""


def course(start: dict[str, float], bleeder_ohms: float = 220e3) -> tuple[np.ndarray, np.ndarray]:
    """Times [s] and volts of C7, C1, C2 by scipy: D1 by its law, the dead supply's end held at chassis by R4."""

    def rate(_: float, y: np.ndarray) -> list[float]:
        pump, one, two = y
        amps = START * np.expm1(min(pump - one, 1.2) / SLOPE)
        on = (one - two) / 270.0
        return [-amps / 100e-6, (amps - on - one / bleeder_ohms) / 50e-6, on / 47e-6]

    times = np.linspace(0.0, 600.0, 60001)
    y0 = [start["C7"], start["C1"], start["C2"]]
    return times, solve_ivp(rate, (0.0, 600.0), y0, "Radau", times, rtol=1e-9, atol=1e-9).y


def last_above(times: np.ndarray, volts: np.ndarray, limit: float) -> float:
    return float(times[np.flatnonzero(np.abs(volts) > limit)[-1]])


@pytest.fixture(name="piece", scope="module")
def _piece() -> Amplifier:
    return load(PIECE)


START_VOLTS = {"C7": 199.0, "C1": 397.0, "C2": 397.0}


@pytest.mark.parametrize(
    "start", [START_VOLTS, {"C7": 150.0, "C1": 300.0, "C2": 120.0}, {"C7": 30.0, "C1": 320.0, "C2": 320.0}]
)
def test_a_cascade_doublers_pump_feeds_its_reservoir(piece: Amplifier, start: dict[str, float]) -> None:
    """Never sooner than with the diode's law, and later by no more than its drop makes."""
    fall = discharge(piece, Situation(0.0), start, values={f"{c} leak_ohms": np.full(1, 1e15) for c in start})
    times, found = course(start)
    for part, volts in zip(("C7", "C1", "C2"), found, strict=True):
        for limit, seconds in ((60.0, fall.of(part).below_60_s), (10.0, fall.of(part).below_10_s)):
            if part == "C7" and start["C7"] < limit:
                assert seconds == 0.0
                continue
            wanted = last_above(times, volts, limit)
            assert wanted - 0.02 <= float(seconds[0]) <= 1.02 * wanted + 5.0
        # with the junction's drop gone the course is a volt off at most
        assert np.abs(fall.capacitor_volts(part, times)[:, 0] - volts).max() < 1.0
    assert "D1" in fall.of("C7").path


def test_blocked_it_was_a_third_too_short(piece: Amplifier) -> None:
    """The same with the pump empty: nothing feeds HT1, and that is the exponential of R3 and both reservoirs."""
    fed = discharge(piece, Situation(0.0), START_VOLTS).of("C1").below_60_s
    alone = discharge(piece, Situation(0.0), START_VOLTS | {"C7": 0.0}).of("C1").below_60_s
    assert alone[0] == pytest.approx(220e3 * 97e-6 * np.log(397.0 / 60.0), rel=0.05)
    assert fed[0] > 1.4 * alone[0]


def test_samples_go_their_own_way(piece: Amplifier) -> None:
    """A batch in which the pump comes forward early, late and never is what each is by itself."""
    pumps = np.array([199.0, 90.0, 0.0])
    whole = discharge(piece, Situation(0.0), START_VOLTS | {"C7": pumps})
    for k, volts in enumerate(pumps):
        alone = discharge(piece, Situation(0.0), START_VOLTS | {"C7": float(volts)})
        assert whole.of("C1").below_10_s[k] == pytest.approx(alone.of("C1").below_10_s[0], rel=0.08 if k == 2 else 1e-6)
        assert whole.joint_volts("HT1", np.array([5.0, 50.0]))[:, k] == pytest.approx(
            alone.joint_volts("HT1", np.array([5.0, 50.0]))[:, 0], rel=1e-6, abs=1e-9
        )


def test_an_open_rectifier_feeds_nothing(piece: Amplifier) -> None:
    """Then the pump has its own leak alone, 500 s over its farads (common practice)."""
    fall = discharge(piece, Situation(0.0), START_VOLTS, [Fault("D1", "open")])
    assert fall.of("C7").path == ()
    assert fall.of("C7").below_60_s[0] == pytest.approx(500.0 * np.log(199.0 / 60.0), rel=0.03)


def test_a_bleeder_is_chosen_with_what_follows(piece: Amplifier) -> None:
    """Its seconds hold by scipy, the pump's charge among what it must take."""
    found = bleeder(piece, "C1", ["C1", "C7", "C2"], START_VOLTS)
    assert found is not None
    times, volts = course(START_VOLTS, 1.0 / (1.0 / 220e3 + 1.0 / found.ohms))
    assert last_above(times, volts[1], 60.0) <= found.seconds <= 60.0


def test_energy_in_the_discharge_resistor(piece: Amplifier) -> None:
    """A resistor across the reservoir takes what the reservoir and the pump held, but for what the bleeder takes."""
    fall = discharge(piece, Situation(0.0), START_VOLTS, tool=Tool("HT1", "chassis", 10e3))
    held = 0.5 * (100e-6 * 199.0**2 + 97e-6 * 397.0**2)
    assert fall.tool_joules is not None
    assert fall.tool_joules[0] == pytest.approx(held * 220.0 / 230.0, rel=0.03)


def test_a_whole_amplifier_waits_for_its_pump(tmp_path: Path) -> None:
    """A cascade doubler in example (b), slow by tolerance: C7, both halves of C1 and C2 at 1.3 times their farads, R3 at 1.1, R1 and
    R2 at 1.05 times their ohms, D1 by its law, from the same volts."""
    amplifier = variant("cascade doubler", tmp_path)
    start = {c.name: 0.0 for c in amplifier.of_kind("capacitor")} | {
        "C7": 199.0,
        "C1a": 397.0,
        "C1b": 397.0,
        "C2": 397.0,
    }
    fall = discharge(amplifier, Situation(0.0), start, high=True)

    def rate(_: float, y: np.ndarray) -> list[float]:
        pump, one, two, three = y
        amps = START * np.expm1(min(pump - one, 1.2) / SLOPE)
        on, far = (one - two) / (1.05 * 270.0), (two - three) / (1.05 * 22e3)
        return [-amps / 130e-6, (amps - on - one / 242e3) / 65e-6, (on - far) / 65e-6, far / 28.6e-6]

    times = np.linspace(0.0, 400.0, 40001)
    found = solve_ivp(rate, (0.0, 400.0), [199.0, 397.0, 397.0, 397.0], "Radau", times, rtol=1e-8, atol=1e-8).y
    for part, volts in zip(("C7", "C1a", "C1b", "C2"), found, strict=True):
        for limit, seconds in ((60.0, fall.of(part).below_60_s), (10.0, fall.of(part).below_10_s)):
            wanted = last_above(times, volts, limit)
            assert wanted <= float(seconds[0]) <= 1.05 * wanted


def test_a_warm_rectifier_valve_feeds_and_a_cold_one_keeps(tmp_path: Path) -> None:
    """A valve in D1's place: HT waits as if it stayed warm, the pump as if it were cold at once."""
    amplifier = variant("cascade doubler", tmp_path)
    file = next(tmp_path.glob("*.toml"))
    valve = 'V9 = ["EZ80", { plate1 = "pump", plate2 = "pump", cathode = "HT1", heater = "T1 heat" }]'
    text = file.read_text(encoding="utf-8").replace('D1 = ["1N4007", "pump", "HT1"]', valve)
    assert valve in text
    start = {c.name: 0.0 for c in amplifier.of_kind("capacitor")} | {
        "C7": 199.0,
        "C1a": 397.0,
        "C1b": 397.0,
        "C2": 397.0,
    }
    silicon = discharge(amplifier, Situation(0.0), start)
    either = discharge(load(text), Situation(0.0), start)
    assert either.of("C1a").below_60_s == pytest.approx(silicon.of("C1a").below_60_s, rel=0.01)
    kept = discharge(amplifier, Situation(0.0), start, [Fault("D1", "open")])
    assert either.of("C7").below_60_s == pytest.approx(kept.of("C7").below_60_s, rel=0.01)
    assert kept.of("C1a").below_60_s[0] < 0.75 * either.of("C1a").below_60_s[0]
    assert either.joint_volts("HT1", np.array([60.0])) == pytest.approx(
        silicon.joint_volts("HT1", np.array([60.0])), rel=0.01
    )
    assert either.of("C7").path == ()
