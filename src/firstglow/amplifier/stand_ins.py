"""Valve types without a law of their own, and which known type may stand in for each, at what cost.

Figures from memory (makers' data sheets): good enough to choose a stand-in, never a check value. A type is listed only
where the grid volts of the stand-in, at the same plate volts and current, come within about a tenth.
"""

from collections.abc import Mapping

STAND_INS: Mapping[str, tuple[str, str]] = {
    "ECC85": ("12AT7", "mu 57 against 60; its heater takes 0.44 A and its pins are its own"),
    "6AQ8": ("12AT7", "mu 57 against 60; its heater takes 0.44 A and its pins are its own"),
    "EL41": ("EL84", "the same grid volts but about a quarter less current, and 9 W is its limit, not 12 W"),
    "807": ("6L6G", "the same electrodes; plate on the top cap, and its limit is 25 W"),
    "1625": ("6L6G", "the same electrodes; plate on the top cap, 25 W, heater 12.6 V"),
    "PX4": ("2A3", "mu 5 against 4.2; filament 4 V 1 A"),
    "KT77": ("EL34", "beam tetrode; screen current about half"),
    "6F6": ("6K6GT", "about a tenth steeper; its heater takes 0.7 A and its limit is 11 W"),
    "6F6G": ("6K6GT", "about a tenth steeper; its heater takes 0.7 A and its limit is 11 W"),
    "6F6GT": ("6K6GT", "about a tenth steeper; its heater takes 0.7 A and its limit is 11 W"),
    "6EU7": ("12AX7", "the same electrodes on other pins"),
    "6AV6": ("12AX7", "its triode is one section of it; the diodes are not there"),
    "6N2P": ("12AX7", "heater 6.3 V only, 0.34 A"),
    "6C4": ("12AU7", "one section of it"),
    "7868": ("7591", "the same electrodes on another base"),
    "EF40": ("EF86", "nearly the same electrodes on another base"),
    "6P3S": ("6L6G", "made after it"),
    "EZ40": ("EZ80", "heater 0.6 A; the same drop within a tenth"),
}
COST = (
    "its watts, heater amps, pins and spread then stand in as well, so measure what leans on it before trusting a band"
)


def stand_in(word: str) -> tuple[str, str] | None:
    """(known type, what it costs) for a type without a law of its own, or None."""
    return STAND_INS.get(word.upper())
