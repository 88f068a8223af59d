"""A hot restart whose current comes before its bias: what holds the output valves back is told as it is."""

from pathlib import Path

import numpy as np
import pytest

from at_hand import firstglow, linden_of_one_channel, started
from firstglow.amplifier import load
from firstglow.amplifier.roles import roles
from firstglow.audit.bias_late import Late
from firstglow.audit.cold_start import ColdStart, Coming
from firstglow.cli.start import _spared
from firstglow.devices.pentode import pentode_currents
from firstglow.readings.rated import section_of

A = Path(__file__).parents[2] / "examples" / "a-linden-twin.toml"
RECTIFIER = 'V9 = ["5V4G", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "HT1", heater = "T1 rect" }]'
SILICON = 'D8 = ["1N4007", "T1 ht 1", "HT1"]\nD9 = ["1N4007", "T1 ht 2", "HT1"]'


def silicon(folder: Path) -> Path:
    """One channel of example (a) behind silicon: HT stands within its first tenth of a second."""
    text = linden_of_one_channel()
    assert text.count(RECTIFIER) == 1
    file = folder / A.name
    file.write_text(text.replace(RECTIFIER, SILICON))
    return file


def of(start: ColdStart, valve: str, off: float | None) -> Coming:
    return next(v for v in start.valves if v.valve == valve and v.off == off)


def hot(start: ColdStart, valve: str, column: int, begin: float, end: float) -> tuple[float, float]:
    """The most that its law gives at the volts of each moment, its cathode hot, and the most plate volts over those at the end of a
    cold start: by the fitted law itself, emission left out."""
    o = next(o for o in roles(start.amplifier).outputs if o.valve == valve)
    course = start.again
    t = course.seconds - course.seconds[0]
    inside = (t >= begin) & (t <= end)
    plate, screen, grid = (
        (course.dc(j) - course.dc(o.cathode))[inside, column] for j in (o.plate, str(o.screen), o.grid)
    )
    one = np.ones_like(plate)
    ia, ig2, _ = pentode_currents(
        section_of(start.amplifier.parts[valve]).law, np.maximum(plate, 0.0), np.maximum(screen, 0.0), grid, one, one, 0.0 * one
    )  # fmt: skip
    warm = float(start.course.dc(o.plate)[-1, 0] - start.course.dc(o.cathode)[-1, 0])
    return float((ia + ig2).max()), float(plate.max() / warm)


def test_behind_silicon_it_is_the_cooled_cathode_and_not_ht(tmp_path: Path) -> None:
    """HT has no warm-up there: it stands long before the bias, whose own RC takes half a second; after 10 s a cathode that warms in
    11 s has cooled."""
    file = silicon(tmp_path)
    start = started(load(file), None, 60.0)  # as the command has it
    row = of(start, "left V4", 10.0)
    assert row.late and row.holds is not None and row.conducts is not None and row.before is not None
    assert row.most <= 1.02 * row.idle
    amps, ht = hot(start, "left V4", 2, row.conducts, row.holds)
    assert ht > 0.9 and amps > 2.0 * row.idle
    assert row.before.by == "cathode" and row.before.warm == pytest.approx(amps, rel=0.05)
    said = " ".join(firstglow("start", file).stdout.split())
    told = said[said.index("10 s off and on again") :].split("Switched off")[0]
    assert "but the cathodes have cooled" in told and "HT more slowly" not in told


def test_behind_a_valve_rectifier_that_cools_too_it_is_ht_that_comes_last() -> None:
    start = started(load(A))
    row = of(start, "V3", 5.0)
    assert row.late and row.holds is not None and row.conducts is not None and row.before is not None
    amps, ht = hot(start, "V3", 1, row.conducts, row.holds)
    assert ht < 0.9 and amps <= 1.02 * row.idle
    assert row.before.by == "ht" and row.before.ht == pytest.approx(ht, rel=0.05)


@pytest.mark.parametrize(
    ("late", "by"),
    [
        (Late(0.0565, 0.20, 0.045, 0.8), "nothing"), (Late(0.01, 0.20, 0.045, 1.0), "cathode"),
        (Late(0.01, 0.04, 0.045, 0.5), "ht"), (Late(0.01, 0.04, 0.045, 1.0), "bias"),
    ],
)  # fmt: skip
def test_which_of_them_it_is(late: Late, by: str) -> None:
    assert late.by == by


def test_more_than_the_idle_is_not_told_as_none() -> None:
    """56.5 mA at an idle of 45 beside a valve that HT spares: each by its own name."""
    rows = [
        Coming(name, 5.0, 0.0, 1.0, 1.4, most, 0.045, -10.0, -35.0, True, before=Late(until, 0.04, 0.045, 0.8))
        for name, most, until in (("V2", 0.045, 0.030), ("V3", 0.0565, 0.0565))
    ]
    first, second = _spared("5 s off and on again", rows)
    assert "V2: " in first and "none draws more" in first
    assert "V3: " in second and "up to 56.5 mA" in second and "none" not in second
