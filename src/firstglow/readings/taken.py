"""The readings file: what was read, with which meter, at which mains (CONTRACTS.md)."""

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from firstglow.readings.meters import Meter, ReadingsError, meter_named
from firstglow.readings.typed import OPEN_WORDS

T = TypeVar("T")
_TOP = ("format", "amplifier", "digest", "mains", "meter", "readings")
_EACH = ("value", "mains", "meter", "note")


@dataclass(frozen=True, slots=True)
class Taken:
    """One reading as typed. mains: V rms at the plug at that moment, None if not said; meter: name, None if not said.

    where: "FILE:LINE" for messages.
    """

    id: str
    text: str
    mains: float | None = None
    meter: str | None = None
    where: str = "readings"


@dataclass(frozen=True, slots=True)
class TakenFile:
    """A whole readings file. mains, meter: what holds where a reading does not say."""

    readings: tuple[Taken, ...]
    mains: float | None = None
    meter: str | None = None
    meters: Mapping[str, Meter] = field(default_factory=dict)
    file: str = "readings"
    wrong: tuple[str, ...] = ()

    @property
    def one_meter(self) -> str | None:
        """The meter that read every figure of the file, else the one that is named for the whole of it; None where neither is."""
        figures = (row for row in self.readings if re.search(r"\d", row.text) or row.text.strip().lower() in OPEN_WORDS)
        names = {row.meter or self.meter for row in figures}
        return names.pop() if len(names) == 1 else self.meter


def read_taken(path: str | Path, meters: Mapping[str, Meter] | None = None, *, later: bool = False) -> TakenFile:
    """Read a readings file; ReadingsError with a line ``FILE:LINE: part: found; allowed; try`` for each thing wrong.

    later: keep them in ``wrong`` for whoever knows the ladder (``verdict`` tells them with its own, all in one go).
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ReadingsError(
            f"{path}:1: file: not UTF-8 text (byte {error.start}); a TOML text file; try saving it as UTF-8"
        ) from None
    return parse_taken(text, str(path), meters, later=later)


def parse_taken(
    text: str, file: str = "readings", meters: Mapping[str, Meter] | None = None, *, later: bool = False
) -> TakenFile:
    """The same from text."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"line (\d+)", str(error))
        at = line[1] if line else str(text.count("\n") + 1)
        raise ReadingsError(f'{file}:{at}: file: {error}; TOML; try "rung/probe/channel" = "38.2"') from None
    wrong = [str(_unknown(key, _TOP, f"{file}:{_line(text, key)}: file")) for key in data if key not in _TOP]
    found = data.get("readings")
    if not isinstance(found, dict):
        told = f'{file}:1: readings: no [readings] table; one is needed; try [readings] and then "id" = "38.2"'
        raise told_in_order([*wrong, told])
    meter = _kept(wrong, lambda: _meter(data.get("meter"), f"{file}:{_line(text, 'meter')}", meters))
    mains = _kept(wrong, lambda: _mains(data.get("mains"), f"{file}:{_line(text, 'mains')}"))
    rows = [(name, value, f"{file}:{_line(text, name)}") for name, value in found.items()]
    taken = [_kept(wrong, partial(_taken, name, value, where, meters)) for name, value, where in rows]
    if wrong and not later:
        raise told_in_order(wrong)
    return TakenFile(tuple(t for t in taken if t), mains, meter, dict(meters or {}), file, tuple(wrong))


def _kept(wrong: list[str], read: Callable[[], T]) -> T | None:
    """What ``read`` gives, or None with its mistake noted."""
    try:
        return read()
    except ReadingsError as error:
        wrong.append(str(error))
        return None


def told_in_order(wrong: Sequence[str]) -> ReadingsError:
    """One error with a line for each mistake, by the lines of the file."""

    def place(text: str) -> int:
        found = re.match(r".*?:(\d+):", text)
        return int(found[1]) if found else 0

    return ReadingsError("\n".join(sorted(wrong, key=place)))


def _taken(name: str, value: Any, where: str, meters: Mapping[str, Meter] | None) -> Taken:
    """One row of [readings]."""
    mains = meter = None
    if isinstance(value, dict):
        for key in value:
            if key not in _EACH:
                raise _unknown(key, _EACH, f"{where}: {name}")
        if "value" not in value:
            raise ReadingsError(f'{where}: {name}: no value; one is needed; try {{ value = "38.2" }}')
        mains = _mains(value.get("mains"), f"{where}: {name}")
        meter = _meter(value.get("meter"), f"{where}: {name}", meters)
        value = value["value"]
    if isinstance(value, bool):
        value = "yes" if value else "no"
    if not isinstance(value, str | int | float):
        raise ReadingsError(f'{where}: {name}: {value!r}; what the meter showed; try "38.2"')
    return Taken(name, str(value), mains, meter, where)


def _mains(value: Any, where: str) -> float | None:
    """Mains volts, or None."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 300:
        raise ReadingsError(f"{where}: mains = {value!r}; V rms at the amplifier's plug, 0 to 300; try mains = 230")
    return float(value)


def _meter(value: Any, where: str, meters: Mapping[str, Meter] | None) -> str | None:
    """A meter's name that the bench knows, or None."""
    if value is None:
        return None
    try:
        return meter_named(str(value), meters).name
    except ReadingsError as error:
        raise ReadingsError(f"{where}: {error}") from None


def _unknown(key: str, allowed: tuple[str, ...], where: str) -> ReadingsError:
    near = get_close_matches(key, allowed, 1, 0.5) or [allowed[-1]]
    return ReadingsError(f'{where}: unknown key "{key}"; allowed: {", ".join(allowed)}; try {near[0]}')


def _line(text: str, key: str) -> int:
    """1-based line on which a key or its table is written; 1 if it cannot be found."""
    pattern = re.compile(r'^\s*\[{0,2}\s*["\']?' + re.escape(key) + r'["\']?\s*[=.\]]')
    return next((n for n, line in enumerate(text.splitlines(), 1) if pattern.match(line)), 1)
