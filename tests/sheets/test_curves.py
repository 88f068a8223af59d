"""Curve sheets: points where they are printed, every figure inside the sheet and none on another, rectifiers too."""

import re
import xml.etree.ElementTree as ET

import pytest

from firstglow.devices.catalogue import type_names, valve_type
from firstglow.devices.fit_report import drop_curve, drop_report, plate_curves
from firstglow.sheets.curves import HEIGHT, WIDTH, curves_svg, drop_svg, scales, top_amps

SVG = "{http://www.w3.org/2000/svg}"


def labels(svg: str) -> list[tuple[float, float, float, float, str]]:
    """Boxes of the figures beside lines and points, letters taken as 0.6 of their height wide (DejaVu Sans digits are 0.64)."""
    found = []
    for text in ET.fromstring(svg).iter(f"{SVG}text"):  # noqa: S314 (our own drawing)
        if text.get("text-anchor") or text.get("transform") or (text.text or "").startswith(("circle",)):
            continue
        if "title" in (text.get("class") or ""):
            continue
        high = 11.0 if "small" in (text.get("class") or "") else 14.0
        x, y = float(text.get("x") or 0), float(text.get("y") or 0)
        found.append((x, y - 0.75 * high, x + 0.6 * high * len(text.text or ""), y, text.text or ""))
    return found


@pytest.mark.parametrize("name", ["EL84", "12AX7", "300B", "6L6GC", "EF86"])
def test_no_figure_stands_on_another(name: str) -> None:
    boxes = labels(curves_svg(plate_curves(name)))
    assert len(boxes) > 6
    for n, a in enumerate(boxes):
        assert a[0] >= 0 and a[2] <= WIDTH and a[1] >= 0 and a[3] <= HEIGHT, a
        for b in boxes[n + 1 :]:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1], (a, b)


def test_points_are_drawn_where_they_are_printed() -> None:
    """EL84, 250 V, 250 V, -7.3 V, 48 mA (Philips data handbook): its circle is on 250 V and 48 mA of the axes."""
    curves = plate_curves("EL84")
    x, y = scales(float(curves.plate[-1]), top_amps(curves))
    circles = re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', curves_svg(curves))
    assert any(abs(float(a) - x(250.0)) < 0.1 and abs(float(b) - y(0.048)) < 0.1 for a, b in circles)
    # and no point off the sheet, nor all of them on its floor
    for name in ("300B", "12AX7", "ECL82"):
        c = plate_curves(name)
        assert 0.2 < max(p.published for p in c.points) / top_amps(c) < 1.0


def test_every_type_has_a_sheet() -> None:
    for name in type_names():
        valve = valve_type(name)
        if "rectifier" in valve.kind:
            svg = drop_svg(drop_curve(name))
            assert svg.count('class="point"') == len(drop_report(name))
        else:
            kinds = dict.fromkeys(s.kind for s in valve.sections)
            svg = curves_svg(*(plate_curves(name, kind) for kind in kinds))
            assert svg.count('class="title"') == len(kinds)
        ET.fromstring(svg)  # noqa: S314 (our own drawing)


def test_a_rectifiers_printed_drop_is_on_its_sheet() -> None:
    """5V4G, 25 V at 175 mA (RCA RC-30, from memory)."""
    (row,) = drop_report("5V4G")
    assert (row.amps, row.published) == pytest.approx((0.175, 25.0)) and abs(row.error) < 0.01
