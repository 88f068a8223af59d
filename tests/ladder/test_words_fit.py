"""The ladder's words fit the bench that stands there (common practice: no word for a thing that is not there)."""

import re

import pytest
from paper import PaperPhysics
from topologies import topology

from firstglow.ladder.gear import Gear
from firstglow.ladder.plan import frame_of, plan_frame


@pytest.mark.parametrize("seed", range(12))
def test_no_dial_is_named_on_a_bench_of_lamps(seed: int) -> None:
    _, amplifier = topology(seed)
    gear = Gear(amplifier.mains_volts, variable_transformer=False)
    for rung in plan_frame(frame_of(amplifier, gear, PaperPhysics(amplifier))):
        lines = [
            rung.title,
            *rung.before,
            *rung.cautions,
            rung.hold.text,
        ]
        wrong = [x for x in lines if re.search(r"\bdial\b", x, re.IGNORECASE) and "No variable transformer" not in x]
        assert not wrong, (rung.id, wrong)
        if rung.situation.mains_volts >= amplifier.mains_volts:
            # a lamp does not hold unloaded HT down: at full mains nobody is told that it stays below 60 V
            assert not [x for x in lines if "below 60 V" in x], rung.id


def test_the_cold_rung_says_that_a_bridged_part_may_hide_being_open() -> None:
    """3k3 open in parallel with about 100 ohms reads 100.6 instead of 97.6 ohms (Ohm's law): inside a 5 % band."""
    _, amplifier = topology(0)
    rungs = plan_frame(frame_of(amplifier, Gear(amplifier.mains_volts), PaperPhysics(amplifier)))
    assert any("Lift one lead" in line for rung in rungs for line in rung.before)
