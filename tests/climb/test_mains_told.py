"""Mains told in the middle of a climb: what stands under EXPECT is what the next reading is held to, and no limit moves."""

import re

import numpy as np
import pytest
from player import begun, healthy, ladder, once, up_to

from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.judging import judged
from firstglow.readings.drift import STILL

B = "b-hazel-four"
HIGH = "4/HT1 after 1 min/shared"


def flat(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


def test_the_screen_is_for_the_mains_that_were_told() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, HIGH)
    sitting = Sitting(climb, Lines())
    before = sitting.screen(climb.step)
    stop = next(line for line in before if line.startswith("STOP IF"))
    sitting._line(climb.step, "mains 248")
    said = sitting.screen(climb.step)
    assert max(map(len, said)) <= 80
    assert "+7.8 %" in flat(said) and "--mains-now 248" in flat(said)
    sitting._said = []
    after = sitting.screen(climb.step)
    assert stop in after
    assert "at your 248 V of mains" in flat(after) and "mains 248" in after[-1]
    assert sitting._asked(climb.step)["data"]["stop_above"] == ladder(B).expected.by_id[HIGH].stop_above.limit
    # the solver's own answer at 248 V, through the same meter
    reading = ladder(B).expected.by_id[HIGH]
    at, physics = reading.planned.situation, ladder(B).frame.physics
    one, two = (
        float(np.ravel(physics.standing(at.but(mains_volts=volts)).row(reading.planned.probe))[0])
        for volts in (230.0, 248.0)
    )
    assert sitting._asked(climb.step)["data"]["expected"] == pytest.approx(reading.expected * two / one, rel=2e-3)
    band = re.search(r"band +([\d.]+) V +to +([\d.]+) V", flat(after))
    assert band is not None
    low, high = (float(t) for t in band.groups())
    assert reading.low < low < reading.expected * two / one < high
    assert high <= reading.stop_above.limit


def test_every_figure_of_the_meter_is_judged_as_its_screen_has_it() -> None:
    """With 3 % more mains and with 5 % less, all the way up: the ends of the band that is shown go on, a step past them is
    looked at."""
    climb, clock = begun(B)
    told = 0
    while climb.step.kind != "done":
        name = climb.step.reading
        if climb.step.kind != "reading" or name is None:
            once(climb, clock, healthy)
            continue
        plain = climb.here
        wanted = climb.ladder.expected.by_id[name].planned.situation.mains_volts
        for share in (1.03, 0.95):
            if not wanted or climb.reading(name).note_only or climb.to_pull(name) is not None:
                continue
            climb.mains(share * wanted)
            reading = climb.at_mains(climb.reading(name))
            if reading.on is None or not climb.ladder.expected.by_id[name].mains_curve or reading.hidden:
                continue
            assert reading.low is not None and reading.high is not None
            if reading.low > reading.high:
                continue
            for figure, word in (
                (reading.low, "go on"), (reading.high, "go on"),
                (reading.low - reading.on.step, "off"), (reading.high + reading.on.step, "off"),
            ):  # fmt: skip
                if reading.on.signed or figure >= 0.0:
                    typed = f"{figure:.9g}"
                    found = judged(climb.ladder, climb.here, name, typed).verdict
                    good = found.verdict in ("go on", "note only")
                    # two legs, two sides, ten minutes: held beside another reading, which no band of this one tells
                    beside = found.why.startswith(STILL) or any(
                        said in found.why for said in ("apart", "below the row before")
                    )
                    assert good == (word == "go on") or beside, (name, share, typed, found)
                    told += 1
        climb.here = plain
        once(climb, clock, healthy)
    assert told > 200


def test_mains_at_which_nothing_is_judged_are_said_on_the_screen() -> None:
    climb, clock = begun(B)
    up_to(climb, clock, HIGH)
    climb.mains(190.0)
    sitting = Sitting(climb, Lines())
    text = flat(sitting.screen(climb.step))
    assert "not judged: read with 190 V of mains where this rung wants 230 V: set the dial" in text
    assert sitting._asked(climb.step)["data"]["expected"] == climb.reading(HIGH).expected
