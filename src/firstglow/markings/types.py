"""Types of diodes, transistors and valves as they are printed: they say which part it is and nothing of a value."""

import re

_NUMBERED = {"1": "a diode", "2": "a transistor", "3": "a transistor"}
_JEDEC = re.compile(r"([123])N\d{2,5}[A-Z]?")
_MAKERS = re.compile(r"UF\d{4}|(?:1S|HER|RGP)\d{2,4}[A-Z]?", re.IGNORECASE)
_EUROPEAN = re.compile(r"[ABCOR][ACDFSUWYZ][A-Z]?\d{2,4}[A-Z]?", re.IGNORECASE)
_VALVE = re.compile(
    r"[DEGHPU](?:[ABCFHKLMYZ]{1,3})\d{2,4}[A-Z]?|KT\d{2}|(?:5|6|12)[A-Z]\d(?:G[ABCT]|WG[ABC])|(?:5|6|12)[A-Z]{2}\d[A-Z]{0,2}",
    re.IGNORECASE,
)


def type_of(text: str) -> str | None:
    """What a type names ("a diode's type (JEDEC)"); None for what may be a marking of a value (1n5, 4N7)."""
    body = text.strip()
    if m := _JEDEC.fullmatch(body):
        return f"{_NUMBERED[m[1]]}'s type (JEDEC {m[1]}N)"
    if _MAKERS.fullmatch(body):
        return "a diode's type (makers' own)"
    if _EUROPEAN.fullmatch(body):
        return "a semiconductor's type (Pro Electron)"
    if _VALVE.fullmatch(body):
        return "a valve's type"
    return None
