"""The twelve dangers of the house's ladder reference, climbed: each is stopped at the right rung, and hands off after it.

Where each must stop comes from section 8 of that reference (tests/dangers/planted.py, common practice), what the meters
show from the solver with the fault in it.
"""

import sys
from dataclasses import replace
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from player import begun, climbed, healthy, ladder, once

from firstglow.amplifier.situation import Fault
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.finish import glow_word
from firstglow.readings.observe import Cast
from firstglow.readings.spreads import settings
from firstglow.readings.trial import show

sys.path.insert(0, str(Path(__file__).parents[1] / "dangers"))
from planted import PLANTED, ROWS, Planted

# A second one of a danger in the same amplifier is left to ``benchmarks/climbs``, which climbs all of them at a terminal.
TWINS = {"V8 grid to cathode", "V8 plate to screen", "V9 half dead", "V9 wrong type=GZ34", "T2 plates exchanged"}
CASES = [
    pytest.param(name, p, id=f"{name[0]}: {p.danger}: {p.name}")
    for name, ps in PLANTED.items()
    for p in ps
    if p.name not in TWINS
]


@cache
def shown_with(name: str, fault: Fault, last: int) -> dict[str, str]:
    """What the meters and the lamp show on the middle amplifier with one fault, by reading, as typed, up to a rung: who has
    climbed past that one has failed already."""
    on = ladder(name)
    asked = {r.id for rung in on.expected.rungs[: last + 1] for r in rung.readings}
    parts = [replace(b, readings=tuple(r for r in b.readings if r.id in asked)) for b in on.sheet.wanted]
    wanted = [b for b in parts if b.readings]
    sheet = on.sheet
    setting = {v: np.zeros(1) for v in settings(sheet.setting, 2, 1)}  # each idle at its target
    cast = Cast(sheet.observer.nominal, setting, ((fault,),))
    with np.errstate(all="ignore"):
        seen = sheet.observer.see(wanted, cast, ohms_for=lambda r: True)
    out = {}
    for reading, figures in show(on.expected, sheet, seen, cast, 1).items():
        expected, value = on.expected.by_id[reading], float(figures[0])
        if expected.on is None:
            out[reading] = glow_word(value)
        elif expected.unit == "1":
            out[reading] = f"{value:.4g}" if np.isfinite(value) else "0"
        elif np.isnan(value):
            continue  # no standing solution: an earlier reading must have stopped it
        else:
            out[reading] = expected.on.shown(value).replace("Ω", "").replace(" ", "")
    return out


def rung_of(name: str, row: str | None, part: str) -> int | None:
    """Place of the rung on which a row of the reference stands in this ladder; None where it has no such reading."""
    patterns = [p.format(part=part) for p in ROWS[row]] if row is not None else []
    for place, rung in enumerate(ladder(name).expected.rungs):
        if any(fnmatchcase(r.id, p) for r in rung.readings for p in patterns):
            return place
    return None


def last_allowed(name: str, planted: Planted, powered_only: bool) -> int | None:
    rows = (planted.hot,) if powered_only else planted.rows
    places = (rung_of(name, row, planted.fault.part) for row in rows)
    return next((p for p in places if p is not None), None)


# A climb of (a) takes up to seven seconds, and the tests have ten minutes: these stand for the others there, its cold readings
# passed over, and (c) is climbed from the mains side alone. tests/dangers judges every one in arrays, and benchmarks/climbs
# climbs every one at a terminal.
LONG = {"left P1 wiper open", "C1 shorted", "left C13 leaks 500000", "T2 reversed"}


def climbed_here(name: str, planted: Planted, powered: bool) -> bool:
    if name.startswith("a-"):
        return powered and planted.name in LONG
    return not (powered and name.startswith("c-"))


SIDES = [
    pytest.param(
        *case.values, powered, id=f"{case.id}-{'cold readings passed over' if powered else 'from the mains side'}"
    )
    for case in CASES
    for powered in (False, True)
    if climbed_here(*case.values, powered)
]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "planted", "powered_only"), SIDES)
def test_each_danger_is_stopped_at_its_rung(name: str, planted: Planted, powered_only: bool) -> None:
    limit = last_allowed(name, planted, powered_only)
    if limit is None:
        pytest.skip("the reference names no row of this kind for it")
    both = [last_allowed(name, planted, hot) for hot in (True, False)]  # one solution for both ways up
    figures = shown_with(name, planted.fault, max(place for place in both if place is not None))

    def shows(reading: ExpectedReading) -> str:
        cold = reading.planned.situation.mains_volts == 0.0
        if reading.kind == "look":
            no = not powered_only and any(fnmatchcase(reading.id, p) for p in planted.looks)
            return "no" if no else healthy(reading)
        return healthy(reading) if powered_only and cold else figures.get(reading.id, healthy(reading))

    climb, clock = begun(name)
    found = climbed(climb, clock, shows)
    assert found is not None, "climbed to the top with a danger in it"
    assert found.verdict is not None
    rungs = [r.id for r in ladder(name).expected.rungs]
    assert rungs.index(found.verdict.id.split("/")[0]) <= limit, (found.verdict, rungs[limit])
    if found.verdict.verdict == "switch off now" and climb.here.powered:
        assert climb.state == "switched off"
        while climb.step.kind == "make safe":
            once(climb, clock, shows)
        assert climb.state == "made safe"
        assert climb.step.reading == found.verdict.id  # and nothing goes on before this one reads right
