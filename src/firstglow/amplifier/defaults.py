"""Values for what the file does not say, with an honest wide spread each; every one is listed."""

from collections.abc import Callable, Mapping
from math import sqrt

from firstglow.amplifier.attributes import Attribute, kinds
from firstglow.amplifier.drafts import Draft, taps
from firstglow.amplifier.model import DefaultUsed, Origin, Quantity
from firstglow.quantities import show

SILICON_AMPS = 1.0
"""What a silicon diode without amps is taken for in its law [A]: ten times more or less moves its drop by 0.11 V (slope 0.048 V,
data sheets of 1 A diodes, from memory). No rating: ``Part.values`` has none, and the parts audit says so."""
SELENIUM_AMPS = 0.06
"""What a selenium stack without amps is taken for in its law [A], a usual bias rectifier's (common practice): in the pulses of
some milliamperes plates of 40 to 300 mA drop within 0.2 V each of these, of 20 mA 0.6 V more. No rating, as above."""

Rule = Callable[[Draft, Mapping[str, Quantity]], float]
_DEFAULT = Origin("default", 0)
# Leakage of electrolytics: 0.002*C*V in microamperes, microfarads and volts at the rated volts once formed, a fifth of
# the usual limit of 0.01*C*V (common practice). Dry capacitors: insulation of ordinary samples (common practice).
_DRY_LEAK: Mapping[str, float] = {"paper": 5e8, "ceramic": 1e10}
_OWN_SPREAD: Mapping[tuple[str, str], float] = {
    ("resistor", "carbon composition"): 0.20,
    ("capacitor", "electrolytic"): 0.30,
}


def capacitor_type(farads: float) -> str:
    """The type where none is stated: 1 uF and more is an electrolytic, less is a film (common practice)."""
    return "electrolytic" if farads >= 1e-6 else "film"


def _capacitor_leak(draft: Draft, values: Mapping[str, Quantity]) -> float:
    if draft.type == "electrolytic":
        return 500.0 / values["farads"].value  # ohms: 1/(0.002e-6 A per uF and volt)
    return _DRY_LEAK.get(draft.type or "", 3e10)


def _capacitor_esr(draft: Draft, values: Mapping[str, Quantity]) -> float:
    return 40e-6 / values["farads"].value if draft.type == "electrolytic" else 0.1  # loss factor about 2.5 % at 100 Hz


def _choke_ohms(_: Draft, values: Mapping[str, Quantity]) -> float:
    return 20.0 * values["henries"].value  # 10 H: 100 to 300 ohm, by its size (common practice)


def _selenium_plates(draft: Draft, values: Mapping[str, Quantity]) -> float:
    if draft.type != "selenium":
        return 0.0
    # 26 V rms a plate, derated to 20 for a capacitor behind it (1957 handbook; see facts on selenium)
    return max(1.0, round(values["volts"].value / sqrt(8) / 20.0)) if "volts" in values else 4.0


def _selenium_age(draft: Draft, _: Mapping[str, Quantity]) -> float:
    return 0.5 if draft.type == "selenium" else 0.0


def _fuse_amps(_: Draft, __: Mapping[str, Quantity]) -> float:
    return 2.0


def _fuse_ohms(_: Draft, values: Mapping[str, Quantity]) -> float:
    return 0.15 / values["amps"].value  # about 0.15 V across a 20 mm fuse at its rating (common practice)


def _output_primary_ohms(draft: Draft, values: Mapping[str, Quantity]) -> float:
    return (0.06 if draft.words.get("single_ended") else 0.035) * values["raa_ohms"].value


def _output_secondary_ohms(draft: Draft, _: Mapping[str, Quantity]) -> float:
    return 0.05 * taps(draft)[-1]


def _transformer_load(_: Draft, values: Mapping[str, Quantity]) -> float:
    return values["volt_amps"].value if "volt_amps" in values else 80.0


def _magnetising(_: Draft, values: Mapping[str, Quantity]) -> float:
    return 0.10 * values["volt_amps"].value / values["primary_volts"].value  # 5 to 15 % of full load (common practice)


def _core_loss(_: Draft, values: Mapping[str, Quantity]) -> float:
    return 0.04 * values["volt_amps"].value


RULES: Mapping[str, Rule] = {
    "capacitor leak": _capacitor_leak,
    "capacitor esr": _capacitor_esr,
    "choke ohms": _choke_ohms,
    "selenium plates": _selenium_plates,
    "selenium age": _selenium_age,
    "fuse amps": _fuse_amps,
    "fuse ohms": _fuse_ohms,
    "output primary ohms": _output_primary_ohms,
    "output secondary ohms": _output_secondary_ohms,
    "transformer load": _transformer_load,
    "magnetising": _magnetising,
    "core loss": _core_loss,
}
SAID_BY: Mapping[str, str] = {
    "capacitor leak": "electrolytic 500 s / farads; paper 0.5 GΩ; ceramic 10 GΩ; others 30 GΩ",
    "capacitor esr": "electrolytic 40 µs / farads; others 0.1 Ω",
    "choke ohms": "20 Ω a henry",
    "selenium plates": "from the peak inverse volts, 20 V rms a plate; else 4",
    "selenium age": "selenium 0.5, ± 0.5; silicon 0",
    "fuse amps": "2 A",
    "fuse ohms": "0.15 V / amps",
    "output primary ohms": "3.5 % of raa_ohms; 6 % single-ended",
    "output secondary ohms": "5 % of the highest tap",
    "transformer load": "the sum of its windings' ratings",
    "magnetising": "10 % of the load current",
    "core loss": "4 % of the load",
}


def fill(draft: Draft, values: dict[str, Quantity], note: Callable[[DefaultUsed], None]) -> None:
    """Add to ``values`` every attribute of the kind that has a default and is not there yet; list each."""
    for row in kinds()[draft.kind].attributes.values():
        if row.name in values:
            widened = _OWN_SPREAD.get((draft.kind, draft.type or ""))
            said = values[row.name]
            if (
                widened
                and row.name in {"ohms", "farads"}
                and said.spread == row.stated
                and said.origin.layer != "measured"
            ):
                values[row.name] = Quantity(said.value, widened, "uniform", said.origin)
            continue
        if row.default is None:
            continue
        value = RULES[row.default](draft, values) if isinstance(row.default, str) else row.default
        spread, shape = row.spread, row.shape
        if row.name == "age" and draft.type == "selenium":
            spread, shape = 1.0, "uniform"
        if value == 0 and row.unit == "1":
            spread = 0.0
        values[row.name] = Quantity(value, spread, shape if spread else "exact", _DEFAULT)
        if row.used != "not used yet" and not _decides_nothing(draft, row.name):
            note(DefaultUsed(draft.name, row.name, show(value, row.unit), spread_text(values[row.name], row)))
    if draft.kind == "diode" and "amps" not in values:
        old = draft.type == "selenium"
        drop = (
            "some 0.2 V of drop a plate for 40 to 300 mA, 0.6 V more for 20 mA; no rating"
            if old
            else "0.1 V of drop for ten times more or less; no rating"
        )
        note(DefaultUsed(draft.name, "amps", show(SELENIUM_AMPS if old else SILICON_AMPS, "A"), drop))


def _decides_nothing(draft: Draft, name: str) -> bool:
    """Plates and age of what is no selenium; the load of an output transformer whose taps are said, each with its own."""
    if draft.kind == "diode":
        return draft.type != "selenium" and name in {"plates", "age"}
    return name == "load_ohms" and "taps" in draft.words


def spread_text(quantity: Quantity, row: Attribute) -> str:
    """The spread in words: "10 % either way", "8 % (1 sigma)", "exact"."""
    if quantity.shape == "exact" or not quantity.spread:
        return "exact"
    if row.name == "contact":
        return f"{quantity.spread:g} V (1 sigma)"
    return f"{100 * quantity.spread:.3g} % " + ("either way" if quantity.shape == "uniform" else "(1 sigma)")
