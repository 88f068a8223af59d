"""A direct-coupled stage that the drawing itself puts into grid current: a finding, and a stop that healthy ones do not
reach. The amplifier is one of the test's own, its figures by Kirchhoff from the solution, the remedy solved again."""

import re
from pathlib import Path

import numpy as np
import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.grid_current import findings
from firstglow.ladder.overloads import as_it_stands

HERE = Path(__file__).parent.parent
DRAWN = HERE / "data" / "rowan-nine.toml"
EXAMPLES = sorted((HERE.parent / "examples").glob("*.toml"))


def grid_of(text: str) -> tuple[float, float]:
    """(grid volts to cathode of V1b, amps that its cathode resistor carries over those of its plate load)."""
    amplifier = load(text)
    standing = SolverPhysics(amplifier).standing(as_it_stands(amplifier))
    volts = float(np.ravel(standing.part("V1b")["grid_volts"])[0])
    cathode, plate = (abs(float(np.ravel(standing.part(r)["amps"])[0])) for r in ("R6", "R7"))
    return volts, cathode - plate


def test_the_finding_names_valve_line_current_and_a_resistor_that_takes_it_out() -> None:
    text = DRAWN.read_text()
    (said,) = findings(load(DRAWN), SolverPhysics(load(DRAWN)))
    line = next(n for n, t in enumerate(text.splitlines(), 1) if t.startswith("V1b"))
    volts, amps = grid_of(text)
    assert volts > -0.5
    assert f"V1b (line {line})" in said
    assert f"{volts:+.2f} V" in said
    assert f"draws {1e3 * amps:.2g} mA" in said  # what the cathode resistor carries and the plate load does not
    found = re.search(r"With (\d+) kΩ for (R\d+) .* it would stand at (\S+) V", said)
    assert found is not None
    ohms, part, then = found.groups()
    mended = re.sub(rf'(?m)^{part} = \["\S+ ', f'{part} = ["{ohms}k ', text)
    assert mended != text
    assert grid_of(mended)[0] == pytest.approx(float(then), abs=0.051)
    assert findings(load(mended), SolverPhysics(load(mended))) == ()


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.name[0])
def test_no_stage_of_the_examples_is_one(path: Path) -> None:
    amplifier = load(path)
    assert findings(amplifier, SolverPhysics(amplifier)) == ()


def test_its_stop_stands_outside_the_band_and_the_row_says_why() -> None:
    made = built(load(DRAWN), mode="fast", from_rung="5", to_rung="5")
    row = made.expected.by_id["5/V1b grid to cathode/shared"]
    assert row.high is not None
    assert row.high > 0.0
    assert row.stop_above is not None
    assert not row.stop_above.cut
    assert row.planned.stop_words == ""
    assert "grid draws current" in row.planned.remark
    a = built(load(next(p for p in EXAMPLES if p.name.startswith("a"))), mode="fast").expected
    clear = next(r for r in a.readings() if "grid to cathode" in r.id and r.unit == "V")
    assert clear.stop_above is not None
    # the meter's own counts: a sign is a sign where the drawing keeps clear of it
    assert abs(clear.stop_above.limit) <= 0.02
