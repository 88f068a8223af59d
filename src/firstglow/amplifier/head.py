"""Reads what the file says of the amplifier as a whole: ``amplifier = {...}``, ``fragment``, ``[spread]``."""

from typing import Any

from firstglow.amplifier import bases
from firstglow.amplifier.document import Document
from firstglow.amplifier.drafts import Place
from firstglow.amplifier.mistakes import Mistakes, short
from firstglow.amplifier.model import DefaultUsed
from firstglow.amplifier.resolve import SPREADS, Head
from firstglow.quantities import QuantityError, read_spread, read_value

_KEYS = ("name", "drawing", "mains", "channels", "mains_spread", "floating", "note")
MAINS_SPREAD = 0.10  # EN 50160: 230 V within 10 %


def read_head(document: Document) -> Head:
    """The Head; notes mistakes and goes on with stand-ins so that the rest of the file is still checked."""
    mistakes, table = document.mistakes, document.data.get("amplifier")
    if not isinstance(table, dict):
        mistakes.add(
            ("amplifier",),
            "amplifier",
            "the amplifier's own line is missing",
            "name and mains",
            'amplifier = { name = "Alder Ten", mains = "230V 50Hz" }',
        )
        table = {"name": "", "mains": "230V 50Hz"}
    for key in table:
        if key not in _KEYS:
            mistakes.key(("amplifier", key), "amplifier", key, _KEYS)
    fragment = document.data.get("fragment", False)
    if not isinstance(fragment, bool):
        mistakes.add(("fragment",), "fragment", f"fragment = {short(fragment)}", "true or false", "fragment = true")
        fragment = False
    defaults: list[DefaultUsed] = []
    volts, hertz = _mains(table.get("mains"), bool(fragment), mistakes, defaults)
    return Head(
        _text(table, "name", "" if not fragment else "fragment", mistakes),
        _text(table, "drawing", "not stated", mistakes),
        volts,
        hertz,
        _channels(table, document),
        _mains_spread(table, mistakes, defaults),
        bool(fragment),
        _floating(table, mistakes),
        _spreads(document, defaults),
        defaults,
    )


def _text(table: dict[str, Any], key: str, default: str, mistakes: Mistakes) -> str:
    value = table.get(key, default)
    if isinstance(value, str) and len(value) <= 80 and (value or key != "name"):
        return " ".join(value.split())
    mistakes.add(
        ("amplifier", key),
        "amplifier",
        f"{key} = {short(value)!r}" if value else f"{key} is missing",
        "a text of at most 80 characters",
        f'{key} = "Alder Ten"',
    )
    return default


def _mains(value: Any, fragment: bool, mistakes: Mistakes, defaults: list[DefaultUsed]) -> tuple[float, float]:
    if value is None and fragment:
        return 230.0, 50.0
    words = value.replace(",", " ").split() if isinstance(value, str) else []
    volts = hertz = None
    try:
        for word in words:
            if word.lower().endswith("hz"):
                hertz = read_value(word, "Hz")
            else:
                volts = read_value(word, "V")
    except QuantityError as error:
        mistakes.add(("amplifier", "mains"), "amplifier", f"mains: {error.found}", error.allowed, 'mains = "230V 50Hz"')
        return 230.0, 50.0
    if volts is None or not 50 <= volts <= 500:
        found = "mains is missing" if value is None else f"mains = {short(value)!r}"
        mistakes.add(
            ("amplifier", "mains"),
            "amplifier",
            found,
            "what the primary in use is marked for, 50 to 500 V",
            'mains = "230V 50Hz"',
        )
        return 230.0, 50.0
    if hertz is None:
        hertz = 60.0 if volts < 130 else 50.0
        defaults.append(DefaultUsed("mains", "hertz", f"{hertz:g} Hz", "exact"))
    if not 15 <= hertz <= 500:
        mistakes.add(
            ("amplifier", "mains"), "amplifier", f"mains at {hertz:g} Hz", "15 to 500 Hz", 'mains = "230V 50Hz"'
        )
        hertz = 50.0
    return volts, hertz


def _channels(table: dict[str, Any], document: Document) -> tuple[str, ...]:
    value, mistakes = table.get("channels", []), document.mistakes  # judged where the file was opened
    if not value and "channel" in document.data:
        mistakes.add(
            ("channel",),
            "channel",
            "a [channel] of an amplifier without channels",
            "channels in the amplifier's line",
            'channels = ["left", "right"]',
        )
    return tuple(value)


def _mains_spread(table: dict[str, Any], mistakes: Mistakes, defaults: list[DefaultUsed]) -> float:
    value = table.get("mains_spread")
    if value is None:
        defaults.append(DefaultUsed("mains", "spread", f"{100 * MAINS_SPREAD:g} %", "either way, EN 50160"))
        return MAINS_SPREAD
    try:
        spread = read_spread(value, "V") if isinstance(value, str) else None
    except QuantityError:
        spread = None
    if spread is None or spread.fraction is None or spread.fraction > 0.3:
        mistakes.add(
            ("amplifier", "mains_spread"),
            "amplifier",
            f"mains_spread = {short(value)}",
            "a percentage up to 30 %",
            'mains_spread = "10%"',
        )
        return MAINS_SPREAD
    return spread.fraction


def _floating(table: dict[str, Any], mistakes: Mistakes) -> list[Place]:
    value = table.get("floating", [])
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        mistakes.add(
            ("amplifier", "floating"),
            "amplifier",
            f"floating = {short(value)}",
            "a list of joints",
            'floating = ["T1 spare 1"]',
        )
        return []
    return [Place(v, None, mistakes.line(("amplifier", "floating", str(n)))) for n, v in enumerate(value)]


def _spreads(document: Document, defaults: list[DefaultUsed]) -> dict[str, dict[str, float]]:
    found: dict[str, dict[str, float]] = {"*": dict(SPREADS)}
    table = document.data.get("spread", {})
    table = table if isinstance(table, dict) else {}
    for name, values in table.items():
        base = bases.find(name)
        if (name != "*" and base is None) or not isinstance(values, dict):
            document.mistakes.add(
                ("spread", name),
                "spread",
                f"spread of {short(name)!r}",
                'a valve type, or "*" for all',
                '"*" = { perveance = "8%" }',
            )
            continue
        kept = dict(found["*"]) if name != "*" else found["*"]
        for key, value in values.items():
            if key not in SPREADS:
                document.mistakes.key(("spread", name, key), "spread", key, SPREADS)
                continue
            try:
                number = read_value(str(value), "V" if key == "contact" else "1")
            except QuantityError:
                number = -1.0
            if 0 <= number <= 1:
                kept[key] = number
            else:
                example = '"0.07V"' if key == "contact" else '"8%"'
                document.mistakes.add(
                    ("spread", name, key),
                    "spread",
                    f"{key} = {short(value)}",
                    "0 to 100 %, or 0 to 1 V",
                    f"{key} = {example}",
                )
        found["*" if base is None else base.name] = kept
    if "*" not in table:
        defaults.append(DefaultUsed("valves", "spread (1 sigma)", "perveance 8 %, mu 3 %, contact 0.07 V", "as stated"))
    return found
