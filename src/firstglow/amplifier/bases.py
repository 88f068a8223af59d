"""Valve types as the file's reader needs them: sections, pins, heaters. The data is bases.toml (see its head)."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

_SUFFIXES = ("G", "GT", "GTA", "GTB", "GA", "GB", "GY", "A", "B", "C")


@dataclass(frozen=True, slots=True)
class Section:
    """One section of an envelope: ``name`` "", "1", "2", "triode" or "pentode"; ``pins`` electrode -> pin numbers."""

    name: str
    kind: str
    pins: Mapping[str, tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Base:
    """One valve type.

    heaters: (volts, amps) of each way to wire it, in the data sheet's order (series first where there are two).
    heater_pins: pins of heater 1 and 2; ct_pin: of the heater's centre tap, or None.
    joined: the cathode is joined to the heater in the glass, or is the heater. warmup_s: seconds to conduct.
    variant_of: the type whose electrodes it has under other ratings, heater, base or warm-up; else "".
    """

    name: str
    kind: str
    direct: bool
    joined: bool
    heaters: tuple[tuple[float, float], ...]
    heater_pins: tuple[int, ...]
    ct_pin: int | None
    warmup_s: float
    socket: str
    sections: tuple[Section, ...]
    variant_of: str = ""

    @property
    def rectifier(self) -> bool:
        """True for a rectifier valve."""
        return self.sections[0].kind == "rectifier"

    def section(self, letter: str) -> Section | None:
        """The section a letter (a, b, t, p) or section name means; the only one where there is one."""
        if len(self.sections) == 1:
            return self.sections[0]
        names = {"a": ("1", "triode"), "b": ("2", "pentode"), "t": ("triode",), "p": ("pentode",)}.get(
            letter, (letter,)
        )
        return next((s for s in self.sections if s.name in names), None)


@cache
def _data() -> dict[str, Any]:
    return tomllib.loads(files("firstglow.amplifier").joinpath("bases.toml").read_text(encoding="utf-8"))


@cache
def bases() -> Mapping[str, Base]:
    """All valve types by their chief name."""
    return {name: _base(name, row) for name, row in _data()["valve"].items()}


def _base(name: str, row: Mapping[str, Any]) -> Base:
    sections = tuple(Section(s["name"], s["kind"], {e: tuple(p) for e, p in s["pins"].items()}) for s in row["section"])
    heaters = tuple((h["volts"], h["amps"]) for h in row["heaters"])
    return Base(
        name,
        row["kind"],
        row["heating"] == "direct",
        row["cathode_joined_to_heater"],
        heaters,
        tuple(row["heater_pins"]),
        row.get("heater_ct_pin"),
        row["warmup_s"],
        row["base"],
        sections,
        row.get("variant_of", ""),
    )


@cache
def designations() -> Mapping[str, str]:
    """Every designation in capitals -> chief name."""
    found: dict[str, str] = {}
    for name, row in _data()["valve"].items():
        found.setdefault(name.upper(), name)
        for other in row["designations"]:
            found.setdefault(other.upper(), name)
    return found


@lru_cache(maxsize=4096)
def find(word: str) -> Base | None:
    """The valve type of a designation, or None. A missing suffix is allowed where one type fits, or one and what it is a
    variant of: then the shorter name, the earlier make (6SN7 is 6SN7GT, not the later 6SN7GTB, whose ratings are higher; 5V4
    is 5V4G, not 5V4GA)."""
    known = designations()
    key = word.upper()
    if key in known:
        return bases()[known[key]]
    if len(key) >= 3:
        ends = {known[key + suffix] for suffix in _SUFFIXES if key + suffix in known}
        if len({bases()[name].variant_of or name for name in ends}) == 1:
            return bases()[min(ends, key=len)]
    return None


def diode(word: str) -> Mapping[str, Any] | None:
    """Figures of a registered diode, or None."""
    return next((row for name, row in _data()["diode"].items() if name == word.upper()), None)


def gas(word: str) -> tuple[str, Mapping[str, Any]] | None:
    """Chief name and figures of a gas stabiliser tube, or None."""
    for name, row in _data()["gas"].items():
        if word.upper() == name or word.upper() in row["designations"]:
            return name, row
    return None
