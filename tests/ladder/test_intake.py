"""Rung 0: what is said at intake, and the mains side's cold checks with the limits of a country.

Outside: UK in-service code of practice (0.1 ohm and the cord, 1 and 2 Mohm at 500 V dc); DIN VDE 0701-0702 / EN 50678
(0.3 ohm to 5 m, 0.1 ohm for each further 7.5 m, 1 ohm at most): 5 m 0.3, 12.5 m 0.4, 100 m 1.0 ohm; copper 26 mohm a
metre of 0.75 mm2 (IEC 60228, from memory).
"""

from functools import cache
from pathlib import Path

import pytest

from firstglow.amplifier import load
from firstglow.amplifier.roles import roles
from firstglow.ladder.answers import SolverPhysics
from firstglow.ladder.gear import Gear
from firstglow.ladder.plan import frame_of
from firstglow.ladder.rung_intake import limits, mark
from firstglow.ladder.rung_mains import rung
from firstglow.readings.probe import PlannedRung

LINDEN = Path("examples/a-linden-twin.toml").read_text(encoding="utf-8")
PLANTED = """
[intake]
plugged_in = "unknown"
story = "a bang, then silence"
fuse = "T3.15A"
selector = "115V"
missing = ["pilot lamp"]
original = ["C1", "V3"]
country = "DE"
polarised = false
cord = "12.5 m"
"""


@cache
def rung_zero(more: str = "", was: str = "", now: str = "") -> tuple[PlannedRung, tuple[str, ...]]:
    amplifier = load(LINDEN.replace(was, now) + more if was else LINDEN + more)
    frame = frame_of(amplifier, Gear(230.0), SolverPhysics(amplifier))
    return rung(frame), frame.findings


@pytest.mark.parametrize(
    ("country", "metres", "bond"),
    [("DE", 5.0, 0.3), ("DE", 12.5, 0.4), ("AT", 100.0, 1.0), ("EU", 1.5, 0.3), ("UK", 2.0, 0.152), ("US", 2.0, 0.152)],
)
def test_the_bond_with_its_cord(country: str, metres: float, bond: float) -> None:
    assert limits(country, metres, earthed=True).bond_with_cord == pytest.approx(bond)


def test_insulation_by_class() -> None:
    assert [limits(c, None, True).insulation for c in ("UK", "DE", "")] == [1e6, 1e6, 1e6]
    assert [limits(c, None, False).insulation for c in ("UK", "DE", "")] == [2e6, 2e6, 2e6]


def test_a_wrong_fuse_and_selector_are_told_before_any_rung() -> None:
    """3.15 A in place of 1 A; 115 V where 230 V is drawn: twice every winding's volts (turns)."""
    _, findings = rung_zero(PLANTED)
    assert any("3.15 times the current" in text for text in findings)
    assert any("2 times its volts" in text and "115 V" in text for text in findings)
    assert any("pilot lamp" in text for text in findings)


def test_rung_zero_says_what_is_known_after_unplugging() -> None:
    planned, _ = rung_zero(PLANTED)
    assert planned.before[0].startswith("Unplug")
    head = " ".join(planned.before)
    for said in ("smallest lamp of the bench (40 W)", "a bang, then silence", "pilot lamp", "C1, V3", "EN 50678"):
        assert said in head
    bare, _ = rung_zero()
    assert len(planned.before) == len(bare.before) + 5


def test_the_cold_checks_of_the_mains_side() -> None:
    planned, _ = rung_zero(PLANTED)
    ids = [r.id for r in planned.readings]
    for name in ("cord and plug", "F1 fuse", "earth stud", "earth bond with cord", "earth bond", "mains insulation"):
        assert f"0/{name}/shared" in ids
    by_id = {r.id: r for r in planned.readings}
    bond = by_id["0/earth bond with cord/shared"]
    assert [s.limit for s in bond.stops] == [pytest.approx(0.4)]
    insulation = by_id["0/mains insulation/shared"]
    assert "500 V dc" in insulation.what
    assert "discharged afterwards" in insulation.what
    assert [(s.side, s.limit) for s in insulation.stops] == [("below", 1e6)]
    assert all(r.situation.mains_volts == 0.0 for r in planned.readings)


@pytest.mark.parametrize(
    ("more", "line"), [('country = "UK"', True), ("polarised = true", True), ('country = "DE"', False)]
)
def test_the_fuse_is_asked_for_in_the_line_only_where_the_plug_tells(more: str, line: bool) -> None:
    planned, _ = rung_zero(f"\n[intake]\n{more}\n")
    (fuse,) = [r for r in planned.readings if r.id == "0/F1 fuse/shared"]
    assert ("LINE" in fuse.what) is line
    assert "1 A slow" in fuse.what


def test_a_fuse_drawn_in_the_neutral_is_found() -> None:
    moved = LINDEN.replace('"line", "fused line"]', '"neutral", "fused"]').replace('"fused line", "T1', '"line", "T1')
    moved = moved.replace('"primary 2" = "neutral"', '"primary 2" = "fused"')
    from firstglow.amplifier.intake import contradictions

    (text,) = contradictions(load(moved + "\n[intake]\npolarised = true\n"))
    assert text.startswith("F1") and "neutral" in text
    assert contradictions(load(moved + "\n[intake]\npolarised = false\n")) == ()


def test_a_two_wire_set_is_held_to_two_megohms() -> None:
    """No earth: the frame's own row has the class II figure, and nothing of a stud or a cord's earth is asked."""
    bonded = 'W0 = ["wire", "earth", "chassis", { note = "green and yellow, on its own bolt" }]'
    two_wire = LINDEN.replace(bonded, 'R99 = ["1M", "earth", "chassis"]')
    amplifier = load(two_wire + '\n[intake]\ncountry = "UK"\ncord = "2 m"\n')
    planned = rung(frame_of(amplifier, Gear(230.0), SolverPhysics(amplifier)))
    by_id = {r.id: r for r in planned.readings}
    assert by_id["0/mains insulation/shared"].stops[0].limit == 2e6
    assert not {"0/earth stud/shared", "0/earth bond with cord/shared"} & set(by_id)


def test_classes_are_looked_at_where_the_file_has_them() -> None:
    more = (
        '\n[parts]\nC90 = ["0.1u 275V X2", "fused line", "neutral"]\nC91 = ["2.2n 250V Y2", "fused line", "chassis"]\n'
    )
    planned, _ = rung_zero(more)
    (look,) = [r for r in planned.readings if r.id == "0/capacitor classes/shared"]
    assert "C90 (X)" in look.what
    assert "C91 (Y)" in look.what
    assert roles(load(LINDEN + more)).interference


def test_the_fuses_mark() -> None:
    assert mark(load(LINDEN).parts["F1"]) == "1 A slow"
