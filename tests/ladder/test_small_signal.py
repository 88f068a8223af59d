"""How a few millivolts are made of a generator: two resistors, by the divider's closed form; and the guessed no-load current."""

from pathlib import Path

import pytest
from paper import PaperPhysics

from builders import push_pull_fixed
from firstglow.amplifier import load
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.gear import Gear
from firstglow.ladder.plan import frame_of, plan_frame
from firstglow.ladder.rung_polarity import FOOT, GENERATOR, divider

HAZEL = Path(__file__).parents[2] / "examples/b-hazel-four.toml"


@pytest.mark.parametrize("volts", [0.0011, 0.0051, 0.033, 0.099])
def test_the_divider_makes_the_volts(volts: float) -> None:
    """Ohm's law; E12 has 8.2 and 10 at the widest, so the generator stands at most 1.25 times its least."""
    top, generator = divider(volts)
    assert generator * FOOT / (top + FOOT) == pytest.approx(volts)
    assert GENERATOR * (1 - 1e-9) <= generator < 1.3 * GENERATOR


def test_rung_7_names_the_two_resistors() -> None:
    amplifier = push_pull_fixed()
    physics = PaperPhysics(amplifier, gain=300.0)  # 0.3 V at the load of 1 mV
    rungs = plan_frame(frame_of(amplifier, Gear(amplifier.mains_volts), physics))
    seven = next(r for r in rungs if r.id == "7")
    (line,) = [x for x in seven.before if "generator that goes no lower" in x]
    assert "1 mV" in line and "10 kΩ" in line and "100 Ω" in line and "101 mV" in line


def test_a_guessed_no_load_current_is_called_one() -> None:
    amplifier = load(HAZEL)
    assert any(d.what == "magnetising_amps" for d in amplifier.defaults)
    rungs = plan_frame(frame_of(amplifier, Gear(amplifier.mains_volts), SolverPhysics(amplifier)))
    said = [r.remark for rung in rungs for r in rung.readings if "mains amps at 100" in r.id]
    assert said and all("guess" in text and "magnetising_amps" in text for text in said)
    text = HAZEL.read_text(encoding="utf-8").replace('ct 0R12" }', 'ct 0R12", magnetising_amps = "38mA" }')
    known = load(text)
    assert known.parts["T1"].value("magnetising_amps") == pytest.approx(0.038)
    rungs = plan_frame(frame_of(known, Gear(known.mains_volts), SolverPhysics(known)))
    assert not [r for rung in rungs for r in rung.readings if "magnetising" in r.remark]
