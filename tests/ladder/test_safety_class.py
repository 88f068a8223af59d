"""Capacitors of class X and Y are marked in V ac (IEC 60384-14): they are held to rms, not to the crest of the mains."""

from functools import cache
from pathlib import Path

import pytest
from test_plan import EXAMPLES

from firstglow.amplifier import load
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.gear import Gear
from firstglow.ladder.plan import frame_of, plan_frame
from firstglow.ladder.unfit import findings

A, B, _ = EXAMPLES
PLACES = {A: ("[shared]", '"T1 primary 1", "neutral"'), B: ("[parts]", '"line", "neutral"')}


def with_it(path: Path, *lines: str) -> str:
    head = PLACES[path][0]
    text = path.read_text()
    assert text.count(f"\n{head}") == 1
    before, rest = text.split(f"\n{head}", 1)
    own, after = rest.split("\n", 1)
    return "\n".join([before, f"{head}{own}", *lines, after])


@cache
def rungs_and_findings(path: Path, *lines: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    amplifier = load(with_it(path, *lines))
    frame = frame_of(amplifier, Gear(amplifier.mains_volts), SolverPhysics(amplifier))
    return tuple(r.id for r in plan_frame(frame)), findings(frame)


@pytest.mark.parametrize("path", [A, B], ids=lambda p: p.name[0])
def test_capacitors_of_the_usual_marks_change_no_rung(path: Path) -> None:
    """275 V~ and 250 V~ are the marks for mains of 230 V, which may be 253 V (EN 50160: +10 %)."""
    across = f'C99 = ["0.1u 275V X2", {PLACES[path][1]}]'
    to_chassis = 'C98 = ["4n7 250V Y2", "line", "chassis"]'
    assert rungs_and_findings(path, across, to_chassis) == rungs_and_findings(path)


def test_one_of_150_v_on_230_v_is_unfit() -> None:
    """230 V on 150 V~: half as much again. In its place one whose mark has room for 253 V: 250 V~."""
    rungs, found = rungs_and_findings(B, 'C99 = ["0.1u 150V X2", "line", "neutral"]')
    assert rungs[-1] == "2a"
    (line,) = (line for line in found if "C99" in line)
    assert line.startswith("UNFIT: C99 is a 150 V~ capacitor and would stand 230 V at today's 230 V")
    assert "Fit one of class X2 for 250 V~ or more: up to 253 V stand at 253 V" in line


def test_one_within_its_mark_today_is_told_of_at_high_mains() -> None:
    """220 V~ has room for 242 V: 230 V today, not the 253 V that the socket may give."""
    rungs, found = rungs_and_findings(B, 'C99 = ["0.1u 220V X2", "line", "neutral"]')
    assert rungs == rungs_and_findings(B)[0]
    (line,) = (line for line in found if "C99" in line)
    assert line.startswith("UNFIT AT HIGH MAINS: C99 is a 220 V~ capacitor")


def test_its_dc_counts_against_the_mark_too() -> None:
    """On HT1 of some 300 V, more with nothing drawing, 275 V~ are not enough."""
    found = rungs_and_findings(B, 'C99 = ["0.1u 275V X2", "HT1", "chassis"]')[1]
    assert any(line.startswith("UNFIT: C99") for line in found)
