"""The examples planned and walked with the real solver: volts as they stand, no bands."""

from dataclasses import replace
from pathlib import Path

import pytest
from on_paper import expected_of
from test_plan import EXAMPLES
from topologies import PLAIN, build, topology

from firstglow.amplifier import load
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.gear import Gear
from firstglow.ladder.ladder import document
from firstglow.ladder.plan import frame_of, plan_frame
from firstglow.ladder.walk import walk


@pytest.mark.parametrize("path", EXAMPLES, ids=[p.name for p in EXAMPLES])
def test_examples_walk_clean_with_the_volts_that_stand(path: Path) -> None:
    amplifier = load(path)
    physics = SolverPhysics(amplifier)
    frame = frame_of(amplifier, Gear(amplifier.mains_volts), physics)
    made = document(frame, expected_of(frame, plan_frame(frame)))
    assert walk(made, amplifier, physics) == ()
    assert made["rungs"][-1]["id"] == "10"


@pytest.mark.parametrize("rectifier", ["silicon", "bridge", "doubler"])
def test_lifted_diodes_leave_the_reservoir_at_nothing(rectifier: str) -> None:
    """Row 17: with the dc leads of all diodes lifted the reservoir reads 0 +-1 V, whatever the junction law says."""
    amplifier = build(replace(PLAIN, rectifier=rectifier), "By kind")
    physics = SolverPhysics(amplifier)
    frame = frame_of(amplifier, Gear(amplifier.mains_volts), physics)
    at = frame.alone()
    assert at.lifted
    for supply in frame.supplies("ht"):
        joints = physics.joints(at)
        assert abs(joints[supply.joint][0] - joints[supply.ret][0]) < 1.0


@pytest.mark.parametrize("seed", [0, 2, 5, 11, 16, 17, 20, 26, 56, 192])
def test_topologies_walk_clean_with_the_volts_that_stand(seed: int) -> None:
    """Some of the walk's with the real solver: every rectifier but a choke input, every bias."""
    choice, amplifier = topology(seed)
    assert not choice.choke_input
    physics = SolverPhysics(amplifier)
    frame = frame_of(amplifier, Gear(amplifier.mains_volts), physics)
    made = document(frame, expected_of(frame, plan_frame(frame)))
    assert walk(made, amplifier, physics) == (), choice
