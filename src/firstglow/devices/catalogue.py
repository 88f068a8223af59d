"""Valve types by name: base and pins, heaters, limits, sections and their fitted laws.

Everything comes from ``data/laws.json``, which ``python -m firstglow.devices.fit`` writes from the published figures in
``data/valves.toml``. Read when the first type is asked for.
"""

import difflib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

from firstglow.devices.pentode import PentodeLaw
from firstglow.devices.smooth import DeviceError
from firstglow.devices.triode import TriodeLaw

if TYPE_CHECKING:
    from firstglow.devices.rectifier import RectifierLaw

__all__ = ["DeviceError", "Heater", "Limits", "Section", "ValveType", "type_names", "valve_type"]


@dataclass(frozen=True, slots=True)
class Heater:
    """One way to run the heater: volts [V], amps [A], and how the pins are joined ("series", "parallel", "")."""

    volts: float
    amps: float
    connection: str = ""


@dataclass(frozen=True, slots=True)
class Limits:
    """A section's ratings; None where no figure is known.

    plate_volts, screen_volts: to the cathode [V]. plate_watts, screen_watts [W]; both_plates_watts: of a double triode
    together; plate_and_screen_watts: together. cathode_amps: dc [A]. grid_leak_fixed_ohms, grid_leak_self_ohms: largest
    grid leak with fixed and with cathode bias [ohm]. heater_cathode_volts [V]; heater_positive_volts: where the sheet allows
    less with the heater positive of the cathode [V].
    source, verified: whose figures, and whether seen ("page") or recalled ("memory"). others: whatever else the sheet
    rates (peak inverse volts of a rectifier and the like), keys and units as in the data file.
    """

    plate_volts: float | None = None
    screen_volts: float | None = None
    plate_watts: float | None = None
    screen_watts: float | None = None
    both_plates_watts: float | None = None
    plate_and_screen_watts: float | None = None
    cathode_amps: float | None = None
    grid_leak_fixed_ohms: float | None = None
    grid_leak_self_ohms: float | None = None
    heater_cathode_volts: float | None = None
    heater_positive_volts: float | None = None
    rating_system: str = ""
    source: str = ""
    verified: str = "memory"
    note: str = ""
    others: Mapping[str, float] = field(default_factory=dict)

    def heater_apart(self, heater_above: float) -> float | None:
        """Volts allowed between heater and cathode with the heater so far above the cathode [V]."""
        lower = self.heater_positive_volts
        return lower if heater_above > 0.0 and lower is not None else self.heater_cathode_volts


@dataclass(frozen=True, slots=True)
class Section:
    """One electron path of a valve.

    name: "" (the only one), "1" and "2" (double triode), "triode" and "pentode". kind: "triode", "pentode" or
    "rectifier". pins: electrode ("plate", "grid", "cathode", "screen", "suppressor", "plate 1", "plate 2") -> numbers.
    rated_amps: cathode current that the emission law calls rated [A].
    law_uncertainty: 1 sigma of the law itself, shared by all valves of the type: "perveance", "mu" (fractions),
    "contact" [V], of a pentode "screen" (of ln(screen over plate current), their sum kept). spread: 1 sigma from valve to
    valve, same keys without "screen".
    trusted: smallest and largest "plate", "grid", "screen" volts to cathode [V] and cathode "amps" [A] of the published
    rows that the law meets; outside them it is an extrapolation.
    rows, publications: what the fit used ("points[0]", "rc_stages[2]", ... of data/valves.toml).
    """

    name: str
    kind: Literal["triode", "pentode", "rectifier"]
    law: "TriodeLaw | PentodeLaw | RectifierLaw"
    limits: Limits
    pins: Mapping[str, tuple[int, ...]]
    rated_amps: float
    law_uncertainty: Mapping[str, float]
    spread: Mapping[str, float]
    trusted: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    rows: frozenset[str] = frozenset()
    publications: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ValveType:
    """A valve type.

    base: family ("octal", "noval", "B7G", "UX4"); base_code: "7AC" or "". pins: number -> electrode, as the sheet names
    it; pins_verified: "page" or "memory"; pins_doubt: what is not sure about them. heater_pins: the two ends;
    heater_tap_pin: centre tap or None. warmup_s: typical time to full current [s]. variant_of: the type whose law this
    one shares (other ratings, heater or base), or "".
    """

    name: str
    designations: tuple[str, ...]
    kind: str
    heating: Literal["indirect", "direct"]
    base: str
    base_code: str
    pins: Mapping[int, str]
    pins_verified: str
    pins_doubt: str
    heaters: tuple[Heater, ...]
    heater_pins: tuple[int, ...]
    heater_tap_pin: int | None
    cathode_joined_to_heater: bool
    warmup_s: float
    sections: tuple[Section, ...]
    notes: tuple[str, ...] = ()
    variant_of: str = ""


@cache
def _data() -> Mapping[str, Any]:
    text = files("firstglow.devices").joinpath("data/laws.json").read_text(encoding="utf-8")
    data: Mapping[str, Any] = json.loads(text)["types"]
    return data


def _key(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.lower())


@cache
def _names() -> Mapping[str, tuple[str, str]]:
    """Key of every designation -> (type, what the data file adds in brackets: "near", "4-pin", ...).

    A type's own name stands before any other's designation, a plain designation before one with a remark.
    """
    found: dict[str, tuple[str, str]] = {}
    split = [(name, *text.partition(" (")) for name, table in _data().items() for text in table["designations"]]
    for plain in (False, True):
        for name, word, bracket, remark in split:
            if bool(bracket) != plain:
                found[_key(word)] = (name, remark.rstrip(")"))
    found.update({_key(name): (name, "") for name in _data()})
    return found


def type_names() -> tuple[str, ...]:
    """The types that have a law or ratings, in the data file's order."""
    return tuple(_data())


_SAME = ("", "higher rated", "other bayonet position")
"""Remarks after which a designation is the same valve for our purpose (a higher rating is not used); any other remark
names a difference that matters."""


def valve_type(name: str) -> ValveType:
    """The type with this designation (any of its names, any case). Cached.

    Raises DeviceError, naming the nearest types, when it is unknown, only near a known one, or without enough figures.
    """
    found = _names().get(_key(name))
    if found is None:
        near = difflib.get_close_matches(_key(name), _names(), n=9, cutoff=0.5)
        # two figures exchanged is the commonest slip: EL48 is EL84 before it is EL86
        near = sorted(near, key=lambda k: sorted(k) != sorted(_key(name)))[:3]
        close = ", ".join(dict.fromkeys(_names()[k][0] for k in near)) or ", ".join(type_names()[:6])
        raise DeviceError(f"unknown valve type {name}; try {close}")
    kind, remark = found
    if remark not in _SAME:
        raise DeviceError(f"{name} differs from {kind} ({remark}); try {kind} if its law will do, and mind the pins")
    return _build(kind)


@cache
def _build(name: str) -> ValveType:
    return build(name, _data()[name])


def build(name: str, table: Mapping[str, Any]) -> ValveType:
    """A type from its entry of ``laws.json`` (or a fresh one of ``fit_types.type_entry``)."""
    if "refused" in table:
        raise DeviceError(f"{name}: {table['refused']}; try a type with a law: {', '.join(_nearest(name, table))}")
    pins = {p["pin"]: p["electrode"] for p in table["pins"]}
    heater_pins = tuple(n for n, e in pins.items() if e.startswith(("heater", "filament")) and "tap" not in e)
    family, _, code = table["base"].partition(" (")
    return ValveType(
        name=name,
        designations=tuple(table["designations"]),
        kind=table["kind"],
        heating=table["heating"],
        base=family,
        base_code=(re.match(r"\d[A-Z]+", code) or ("",))[0],
        pins=pins,
        pins_verified=table["pins_verified"],
        pins_doubt=table.get("pins_doubt", ""),
        heaters=tuple(Heater(h["volts"], h["amps"], h.get("connection", "")) for h in table["heater"]),
        heater_pins=heater_pins,
        heater_tap_pin=next((n for n, e in pins.items() if e == "heater centre tap"), None),
        cathode_joined_to_heater=table["heating"] == "direct" or "heater and cathode" in pins.values(),
        warmup_s=table["warmup_s"],
        sections=tuple(_section(table, s, pins) for s in table["sections"]),
        notes=tuple(table.get("notes", ())),
        variant_of=table.get("variant_of", ""),
    )


def _nearest(name: str, table: Mapping[str, Any]) -> list[str]:
    """Types of the same kind, base and heater volts that have a law, the nearest heater current first."""
    heater = table["heater"][0]
    same = [
        (abs(t["heater"][0]["amps"] - heater["amps"]), n)
        for n, t in _data().items()
        if "refused" not in t and n != name and (t["kind"], t["heater"][0]["volts"]) == (table["kind"], heater["volts"])
    ]
    return [n for _, n in sorted(same)[:3]]


def _section(table: Mapping[str, Any], data: Mapping[str, Any], pins: Mapping[int, str]) -> Section:
    return Section(
        name=data["name"],
        kind=data["kind"],
        law=_law(data),
        limits=_limits(table["limits"][data["kind"]]),
        pins=_electrode_pins(pins, data["name"], data["kind"], table["heating"]),
        rated_amps=data["rated_amps"],
        law_uncertainty=data["uncertainty"],
        spread=data["spread"],
        trusted={k: (low, high) for k, (low, high) in data.get("trusted", {}).items()},
        rows=frozenset(data.get("rows", ())),
        publications=tuple(data.get("publications", ())),
    )


def _law(data: Mapping[str, Any]) -> "TriodeLaw | PentodeLaw | RectifierLaw":
    if data["kind"] == "triode":
        return TriodeLaw(**data["law"])
    if data["kind"] == "pentode":
        return PentodeLaw(**data["law"])
    from firstglow.devices.rectifier import RectifierLaw

    return RectifierLaw(**data["law"])


_LIMIT_KEYS = {
    "va_max": ("plate_volts", 1.0),
    "vg2_max": ("screen_volts", 1.0),
    "pa_max_W": ("plate_watts", 1.0),
    "pg2_max_W": ("screen_watts", 1.0),
    "pa_both_max_W": ("both_plates_watts", 1.0),
    "pa_plus_g2_max_W": ("plate_and_screen_watts", 1.0),
    "ik_max_mA": ("cathode_amps", 1e-3),
    "rg_fixed_ohm": ("grid_leak_fixed_ohms", 1.0),
    "rg_self_ohm": ("grid_leak_self_ohms", 1.0),
    "vhk_max": ("heater_cathode_volts", 1.0),
    "vhk_heater_positive_max": ("heater_positive_volts", 1.0),
}


def _limits(table: Mapping[str, Any]) -> Limits:
    known = {name: table[key] * scale for key, (name, scale) in _LIMIT_KEYS.items() if key in table}
    note = "; ".join(str(table[k]) for k in ("note", "doubt") if k in table)
    others = {k: v for k, v in table.items() if isinstance(v, int | float) and k not in _LIMIT_KEYS}
    words = {k: table.get(k, "") for k in ("rating_system", "source")}
    return Limits(**known, **words, verified=table.get("verified", "memory"), note=note, others=others)


_ELECTRODES = (
    (r"^grid 2 \(screen\)$", "screen"),
    (r"^grid 3", "suppressor"),
    (r"^grid( 1)?$", "grid"),
    (r"^plate$", "plate"),
    (r"^cathode|and cathode$", "cathode"),
)


def _electrode_pins(pins: Mapping[int, str], section: str, kind: str, heating: str) -> Mapping[str, tuple[int, ...]]:
    """The section's electrodes by pin, from the sheet's electrode names."""
    found: dict[str, tuple[int, ...]] = {}
    for number, text in pins.items():
        words = text
        if section in ("triode", "pentode"):
            if not text.startswith(section):
                continue
            words = text.removeprefix(section + " ")
        elif section:
            if not text.endswith(" " + section):
                continue
            words = text.removesuffix(" " + section)
        if "no connection" in words or "internal" in words.split(" or ")[0]:
            continue
        if kind == "rectifier" and words.startswith("plate"):
            found[words] = (*found.get(words, ()), number)
            continue
        if heating == "direct" and words == "filament":
            found["cathode"] = (*found.get("cathode", ()), number)
            continue
        electrode = next((name for pattern, name in _ELECTRODES if re.search(pattern, words)), None)
        if electrode:
            found[electrode] = (*found.get(electrode, ()), number)
    return found
