"""How often a rung is switched off, made safe, clipped on and switched on again, counted from its readings."""

from collections.abc import Mapping
from typing import Any

# what of a situation changes with the plug out: hands inside, or at the lamp in the line; the dial and the generator stand
# outside of both
HANDS = ("out", "lifted", "pots", "feedback", "test_ohms", "loads", "load", "lamp_watts")
TOUCHED = {"clip", "one hand"}


def rounds(rung: Mapping[str, Any]) -> list[int]:
    """For each reading the round it belongs to, counting from 1; 0 for one that needs no hands inside before it.

    A round begins where clips are moved, where something inside is changed, and after a reading taken unplugged.
    """
    found: list[int] = []
    number = 0
    begun: tuple[object, ...] | None = None
    group: int | None = None
    for reading in rung["readings"]:
        situation = reading.get("situation") or {}
        if _unplugged(rung, situation):
            begun = None
            found.append(0)
            continue
        hands = tuple(repr(situation.get(key, rung["situation"].get(key))) for key in HANDS)
        clips, contact = reading.get("clip_group"), reading["contact"]
        moved = None not in (clips, group) and clips != group
        changed = hands != begun if begun is not None else contact in TOUCHED
        if moved or changed:
            number, begun, group = number + 1, hands, None
        group = clips if clips is not None else group
        found.append(number)
    return found


def rounds_text(rung: Mapping[str, Any]) -> str:
    """``7 times off, safe, clips, on``; "" on a rung that stays unplugged or is read at the bench box alone."""
    most = max(rounds(rung), default=0)
    if not most or not rung["make_safe"]["needed"]:
        return ""
    if most == 1:
        return "Once off, safe, clips, on."
    return f"{most} times off, safe, clips, on: rows of one round are read in one go."


def _unplugged(rung: Mapping[str, Any], situation: Mapping[str, Any]) -> bool:
    """Is a reading taken with the plug out?"""
    volts = situation["mains_volts"] if "mains_volts" in situation else rung["situation"].get("mains_volts")
    return volts is not None and float(volts) == 0.0
