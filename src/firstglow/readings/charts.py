"""Charts beside what the drawing gives: whether they agree, and what a chart's figure is here today.

A chart questions the drawing, before power; a measurement questions the amplifier. A chart moves no band and no stop.
Its figures are compared at its own mains and with its own meter, and brought to a row of the ladder by what is expected
there over what the drawing gives at the chart: through the solution, for HT, bias and currents do not follow the mains in
proportion (the mains alone are what is left where that ratio means nothing; common practice for all charts).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from firstglow.amplifier.aside import Chart, ChartPoint
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.readings.expect import expect_with_sheet
from firstglow.readings.expected import ExpectedLadder, ExpectedReading
from firstglow.readings.meters import Meter, digital, moving_coil
from firstglow.readings.observe import Observer
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung, Probe

# What may have stood behind a chart that names no meter (common practice): ohms per volt, input ohms.
ANY_METER: tuple[tuple[float | None, float | None], ...] = ((20e3, None), (1e3, None), (None, 10e6))
# Ratio of two predictions outside of which it is another state that is read, and not the same one at other mains.
MEANS = (0.4, 2.5)
FULL = 0.9  # of today's mains: a row at a lower dial gets no verdict, and no chart either


@dataclass(frozen=True, slots=True)
class Compared:
    """One point of a chart against the drawing, at the chart's mains and with its meter.

    expected, low, high [V]: what the drawing gives there, and the healthy band. agrees: the chart's figure lies in its
    tolerance around ``expected``, or in the band.
    """

    chart: Chart
    point: ChartPoint
    expected: float
    low: float
    high: float
    agrees: bool

    @property
    def off(self) -> float:
        """By how much of the drawing's figure the chart's is larger."""
        return self.point.volts / self.expected - 1.0 if self.expected else float("inf")

    @property
    def text(self) -> str:
        """Where, by how much, and what the drawing gives."""
        place = f"{self.point.channel} {self.point.what}" if self.point.channel else self.point.what
        if self.point.channel and self.point.what.startswith(self.point.channel):
            place = self.point.what
        gives = f"the drawing gives {volts_text(self.expected)}"
        if self.expected * self.point.volts <= 0.0:
            return f"{place}: chart {volts_text(self.point.volts)}, {gives}: another sign"
        side = "over" if self.off > 0.0 else "under"
        return f"{place}: chart {volts_text(self.point.volts)}, {gives}, {100.0 * abs(self.off):.0f} % {side}"


@dataclass(frozen=True, slots=True)
class Beside:
    """A chart's figure beside one row of a ladder. here [V]: brought to that row. by: "solution" or "mains"."""

    compared: Compared
    here: float
    by: str
    same_state: bool

    @property
    def text(self) -> str:
        """``chart "sheet 2" (maker): 285 V at 220 V, 20 kΩ/V: 301 V here today``. Its quarrel with the drawing is told only
        where the amplifier stands as the chart has it: elsewhere the chart says nothing that could be right or wrong."""
        chart, point = self.compared.chart, self.compared.point
        how = " by the mains alone" if self.by == "mains" else ""
        state = "" if self.same_state else " as it stands on this rung"
        doubt = " (THIS CHART AND THE DRAWING DISAGREE, see what was found)"
        doubt = "" if self.compared.agrees or not self.same_state else doubt
        who = f" ({chart.source})" if chart.source else ""
        return (
            f'chart "{chart.title}"{who}: {volts_text(point.volts)} at {chart.mains_volts:g} V, {chart.meter}: '
            f"{volts_text(self.here)} here today{state}{how}{doubt}"
        )

    def json(self) -> dict[str, Any]:
        """Plain data; volts in SI."""
        chart, point = self.compared.chart, self.compared.point
        return {
            "title": chart.title,
            "source": chart.source,
            "volts": point.volts,
            "mains": chart.mains_volts,
            "meter": chart.meter,
            "tolerance": point.tolerance,
            "drawing_there": self.compared.expected,
            "here": self.here,
            "by": self.by,
            "same_state": self.same_state,
            "agrees": self.compared.agrees,
            "text": self.text,
        }


def volts_text(volts: float) -> str:
    """Three figures, as a chart prints them."""
    text = (
        f"{1e3 * volts:.3g} mV" if abs(volts) < 1.0 else f"{volts:.0f} V" if abs(volts) >= 100.0 else f"{volts:.3g} V"
    )
    return text.replace("-", "−")


def chart_meter(chart: Chart, kind: tuple[float | None, float | None] | None = None) -> Meter:
    """The meter behind a chart, on the range that it names; or another one of ohms a volt, or of input ohms."""
    per_volt, ohms = kind or (chart.ohms_per_volt, chart.input_ohms)
    if per_volt is None:
        return digital("chart", input_ohms=ohms or 10e6)
    if chart.range_volts is None:
        return moving_coil("chart", per_volt)
    return moving_coil("chart", per_volt, dc_ranges=(chart.range_volts,), ac_ranges=(chart.range_volts,))


def chart_situation(amplifier: Amplifier, chart: Chart) -> Situation:
    """How the amplifier stood: the chart's mains on the tap in use, each pot at its valve's idle unless it is said."""
    idle = {
        valve: target.amps.value
        for valve, target in amplifier.idle.items()
        if target.pot and target.pot not in chart.pots and not _is_out(amplifier, valve, chart)
    }
    return Situation(
        mains_volts=chart.share * amplifier.mains_volts,
        out=chart.out,
        lifted=chart.lifted,
        pots=dict(chart.pots),
        idle=idle,
    )


def _is_out(amplifier: Amplifier, valve: str, chart: Chart) -> bool:
    return amplifier.parts[valve].envelope in chart.out


def planned(amplifier: Amplifier, chart: Chart, situation: Situation | None = None) -> PlannedRung:
    """The chart's points as one rung of readings."""
    at = situation or chart_situation(amplifier, chart)
    readings = tuple(
        PlannedReading(
            id=f"chart/{number}/{point.channel or 'shared'}",
            what=point.what,
            probe=Probe(point.kind, point.red, point.black),
            situation=at,
            contact="clip",
            channel=point.channel,
        )
        for number, point in enumerate(chart.points)
    )
    return PlannedRung("chart", chart.title, at, "", (), readings, Hold(False, ""))


def compare(amplifier: Amplifier, chart: Chart, observer: Observer | None = None) -> tuple[Compared, ...]:
    """Every point against the drawing. SolveError where the amplifier would not settle as the chart has it."""
    observer = observer or Observer(amplifier)
    kinds = (None,) if chart.meter_said else ANY_METER
    every = [_with_meter(amplifier, chart, chart_meter(chart, kind), observer) for kind in kinds]
    return tuple(
        replace(first, agrees=any(row.agrees for row in same))
        for same in zip(*every, strict=True)
        for first in same[:1]
    )


def _with_meter(amplifier: Amplifier, chart: Chart, meter: Meter, observer: Observer) -> list[Compared]:
    rung = planned(amplifier, chart)
    expected, _ = expect_with_sheet(amplifier, [rung], meter, mode="fast", observer=observer)
    rows = []
    for point, reading in zip(chart.points, expected.rungs[0].readings, strict=True):
        assert isinstance(reading.expected, float)
        middle = reading.expected
        low = middle if reading.low is None else reading.low
        high = middle if reading.high is None else reading.high
        rows.append(Compared(chart, point, middle, low, high, agree(point, middle, low, high)))
    return rows


def agree(point: ChartPoint, expected: float, low: float, high: float) -> bool:
    """In the union of the chart's tolerance and the healthy band."""
    slack = point.tolerance * abs(expected)
    return min(low, expected - slack) <= point.volts <= max(high, expected + slack)


# -- beside the rows of a ladder -----------------------------------------------------------------------------------
def beside(
    amplifier: Amplifier, ladder: ExpectedLadder, compared: Iterable[Compared]
) -> Mapping[str, tuple[Beside, ...]]:
    """Reading id -> what the charts say of it, where a chart has that reading under power at today's mains."""
    found: dict[str, list[Beside]] = {}
    rows = list(compared)
    for reading in ladder.readings():
        for row in rows:
            made = _beside(amplifier, ladder, reading, row)
            if made is not None:
                found.setdefault(reading.id, []).append(made)
    return {name: tuple(every) for name, every in found.items()}


def _beside(amplifier: Amplifier, ladder: ExpectedLadder, reading: ExpectedReading, row: Compared) -> Beside | None:
    probe, point, at = reading.planned.probe, row.point, reading.planned.situation
    turned = (probe.red, probe.black) == (point.black, point.red)
    if not turned and (probe.red, probe.black) != (point.red, point.black):
        return None
    if probe.kind != point.kind or probe.quantity != "volts" or probe.series_ohms or at.lamp_watts is not None:
        return None
    if not isinstance(reading.expected, float) or at.mains_volts < FULL * ladder.mains:
        return None
    sign = -1.0 if turned and point.kind == "dc volts" else 1.0
    same = _same_state(amplifier, row.chart, at)
    ratio = sign * reading.expected / row.expected if row.expected else 0.0
    if not same and point.kind == "dc volts" and point.volts < 0.0:
        return None  # a bias joint stands where its pot is turned to
    if MEANS[0] <= ratio <= MEANS[1] and row.expected * point.volts > 0.0:
        return Beside(row, sign * point.volts * ratio, "solution", same)
    if not same:
        return None
    mains = at.mains_volts / (row.chart.share * amplifier.mains_volts)
    return Beside(row, sign * point.volts * mains, "mains", same)


def _same_state(amplifier: Amplifier, chart: Chart, at: Situation) -> bool:
    """The same valves in, the same links, nothing loaded, and the valves at their idle."""
    there = chart_situation(amplifier, chart)
    feedback = {name for name, link in amplifier.links.items() if link.feedback}
    lifted = (at.lifted ^ there.lifted) - feedback  # a lifted loop is tied to chassis so that the dc stays
    return (at.out, dict(at.idle), dict(at.loads)) == (there.out, dict(there.idle), {}) and not lifted


def side_by_side(charts: Sequence[Mapping[str, Any]], reading: ExpectedReading, value: float | None) -> tuple[str, ...]:
    """Chart, prediction and measurement in one line each.

    charts: as ``Beside.json`` has them. value [SI]: as the verdict compared it, None where it compared nothing.
    """
    if not isinstance(reading.expected, float):
        return ()
    read = "" if value is None else f" | read {reading.text(value)}"
    lines = []
    for chart in charts:
        drawing = "agree" if chart["agrees"] else "disagree: question the drawing"
        lines.append(
            f"chart {volts_text(chart['here'])} | expected {reading.text(reading.expected)}{read}    "
            f"({chart['title']}: chart and drawing {drawing})"
        )
    return tuple(lines)
