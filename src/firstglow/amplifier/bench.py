"""The bench file: what stands on this bench, never in an amplifier file (docs/file.md, Bench file)."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

from firstglow.amplifier.document import Document, open_document
from firstglow.amplifier.mistakes import Mistakes, short
from firstglow.amplifier.model import AmplifierError
from firstglow.quantities import QuantityError, read_value

_KEYS = (
    "format",
    "mains",
    "variable_transformer",
    "isolating_transformer",
    "lamps",
    "leads",
    "meters_at_once",
    "dummy_load",
    "words",
    "meters",
    "old_electrolytics",
    "unknown_transformer",
    "note",
)
# The keys of a meter's own table; the readings room turns it into a meter (``readings.meters.meter_from_table``).
_METER_KEYS = (
    "kind",
    "counts",
    "ohms",
    "ohms_per_volt",
    "ac_ohms_per_volt",
    "ranges",
    "dc",
    "ac",
    "resistance",
    "amps",
    "rating",
    "leads",
    "note",
)
_KINDS = ("digital", "moving coil")
_COUNTS = (1000, 1_000_000)
_METER_UNITS: Mapping[str, tuple[str, str]] = {
    "ohms": ("ohm", "10M"),
    "ohms_per_volt": ("ohm", "20k"),
    "ac_ohms_per_volt": ("ohm", "5k"),
    "rating": ("V", "1000V"),
    "leads": ("V", "1000V"),
}
_WORDS: Mapping[str, tuple[str, ...]] = {"valve": ("valve", "tube"), "plate": ("plate", "anode"), "ht": ("HT", "B+"),
                                         "chassis": ("chassis", "ground")}  # fmt: skip
# What says nothing of a meter of the other kind, and what to write instead.
_NOT_OF: Mapping[str, Mapping[str, str]] = {
    "moving coil": {"ohms": 'ohms_per_volt = "20k"', "counts": "taking counts out"},
    "digital": {
        "ohms_per_volt": 'kind = "moving coil" beside it',
        "ac_ohms_per_volt": 'kind = "moving coil" beside it',
        "ranges": "counts = 6000, which says them",
    },
}
_RANGES = ("dc_volts", "ac_volts")
_RANGES_USUAL = 'ranges = { dc_volts = ["2.5V", "10V", "50V", "250V", "1000V"] }'
_PER_VOLT = re.compile(r"\s*([\d.,]+\s*[kM]?\d*)\s*(?:ohms?|Ω|R)?\s*/\s*[vV]\s*")
_ACCURACY = re.compile(r"(?:±\s*)?(\d+(?:\.\d+)?)\s*%\s*(?:\+\s*(\d+(?:\.\d+)?)(?:\s*(?:counts?|digits?))?)?")
_TYPICAL_COUNTS = 2000.0  # where a reading of a 4000 or 6000 count meter lies on its range, about
MOST_WATTS = 2000.0


class BenchError(AmplifierError):
    """The bench file cannot be used; ``problems`` as for an amplifier file."""


@dataclass(frozen=True, slots=True)
class Bench:
    """One bench.

    mains_now: V rms at the socket today, None: the amplifier's own. lamps: ratings of the limiter lamps [W], rising.
    lead_volts: what the meter leads stand [V]. meters_at_once: how many can be clipped on together.
    dummy_ohms, dummy_watts: of the dummy load. words: "valve", "plate", "ht", "chassis" as this bench says them.
    meters: name -> its table as written, for ``readings.meters.meter_from_table``; ``meter_lines``: its line.
    """

    mains_now: float | None = None
    variable_transformer: bool = True
    isolating_transformer: bool = False
    lamps: tuple[float, ...] = (40.0, 60.0, 100.0, 150.0)
    lead_volts: float = 1000.0
    meters_at_once: int = 2
    dummy_ohms: float = 8.0
    dummy_watts: float = 50.0
    old_electrolytics: bool = False
    unknown_transformer: bool = False
    words: Mapping[str, str] = field(default_factory=lambda: {k: v[0] for k, v in _WORDS.items()})
    meters: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    meter_lines: Mapping[str, int] = field(default_factory=dict)
    file: str = "default bench"

    def accuracies(self) -> dict[str, dict[str, float]]:
        """Meter name -> unit -> half width as a fraction, for layers that say which meter measured."""
        units = {"dc": "V", "ac": "winding", "resistance": "ohm", "amps": "A"}
        found: dict[str, dict[str, float]] = {}
        for name, table in self.meters.items():
            found[name] = {unit: _fraction(str(table[key])) for key, unit in units.items() if key in table}
        return found


def _fraction(text: str) -> float:
    match = _ACCURACY.fullmatch(text.strip())
    if match is None:
        return 0.01
    return max(1e-5, float(match.group(1)) / 100 + float(match.group(2) or 0) / _TYPICAL_COUNTS)


def load_bench(path_or_text: str | FilePath | bytes | None = None, name: str = "") -> Bench:
    """Read a bench file; None gives the default bench. Raises BenchError with every mistake."""
    if path_or_text is None:
        return Bench()
    try:
        document = open_document(path_or_text, name, keys=_KEYS)
        bench = _bench(document)
        document.mistakes.stop()
    except AmplifierError as error:
        raise BenchError(error.problems) from None
    return bench


def _bench(document: Document) -> Bench:
    data, mistakes = document.data, document.mistakes
    ohms, watts = _dummy(data, mistakes)
    meters = _meters(data, mistakes)
    return Bench(
        mains_now=_one(data, "mains", "V", 50.0, 500.0, None, mistakes, '"230V"'),
        variable_transformer=_yes(data, "variable_transformer", True, mistakes),
        isolating_transformer=_yes(data, "isolating_transformer", False, mistakes),
        lamps=_lamps(data, mistakes),
        lead_volts=_one(data, "leads", "V", 50.0, 20000.0, 1000.0, mistakes, '"1000V"') or 1000.0,
        meters_at_once=_count(data, mistakes),
        dummy_ohms=ohms,
        dummy_watts=watts,
        old_electrolytics=_yes(data, "old_electrolytics", False, mistakes),
        unknown_transformer=_yes(data, "unknown_transformer", False, mistakes),
        words=_words(data, mistakes),
        meters=meters,
        meter_lines={m: mistakes.line(("meters", m)) for m in meters},
        file=mistakes.file,
    )


def _yes(data: Mapping[str, Any], key: str, default: bool, mistakes: Mistakes) -> bool:
    value = data.get(key, default)
    if isinstance(value, bool):
        return value
    mistakes.add((key,), "bench", f"{key} = {short(value)}", "true or false", f"{key} = true")
    return default


def _one(
    data: Mapping[str, Any],
    key: str,
    unit: str,
    low: float,
    high: float,
    default: float | None,
    mistakes: Mistakes,
    example: str,
) -> float | None:
    if key not in data:
        return default
    try:
        value = read_value(str(data[key]), unit)
        if low <= value <= high:
            return value
        found = f"{key} = {short(data[key])}"
    except QuantityError as error:
        found = f"{key}: {error.found}"
    mistakes.add((key,), "bench", found, f"{low:g} to {high:g} {unit}", f"{key} = {example}")
    return default


def _lamps(data: Mapping[str, Any], mistakes: Mistakes) -> tuple[float, ...]:
    value = data.get("lamps")
    if value is None:
        return Bench().lamps
    try:
        watts = (
            sorted({read_value(str(v), "W") for v in value}) if isinstance(value, list) and len(value) <= 20 else None
        )
    except QuantityError:
        watts = None
    if watts is None or not all(1 <= w <= MOST_WATTS for w in watts):
        mistakes.add(
            ("lamps",),
            "bench",
            f"lamps = {short(value)}",
            "a list of lamps, 1 to 2000 W",
            'lamps = ["40W", "60W", "100W"]',
        )
        return Bench().lamps
    return tuple(watts)


def _dummy(data: Mapping[str, Any], mistakes: Mistakes) -> tuple[float, float]:
    value = data.get("dummy_load")
    if value is None:
        return 8.0, 50.0
    words = value.split() if isinstance(value, str) else []
    try:
        ohms, watts = read_value(words[0], "ohm"), read_value(words[1], "W")
        if len(words) == 2 and 0.5 <= ohms <= 10000 and 0.1 <= watts <= 10000:
            return ohms, watts
    except (QuantityError, IndexError):
        pass
    mistakes.add(("dummy_load",), "bench", f"dummy_load = {short(value)}", "ohms and watts", 'dummy_load = "8R 50W"')
    return 8.0, 50.0


def _count(data: Mapping[str, Any], mistakes: Mistakes) -> int:
    value = data.get("meters_at_once", 2)
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 12:
        return value
    mistakes.add(("meters_at_once",), "bench", f"meters_at_once = {short(value)}", "1 to 12", "meters_at_once = 2")
    return 2


def _words(data: Mapping[str, Any], mistakes: Mistakes) -> dict[str, str]:
    found = {k: v[0] for k, v in _WORDS.items()}
    table = data.get("words", {})
    if not isinstance(table, dict):
        mistakes.add(("words",), "bench", "words is no table", "a table", 'words = { valve = "tube" }')
        return found
    for key, value in table.items():
        if key not in _WORDS:
            mistakes.key(("words", key), "bench", key, _WORDS)
        elif value not in _WORDS[key]:
            mistakes.add(
                ("words", key),
                "bench",
                f"{key} = {short(value)}",
                " or ".join(_WORDS[key]),
                f'{key} = "{_WORDS[key][-1]}"',
            )
        else:
            found[key] = value
    return found


def _meters(data: Mapping[str, Any], mistakes: Mistakes) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    tables = data.get("meters", {})
    if not isinstance(tables, dict):
        mistakes.add(("meters",), "bench", "meters is no table", "[meters.NAME]", "[meters.digital]")
        return found
    for name, table in tables.items():
        if not isinstance(table, dict):
            mistakes.add(
                ("meters", name),
                "bench",
                f"meter {short(name)} is no table",
                "[meters.NAME]",
                f"[meters.{short(name, 20)}]",
            )
            continue
        for key in table:
            if key not in _METER_KEYS:
                mistakes.key(("meters", name, key), f"meter {short(name, 20)}", key, _METER_KEYS)
        for key in ("dc", "ac", "resistance", "amps"):
            if key in table and not (isinstance(table[key], str) and _ACCURACY.fullmatch(table[key].strip())):
                mistakes.add(
                    ("meters", name, key),
                    f"meter {short(name, 20)}",
                    f"{key} = {short(table[key])}",
                    "per cent of the reading + counts",
                    f'{key} = "0.5% + 2"',
                )
        _meter_values(name, table, mistakes)
        _ranges(name, table, mistakes)
        found[name] = {k: v if isinstance(v, str | int | dict) else str(v) for k, v in table.items() if k != "note"}
    return found


def _meter_values(name: str, table: Mapping[str, Any], mistakes: Mistakes) -> None:
    """Note what a meter's own table says and no meter can be: its kind, its counts, its ohms and its volts."""
    about = f"meter {short(name, 20)}"
    kind, counts = table.get("kind", _KINDS[0]), table.get("counts", _COUNTS[0])
    if kind not in _KINDS:
        allowed = " or ".join(f'"{k}"' for k in _KINDS)
        mistakes.add(("meters", name, "kind"), about, f"kind = {short(kind)}", allowed, f'kind = "{_KINDS[0]}"')
    if not isinstance(counts, int) or isinstance(counts, bool) or not _COUNTS[0] <= counts <= _COUNTS[1]:
        allowed = f"{_COUNTS[0]} to {_COUNTS[1]}"
        mistakes.add(("meters", name, "counts"), about, f"counts = {short(counts)}", allowed, "counts = 6000")
    for key, instead in _NOT_OF.get(str(kind), {}).items():
        if key in table and not (key == "ohms" and _per_volt(table[key])):
            found, allowed = f"{key} = {short(table[key])}", f"what a {kind} meter has"
            if key == "ohms" and _positive(table[key], "ohm"):
                found, allowed = f"{found} of a moving coil meter", "ohms for each volt of its range"
                instead = f'ohms_per_volt = "{short(table[key], 20)}"'
            mistakes.add(("meters", name, key), about, found, allowed, instead)
    for key, (unit, usual) in _METER_UNITS.items():
        if key not in table or (key in _NOT_OF.get(str(kind), {}) and not _per_volt(table[key])):
            continue
        if not _positive(table[key], unit):
            remedy = f'{key} = "{usual}"'
            if unit == "ohm" and (each := _per_volt(table[key])):
                here = key if key.endswith("per_volt") else "ohms_per_volt"
                remedy = f'{here} = "{each}"' + ("" if kind == "moving coil" else ' with kind = "moving coil"')
            found = f"{key} = {short(table[key])}"
            mistakes.add(("meters", name, key), about, found, f"a value in {unit} above 0", remedy)


def _positive(value: object, unit: str) -> bool:
    try:
        return read_value(str(value), unit) > 0
    except QuantityError:
        return False


def _per_volt(value: object) -> str:
    """The ohms of "20k/V", as they are printed on a moving coil meter; "" where that is not what is written."""
    match = _PER_VOLT.fullmatch(str(value))
    return match[1].replace(" ", "") if match else ""


def _ranges(name: str, table: Mapping[str, Any], mistakes: Mistakes) -> None:
    """Note what is no list of a meter's ranges of volts."""
    ranges = table.get("ranges")
    if ranges is None or table.get("kind") != "moving coil":
        return
    about, at = f"meter {short(name, 20)}", ("meters", name, "ranges")
    if not isinstance(ranges, dict) or not ranges:
        mistakes.add(at, about, f"ranges = {short(ranges)}", "dc_volts and ac_volts, a list each", _RANGES_USUAL)
        return
    for key, volts in ranges.items():
        if key not in _RANGES:
            mistakes.key((*at, key), about, key, _RANGES, "kind of range")
        elif not isinstance(volts, list) or not 1 <= len(volts) <= 20 or not all(_positive(v, "V") for v in volts):
            mistakes.add((*at, key), about, f"{key} = {short(volts)}", "a list of ranges in V above 0", _RANGES_USUAL)
