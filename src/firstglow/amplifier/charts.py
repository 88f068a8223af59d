"""Reads ``[[chart]]``: published or drawn voltages, with what they were taken at and with."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from firstglow.amplifier.aside import Chart, ChartKind, ChartPoint
from firstglow.amplifier.document import Document
from firstglow.amplifier.drafts import Draft, Place
from firstglow.amplifier.glass import sections_of
from firstglow.amplifier.joints import SPECIAL, Groups, Scopes, canonical
from firstglow.amplifier.lines import Path
from firstglow.amplifier.mistakes import Mistakes, nearest, short
from firstglow.amplifier.model import Amplifier, DefaultUsed
from firstglow.amplifier.options import SituationError, situation_from_options
from firstglow.quantities import QuantityError, plain, read_spread, read_value

KEYS: Mapping[str, str] = {
    "title": "what the chart is called; it must be said",
    "source": "who says so: maker's sheet, a drawing, an earlier owner",
    "drawing": "the drawing that it belongs to",
    "mains": "the mains it was taken at: 220V; not said: what the primary in use is marked for",
    "tap": "what the primary was marked for when it was taken, where that is not the tap in use",
    "meter": "20k/V, 1k/V, 10M, digital or valve voltmeter; not said: 20k/V",
    "range": "the range it was read on, where one is said for all points",
    "tolerance": "either way; not said: 20%",
    "channel": "the channel that it was taken in; not said: every channel that has the point",
    "state": "how it stood, in the chart's own words",
    "out": "valves out of their sockets",
    "lift": "links lifted",
    "pots": "pots by position, 0 to 1; not said: each output valve at its idle",
    "points": "joint or pin = volts",
}
POINT_KEYS = ("volts", "black", "tolerance")
TOLERANCE = 0.20  # a printed chart with the meter it states (common practice)
OHMS_PER_VOLT = 20e3  # of the meter behind a chart that names none (common practice)
REACH = (0.75, 1.25)  # mains over the tap: further off, the primary was on another tap
_NAMED: Mapping[str, tuple[float | None, float | None]] = {  # ohms per volt, input ohms (common practice)
    "digital": (None, 10e6),
    "valve voltmeter": (None, 11e6),
    "20k": (20e3, None),
    "1k": (1e3, None),
}
_PER_VOLT = re.compile(r"(.+?)\s*(?:Ω|ohms?)?\s*(?:/|per)\s*V(?:olt)?s?", re.IGNORECASE)
_KIND = re.compile(r"\s*\b(dc|ac)\s*$", re.IGNORECASE)


def read_charts(
    document: Document, scopes: Scopes, groups: Groups, amplifier: Amplifier
) -> tuple[tuple[Chart, ...], tuple[DefaultUsed, ...]]:
    """Every ``[[chart]]`` and the defaults that stand in; what cannot be used is noted among the mistakes."""
    tables = document.data.get("chart", [])
    if not isinstance(tables, list) or not all(isinstance(t, dict) for t in tables):
        document.mistakes.add(("chart",), "chart", "this is no list of charts", "[[chart]]", "[[chart]]")
        return (), ()
    reader = _Reader(document.mistakes, scopes, groups, amplifier, [])
    charts = tuple(reader.chart(("chart", str(n)), table) for n, table in enumerate(tables))
    return charts, tuple(reader.defaults)


@dataclass
class _Reader:
    """Reads the charts of one file against its joints."""

    mistakes: Mistakes
    scopes: Scopes
    groups: Groups
    amplifier: Amplifier
    defaults: list[DefaultUsed]

    def chart(self, at: Path, table: Mapping[str, Any]) -> Chart:
        for key in table:
            if key not in KEYS:
                self.mistakes.key((*at, key), "chart", key, KEYS)
        title = self._text(at, table, "title", must=True)
        mains, tap = self._mains(at, table)
        meter, per_volt, ohms = self._meter(at, table)
        tolerance = self._tolerance(at, table.get("tolerance", TOLERANCE), "chart")
        for key, value in (("tolerance", f"{100 * TOLERANCE:.0f} %"), ("meter", meter), ("mains", f"{mains:g} V")):
            if key not in table:
                self.defaults.append(DefaultUsed(f"chart {title}", key, value, "common practice"))
        out, lifted, pots = self._state(at, table)
        return Chart(
            title=title,
            source=self._text(at, table, "source"),
            drawing=self._text(at, table, "drawing"),
            mains_volts=mains,
            tap=tap,
            meter=meter,
            ohms_per_volt=per_volt,
            input_ohms=ohms,
            meter_said="meter" in table,
            range_volts=self._volts(at, table, "range", 0.05, 5000.0, '"500V"') if "range" in table else None,
            tolerance=tolerance,
            state=self._text(at, table, "state"),
            out=out,
            lifted=lifted,
            pots=pots,
            points=self._points(at, table, tolerance),
            line=self.mistakes.line(at),
        )

    def _text(self, at: Path, table: Mapping[str, Any], key: str, must: bool = False) -> str:
        value = table.get(key, "")
        if isinstance(value, str) and len(value) <= 80 and (value.strip() or not must):
            return " ".join(value.split())
        found = f"{key} = {short(value)!r}" if value else f"a chart without its {key}"
        example = '"voltages, sheet 2"' if key == "title" else '"maker\'s sheet"'
        self.mistakes.add((*at, key), "chart", found, "a text of at most 80 characters", f"{key} = {example}")
        return ""

    def _volts(self, at: Path, table: Mapping[str, Any], key: str, low: float, high: float, remedy: str) -> float:
        value = table[key]
        try:
            volts = read_value(value.split(",")[0].split(" ")[0], "V") if isinstance(value, str) else -1.0
        except QuantityError:
            volts = -1.0
        if low <= volts <= high:
            return volts
        found = f"{key} = {short(value)!r}"
        self.mistakes.add((*at, key), "chart", found, f"{low:g} to {high:g} V", f"{key} = {remedy}")
        return float(self.amplifier.mains_volts)

    def _mains(self, at: Path, table: Mapping[str, Any]) -> tuple[float, float]:
        """(mains, tap) [V rms]."""
        mark = self.amplifier.mains_volts
        tap = self._volts(at, table, "tap", 50.0, 500.0, f'"{mark:g}V"') if "tap" in table else mark
        mains = self._volts(at, table, "mains", 50.0, 500.0, f'"{tap:g}V"') if "mains" in table else tap
        if not REACH[0] <= mains / tap <= REACH[1]:
            self.mistakes.add(
                (*at, "mains"),
                "chart",
                f"taken at {mains:g} V, and the primary in use is marked for {tap:g} V",
                f"{REACH[0] * tap:.0f} to {REACH[1] * tap:.0f} V, or the tap that it was taken on",
                f'tap = "{mains:g}V"',
            )
            return tap, tap
        return mains, tap

    def _meter(self, at: Path, table: Mapping[str, Any]) -> tuple[str, float | None, float | None]:
        """(in words, ohms per volt, input ohms): one of the two figures is None."""
        value = table.get("meter", "20k")
        text = plain(" ".join(value.split())) if isinstance(value, str) else ""
        per_volt = ohms = None
        try:
            if text.lower() in _NAMED:
                per_volt, ohms = _NAMED[text.lower()]
            elif match := _PER_VOLT.fullmatch(text):
                per_volt = read_value(match[1], "ohm")
            else:
                ohms = read_value(text, "ohm")
        except QuantityError:
            pass
        if per_volt is not None and 100.0 <= per_volt <= 200e3:
            return f"{per_volt / 1e3:g} kΩ/V", per_volt, None
        if ohms is not None and 0.5e6 <= ohms <= 10e9:
            return f"{ohms / 1e6:g} MΩ", None, ohms
        allowed = "0.1 to 200 kohm a volt, an input of 0.5 Mohm or more, digital, or valve voltmeter"
        self.mistakes.add((*at, "meter"), "chart", f"meter = {short(value)!r}", allowed, 'meter = "20k/V"')
        return "20 kΩ/V", OHMS_PER_VOLT, None

    def _tolerance(self, at: Path, value: Any, part: str) -> float:
        if isinstance(value, float):
            return value
        try:
            spread = read_spread(value, "V") if isinstance(value, str) else None
        except QuantityError:
            spread = None
        if spread is not None and spread.fraction is not None and 0.0 < spread.fraction <= 0.5:
            return spread.fraction
        found = f"tolerance = {short(value)!r}"
        self.mistakes.add((*at, "tolerance"), part, found, "a percentage up to 50 %", 'tolerance = "20%"')
        return TOLERANCE

    def _state(self, at: Path, table: Mapping[str, Any]) -> tuple[frozenset[str], frozenset[str], Mapping[str, float]]:
        """(out, lifted, pots) of ``Situation``."""
        said: dict[str, list[str]] = {}
        for key in ("out", "lift"):
            value = table.get(key, [])
            good = isinstance(value, list) and all(isinstance(v, str) for v in value)
            said[key] = list(value) if good else []
            if not good:
                allowed, remedy = "a list of names", f'{key} = ["{"V3" if key == "out" else "feedback"}"]'
                self.mistakes.add((*at, key), "chart", f"{key} = {short(value)}", allowed, remedy)
        pots = table.get("pots", {})
        if not isinstance(pots, dict):
            self.mistakes.add((*at, "pots"), "chart", f"pots = {short(pots)}", "pot = position", "pots = { P1 = 0 }")
            pots = {}
        if self.mistakes.broken or self.mistakes.found:
            return frozenset(), frozenset(), {}
        turned = [f"{name}={position}" for name, position in pots.items()]
        try:
            stands, _ = situation_from_options(self.amplifier, out=said["out"], lift=said["lift"], pot=turned)
        except SituationError as error:
            option = str(error).split(":")[0].removeprefix("--")
            key = {"pot": "pots"}.get(option, option)
            word = error.remedy.removeprefix(f"--{option} ")
            remedy = f"pots = {{ {word.replace('=', ' = ')} }}" if key == "pots" else f'{key} = ["{word}"]'
            self.mistakes.add((*at, key), "chart", error.found, error.allowed, remedy)
            return frozenset(), frozenset(), {}
        return stands.out, stands.lifted, stands.pots

    # -- points ----------------------------------------------------------------------------------------------------
    def _points(self, at: Path, table: Mapping[str, Any], tolerance: float) -> tuple[ChartPoint, ...]:
        points, at = table.get("points", {}), (*at, "points")
        if not isinstance(points, dict) or not points:
            found, allowed = "a chart without points", "joint or pin = volts"
            self.mistakes.add(at, "chart", found, allowed, 'points = { "V1 plate" = "120V" }')
            return ()
        channel = self._channel(at[:-1], table)
        found_points = [p for text, value in points.items() for p in self._point(at, text, value, channel, tolerance)]
        # a joint that the chart names itself is not also read off its twin's line
        own = {(p.red, p.black, p.kind) for p in found_points if self._names(p.what, p.channel)}
        kept: dict[tuple[str, str, str], ChartPoint] = {}
        for p in found_points:
            key = (p.red, p.black, p.kind)
            if key not in own or self._names(p.what, p.channel):
                kept.setdefault(key, p)
        return tuple(kept.values())

    def _names(self, what: str, channel: str | None) -> bool:
        """Whether a point's text names that very joint, and not its twin in the other channel's words."""
        word = what.split()[0]
        return channel is None or word == channel or self.scopes.part(word, None) in self._parts(channel)

    def _parts(self, channel: str) -> set[str | None]:
        return {d.name for d in self.scopes.drafts.values() if d.channel == channel}

    def _channel(self, at: Path, table: Mapping[str, Any]) -> str | None:
        value = table.get("channel")
        if value is None or value in self.amplifier.channels:
            return value
        known = self.amplifier.channels
        remedy = f'channel = "{nearest(str(value), known) or known[0]}"' if known else "taking channel out"
        allowed = ", ".join(known) or "no channel: this amplifier names none"
        self.mistakes.add((*at, "channel"), "chart", f"channel = {short(value)!r}", allowed, remedy)
        return None

    def _point(self, at: Path, text: str, value: Any, channel: str | None, tolerance: float) -> list[ChartPoint]:
        """The point in every channel that has it."""
        at, more = (*at, text), value if isinstance(value, dict) else {"volts": value}
        for key in more:
            if key not in POINT_KEYS:
                self.mistakes.key((*at, key), "chart", key, POINT_KEYS)
        read = self._reading(at, text, more.get("volts"))
        own = self._tolerance(at, more.get("tolerance", tolerance), "chart")
        black = more.get("black", "chassis")
        line = self.mistakes.line(at)
        if not isinstance(black, str):
            self.mistakes.add((*at, "black"), "chart", f"black = {short(black)}", "a joint", 'black = "chassis"')
            return []
        out = []
        inside = [channel] if channel or text.split(" ")[0] in self.amplifier.channels else self._inside(text)
        for one in inside:
            red, minus = self._joint(text, one, line), self._joint(black, one, line)
            if red is None or minus is None:
                return []
            if red == minus:
                found, allowed = f"{short(text)!r} and {short(black)!r} are one joint", "volts between two joints"
                self.mistakes.add(line, "chart", found, allowed, "the joint that the chart means")
                return []
            if read is not None and (joint := self.amplifier.joints.get(red)) is not None:
                kind, volts = read
                out.append(ChartPoint(text, red, minus, kind, volts, own, joint.channel, line))
        return out

    def _inside(self, text: str) -> list[str | None]:
        """The channels in whose words the text is read: each, where any has it as its own; else none."""
        words = text.split()
        channels: list[str | None] = [
            c
            for c in self.amplifier.channels
            if any((c, " ".join(words[:n])) in self.scopes.names for n in range(1, 4))
            or sections_of(self._drafts(c), words[0], c)
            or f"{c} {' '.join(words)}" in self.amplifier.joints
        ]
        return channels or [None]

    def _drafts(self, channel: str) -> list[Draft]:
        return [d for d in self.scopes.drafts.values() if d.channel == channel]

    def _reading(self, at: Path, text: str, value: Any) -> tuple[ChartKind, float] | None:
        words = plain(value) if isinstance(value, str) else ""
        match = _KIND.search(words)
        kind: ChartKind = "ac volts" if match and match[1].lower() == "ac" else "dc volts"
        bare = words[: match.start()] if match else words
        try:
            volts = read_value(bare.strip(), "V")
        except QuantityError as error:
            self.mistakes.add(at, "chart", f"{short(text)}: {error.found}", error.allowed, '"285V", or "6.3V ac"')
            return None
        if abs(volts) <= 5000.0 and volts != 0.0 and (kind == "dc volts" or volts > 0.0):
            return kind, volts
        found = f"{short(text)} = {short(value)!r}"
        self.mistakes.add(at, "chart", found, "volts other than 0, up to 5000 V, ac without a sign", '"285V"')
        return None

    def _joint(self, text: str, channel: str | None, line: int) -> str | None:
        """Canonical joint of a place as the rest of the file names it, or of a pin; None with the mistake noted."""
        text = " ".join(text.split())
        node = self.scopes.node(Place(text, channel, line), "chart")
        if node is None:
            return None
        if node not in self.groups.above:
            if node[1] in SPECIAL:
                return node[1]
            names = [*self.amplifier.joints, *(j.split(" ", 1)[-1] for j in self.amplifier.joints)]
            allowed, near = "a joint of this amplifier, or a part and its lead", nearest(text, names)
            self.mistakes.add(line, "chart", f"there is no joint {short(text)!r}", allowed, f'"{near or "V1 plate"}"')
            return None
        top = self.groups.top(node)
        kinds = {d.name: d.kind for d in self.scopes.drafts.values()}
        return canonical([n for n in self.groups.above if self.groups.top(n) == top], kinds)
