"""The examples planned and walked with the real solver: volts as they stand, no bands."""

import pytest
from on_paper import expected_of
from test_plan import EXAMPLES

from firstglow.amplifier import load
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.gear import Gear
from firstglow.ladder.ladder import document
from firstglow.ladder.plan import frame_of, plan_frame
from firstglow.ladder.walk import walk


@pytest.mark.parametrize("path", EXAMPLES, ids=[p.name for p in EXAMPLES])
def test_examples_walk_clean_with_the_volts_that_stand(path) -> None:
    amplifier = load(path)
    physics = SolverPhysics(amplifier)
    frame = frame_of(amplifier, Gear(amplifier.mains_volts), physics)
    made = document(frame, expected_of(frame, plan_frame(frame)))
    assert walk(made, amplifier, physics) == ()
    assert made["rungs"][-1]["id"] == "10"
