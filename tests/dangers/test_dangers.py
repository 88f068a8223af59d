"""The twelve dangers, each planted in virtual amplifiers with tolerances and a noisy meter, up the whole ladder.

What may be expected comes from outside the ladder's verdicts: how far the fault moves what the meter shows, in standard
deviations of healthy amplifiers, says on which rung it can first be seen; the house's ladder reference, section 8, says
at which row of its own it must be stopped at the latest (common practice); ratings say what nothing may pass before.
"""

from functools import cache

import numpy as np
import pytest
from planted import PLANTED, Planted

from climb import POPULATION, SIGMAS, Bench, Climb, bench, climb, order, row_rung
from firstglow.readings.trial import GO_ON

HANDFUL = 3
CASES = [pytest.param(name, p, id=f"{name[0]}: {p.danger}: {p.name}") for name, ps in PLANTED.items() for p in ps]


@cache
def on(name: str) -> Bench:
    return bench(name)


@cache
def climbs(name: str, powered_only: bool) -> list[Climb]:
    planted = [p for p in PLANTED[name] if p.hot is not None or not powered_only]
    return climb(on(name), planted, passing(name), powered_only)


@cache
def passing(name: str) -> tuple[int, ...]:
    """The first healthy amplifiers to which no powered reading objects: what stops them there is the fault.

    The fast bands are by slopes: they do not know that a leak is log-normal or that an ohmmeter may open a junction, so
    a part of the healthy is objected to that the sampled bands would let pass. Unplugged readings are compared pair by
    pair with the same amplifier without the fault.
    """
    powered = [c for name_, c in on(name).codes.items() if on(name).planned[name_].situation.mains_volts > 0.0]
    clean = np.flatnonzero((np.array(powered) == GO_ON).all(axis=0))
    assert len(clean) >= POPULATION // 3
    return tuple(int(n) for n in clean[:HANDFUL])


def judge(name: str, planted: Planted, powered_only: bool, row: str | None) -> None:
    mine = [c for c in climbs(name, powered_only) if c.planted == planted]
    assert len(mine) == HANDFUL
    for c in mine:
        assert not c.unsettled
        assert c.seen is not None
        assert c.stop is not None, f"seen at {c.seen}, never stopped"
        assert c.stop.sigmas >= SIGMAS
        assert c.stop.rung == c.seen.rung, f"seen at {c.seen}, stopped at {c.stop}"
        assert c.stress[0] < 1.0, c.stress
        at = row_rung(on(name), row, planted.fault.part)
        assert at is not None
        assert order(on(name), c.stop.rung) <= order(on(name), at)


@pytest.mark.parametrize(("name", "planted"), CASES)
def test_stopped_at_the_first_rung_that_can_see_it(name: str, planted: Planted) -> None:
    rows = [r for r in planted.rows if row_rung(on(name), r, planted.fault.part) is not None]
    judge(name, planted, False, rows[0] if rows else None)


@pytest.mark.parametrize(("name", "planted"), [c for c in CASES if c.values[1].hot is not None])
def test_stopped_under_power_too(name: str, planted: Planted) -> None:
    """The same fault where nothing unplugged and no look finds it: it came later, or only shows under power."""
    judge(name, planted, True, planted.hot)
