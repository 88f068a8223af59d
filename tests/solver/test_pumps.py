"""Supplies fed through a capacitor: what is given agrees with waveforms in time, and the rest is refused everywhere."""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from variants import variant

from firstglow.amplifier.model import Amplifier, AmplifierError
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.cli.main import run
from firstglow.quantities import read_value
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.pumps import MOST_EMPTIED, emptied
from firstglow.solver.rippled import rippled

A = Path(__file__).parents[2] / "examples" / "a-linden-twin.toml"
TWO = 'C40 = ["%s 630V", "T1 ht 1", "bx"]\nD1 = ["1N4007", "bias raw", "bx"]\nD2 = ["1N4007", "bx", "chassis"]'
ONE = 'C40 = ["%s 630V", "T1 ht 1", "bx"]\nR40 = ["47k 2W", "bx", "bias raw"]\nD2 = ["1N4007", "bx", "chassis"]'


def drawn(tmp_path: Path, bias: str, light: bool = False) -> Path:
    """Example (a) as drawn, its bias fed by ``bias``; light: with ten times the ohms behind it."""
    whole = A.read_text(encoding="utf-8").split("[[layer")[0]
    start = whole.index("D1 = [")
    whole = whole[:start] + bias + whole[whole.index("\n", start) :]
    if light:
        for old, new in (("2k7 1W", "27k 1W"), ("preset 25k", "preset 250k"), ("15k 0.5W", "150k 0.5W")):
            whole = whole.replace(f'"{old}', f'"{new}')
    file = tmp_path / "pumped.toml"
    file.write_text(whole, encoding="utf-8")
    return file


@pytest.mark.parametrize("size", ["22n", "47n", "0.22u", "1u"])
def test_bias_through_a_small_capacitor_and_a_resistor_is_refused(tmp_path: Path, size: str) -> None:
    """Its ac and its dc through one capacitor and a resistor are not solved."""
    file = drawn(tmp_path, ONE % size)
    with pytest.raises(AmplifierError, match=r"pumped.toml:\d+: C40: .* no figure of this amplifier is given"):
        compile_circuit(load(file))


@pytest.mark.parametrize("command", ["standing", "ladder", "parts", "check", "start", "discharge", "mains", "bias"])
def test_every_command_refuses_it(
    tmp_path: Path, command: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The line of the contract on stderr and exit code 2, nothing else: no figure and no traceback."""
    monkeypatch.setattr("sys.argv", ["firstglow", command, str(drawn(tmp_path, ONE % "22n", light=True))])
    with pytest.raises(SystemExit) as left:
        run()
    said = capsys.readouterr()
    assert left.value.code == 2
    assert said.out == ""
    assert said.err.count("\n") == 1 and ": C40: its 22 nF feed a rectifier" in said.err
    assert "; try a winding of its own for that supply" in said.err


def test_the_remedy_works(tmp_path: Path) -> None:
    """The same supply on the winding that the transformer has for it."""
    compile_circuit(load(drawn(tmp_path, 'D1 = ["1N4007", "bias raw", "T1 bias 1"]')))


def test_what_a_cycle_takes_is_its_current_over_farads_and_hertz(tmp_path: Path) -> None:
    """I / (f C), over the volts of half the doubler."""
    circuit = compile_circuit(variant("cascade doubler", tmp_path))
    standing = circuit.solve(circuit.vector(Situation(230.0)))
    amps, volts = float(standing.part("D1")["amps"][0]), float(standing.dc("HT1")[0])
    assert emptied(circuit)["C7"] == pytest.approx(amps / (50.0 * 100e-6) / (volts / 2.0), rel=0.02)
    assert emptied(circuit)["C7"] < MOST_EMPTIED


def test_a_doubler_on_a_small_pump_is_refused(tmp_path: Path) -> None:
    """22 uF and 46 mA: 1.4 % too much by a waveform in time."""
    file = tmp_path / "small.toml"
    variant("cascade doubler", tmp_path)
    source = next(p for p in tmp_path.glob("*.toml") if p != file)
    file.write_text(source.read_text(encoding="utf-8").replace('C7 = ["100u', 'C7 = ["22u'), encoding="utf-8")
    with pytest.raises(AmplifierError, match="C7: its 22 µF"):
        compile_circuit(load(file))


def test_a_pump_with_a_resistor_behind_it_against_its_waveform(tmp_path: Path) -> None:
    """2.2 uF, a diode to chassis and 47k into the bias filter: integrated in time with an ideal diode of 0.6 V and 100 ohm."""
    circuit = compile_circuit(load(drawn(tmp_path, ONE % "2.2u", light=True)))
    standing = circuit.solve(circuit.vector(Situation(230.0)))
    emf = float(standing.x[circuit.index["emf bias raw 1"], 0])
    steps, rx, r4, load_ohms, farads = 1000, 47e3, 27e3, 100e3, 2.2e-6
    wave = np.sqrt(2.0) * emf * np.sin(2.0 * np.pi * np.arange(steps) / steps)
    # the filter's capacitors only hold: smaller ones settle sooner on the same mean
    held, raw, bias = 0.95 * np.sqrt(2.0) * emf, -280.0, -220.0
    dt, mean = 0.02 / steps, 0.0
    for _ in range(400):
        mean = 0.0
        for e in wave:
            joint = e - held
            through = (joint - raw) / rx
            held += dt * (max(joint - 0.6, 0.0) / 100.0 + through) / farads
            on = (raw - bias) / r4
            raw += dt * (through - on) / 4.7e-6
            bias += dt * (on - bias / load_ohms) / 2e-6
            mean += raw / steps
    assert float(standing.dc("bias raw")[0]) == pytest.approx(mean, rel=0.01)


PIECE = """
format = 1
fragment = true
amplifier = {{ name = "Pump", drawing = "own", mains = "230V 50Hz" }}
[parts]
B1 = ["supply 290V 94R 50Hz", "ac", "chassis"]
C40 = ["{farads} 1000V film", "ac", "bx"]
{way}
D2 = ["1N4007", "bx", "chassis"]
C4 = ["1000u 1000V film", "chassis", "raw"]
R4 = ["{load}", "raw", "chassis"]
"""


def piece(farads: str, load_ohms: str, ohms: str | None = None) -> Amplifier:
    way = f'R40 = ["{ohms}", "bx", "raw"]' if ohms else 'D1 = ["1N4007", "raw", "bx"]'
    return load(PIECE.format(farads=farads, load=load_ohms, way=way))


@pytest.mark.parametrize(("farads", "load_ohms"), [("0.12u", "4.7M"), ("0.22u", "2.2M"), ("1u", "470k")])
def test_what_is_left_obeys_the_charge_of_a_cycle(farads: str, load_ohms: str) -> None:
    """Two diodes: Vo = f C R (2 Vp - Vo), Vp the crest less a diode's 0.6 V; nearly as much taken in a cycle as is let through."""
    circuit = compile_circuit(piece(farads, load_ohms))
    assert 0.06 < emptied(circuit)["C40"] < MOST_EMPTIED
    raw = float(circuit.solve(circuit.vector(Situation(230.0))).dc("raw")[0])
    taken = 50.0 * read_value(farads, "F") * read_value(load_ohms, "ohm")
    assert -raw == pytest.approx(2.0 * (np.sqrt(2.0) * 290.0 - 0.6) * taken / (1.0 + taken), rel=0.01)


@pytest.mark.parametrize(
    ("farads", "load_ohms", "ohms"), [("1u", "220k", "22k"), ("0.12u", "2.2M", "47k"), ("0.22u", "1M", "100k")]
)
def test_a_resistor_that_carries_ac_through_the_pump_counts(farads: str, load_ohms: str, ohms: str) -> None:
    """By dc alone these take no more than those above; by waveforms in time the averaged cycle is 2 to 18 % too high there."""
    with pytest.raises(AmplifierError, match=r"C40: .* no figure of this amplifier is given"):
        compile_circuit(piece(farads, load_ohms, ohms))


def waveform(farads: float, load_ohms: float) -> float:
    """Volts behind two 1 A diodes (0.0478 V of slope, 1.24e-8 A; data sheets of the 1N4001, from memory) and a pump on 290 V rms
    through 94 ohm, by scipy: what is charged stands still, the capacitor's own course repeats itself turned after half a cycle."""

    def diode(drive: float) -> float:
        if drive <= 0.0:
            return 0.0
        i = max((drive - 0.8) / 94.0, 1e-9)
        for _ in range(60):
            step = (94.0 * i + 0.0478 * np.log1p(i / 1.24e-8) - drive) / (94.0 + 0.0478 / (i + 1.24e-8))
            i = max(i - step, 0.1 * i)
            if abs(step) < 1e-10 * i:
                break
        return float(i)

    def half(turned: float, volts: float) -> np.ndarray:
        def rate(t: float, y: np.ndarray) -> list[float]:
            joint = np.sqrt(2.0) * 290.0 * np.sin(100.0 * np.pi * t) - volts / 2.0 - y[0]
            out, up = diode(joint), diode(-volts - joint)
            return [(out - up) / farads, out + up]

        return solve_ivp(rate, (0.0, 0.01), [turned, 0.0], "LSODA", rtol=1e-7, atol=1e-9, max_step=1e-4).y[:, -1]

    def short(volts: float) -> float:
        at = brentq(lambda y: half(y, volts)[0] + y, -500.0, 500.0, xtol=1e-4)
        return float(half(at, volts)[1] * 50.0 - volts / load_ohms)

    return float(brentq(short, 1.0, 815.0, xtol=0.01))


@pytest.mark.parametrize(
    ("farads", "load_ohms"),
    [
        ("22n", "127k"),
        ("47n", "12.7k"),
        ("0.22u", "12.7k"),
        ("1u", "12.7k"),
        ("4.7u", "12.7k"),
        ("4.7u", "100k"),
        ("1u", "470k"),
    ],
)
def test_two_diodes_and_a_small_pump_against_their_waveform(farads: str, load_ohms: str) -> None:
    """Within 0.5 %, and its proof holds: the cycle's power, Kirchhoff's sums."""
    circuit = compile_circuit(piece(farads, load_ohms))
    standing = circuit.solve(circuit.vector(Situation(230.0)))
    assert standing.settled.all() and standing.power_balance[0] < 1e-8
    wanted = waveform(read_value(farads, "F"), read_value(load_ohms, "ohm"))
    assert float(standing.dc("raw")[0]) == pytest.approx(-wanted, rel=0.005)
    assert float(standing.dc("bx")[0]) == pytest.approx(-wanted / 2.0, rel=0.02)
    # what is drawn comes through both rectifiers
    assert float(standing.part("D1")["amps"][0]) == pytest.approx(wanted / read_value(load_ohms, "ohm"), rel=0.01)


@pytest.mark.parametrize("fault", ["D1 shorted", "D2 shorted", "D1 reversed", "C40 shorted"])
def test_a_bad_part_in_the_pump_gets_no_answer(fault: str) -> None:
    """Its capacitor then carries more than a cycle's charge: no volts rather than wrong ones."""
    circuit = compile_circuit(piece("0.22u", "12.7k"))
    bad = circuit.vector(Situation(230.0), [Fault(*fault.split())])
    assert not circuit.solve(bad, strict=False).settled.any()


def test_an_open_pump_gives_nothing() -> None:
    circuit = compile_circuit(piece("0.22u", "12.7k"))
    for fault in ("C40 open", "D1 open", "D2 open"):
        standing = circuit.solve(circuit.vector(Situation(230.0), [Fault(*fault.split())]))
        assert abs(float(standing.dc("raw")[0])) < 0.1


def test_ripple_behind_a_small_pump_against_its_waveform() -> None:
    """0.22 uF into 47 uF and 12.7k: stepped in time with diodes of 0.65 V through 94 ohm."""
    amplifier = load(
        PIECE.replace("1000u", "47u").format(farads="0.22u", load="12.7k", way='D1 = ["1N4007", "raw", "bx"]')
    )
    circuit = compile_circuit(amplifier)
    standing = circuit.solve(circuit.vector(Situation(230.0)))
    raw, held = float(standing.dc("raw")[0]), -float(standing.dc("bx")[0])
    steps, seen = 8000, []
    wave = np.sqrt(2.0) * 290.0 * np.sin(2.0 * np.pi * np.arange(steps) / steps)
    for _ in range(20):
        seen = []
        for e in wave:
            joint = e - held
            amps = max(joint - 0.65, 0.0) / 94.0 + min(joint - raw + 0.65, 0.0) / 94.0
            held += 0.02 / steps * amps / 0.22e-6
            raw += 0.02 / steps * (min(joint - raw + 0.65, 0.0) / 94.0 - raw / 12.7e3) / 47e-6
            seen.append(raw)
    assert float(rippled(standing, Situation(230.0)).joints["raw"][0]) == pytest.approx(np.std(seen), rel=0.02)
