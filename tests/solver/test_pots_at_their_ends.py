"""Presets that do not reach their idle: a pot at its end is a result, and no other ends there.

What every answer is held to is the condition that it must meet, by a solution of its own with the pots nailed where they
are said to stand (complementarity: on its target, or at the end on the right side of it), no part of the search.
"""

from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.readings.spreads import draw
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.idle import cathode_amps, solve_idle, stand
from firstglow.solver.standing import SolveError

EXAMPLE = Path(__file__).parents[2] / "examples" / "a-linden-twin.toml"
IDLE = dict.fromkeys(("V3", "V4", "V7", "V8"), 0.024)
SAMPLES = 60


@pytest.mark.parametrize(
    ("pot", "foot", "feed", "out"),
    [
        ("10k", "18k", "2k7", True),  # too negative for most: valves cut off at the start of the search
        ("5k", "22k", "2k7", True),
        ("10k", "12k", "4k7", False),  # all reach, from well inside
    ],
)
def test_every_pot_is_on_its_target_or_at_the_end_that_comes_nearest(
    pot: str, foot: str, feed: str, out: bool, tmp_path: Path
) -> None:
    text = EXAMPLE.read_text(encoding="utf-8").replace('"preset 25k 0.5W"', f'"preset {pot} 0.5W"')
    text = text.replace('"15k 0.5W 2%"', f'"{foot} 0.5W 2%"').replace('"2k7 1W 5%"', f'"{feed} 1W 5%"')
    file = tmp_path / "a.toml"
    file.write_text(text, encoding="utf-8")
    amplifier = load(file)
    circuit = compile_circuit(amplifier)
    laid = circuit.apply(draw(circuit, SAMPLES, 0.05, 3).values, Situation(230.0, idle=IDLE))
    found = solve_idle(circuit, laid, IDLE, strict=False)
    assert found.standing.settled.all()
    nailed = circuit.solve(found.standing.values, strict=False)
    assert nailed.settled.all()
    for valve, target in IDLE.items():
        at, amps = found.pots[amplifier.idle[valve].pot or ""], cathode_amps(nailed, valve)
        ends = found.out_of_travel[valve]
        np.testing.assert_allclose(amps[~ends], target, rtol=2e-6)
        # end 1 of each preset is the negative one: at 0 even the least is too much, at 1 even the most too little
        assert (amps[ends & (at <= 0.0)] > target).all()
        assert (amps[ends & (at >= 1.0)] < target).all()
        assert ((at[ends] <= 0.0) | (at[ends] >= 1.0)).all()
        assert ends.any() == out


def test_a_sample_may_leave_a_pot_alone() -> None:
    """Two amplifiers side by side, one of which sets one valve and leaves the others' presets where they stand: each stands as it
    does by itself."""
    circuit = compile_circuit(load(EXAMPLE))
    at = Situation(230.0, idle=IDLE)
    every = solve_idle(circuit, circuit.vector(at), IDLE)
    laid = np.repeat(circuit.apply(every.standing.values, at), 2, axis=1)
    alone = {valve: np.array([target, 0.018 if valve == "V3" else np.nan]) for valve, target in IDLE.items()}
    both = solve_idle(circuit, laid, alone)
    one = solve_idle(circuit, laid[:, 1:], {"V3": np.full(1, 0.018)})
    for valve, target in IDLE.items():
        assert cathode_amps(both.standing, valve)[0] == pytest.approx(target, rel=2e-6)
        assert cathode_amps(both.standing, valve)[1] == pytest.approx(cathode_amps(one.standing, valve)[0], rel=1e-8)
    moved = [pot for pot, places in both.pots.items() if places[1] != every.pots[pot][0]]
    assert moved == [circuit.amplifier.idle["V3"].pot]


@pytest.mark.parametrize(
    ("fault", "stuck", "most"),
    [
        (Fault("V3", "grid to cathode"), "V3", True),
        (Fault("left R22", "open"), "V3", True),
        (Fault("left R26", "open"), "V4", True),
        (Fault("left P1", "wiper open"), "V3", True),
        (Fault("V3", "dead"), "V3", False),
    ],
)
def test_a_valve_that_no_preset_can_set_leaves_the_others_their_idle(fault: Fault, stuck: str, most: bool) -> None:
    """It dragged them along, the other channel's too, and they were told to be at their ends, or nothing was told. By solutions of their
    own: the others at 24 mA with the stuck preset nailed at either end, where its valve misses on the same side both times."""
    circuit = compile_circuit(load(EXAMPLE))
    at = Situation(230.0, idle=IDLE)
    found = solve_idle(circuit, circuit.vector(at, (fault,)), IDLE, strict=False)
    assert found.standing.settled.all()
    assert [valve for valve, ended in found.out_of_travel.items() if ended.any()] == [stuck]
    own = circuit.amplifier.idle[stuck].pot
    for valve, target in IDLE.items():
        if valve != stuck:
            assert cathode_amps(found.standing, valve)[0] == pytest.approx(target, rel=2e-6)
    for end in (0.0, 1.0):
        nailed = circuit.vector(at, (fault,))[:, None]
        for pot, places in found.pots.items():
            nailed[circuit.column[f"{pot} position"]] = end if pot == own else places
        assert (cathode_amps(circuit.solve(nailed), stuck)[0] > IDLE[stuck]) == most


def test_a_preset_that_comes_to_no_end_and_to_no_idle_is_told() -> None:
    """Its track open: V3 draws 121 mA wherever it stands, and was said to stand at 24 mA."""
    circuit = compile_circuit(load(EXAMPLE))
    with pytest.raises(SolveError, match=r"V3: turning left P1 does not bring it to its idle"):
        stand(circuit, Situation(230.0, idle=IDLE), (Fault("left P1", "open"),))
