"""Marks read back to exactly the value they were written from: every value of every series, every tolerance, decades.

A property; the two ways are checked against published examples in test_reading_marks.py, which it cannot replace.
"""

import pytest

from firstglow.markings.read import read
from firstglow.markings.series import SERIES, MarkingError, steps
from firstglow.markings.write import marks

# IEC 60063 pairs each series with a tolerance; finer ones have E192's (standards.toml usual_tolerance_pct).
TOLERANCES = {
    "E6": (0.2,),
    "E12": (0.1,),
    "E24": (0.05, 0.02),
    "E48": (0.02,),
    "E96": (0.01,),
    "E192": (0.005, 0.0025, 0.001),
}


@pytest.mark.parametrize("series", SERIES)
@pytest.mark.parametrize("of", ["resistor", "capacitor"])
def test_every_value(of: str, series: str) -> None:
    seen = set()
    for step in steps(series):
        for decade in range(-1, 7) if of == "resistor" else range(-12, -4):
            value = float(step.scaleb(decade))
            for tolerance in (*TOLERANCES[series], None):
                try:
                    written = marks(of, value, tolerance)
                except MarkingError:  # a fine percentage up to 10 pF has no letter that everybody reads so
                    assert of == "capacitor" and value <= 1e-11 and tolerance is not None and tolerance < 0.05
                    continue
                for mark in written:
                    found = [m for m in read(mark.text, of, mark.layout).meanings if m.value == value]
                    assert found, (value, tolerance, mark, read(mark.text, of, mark.layout))
                    stood = 0.2 if mark.kind.startswith("3 bands") else tolerance
                    assert any(m.tolerance == stood for m in found), (value, tolerance, mark, found)
                    seen.add(mark.kind.split(" (")[0])
    wanted = {"letter code"} | ({"figure code"} if of == "capacitor" or series in {"E6", "E12", "E24"} else set())
    assert wanted <= seen
    if of == "resistor":
        assert ("5 bands" if series in {"E48", "E96", "E192"} else "3 bands") in seen


def test_a_letter_and_tolerance_is_never_asked() -> None:
    """4K7J and 472J have one meaning on their part, whatever the series value (bands may be asked: two ends)."""
    for step in steps("E24"):
        for decade in range(6):
            value = float(step.scaleb(decade))
            text = next(m.text for m in marks("resistor", value, 0.05) if m.kind == "letter code")
            assert read(text, "resistor").ask is None, text


def test_written_against_published() -> None:
    """IEC 60062 examples of standards.toml, the other way."""
    assert {m.kind: m.text for m in marks("resistor", 4700.0, 0.05)} == {
        "4 bands": "yellow violet red gold", "5 bands": "yellow violet black brown gold", "letter code": "4K7J",
        "figure code": "472J", "body, tip, spot (to about 1945)": "yellow violet red gold",
    }  # fmt: skip
    assert "102K" in [m.text for m in marks("capacitor", 1e-9, 0.1)]
    assert "2J" in [m.text for m in marks("capacitor", 1e-7, 0.1, 630.0)]
    assert "green blue black red brown" in [m.text for m in marks("resistor", 56e3, 0.01)]


@pytest.mark.parametrize(("value", "tolerance"), [(1234.0, None), (0.0, None), (4700.0, 0.07), (float("inf"), 0.05)])
def test_what_no_mark_holds(value: float, tolerance: float | None) -> None:
    with pytest.raises(MarkingError, match="try"):
        marks("resistor", value, tolerance)


@pytest.mark.parametrize("volts", [100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 1000.0, 1200.0, 2000.0])
def test_old_capacitor_codes_both_ways(volts: float) -> None:
    """Every E12 value from 10 pF to 0.82 uF, 20, 10 and 5 %: dots and paper bands give back value, tolerance and volts."""
    seen = set()
    for step in steps("E12"):
        for decade in range(-11, -6):
            value = float(step.scaleb(decade))
            for tolerance in (0.2, 0.1, 0.05):
                for mark in marks("capacitor", value, tolerance, volts):
                    if mark.layout == "bands":
                        continue
                    (found,) = read(mark.text, "capacitor", mark.layout).meanings
                    assert (found.value, found.tolerance) == (value, tolerance), (mark, found)
                    assert found.volts == volts or mark.kind.startswith("6"), (mark, found)  # six dots mark none
                    seen.add(mark.kind.split(" (")[0])
    assert "moulded paper bands" in seen
    assert ("5 mica dots" in seen) == (volts <= 1000.0 or volts == 2000.0)
    assert ("3 mica dots" in seen) == (volts == 500.0)


def test_old_codes_against_published() -> None:
    """standards.toml: mark.mica_3_and_5_dot, mark.resistor_body_tip_spot (pages), mark.paper_tubular_bands (memory)."""
    assert "red green black" in [m.text for m in marks("capacitor", 25e-12, 0.2, 500.0)]
    assert "yellow violet orange black blue" in [m.text for m in marks("capacitor", 47e-9, 0.2, 600.0)]
    assert "red orange brown" in [m.text for m in marks("resistor", 230.0, 0.2)]
